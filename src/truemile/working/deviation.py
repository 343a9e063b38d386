"""The hand lines of a swing: the deviation on each heading, then coefficients A to E by hand rule and least squares."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from truemile.core.deviation_curve import LETTERS, ApproximateCurve, Coefficients, harmonics
from truemile.core.deviation_fit import DeviationFit, Form
from truemile.core.deviation_hand import POINTS, Rule
from truemile.core.swing import SwingResult
from truemile.core.swing_readings import SwingMethod, SwingReading
from truemile.core.uncertainty import coverage_factor
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working, printed

#: More readings than this are not summed up in a line.
_MOST_TERMS: Final = 16
_BY_PROGRAM: Final = "least squares by the program"
_TERMS: Final = ("", "sin(h_{n})", "cos(h_{n})", "sin(2 * h_{n})", "cos(2 * h_{n})")


def explain_swing(result: SwingResult) -> Working:
    """Return the lines of a swing: the deviations, and a part for the curve of each state of the electrics.

    Parameters
    ----------
    result
        From `truemile.core.swing.analyse_swing`.
    """
    parts = []
    for curve in result.curves:
        state = f", electrics {curve.electrics.value}" if curve.electrics.value else ""
        parts.append(explain_fit(curve.fit, f"Deviation curve{state}", a_lost=not result.method.shows_a))
    return settle(lambda carried: _write_swing(result, carried)).working(*parts)


def explain_fit(fit: DeviationFit, title: str = "Deviation curve", *, a_lost: bool = False) -> Working:
    """Return the lines from observed deviations to the coefficients.

    Parameters
    ----------
    fit
        From `truemile.core.deviation_fit.fit_deviation`.
    title
        Above the lines.
    a_lost
        True where A was taken as 0 since the bearing of the object was not known.

    Notes
    -----
    On equally spaced headings least squares comes down to means: A = Σd / N, B = 2 Σ d sin h / N and so on. On others,
    and for the exact form, the coefficients are the program's, and only the residuals are worked.
    """
    return settle(lambda carried: _write_fit(fit, title, carried, a_lost=a_lost)).working()


# ---------------------------------------------------------------- deviations


def _write_swing(result: SwingResult, carried: Carried) -> Hand:
    hand = Hand(f"Swing by {result.method.value}", carried)
    hand.section("What all readings have in common")
    if result.method is not SwingMethod.UNKNOWN_BEARING and result.method is not SwingMethod.RECIPROCAL:
        hand.given("v", "variation, east above 0", result.conditions.variation_deg, 1, "°")
    if result.method is SwingMethod.KNOWN_BEARING and result.conditions.bearing_true_deg is not None:
        hand.given("T", "true bearing", result.conditions.bearing_true_deg, 1, "°")
    if result.ground is not None:
        set_rad = math.radians(result.ground.stream_set_deg)
        source = "circle through the velocities, least squares by the program"
        for symbol, part in (("c_E", math.sin(set_rad)), ("c_N", math.cos(set_rad))):
            words = f"stream, {'east' if symbol == 'c_E' else 'north'}"
            hand.given(symbol, words, result.ground.stream_drift_kn * part, 2, "kn", source=source)
    mean = result.deviations.mean_bearing_deg
    if mean is not None:
        hand.given("m", "mean of the compass bearings", mean, 1, "°", source="by the program, across north as well")
    for i, reading in enumerate(result.readings, 1):
        _write_reading(hand, result, reading, i)
    hand.note("Each deviation belongs to the compass heading on which it was found. East is above 0.")
    if not result.method.shows_a:
        hand.note("The mean bearing is the magnetic one less A: coefficient A is lost.")
    return hand


def _write_reading(hand: Hand, result: SwingResult, reading: SwingReading, n: int) -> None:
    hand.section(f"Reading {n}")
    hand.given(f"h_{n}", "heading, compass", reading.heading_compass_deg, 1, "°")
    if result.method.sights and reading.bearing_compass_deg is not None:
        hand.given(f"b_{n}", "bearing, compass", reading.bearing_compass_deg, 1, "°")
    less = f"b_{n}"
    if result.method is SwingMethod.GROUND_VECTORS:
        _write_ground(hand, result, reading, n)
        formula, less = f"T_{n} - v", f"h_{n}"
    elif result.method is SwingMethod.UNKNOWN_BEARING:
        formula = "m"
    elif result.method is SwingMethod.RECIPROCAL:
        hand.given(f"S_{n}", "bearing of the boat by the shore compass", reading.reference_deg or 0.0, 1, "°")
        formula = f"S_{n} + 180"
    else:
        reference = "T"
        if reading.reference_deg is not None:
            reference = f"T_{n}"
            words = "true heading" if result.method is SwingMethod.TRUSTED_HEADING else "true bearing"
            hand.given(reference, words, reading.reference_deg, 1, "°")
        formula = f"{reference} - v"
        less = f"h_{n}" if result.method is SwingMethod.TRUSTED_HEADING else less
    _write_difference(hand, f"d_{n}", f"{formula} - {less}", result.deviations.observed[n - 1].deviation_deg)


def _write_ground(hand: Hand, result: SwingResult, reading: SwingReading, n: int) -> None:
    hand.given(f"V_{n}", "speed over the ground", reading.sog_kn or 0.0, 2, "kn")
    hand.given(f"K_{n}", "course over the ground, true", reading.cog_true_deg or 0.0, 1, "°")
    hand.line(f"x_{n}", "through the water, east", f"V_{n} * sin(K_{n}) - c_E", 3, "kn")
    hand.line(f"y_{n}", "through the water, north", f"V_{n} * cos(K_{n}) - c_N", 3, "kn")
    heading = result.ground.headings_true_deg[n - 1] if result.ground is not None else 0.0
    turn = "360 + " if heading > 180.0 else ""
    hand.line(f"T_{n}", "heading, true", f"{turn}atan2(x_{n}, y_{n})", 1, "°", core=heading)


def _write_difference(hand: Hand, symbol: str, formula: str, core: float) -> None:
    """A difference of directions, the short way round."""
    raw = 0.0
    sign = 1.0
    for word in formula.split():
        if word in {"+", "-"}:
            sign = 1.0 if word == "+" else -1.0
        else:
            raw += sign * (180.0 if word == "180" else hand.printed_value(word))
    turns = round((core - raw) / 360.0)
    around = {0: "", 1: " + 360", -1: " - 360", 2: " + 720", -2: " - 720"}[turns]
    hand.line(symbol, "deviation", formula + around, 1, "°", core=core, kind=Kind.ANSWER)


# ---------------------------------------------------------------- coefficients


def _write_fit(fit: DeviationFit, title: str, carried: Carried, *, a_lost: bool) -> Hand:
    hand = Hand(title, carried)
    hand.section("Deviations by compass heading")
    for n, each in enumerate(fit.residuals, 1):
        hand.given(f"h_{n}", f"heading {n}, compass", each.observed.heading_compass_deg, 1, "°")
        hand.given(f"d_{n}", "deviation, east above 0", each.observed.deviation_deg, 1, "°")
    if fit.hand is not None:
        _write_hand_rule(hand, fit)
    if fit.form is Form.EXACT:
        _write_exact(hand, fit)
    else:
        _write_approximate(hand, fit, a_lost=a_lost)
    _write_scatter(hand, fit)
    _write_coefficients(hand, fit, a_lost=a_lost)
    return hand


def _write_hand_rule(hand: Hand, fit: DeviationFit) -> None:
    if fit.hand is None:
        return
    hand.section(f"By the hand rule of the {fit.hand.rule.value}")
    at = {
        POINTS[round(each.observed.heading_compass_deg / 45.0) % 8]: f"d_{n}" for n, each in enumerate(fit.residuals, 1)
    }
    every = " + ".join(at.values())
    formulas = {"A": f"({every}) / {len(at)}"}
    if fit.hand.rule is not Rule.INTERCARDINALS:
        formulas["B"] = f"({at['E']} - {at['W']}) / 2"
        formulas["C"] = f"({at['N']} - {at['S']}) / 2"
    if fit.hand.rule is not Rule.CARDINALS:
        formulas["D"] = f"({at['NE']} + {at['SW']} - {at['SE']} - {at['NW']}) / 4"
    if fit.hand.rule is not Rule.INTERCARDINALS:
        formulas["E"] = f"({at['N']} + {at['S']} - {at['E']} - {at['W']}) / 4"
    for letter, formula in formulas.items():
        core = fit.hand.coefficients[LETTERS.index(letter)]
        hand.line(f"{letter}_h", f"coefficient {letter}, by hand", formula, 2, "°", core=core, kind=Kind.SHOWN)


def _write_approximate(hand: Hand, fit: DeviationFit, *, a_lost: bool) -> None:
    hand.section("By least squares")
    count, worked = len(fit.residuals), _equally_spaced(fit) and len(fit.residuals) <= _MOST_TERMS
    coefficients = _with_a(fit) if a_lost else fit.coefficients
    for i, letter in enumerate(LETTERS):
        words = "mean of the deviations, not A" if a_lost and i == 0 else f"coefficient {letter}, for the residuals"
        if worked:
            terms = " + ".join(f"d_{n}" + (f" * {_TERMS[i]}" if i else "") for n in range(1, count + 1))
            formula = f"{'2 * ' if i else ''}({terms.replace('{n}', '{}')}) / {count}"
            formula = _numbered(formula, count) if i else formula
            hand.line(f"{letter}_q", words, formula, 2, "°", core=coefficients[i])
        else:
            hand.given(f"{letter}_q", words, coefficients[i], 2, "°", source=_BY_PROGRAM)
    hand.section("How far each reading is off the curve")
    for n, each in enumerate(fit.residuals, 1):
        terms = "".join(f" - {x}_q * {term}" for x, term in zip(LETTERS[1:], _TERMS[1:], strict=True))
        formula = f"d_{n} - A_q{terms}".replace("{n}", str(n))
        hand.line(f"r_{n}", f"reading {n} off the curve", formula, 2, "°", core=each.residual_deg)


def _write_coefficients(hand: Hand, fit: DeviationFit, *, a_lost: bool) -> None:
    """The answers, each with its ±."""
    hand.section("The coefficients")
    places, unit = (3, "") if fit.form is Form.EXACT else (2, "°")
    for i, letter in enumerate(LETTERS):
        if a_lost and i == 0:
            hand.note("A is taken as 0: the bearing of the object was not known.")
            continue
        hand.line(
            letter,
            f"coefficient {letter}",
            f"{letter}_q",
            places,
            unit,
            core=fit.coefficients[i],
            kind=Kind.ANSWER,
            plus_minus=_plus_minus(fit, i, places),
        )


def _numbered(formula: str, count: int) -> str:
    """Put the numbers of the readings into the places left for them, in order."""
    return formula.format(*range(1, count + 1))


def _with_a(fit: DeviationFit) -> Coefficients:
    """Coefficients with the A that the readings as such have, which is what the residuals are counted from."""
    headings = np.asarray([each.observed.heading_compass_deg for each in fit.residuals])
    fitted = np.asarray([each.fitted_deg for each in fit.residuals])
    without = harmonics(headings) @ np.asarray(fit.coefficients)
    return fit.coefficients._replace(a=float(np.mean(fitted - without)) + fit.coefficients.a)


def _equally_spaced(fit: DeviationFit) -> bool:
    """True where the columns are orthogonal, so that each coefficient is a mean of its own."""
    if not isinstance(fit.curve, ApproximateCurve):
        return False
    count = len(fit.residuals)
    columns = harmonics(np.asarray([each.observed.heading_compass_deg for each in fit.residuals]))
    ideal = np.diag([1.0, 0.5, 0.5, 0.5, 0.5]) * count
    return bool(np.abs(columns.T @ columns - ideal).max() < 1e-9 * count)


def _write_exact(hand: Hand, fit: DeviationFit) -> None:
    hand.section("The exact form, by least squares")
    for i, letter in enumerate(LETTERS):
        hand.given(f"{letter}_q", f"coefficient {letter}", fit.coefficients[i], 4, source=_BY_PROGRAM)
    hand.section("How far each reading is off the curve")
    for n, each in enumerate(fit.residuals, 1):
        hand.given(f"q_{n}", f"deviation {n} on the curve", each.fitted_deg, 2, "°", source=_BY_PROGRAM)
        hand.line(
            f"p_{n}",
            "its sine by the exact form",
            f"A_q * cos(q_{n}) + B_q * sin(h_{n}) + C_q * cos(h_{n}) + D_q * sin(2 * h_{n} + q_{n})"
            f" + E_q * cos(2 * h_{n} + q_{n})",
            4,
            core=math.sin(math.radians(each.fitted_deg)),
        )
        hand.line(f"r_{n}", f"reading {n} off the curve", f"d_{n} - q_{n}", 2, "°", core=each.residual_deg)


def _write_scatter(hand: Hand, fit: DeviationFit) -> None:
    if not fit.dof:
        hand.note("Five readings leave nothing that shows the scatter.")
        return
    hand.section("The scatter")
    squares = " + ".join(f"r_{n}**2" for n in range(1, len(fit.residuals) + 1))
    hand.line("s", "residual standard deviation", f"sqrt(({squares}) / {fit.dof})", 2, "°", core=fit.residual_sd_deg)
    hand.note("Readings beyond twice the scatter are looked at again.")


def _plus_minus(fit: DeviationFit, i: int, places: int) -> str:
    known = fit.curve.u_coefficients
    return "" if known is None else printed(coverage_factor(fit.curve.dof) * known[i], places)
