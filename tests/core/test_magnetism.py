"""Variation against the test values of the model's producers, its uncertainty, and what is refused."""

from __future__ import annotations

import csv
import math
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pygeomag import GeoMag

from truemile.core.angles import difference
from truemile.core.errors import ReadingError
from truemile.core.magnetism import (
    MODELS,
    Variation,
    Zone,
    decimal_year,
    east_west,
    field_at,
    model_for,
    variation,
    yearly,
)
from truemile.core.position import Position

REFERENCE = Path(__file__).parents[1] / "reference" / "wmm2025.csv"
BY_NAME = {model.name: model for model in MODELS}


def _rows() -> list[dict[str, str]]:
    lines = REFERENCE.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


ROWS = _rows()


def _half_unit(printed: str) -> float:
    """Half a unit of the last digit printed, and a hair for the arithmetic."""
    return 0.5 * 10.0 ** -len(printed.partition(".")[2]) + 1e-9


def _field(row: dict[str, str]):  # noqa: ANN202  the named tuple of the module under test
    where = (float(row["lat_deg"]), float(row["lon_deg"]), float(row["decimal_year"]), float(row["height_km"]))
    return field_at(BY_NAME[row["model"]], *where)


def test_the_reference_holds_both_models() -> None:
    """The official values of WMM2025 are all there, and some of WMM2020."""
    assert {(row["model"], row["source"]) for row in ROWS} == {
        ("WMM2025", "A100"), ("WMM2025", "R12"), ("WMM2020", "B100"), ("WMM2020", "S12"),
    }  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=[f"{i}-{row['source']}" for i, row in enumerate(ROWS)])
def test_published_values(row: dict[str, str]) -> None:
    """Variation, its annual change and the horizontal field meet the printed values to half their last digit."""
    found = _field(row)
    assert abs(difference(found.variation_deg, float(row["decl_deg"]))) <= _half_unit("0.00")
    if row["decl_rate_deg_per_yr"]:
        printed = row["decl_rate_deg_per_yr"]
        # WMM2020's rates are printed to 0.1, and the file dropped its closing noughts.
        half = 0.05 if row["source"] == "B100" else _half_unit(printed) if row["source"] == "A100" else 0.005
        assert abs(found.annual_change_deg - float(printed)) <= half + 1e-9
    # The six decimals of A100 are finer than the constants of the ellipsoid they depend on; the others print a tenth.
    assert abs(found.horizontal_nt - float(row["H_nT"])) <= 0.05


@pytest.mark.parametrize("row", [row for row in ROWS if row["decl_from_XY_deg"]], ids=lambda row: row["source"])
def test_full_precision(row: dict[str, str]) -> None:
    """Variation meets the direction of the published six-decimal components to their five printed decimals."""
    assert abs(difference(_field(row).variation_deg, float(row["decl_from_XY_deg"]))) <= 1e-5


@given(latitude=st.floats(-89, 89), longitude=st.floats(-180, 180), day=st.dates(date(2025, 1, 1), date(2029, 12, 31)))
@settings(max_examples=60, deadline=None)
def test_second_opinion(latitude: float, longitude: float, day: date) -> None:
    """A second implementation of WMM2025 [pygeomag] gives the same variation and the same standard uncertainty."""
    found = variation(Position(latitude, longitude), day)
    other = GeoMag(base_year=2025).calculate(latitude, longitude, 0.0, decimal_year(day))
    near_pole = 20_000.0 / max(other.h, 1.0)
    assert abs(difference(found.variation_deg, other.d)) <= 1e-6 * max(1.0, near_pole)
    assert math.isclose(found.u_deg, min(other.calculate_uncertainty().d, 180.0), rel_tol=1e-6)


def test_uncertainty_is_not_the_library_s() -> None:
    """At 20 000 nT the standard uncertainty is 0.38 degrees [WMM2025], not the library's hundred-thousandth."""
    model = BY_NAME["WMM2025"]
    assert model.u_deg(20_000.0) == pytest.approx(math.sqrt(0.26**2 + (5417 / 20_000) ** 2), rel=1e-12)
    assert round(model.u_deg(20_000.0), 2) == 0.38
    assert model.u_deg(10.0) == model.u_deg(0.0) == 180.0


@pytest.mark.parametrize(
    ("day", "name"),
    [
        (date(2010, 1, 1), "WMM2010"),
        (date(2014, 12, 31), "WMM2010"),
        (date(2015, 1, 1), "WMM2015v2"),
        (date(2020, 1, 1), "WMM2020"),
        (date(2024, 11, 12), "WMM2020"),
        (date(2024, 11, 13), "WMM2025"),
        (date(2029, 12, 31), "WMM2025"),
    ],
)
def test_each_date_has_its_model(day: date, name: str) -> None:
    """An older log is reduced with the model of its time, and the newest holds from the day it came out."""
    assert model_for(day).name == variation(Position(47.2, -31.0), day).model.name == name


@pytest.mark.parametrize("place", [(50.0, -5.0), (-35.0, 18.0), (38.0, -72.0), (1.0, 104.0), (65.0, 20.0)])
def test_models_join(place: tuple[float, float]) -> None:
    """Where one model hands over to the next, the two agree within their uncertainties."""
    for before, after in pairwise(MODELS):
        old, new = variation(Position(*place), before.last), variation(Position(*place), after.first)
        assert abs(old.variation_deg - new.variation_deg) <= 1.96 * math.hypot(old.u_deg, new.u_deg)


@given(latitude=st.floats(-60, 60), longitude=st.floats(-180, 180), model=st.sampled_from(MODELS))
@settings(max_examples=40, deadline=None)
def test_annual_change(latitude: float, longitude: float, model) -> None:  # noqa: ANN001  as above
    """The annual change is what variation does in a year."""
    start = model.first.year + 1.0
    first, last = (field_at(model, latitude, longitude, start + each) for each in (0.0, 1.0))
    middle = field_at(model, latitude, longitude, start + 0.5)
    assert abs(last.variation_deg - first.variation_deg - middle.annual_change_deg) <= 1e-3


@pytest.mark.parametrize("latitude", [90.0, -90.0])
@pytest.mark.parametrize("year", [2016, 2026])
def test_poles(latitude: float, year: int) -> None:
    """At the very poles there is a finite answer, and no warning."""
    found = variation(Position(latitude, 0.0), date(year, 6, 1))
    assert math.isfinite(found.variation_deg)
    assert math.isfinite(found.annual_change_deg)


def _of(horizontal_nt: float, on: date = date(2026, 6, 1)) -> Variation:
    model = model_for(on)
    return Variation(Position(0.0, 0.0), on, model, -12.0, 0.1, horizontal_nt, model.u_deg(horizontal_nt))


def test_zones() -> None:
    """Below 6000 nT there is a caution and below 2000 nT a warning not to trust the compass [WMM2025]."""
    assert [_of(h).zone for h in (1999.9, 2000.0, 5999.9, 6000.0)] == [
        Zone.BLACKOUT, Zone.CAUTION, Zone.CAUTION, Zone.CLEAR,
    ]  # fmt: skip
    assert "cannot be relied on" in _of(1500.0).remarks[0]
    assert "several degrees out" in _of(4000.0).remarks[0]
    assert _of(20_000.0).remarks == ()


def test_a_real_place_in_each_zone() -> None:
    """The zones come out of the model's own field: near the pole of 2025, around it, and in a temperate sea."""
    places = (Position(86.0, 140.0), Position(80.0, -96.0), Position(47.0, -31.0))
    zones = [variation(place, date(2025, 6, 1)).zone for place in places]
    assert zones == [Zone.BLACKOUT, Zone.CAUTION, Zone.CLEAR]


def test_a_remark_before_the_end_of_the_model() -> None:
    """In its last half year the newest model says when it ends; older ones need not."""
    assert "ends on 31 December 2029" in _of(20_000.0, date(2029, 8, 1)).remarks[0]
    assert _of(20_000.0, date(2029, 6, 1)).remarks == ()
    assert _of(20_000.0, date(2019, 12, 1)).remarks == ()


def test_a_borrowed_uncertainty_says_so() -> None:
    """The oldest model's uncertainty is that of its successor, and the answer tells."""
    assert variation(Position(47.0, -31.0), date(2012, 6, 1)).remarks == (
        "No uncertainty was found for WMM2010: the ± is that of WMM2015.",
    )


def test_too_early() -> None:
    """Before the oldest model the chart of the time is named as the way out."""
    with pytest.raises(ReadingError, match=r"on is '2009-12-31'.*run from 1 January 2010.*chart of that time"):
        variation(Position(47.0, -31.0), date(2009, 12, 31))


def test_too_late() -> None:
    """After the newest model the program is to be brought up to date."""
    with pytest.raises(ReadingError, match=r"on is '2030-01-01'.*to 31 December 2029.*up to date"):
        model_for(date(2030, 1, 1))


def test_words() -> None:
    """A sentence names the side, the uncertainty at 95 %, the change and the model."""
    assert _of(20_000.0).words == "12.0° W ± 0.7°, 0.10° E a year, WMM2025"


@given(st.floats(-180, 180))
def test_sides(angle: float) -> None:
    """East is plus, west is minus, and what rounds to nothing has no side."""
    shown = east_west(angle, 1)
    size, _, side = shown.partition("° ") if "° " in shown else (shown.rstrip("°"), "", "")
    signed = float(size) * {"E": 1, "W": -1, "": 0}[side]
    assert abs(signed - angle) <= 0.05 + 1e-9


def test_no_change() -> None:
    """A change too small to print is said to be none."""
    assert yearly(-0.004) == "no change to speak of"
    assert yearly(-0.006) == "0.01° W a year"
