"""The lines between true and compass: in their order, and what a calculator gives."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.working.trials import check_every_line
from truemile.core.compass_conversion import (
    Conversion,
    convert_bearing,
    convert_course,
    convert_courses,
    convert_hand_bearing,
)
from truemile.core.deviation_curve import ApproximateCurve, Coefficients
from truemile.core.deviation_table import DeviationTable
from truemile.working.compass_conversion import explain_conversion, explain_conversions
from truemile.working.lines import Working

CURVE = ApproximateCurve(Coefficients(1.0, 6.0, 4.0, 2.5, 0.75))


def _order(working: Working) -> str:
    return "".join(line.symbol for line in working.lines if line.symbol in set("TVMDC"))


def _agrees(value: float, wanted: float, decimals: int) -> bool:
    return abs((value - wanted + 180.0) % 360.0 - 180.0) <= 1.0000001 * 10.0**-decimals


def test_the_order_of_a_navigator() -> None:
    """T V M D C on the way to the compass, C D M V T on the way back; 276° T is 285° C (common practice, no source)."""
    there = explain_conversion(convert_course(276.0, "T", -12.0, 3.0))
    assert _order(there) == "TVMDC"
    assert [line.number_text for line in there.lines] == ["276", "−12", "288", "3", "285"]
    assert there.title == "True to compass"
    back = explain_conversion(convert_course(285.0, "C", -12.0, 3.0))
    assert _order(back) == "CDMVT"
    assert back.answers[0].number_text == "276"
    assert _order(explain_conversion(convert_course(288.0, "M", -12.0, 3.0))) == "MDCVT"
    check_every_line(there)
    check_every_line(back)


@given(
    st.lists(st.integers(0, 3600), min_size=1, max_size=4),
    st.sampled_from(["T", "M", "C"]),
    st.integers(-300, 300),
    st.one_of(st.none(), st.tuples(*[st.integers(-60, 60)] * 5)),
    st.integers(-200, 200),
)
@settings(deadline=None)
def test_every_line_is_what_a_calculator_gives(
    tenths: list[int], reference: Any, variation: int, coefficients: tuple[int, ...] | None, fixed: int
) -> None:
    """Each printed line follows from those above, and the answers are the program's, across north too."""
    curve: ApproximateCurve | None = None
    if coefficients is not None:
        curve = ApproximateCurve(Coefficients(*(c / 10 for c in coefficients)))
        assume(curve.is_unique)
    found = convert_courses([t / 10 for t in tenths], reference, variation / 10, curve or fixed / 10)
    working = explain_conversions(found, curve)
    check_every_line(working)
    for i, each in enumerate(found, 1):
        mark = f"_{i}" if len(found) > 1 else ""
        for symbol, wanted in (("T", each.true_deg), ("M", each.magnetic_deg), ("C", each.compass_deg)):
            line = working.line(symbol + mark)
            assert _agrees(line.value, wanted, line.decimals)
            assert -0.05 <= line.value <= 360.05


def test_the_deviation_of_a_bearing_is_worked_on_the_heading() -> None:
    """The boat's heading has a line of its own, and the deviation is worked from it."""
    working = explain_conversion(convert_bearing(70.0, "C", -7.3, CURVE, heading_compass_deg=350.0), CURVE)
    check_every_line(working)
    assert working.line("H").value == 350.0
    assert "H" in working.line("D").formula
    assert any("not that of the bearing" in note for note in working.notes)


def test_the_trial_is_checked_by_the_curve() -> None:
    """On the way to the compass the heading found by trial is put into the curve, and comes out again."""
    working = explain_conversion(convert_course(3.0, "T", -7.3, CURVE), CURVE)
    check_every_line(working)
    assert "by trial" in working.line("H").source
    assert working.line("C").value == pytest.approx(working.line("H").value, abs=0.15)


def test_tables_and_hand_bearing_compasses_say_where_the_deviation_is_from() -> None:
    """A card is entered with a heading; a compass in the hand has its own deviation."""
    table = DeviationTable(((0, 2.0), (90, 4.0), (180, 1.0), (270, -2.0)), 0.3)
    by_card = explain_conversion(convert_course(45.0, "C", 3.0, table), table)
    assert by_card.line("D").source == "deviation on compass heading 45.0"
    assert by_card.answers[0].plus_minus == "0.6"
    check_every_line(by_card)
    held = explain_conversion(convert_hand_bearing(70.0, "C", -9.0))
    assert held.line("D").source == "of the hand-bearing compass itself"
    assert any("own deviation" in note for note in held.notes)


def test_mixed_lists_have_a_title() -> None:
    """True and magnetic in one list."""
    both: list[Conversion] = [convert_course(1.0, "T", 0.0, 0.0), convert_course(1.0, "M", 0.0, 0.0)]
    assert explain_conversions(both).title == "True, magnetic and compass"
