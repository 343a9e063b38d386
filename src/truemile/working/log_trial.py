"""The hand lines behind a whole log trial: a factor for each engine speed, and the curve through them."""

from __future__ import annotations

from typing import Final

from truemile.core.log_trial import SpeedGroup, TrialResult
from truemile.core.numbers import decimals_of
from truemile.core.uncertainty import coverage_factor, rounded
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working
from truemile.working.log_factor import explain

#: Names of the coefficients, by the power of the indicated speed.
COEFFICIENTS: Final = {0: ("p", "constant part", 4), 1: ("b", "part with the speed", 5), 2: ("g", "curving part", 6)}


def explain_trial(result: TrialResult) -> Working:
    """Return the lines of a trial: those of its one factor, or of the curve with a part for each engine speed."""
    name = result.course.name or "measured course"
    if len(result.groups) == 1:
        return explain(result.groups[0].best, title=f"Log trial, {name}")
    parts = [explain(group.best, title=f"Engine speed {_label(group, i)}") for i, group in enumerate(result.groups, 1)]
    return settle(lambda carried: _write(result, f"Log trial, {name}", carried)).working(*parts)


def curve_formula(powers: tuple[int, ...], indicated: str) -> str:
    """Return the formula of the true speed for an indicated one.

    Examples
    --------
    >>> curve_formula((0, 1, 2), "L")
    'p + b * L + g * L**2'
    """
    factors = {0: "", 1: f" * {indicated}", 2: f" * {indicated}**2"}
    return " + ".join(COEFFICIENTS[power][0] + factors[power] for power in powers)


def write_coefficients(hand: Hand, powers: tuple[int, ...], coefficients: tuple[float, ...], source: str) -> None:
    """Write the givens of a correction: the factor, or the coefficients of the line or curve."""
    for power, coefficient in zip(powers, coefficients, strict=True):
        symbol, words, places = COEFFICIENTS[power]
        if powers == (1,):
            symbol, words, places = "b", "log factor, true over indicated", 4
        hand.given(symbol, words, coefficient, places, "kn" if power == 0 else "", source=source)


def _label(group: SpeedGroup, number: int) -> str:
    return group.label or f"{number}"


def _write(result: TrialResult, title: str, carried: Carried) -> Hand:
    hand = Hand(title, carried)
    correction = result.correction
    hand.section("The engine speeds")
    for i, group in enumerate(result.groups, 1):
        best = group.best
        hand.given(f"L_{i}", f"mean speed shown, engine speed {_label(group, i)}", best.mean_indicated_kn, 2, "kn")
        hand.given(f"W_{i}", "speed through the water", best.water_kn, 2, "kn")
        hand.line(f"k_{i}", "factor", f"W_{i} / L_{i}", 3, core=best.factor, kind=Kind.SHOWN)
    hand.section("Through all of them")
    write_coefficients(hand, correction.powers, correction.coefficients, "from the fit")
    seen = result.quoted_at_kn
    shown, around = rounded(result.factor, result.expanded)
    places = decimals_of(shown)
    hand.given("L", "speed shown, in the middle of those that were run", seen, 2, "kn")
    formula = curve_formula(correction.powers, "L")
    hand.line("W", "true speed there", formula, 2, "kn", core=correction.true_kn(seen))
    words = "log factor, true over indicated"
    hand.line("k", words, "W / L", places, core=result.factor, kind=Kind.ANSWER, plus_minus=around)
    hand.given("u", "standard uncertainty of the factor", result.u_factor, places + 1, source="from the fit")
    hand.given("c", "coverage factor to 95 %", coverage_factor(correction.dof), 2)
    hand.line("U", "uncertainty that is printed", "c * u", places, core=result.expanded, kind=Kind.SHOWN)
    hand.note(f"Chosen: {result.curve.words}.")
    return hand
