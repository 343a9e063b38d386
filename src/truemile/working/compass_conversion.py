"""The hand lines from true to compass and back, in the order T V M D C in which a navigator writes them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from truemile.core.compass_conversion import Conversion
from truemile.core.deviation_curve import LETTERS, ApproximateCurve, DeviationCurve
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working, printed

_WORDS: Final = {"T": "true", "M": "magnetic", "C": "compass"}


def explain_conversion(conversion: Conversion, deviation: DeviationCurve | None = None) -> Working:
    """Return the lines of one conversion.

    Parameters
    ----------
    conversion
        From `truemile.core.compass_conversion`.
    deviation
        The curve that it was made with; None for a deviation given as a number.

    Examples
    --------
    >>> from truemile.core.compass_conversion import convert_course
    >>> working = explain_conversion(convert_course(276.0, "T", -12.0, 3.0))
    >>> [f"{line.symbol} {line.number_text}" for line in working.lines]
    ['T 276', 'V −12', 'M 288', 'D 3', 'C 285']
    """
    return explain_conversions([conversion], deviation)


def explain_conversions(conversions: Sequence[Conversion], deviation: DeviationCurve | None = None) -> Working:
    """Return the lines of a list of conversions made with one curve, a section each.

    Parameters
    ----------
    conversions, deviation
        As for `explain_conversion`.
    """

    def write(carried: Carried) -> Hand:
        hand = Hand(_title(conversions), carried)
        curve = deviation if isinstance(deviation, ApproximateCurve) else None
        if curve is not None:
            _write_coefficients(hand, curve)
        for i, each in enumerate(conversions, 1):
            mark = f"_{i}" if len(conversions) > 1 else ""
            what = "Bearing" if each.is_bearing else "Course"
            hand.section(f"{what} {i}" if mark else "")
            _write(hand, each, mark, curve)
        _write_notes(hand, conversions)
        return hand

    return settle(write).working()


def _title(conversions: Sequence[Conversion]) -> str:
    ways = {each.given for each in conversions}
    return {
        frozenset({"T"}): "True to compass",
        frozenset({"C"}): "Compass to true",
        frozenset({"M"}): "Magnetic to compass and to true",
    }.get(frozenset(ways), "True, magnetic and compass")


def _write_coefficients(hand: Hand, curve: ApproximateCurve) -> None:
    hand.section("The curve in force")
    for letter, value in zip(LETTERS, curve.coefficients, strict=True):
        hand.given(f"{letter}_k", f"coefficient {letter}", value, 2, "°", source="deviation curve")


def _write(hand: Hand, each: Conversion, mark: str, curve: ApproximateCurve | None) -> None:
    places = _places(each)
    what = "bearing" if each.is_bearing else "course"
    values = {"T": each.true_deg, "M": each.magnetic_deg, "C": each.compass_deg}
    hand.given(f"{each.given}{mark}", f"{what}, {_WORDS[each.given]}", values[each.given], places, "°")
    if each.given == "C":
        _write_deviation(hand, each, mark, curve, places)
        _write_sum(hand, f"M{mark}", f"{what}, magnetic", f"C{mark} + D{mark}", places, each.magnetic_deg)
        _write_variation(hand, each, mark)
        _write_sum(
            hand, f"T{mark}", f"{what}, true", f"M{mark} + V{mark}", places, each.true_deg, _around(each, places)
        )
        return
    if each.given == "T":
        _write_variation(hand, each, mark)
        _write_sum(hand, f"M{mark}", f"{what}, magnetic", f"T{mark} - V{mark}", places, each.magnetic_deg)
    _write_deviation(hand, each, mark, curve, places)
    _write_sum(
        hand, f"C{mark}", f"{what}, compass", f"M{mark} - D{mark}", places, each.compass_deg, _around(each, places)
    )
    if each.given == "M":
        _write_variation(hand, each, mark)
        _write_sum(hand, f"T{mark}", f"{what}, true", f"M{mark} + V{mark}", places, each.true_deg, "")


def _write_variation(hand: Hand, each: Conversion, mark: str) -> None:
    hand.given(
        f"V{mark}", f"variation, {_named(each.variation_deg)}", each.variation_deg, _digits(each.variation_deg), "°"
    )


def _write_deviation(hand: Hand, each: Conversion, mark: str, curve: ApproximateCurve | None, places: int) -> None:
    """From the curve on the boat's compass heading; what is not known beforehand is found by trial."""
    words = f"deviation, {_named(each.deviation_deg)}"
    heading = each.heading_compass_deg
    if heading is None:
        source = "of the hand-bearing compass itself" if each.hand_bearing else "as given"
        hand.given(f"D{mark}", words, each.deviation_deg, max(places, _digits(each.deviation_deg)), "°", source=source)
        return
    if curve is None:
        source = f"deviation on compass heading {printed(heading, 1)}"
        hand.given(f"D{mark}", words, each.deviation_deg, max(1, places), "°", source=source)
        return
    at = f"C{mark}"
    if each.is_bearing or each.given != "C":
        at = f"H{mark}"
        source = "as steered" if each.is_bearing else "by trial, until magnetic less deviation is this heading again"
        hand.given(at, "boat's heading, compass", heading, 1, "°", source=source)
    formula = f"A_k + B_k * sin({at}) + C_k * cos({at}) + D_k * sin(2 * {at}) + E_k * cos(2 * {at})"
    hand.line(f"D{mark}", words, formula, max(1, places), "°", core=each.deviation_deg)


def _write_sum(
    hand: Hand, symbol: str, words: str, formula: str, places: int, core: float, around: str | None = None
) -> None:
    """A sum of angles, brought back into the circle; an answer where a ± is given, be it empty."""
    terms = {name: hand.printed_value(name) for name in formula.split() if name not in {"+", "-"}}
    first, sign, second = formula.split()
    raw = terms[first] + (terms[second] if sign == "+" else -terms[second])
    turn = " + 360" if raw < -1e-9 else " - 360" if raw > 360.0 - 1e-9 else ""
    kind = Kind.WORKED if around is None else Kind.ANSWER
    value = core + 360.0 if not turn and core < 1.0 and raw > 359.0 else core
    hand.line(symbol, words, formula + turn, places, "°", core=value, kind=kind, plus_minus=around or "")


def _write_notes(hand: Hand, conversions: Sequence[Conversion]) -> None:
    hand.note("East is above 0, west below: variation and deviation are added towards true, taken off towards compass.")
    if any(each.is_bearing and not each.hand_bearing for each in conversions):
        hand.note("The deviation is that of the heading the boat was on, not that of the bearing.")
    if any(each.hand_bearing for each in conversions):
        hand.note("A hand-bearing compass has its own deviation; the card of the steering compass does not serve.")


def _around(each: Conversion, places: int) -> str:
    return "" if each.around is None else printed(each.around.expanded_deg, max(1, places))


def _named(angle_deg: float) -> str:
    return "east" if angle_deg > 0.0 else "west" if angle_deg < 0.0 else "none"


def _places(each: Conversion) -> int:
    """Whole degrees for whole givens; else tenths."""
    given = {"T": each.true_deg, "M": each.magnetic_deg, "C": each.compass_deg}[each.given]
    whole = all(_digits(x) == 0 for x in (given, each.variation_deg, each.deviation_deg))
    return 0 if whole and each.around is None else 1


def _digits(angle_deg: float) -> int:
    return next((n for n in (0, 1) if abs(round(angle_deg, n) - angle_deg) < 1e-9), 2)
