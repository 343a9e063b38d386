"""The rose of a chart, brought up to date and set against the model."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truemile.core.angles import difference
from truemile.core.chart_rose import ChartRose, compare, rose_variation
from truemile.core.errors import ReadingError
from truemile.core.magnetism import Variation, model_for, variation
from truemile.core.position import Position

ON = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("printed_deg", "year", "change_min", "wanted_deg"),
    [
        (-(4 + 15 / 60), 2016, 10, -(2 + 35 / 60)),
        (3 + 40 / 60, 2016, 7, 4 + 50 / 60),
        (-(0 + 30 / 60), 2016, 9, 1.0),
        (12.0, 2026, 6, 12.0),
        (12.0, 2030, 6, 11.6),
    ],
    ids=["westerly, decreasing", "easterly, increasing", "through nothing", "of the year", "of a later chart"],
)
def test_brought_up_to_date(printed_deg: float, year: int, change_min: float, wanted_deg: float) -> None:
    """Whole years times the annual change, each with its sign (common practice, no source)."""
    found = rose_variation(ChartRose(printed_deg, year, change_min / 60), ON)
    assert found.years == 2026 - year
    assert found.variation_deg == pytest.approx(wanted_deg, abs=1e-9)


@given(variation_deg=st.floats(-180, 180), year=st.integers(1950, 2040), change=st.floats(-1, 1))
def test_signs(variation_deg: float, year: int, change: float) -> None:
    """A rose turned over, west for east, gives the answer turned over."""
    one = rose_variation(ChartRose(variation_deg, year, change), ON)
    other = rose_variation(ChartRose(-variation_deg, year, -change), ON)
    assert abs(difference(one.variation_deg, -other.variation_deg)) < 1e-9
    assert one.u_deg == other.u_deg


def test_uncertainty_grows_with_age() -> None:
    """Reading the rose to 5′ and its change to 1′ gives rectangles of those widths, and a year more or less another."""
    now = rose_variation(ChartRose(-4.0, 2026, 10 / 60), ON)
    then = rose_variation(ChartRose(-4.0, 2006, 10 / 60), ON)
    assert now.u_deg == pytest.approx(math.hypot(5, 10) / 60 / math.sqrt(12), rel=1e-12)
    assert then.u_deg == pytest.approx(math.hypot(5, 20 * 1, 10) / 60 / math.sqrt(12), rel=1e-12)
    assert then.expanded_deg == pytest.approx(1.96 * then.u_deg)


def test_an_old_rose_says_so() -> None:
    """More than ten years from the date the model is to be preferred."""
    assert rose_variation(ChartRose(-4.0, 2016, 0.1), ON).remarks == ()
    assert "11 years" in rose_variation(ChartRose(-4.0, 2015, 0.1), ON).remarks[0]


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("variation_deg", 181.0),
        ("year", 16),
        ("annual_change_deg", 9.0),
        ("resolution_deg", -1.0),
        ("change_resolution_deg", 2.0),
    ],
)
def test_what_is_no_rose(field: str, wrong: float) -> None:
    """A value that no rose has is refused by its name."""
    entry = {"variation_deg": -4.0, "year": 2016, "annual_change_deg": 0.1, field: wrong}
    with pytest.raises(ReadingError, match=rf"^{field} is .*must be from"):
        ChartRose(**entry)


def _model(variation_deg: float) -> Variation:
    return Variation(Position(0.0, 0.0), ON, model_for(ON), variation_deg, 0.1, 20_000.0, 0.3)


def test_a_slip_of_the_sign_is_caught() -> None:
    """West taken for east shows as a disagreement that names the sign; the rose read rightly agrees."""
    right = compare(rose_variation(ChartRose(-4.0, 2024, 0.1), ON), _model(-3.9))
    wrong = compare(rose_variation(ChartRose(4.0, 2024, 0.1), ON), _model(-3.9))
    assert right.agrees
    assert right.words.endswith("They agree.")
    assert not wrong.agrees
    assert "Check the sign" in wrong.words


def test_the_bar_has_both_uncertainties() -> None:
    """They may differ by 1.96 times the root of the squares, and by no more."""
    rose = rose_variation(ChartRose(0.0, 2026, 0.0), ON)
    bar = 1.96 * math.hypot(rose.u_deg, 0.3)
    assert compare(rose, _model(bar - 1e-6)).agrees
    assert not compare(rose, _model(bar + 1e-6)).agrees


def test_across_the_half_turn() -> None:
    """Near the magnetic poles 179 W and 179 E are two degrees apart."""
    assert compare(rose_variation(ChartRose(-179.0, 2026, 0.0), ON), _model(179.0)).difference_deg == pytest.approx(2.0)


def test_two_dates() -> None:
    """Rose and model for different dates are not compared."""
    with pytest.raises(ReadingError, match=r"on is '2025-06-01'.*one date.*2026-06-01"):
        compare(rose_variation(ChartRose(-4.0, 2016, 0.1), date(2025, 6, 1)), variation(Position(50.0, -5.0), ON))
