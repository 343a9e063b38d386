"""The hand lines of variation, keyed in on a calculator, give what the program says."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.working.by_hand import keyed_in
from truemile.core.chart_rose import ChartRose, compare, rose_variation
from truemile.core.magnetism import MODELS, Variation, model_for, variation
from truemile.core.position import Position
from truemile.working.lines import Kind, Working, printed
from truemile.working.magnetism import explain_comparison, explain_rose, explain_variation

ON = date(2026, 6, 1)


def _agrees(working: Working, symbol: str, wanted: float) -> None:
    """Every line follows from its printed numbers, and the answer is the program's."""
    for line in working.lines:
        if line.substitution:
            assert printed(keyed_in(line.substitution), line.decimals) == printed(line.value, line.decimals)
    line = working.line(symbol)
    assert line.kind is Kind.ANSWER
    assert abs(line.value - wanted) <= 1.000001 * 10.0**-line.decimals
    assert working.misses == () or "rounding" in working.notes[-1]


@given(
    printed_min=st.integers(-180 * 12, 180 * 12),
    year=st.integers(1990, 2035),
    change_min=st.integers(-25, 25),
)
@settings(max_examples=100, deadline=None)
def test_rose(printed_min: int, year: int, change_min: int) -> None:
    """The rose's lines give the variation that the program gives."""
    found = rose_variation(ChartRose(5 * printed_min / 60, year, change_min / 60), ON)
    _agrees(explain_rose(found), "V", found.variation_deg)


def test_rose_as_it_is_written() -> None:
    """The lines are those a navigator writes: printed value, years, change, result."""
    working = explain_rose(rose_variation(ChartRose(-(4 + 15 / 60), 2016, 10 / 60), ON))
    assert [(line.symbol, line.value_text) for line in working.lines] == [
        ("R", "−255′"), ("a", "10′"), ("n", "10"), ("M", "−155′"), ("V", "−2.6 ± 0.1°"),
    ]  # fmt: skip
    assert working.line("M").substitution == "−255 + 10 × 10"


def test_an_old_rose_keeps_its_remark() -> None:
    """What is to be borne in mind stands under the lines."""
    assert "16 years" in explain_rose(rose_variation(ChartRose(-4.0, 2010, 0.1), ON)).notes[0]


@given(latitude=st.floats(-89, 89), longitude=st.floats(-180, 180), year=st.integers(2010, 2029))
@settings(max_examples=60, deadline=None)
def test_model(latitude: float, longitude: float, year: int) -> None:
    """The lines of the model's uncertainty agree with it in all issues and all fields."""
    found = variation(Position(latitude, longitude), date(year, 6, 1))
    working = explain_variation(found)
    _agrees(working, "U", found.expanded_deg)
    assert set(found.remarks) <= set(working.notes)


def test_where_the_field_vanishes() -> None:
    """At a magnetic pole the uncertainty is half a turn: given, for no formula leads there."""
    found = Variation(Position(86.0, 140.0), ON, MODELS[-1], 10.0, 1.0, 20.0, MODELS[-1].u_deg(20.0))
    working = explain_variation(found)
    assert working.line("u").kind is Kind.GIVEN
    assert working.misses == ()


@given(rose=st.floats(-180, 180), model=st.floats(-180, 180), u=st.floats(0.2, 5.0))
@settings(max_examples=100, deadline=None)
def test_comparison(rose: float, model: float, u: float) -> None:
    """Difference and bar agree with the program, across the half turn too."""
    brought = rose_variation(ChartRose(rose, 2026, 0.0), ON)
    found = compare(brought, Variation(Position(0.0, 0.0), ON, model_for(ON), model, 0.1, 20_000.0, u))
    working = explain_comparison(found)
    _agrees(working, "d", found.difference_deg)
    assert found.words in working.notes
