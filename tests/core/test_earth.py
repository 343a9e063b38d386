"""Distances and courses on the ellipsoid, against Karney's test set and computed lines of all classes."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from truemile.core.angles import difference, wrap_180
from truemile.core.constants import METRES_PER_NM, WGS84_A_M, WGS84_F
from truemile.core.earth import destination, geodesic, geodesic_arrays
from truemile.core.errors import ReadingError
from truemile.core.position import Position

GEODESICS = Path(__file__).parents[1] / "reference" / "geodesics.csv"
NEAR_ANTIPODE_M = 19_000_000.0


def _rows() -> list[dict[str, str]]:
    lines = GEODESICS.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


ROWS = _rows()
#: Near the antipode the course swings with hardly a change of distance.
WITH_ONE_COURSE = [r for r in ROWS if float(r["s12_m"]) <= NEAR_ANTIPODE_M and r["azi1_deg"] and r["azi2_deg"]]
#: The azimuths of source P17 are cut short in print: too short to aim by.
WITH_EXACT_COURSE = [r for r in ROWS if r["source"] != "P17"]


def _each(rows: list[dict[str, str]]) -> pytest.MarkDecorator:
    names = [f"{i}-{row['category']}-{row['source']}" for i, row in enumerate(rows)]
    return pytest.mark.parametrize("row", rows, ids=names)


def _ends(row: dict[str, str]) -> tuple[Position, Position]:
    return (
        Position(float(row["lat1_deg"]), wrap_180(float(row["lon1_deg"]))),
        Position(float(row["lat2_deg"]), wrap_180(float(row["lon2_deg"]))),
    )


def _azimuth_allowance_deg(row: dict[str, str], end: Position) -> float:
    """Give how far an azimuth turns when an end moves by the tolerance; half the last digit if printed short.

    The far end moves sideways by about R sin(s/R) for a radian of azimuth, and near a pole the meridian that
    azimuths are counted from turns by a radian in each distance from the pole.
    """
    radius_m, distance_m, moved_m = 6_356_752.0, float(row["s12_m"]), float(row["tol_m"])
    from_pole_m = radius_m * math.radians(90 - abs(end.latitude_deg))
    lever_m = min(radius_m * abs(math.sin(distance_m / radius_m)), max(from_pole_m, 1.0))
    printed = min(len(row[name].partition(".")[2]) for name in ("azi1_deg", "azi2_deg"))
    return max(math.degrees(moved_m / lever_m), 0.5 * 10**-printed if row["source"] == "P17" else 0.0)


def test_the_reference_holds_every_class_of_line() -> None:
    """Short, long, polar, equatorial, antimeridian and near-antipodal lines are all there."""
    classes = {name for row in ROWS for name in row["category"].split("/")}
    assert (len(ROWS), len(WITH_ONE_COURSE), len(WITH_EXACT_COURSE)) == (149, 104, 137)
    assert classes >= {"short", "long", "near-pole", "equatorial", "meridional", "antimeridian", "near-antipodal"}


@_each(ROWS)
def test_distance_agrees_with_the_reference(row: dict[str, str]) -> None:
    """The inverse problem gives the published length within the tolerance of the row."""
    start, end = _ends(row)
    line = geodesic(start, end)
    assert abs(line.distance_m - float(row["s12_m"])) <= float(row["tol_m"])
    assert line.distance_nm == line.distance_m / METRES_PER_NM


@_each(WITH_ONE_COURSE)
def test_courses_agree_with_the_reference(row: dict[str, str]) -> None:
    """Both courses are right to what the tolerance on position allows, save near the antipode where they swing."""
    start, end = _ends(row)
    line = geodesic(start, end)
    first, last = float(row["azi1_deg"]), float(row["azi2_deg"])
    assert abs(difference(line.course_true_deg, first)) <= _azimuth_allowance_deg(row, start)
    assert abs(difference(line.final_course_true_deg, last)) <= _azimuth_allowance_deg(row, end)
    assert 0 <= line.course_true_deg < 360
    assert 0 <= line.final_course_true_deg < 360


@_each(WITH_EXACT_COURSE)
def test_destination_agrees_with_the_reference(row: dict[str, str]) -> None:
    """The direct problem lands within the tolerance of the row of the published end."""
    start, end = _ends(row)
    reached = destination(start, float(row["azi1_deg"]), float(row["s12_m"]) / METRES_PER_NM)
    assert geodesic(reached, end).distance_m <= float(row["tol_m"])


def test_arrays_agree_with_single_lines() -> None:
    """Many lines at once give the very numbers of one at a time."""
    ends = [_ends(row) for row in ROWS]
    columns = [
        np.array([getattr(pair[which], name) for pair in ends])
        for which in (0, 1)
        for name in ("latitude_deg", "longitude_deg")
    ]
    lines = geodesic_arrays(*columns)
    singles = [geodesic(*pair) for pair in ends]
    assert lines.distance_m.tolist() == [line.distance_m for line in singles]
    assert lines.distance_nm.tolist() == [line.distance_nm for line in singles]
    assert lines.course_true_deg.tolist() == [line.course_true_deg for line in singles]
    assert lines.final_course_true_deg.tolist() == [line.final_course_true_deg for line in singles]


def test_arrays_pass_missing_positions_through() -> None:
    """A missing position gives a missing line, and a line of no length has no course."""
    lines = geodesic_arrays([47.0, 47.0, np.nan], -31.0, [47.0, 47.5, 47.0], [-31.0, -31.0, -31.0])
    assert lines.distance_nm[0] == 0
    assert np.isnan(lines.course_true_deg[[0, 2]]).all()
    assert np.isnan(lines.final_course_true_deg[[0, 2]]).all()
    assert np.isnan(lines.distance_nm[2])
    assert lines.course_true_deg[1] == 0


def test_arrays_of_nothing_give_nothing() -> None:
    """An empty recording is no fault."""
    assert geodesic_arrays([], [], [], []).distance_nm.size == 0


def test_quarter_meridian_and_equator_follow_from_the_defining_constants() -> None:
    """A degree of equator is a times pi/180, and the quarter meridian the series in n (Helmert)."""
    degree = geodesic(Position(0, 10), Position(0, 11)).distance_m
    assert degree == pytest.approx(WGS84_A_M * math.pi / 180, abs=1e-7)
    n = WGS84_F / (2 - WGS84_F)
    series = 1 + n**2 / 4 + n**4 / 64 + n**6 / 256
    quarter = math.pi / 2 * WGS84_A_M / (1 + n) * series
    assert geodesic(Position(0, 0), Position(90, 0)).distance_m == pytest.approx(quarter, abs=1e-7)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (Position(47.2, -31.0), Position(47.2, -31.0)),
        (Position(10, 180), Position(10, -180)),
        (Position(90, 0), Position(90, 77)),
    ],
)
def test_identical_positions_have_a_distance_and_no_course(start: Position, end: Position) -> None:
    """The distance is zero; asking for a course is refused with the reason, however the place was written."""
    line = geodesic(start, end)
    assert line.distance_nm == 0
    with pytest.raises(ReadingError, match="course between identical positions"):
        _ = line.course_true_deg
    with pytest.raises(ReadingError, match="must differ"):
        _ = line.final_course_true_deg


def test_a_negative_distance_is_refused_with_the_remedy() -> None:
    """Going back is the reciprocal course."""
    with pytest.raises(ReadingError, match="Use the reciprocal course"):
        destination(Position(47, -31), 90, -1)


@pytest.mark.parametrize(
    ("course", "distance", "field"),
    [(math.nan, 1, "course_true_deg"), (0, math.inf, "distance_nm")],
)
def test_a_destination_needs_ordinary_numbers(course: float, distance: float, field: str) -> None:
    """A course or distance that is no number is named."""
    with pytest.raises(ReadingError, match=field):
        destination(Position(47, -31), course, distance)


@given(st.floats(-89, 89), st.floats(-180, 180), st.floats(0, 360), st.floats(0.01, 5000))
def test_the_way_to_a_destination_is_the_way_that_was_taken(
    latitude: float, longitude: float, course: float, distance: float
) -> None:
    """The line to the place reached has the course and the length that led there, to a micrometre."""
    start = Position(latitude, longitude)
    line = geodesic(start, destination(start, course, distance))
    assert line.distance_nm == pytest.approx(distance, abs=1e-6 / METRES_PER_NM)
    sideways_m = math.radians(difference(line.course_true_deg, course)) * line.distance_m
    assert abs(sideways_m) < 1e-6


@given(st.floats(-89, 89), st.floats(-180, 180), st.floats(-89, 89), st.floats(-180, 180))
def test_there_and_back_are_the_same_line(lat1: float, lon1: float, lat2: float, lon2: float) -> None:
    """Reversed, a line has the same length and the reciprocal courses."""
    there = geodesic(Position(lat1, lon1), Position(lat2, lon2))
    back = geodesic(Position(lat2, lon2), Position(lat1, lon1))
    assume(1.0 < there.distance_m < NEAR_ANTIPODE_M)
    assert back.distance_m == pytest.approx(there.distance_m, abs=1e-6)
    assert abs(difference(back.course_true_deg, there.final_course_true_deg + 180)) < 1e-6
    assert abs(difference(back.final_course_true_deg, there.course_true_deg + 180)) < 1e-6
