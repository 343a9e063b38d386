"""True, magnetic and compass, both ways, against published problems and stated truths."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.core.test_deviation_curve import curve_of
from tests.reference_cases import allowance, case, handbook, matches
from truemile.core.angles import difference, wrap_360
from truemile.core.compass_conversion import (
    compass_heading,
    compass_headings,
    convert_bearing,
    convert_bearings,
    convert_course,
    convert_courses,
    convert_hand_bearing,
)
from truemile.core.deviation_curve import (
    ApproximateCurve,
    Coefficients,
    ExactCurve,
    SharedErrors,
)
from truemile.core.deviation_table import DeviationTable
from truemile.core.errors import ManyFaults, NoSolution, NotEnoughReadings, ReadingError

# ---------------------------------------------------------------- facts of the trade


def test_276_true() -> None:
    """276° T, variation 12° W, is 288° M; with deviation 3° E it is 285° C (common practice, no source)."""
    found = convert_course(276.0, "T", -12.0, 3.0)
    assert (found.magnetic_deg, found.compass_deg) == (288.0, 285.0)
    back = convert_course(285.0, "C", -12.0, 3.0)
    assert (back.true_deg, back.magnetic_deg, back.error_deg) == (276.0, 288.0, -9.0)
    assert convert_course(288.0, "M", -12.0, 3.0).true_deg == 276.0


# ---------------------------------------------------------------- published problems


def _leeway(inputs: dict[str, Any]) -> float:
    """Leeway to add to the course steered: to starboard on the port tack."""
    return float(inputs.get("leeway_deg", 0.0)) * {"port": 1.0, "starboard": -1.0}.get(inputs.get("tack", ""), 0.0)


def test_licence_question_to_compass() -> None:
    """Case uscg-psc-1: make good 236 with 8 E, 1 E and a degree of leeway from SSE: steer 226 by compass."""
    entry = case("uscg-psc-1")
    inputs = entry["inputs"]
    steer_true = inputs["true_course_to_make_good"] - inputs["leeway_deg"]  # SSE is on the port side: to port of it
    found = convert_course(steer_true, "T", inputs["variation"], inputs["deviation"])
    assert matches(entry, "compass_course", found.compass_deg)


def test_licence_question_to_true() -> None:
    """Case uscg-psc-2: 195 by compass with 13 W, 4 E and two degrees of leeway from WSW makes good 184."""
    entry = case("uscg-psc-2")
    inputs = entry["inputs"]
    found = convert_course(inputs["steering_psc"], "C", inputs["variation"], inputs["deviation"])
    assert matches(entry, "true_course_made_good", found.true_deg - inputs["leeway_deg"])  # WSW: to port


def test_licence_question_by_gyro() -> None:
    """Case uscg-psc-5: a gyro has one error, as a compass without variation has: 137 with 2 E and NNE wind is 132."""
    entry = case("uscg-psc-5")
    inputs = entry["inputs"]
    steer_true = inputs["true_course_to_make_good"] - inputs["leeway_deg"]  # NNE is on the port side: to port of it
    found = convert_course(steer_true, "T", 0.0, inputs["gyro_error"])
    assert matches(entry, "gyro_course", found.compass_deg)


def _solved(entry: dict[str, Any]) -> dict[str, float]:
    """What our functions give under the keys of the answer."""
    i = entry["inputs"]
    variation, deviation = i.get("variation_deg_E"), i.get("deviation_deg_E")
    if "compass_bearing_deg" in i:
        return {"true_bearing_deg": convert_bearing(i["compass_bearing_deg"], "C", variation, deviation).true_deg}
    if "compass_course_deg" in i and variation is not None:
        found = convert_course(i["compass_course_deg"], "C", variation, deviation)
        return {
            "true_course_through_water_deg": found.true_deg + _leeway(i),
            "true_course_deg": found.true_deg,
            "magnetic_course_deg": found.magnetic_deg,
        }
    found = convert_course(i["true_course_deg"], "T", variation, deviation)
    return {"compass_course_deg": found.compass_deg}


CONVERSIONS = [e for e in handbook("compass") if e["id"] not in {"cmp-09", "cmp-11", "cmp-20"}]


@pytest.mark.parametrize("entry", CONVERSIONS, ids=lambda entry: entry["id"])
def test_conversions_of_training_texts(entry: dict[str, Any]) -> None:
    """Each printed answer comes out within its rounding."""
    got = _solved(entry)
    for key, wanted in entry["answer"].items():
        assert abs(difference(got[key], float(wanted))) <= entry["tolerance"][key]
        assert got[key] == pytest.approx(entry["recomputed"][key])


def test_the_parts_of_an_error() -> None:
    """Cases cmp-11 and cmp-20: error less variation is deviation; true less compass less deviation is variation."""
    by_id = {entry["id"]: entry for entry in handbook("compass")}
    inputs = by_id["cmp-11"]["inputs"]
    deviation = by_id["cmp-11"]["answer"]["deviation_deg_E"]
    found = convert_course(100.0, "C", inputs["variation_deg_E"], deviation)
    assert found.error_deg == inputs["compass_error_deg_E"]
    inputs = by_id["cmp-20"]["inputs"]
    variation = by_id["cmp-20"]["answer"]["variation_deg_E"]
    found = convert_course(inputs["compass_course_deg"], "C", variation, inputs["deviation_deg_E"])
    assert found.true_deg == inputs["true_course_deg"]


# ---------------------------------------------------------------- the way back


@pytest.mark.parametrize("name", ["pub226-magnetic-to-compass", "unique-but-iteration-diverges"])
def test_the_compass_heading_is_bracketed(name: str) -> None:
    """Compass headings are those of the cases, on a steep curve too, and not what the short cut gives."""
    entry = case(name)
    magnetic = entry["inputs"]["magnetic_heading_deg"]
    got = compass_headings(curve_of(entry), magnetic)
    for found, wanted in zip(got, entry["answer"]["compass_heading_deg"], strict=True):
        assert abs(difference(float(found), wanted)) <= allowance(entry, "compass_heading_deg", wanted)
    for i, wrong in enumerate(entry.get("naive", {}).get("entering_table_with_magnetic_heading_deg", [])):
        assert abs(difference(float(got[i]), wrong)) > 1e-3


def test_a_curve_with_two_answers_is_refused() -> None:
    """Case non-invertible-curve: no compass heading is returned; the compass needs adjusting."""
    curve = curve_of(case("non-invertible-curve"))
    with pytest.raises(NoSolution, match=r"compass heading 000.*more than one compass heading.*adjusted"):
        compass_heading(curve, 5.0)
    with pytest.raises(NoSolution):
        convert_course(90.0, "T", 0.0, curve)
    assert convert_course(90.0, "C", 0.0, curve).true_deg == pytest.approx(90.0 - 30.0)


COEFFICIENTS = st.tuples(st.floats(-5, 5), st.floats(-35, 35), st.floats(-35, 35), st.floats(-15, 15), st.floats(-5, 5))
ROUND = st.floats(0, 360)


@given(COEFFICIENTS, ROUND, st.floats(-60, 60), st.sampled_from(["approximate", "exact", "table"]))
def test_true_to_compass_to_true_returns(
    coefficients: tuple[float, ...], course: float, variation: float, kind: str
) -> None:
    """For any curve with one answer, the way there and back ends where it began; else it is refused."""
    curve: ApproximateCurve | ExactCurve | DeviationTable = ApproximateCurve(Coefficients(*coefficients))
    try:
        if kind == "exact":
            curve = ExactCurve(Coefficients(*(math.sin(math.radians(x)) for x in coefficients)))
        elif kind == "table":
            assume(max(abs(row.deviation_deg) for row in curve.card(15.0)) < 90)
            curve = DeviationTable(tuple((row.heading_compass_deg, row.deviation_deg) for row in curve.card(15.0)))
    except NoSolution:
        assume(False)
    assume(abs(curve.least_one_plus_slope) > 1e-6)
    if not curve.is_unique:
        with pytest.raises(NoSolution):
            convert_course(course, "T", variation, curve)
        return
    there = convert_course(course, "T", variation, curve)
    back = convert_course(there.compass_deg, "C", variation, curve)
    assert abs(difference(back.true_deg, course)) < 1e-8
    assert there.deviation_deg == pytest.approx(curve.deviation_deg(there.compass_deg), abs=1e-9)
    assert 0.0 <= there.compass_deg < 360.0
    if isinstance(curve, ExactCurve):
        assert curve.at_magnetic_deg(there.magnetic_deg) == pytest.approx(there.deviation_deg, abs=1e-7)


@given(COEFFICIENTS, st.lists(ROUND, min_size=1, max_size=20), st.sampled_from("TMC"))
def test_a_list_is_each_of_its_values(coefficients: tuple[float, ...], courses: list[float], reference: Any) -> None:
    """Converting a list and one after the other is the same."""
    curve = ApproximateCurve(Coefficients(*(x / 3 for x in coefficients)))
    assume(curve.is_unique)
    for one, course in zip(convert_courses(courses, reference, 7.0, curve), courses, strict=True):
        alone = convert_course(course, reference, 7.0, curve)
        assert one.compass_deg == pytest.approx(alone.compass_deg, abs=1e-9)
        assert one.true_deg == pytest.approx(alone.true_deg, abs=1e-9)


@given(ROUND, st.floats(-30, 30), st.floats(-20, 20))
def test_signs_and_wrap(course: float, variation: float, deviation: float) -> None:
    """East is added on the way to true; each of the three lies in [0, 360), and the given one is returned."""
    found = convert_course(course, "C", variation, deviation)
    assert found.compass_deg == wrap_360(course)
    assert abs(difference(found.true_deg, course + variation + deviation)) < 1e-9
    assert 0.0 <= found.true_deg < 360.0
    assert abs(difference(found.magnetic_deg, found.true_deg - variation)) < 1e-9


# ---------------------------------------------------------------- bearings


def test_the_deviation_of_a_bearing_is_that_of_the_heading() -> None:
    """Heading west with 5° E there, bearings all round have 5° E; entered with the bearing they would not."""
    curve = ApproximateCurve(Coefficients(0.0, -5.0, -2.0, 0.0, 0.0))
    for bearing in (70.0, 84.0, 318.0):
        found = convert_bearing(bearing, "C", -9.0, curve, heading_compass_deg=270.0)
        assert found.deviation_deg == pytest.approx(5.0)
        assert found.true_deg == pytest.approx(bearing - 4.0)
        assert abs(curve.deviation_deg(bearing) - 5.0) > 1.0
    back = convert_bearings([66.0, 80.0], "T", -9.0, curve, heading_compass_deg=270.0)
    assert [b.compass_deg for b in back] == pytest.approx([70.0, 84.0])
    assert back[0].heading_compass_deg == 270.0
    assert convert_bearing(75.0, "M", -9.0, curve, heading_compass_deg=270.0).compass_deg == pytest.approx(70.0)


def test_a_bearing_without_the_heading_is_refused() -> None:
    """The curve cannot be entered with the bearing."""
    curve = ApproximateCurve(Coefficients(0, 1, 0, 0, 0))
    with pytest.raises(ReadingError, match=r"heading_compass_deg is missing.*boat's heading.*steering compass"):
        convert_bearing(70.0, "C", -9.0, curve)


def test_a_hand_bearing_compass_is_an_instrument_of_its_own() -> None:
    """It takes variation and what deviation it has itself, with what is known of that."""
    found = convert_hand_bearing(70.0, "C", -9.0, u_variation_deg=0.3, u_deviation_deg=0.4)
    assert (found.true_deg, found.deviation_deg, found.hand_bearing) == (61.0, 0.0, True)
    assert found.around is not None
    assert found.around.u_deg == pytest.approx(0.5)
    assert convert_hand_bearing(61.0, "T", -9.0, deviation_deg=2.0).compass_deg == 68.0
    assert convert_hand_bearing(61.0, "T", -9.0).around is None


# ---------------------------------------------------------------- uncertainty


def test_what_the_conversion_leaves_uncertain() -> None:
    """Variation and deviation add in squares; on the way to the compass a rising curve lessens the error."""
    table = DeviationTable(((0, 0), (90, 18), (180, 0), (270, -18)), 0.4)
    to_true = convert_course(45.0, "C", 5.0, table, u_variation_deg=0.3)
    assert to_true.around_compass is not None
    assert to_true.around_compass.u_deg == 0.0
    assert to_true.around is not None
    assert to_true.around.u_deg == pytest.approx(0.5)
    assert to_true.around.expanded_deg == pytest.approx(0.98, abs=1e-3)
    to_compass = convert_course(59.0, "T", 5.0, table, u_variation_deg=0.3)
    assert to_compass.compass_deg == pytest.approx(45.0)
    assert to_compass.around is not None
    assert to_compass.around.u_deg == pytest.approx(0.5 / 1.2)
    from_magnetic = convert_course(54.0, "M", 5.0, table, u_variation_deg=0.3)
    assert from_magnetic.around_true is not None
    assert from_magnetic.around_true.u_deg == pytest.approx(0.3)
    assert from_magnetic.around is not None
    assert from_magnetic.around.u_deg == pytest.approx(0.4 / 1.2)
    assert convert_course(45.0, "C", 5.0, 9.0).around is None


@given(ROUND)
def test_the_stated_slope_is_how_an_error_goes_through(course: float) -> None:
    """A curve shifted by a small u moves the compass course by u / (1 + d')."""
    covariance = ((1e-6, 0, 0, 0, 0), *((0.0,) * 5,) * 4)
    curve = ApproximateCurve(Coefficients(1, 12, 8, 5, 1.5), covariance, math.inf, 1.0, SharedErrors())
    shifted = ApproximateCurve(Coefficients(1.001, 12, 8, 5, 1.5))
    found = convert_course(course, "M", 0.0, curve)
    moved = difference(compass_heading(shifted, course), found.compass_deg)
    assert found.around is not None
    assert abs(moved) == pytest.approx(found.around.u_deg, rel=1e-2)


# ---------------------------------------------------------------- what is refused


def test_every_wrong_row_is_named() -> None:
    """A list tells all its faults at once."""
    with pytest.raises(ManyFaults) as caught:
        convert_courses([10.0, 361.0, math.nan], "T", 0.0, 0.0)
    assert [fault.field for fault in caught.value.faults] == ["rows[1].course_deg", "rows[2].course_deg"]
    with pytest.raises(ReadingError, match=r"rows\[1\]\.bearing_deg is -1\.0"):
        convert_bearings([10.0, -1.0], "T", 0.0, 0.0)
    with pytest.raises(ReadingError, match=r"rows\[0\]\.heading_magnetic_deg is 400\.0"):
        compass_heading(ApproximateCurve(Coefficients(0, 0, 0, 0, 0)), 400.0)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"reference": "X"}, r"reference is 'X'.*true, magnetic or compass"),
        ({"variation_deg": 181.0}, r"variation_deg is 181\.0"),
        ({"deviation": 91.0}, r"deviation_deg is 91\.0"),
        ({"u_variation_deg": -1.0}, r"u_variation_deg is -1\.0"),
        ({"course_deg": 361.0, "field": "courses[4]"}, r"courses\[4\] is 361\.0"),
    ],
)
def test_what_cannot_be_converted(changed: dict[str, Any], words: str) -> None:
    """Each error says which entry."""
    entries: dict[str, Any] = {"course_deg": 10.0, "reference": "T", "variation_deg": 0.0, "deviation": 0.0}
    with pytest.raises(ReadingError, match=words):
        convert_course(**entries | changed)


def test_a_table_with_a_gap_cannot_be_turned_round() -> None:
    """The compass heading might lie in the gap."""
    with pytest.raises(NotEnoughReadings, match="nothing between"):
        compass_heading(DeviationTable(((0, 1), (45, 2), (90, 3))), 20.0)


def test_arrays_are_taken_too() -> None:
    """A column of a recording needs no list."""
    found = convert_courses(np.asarray([0.0, 90.0]), "M", 0.0, 10.0)
    assert [c.compass_deg for c in found] == [350.0, 80.0]
