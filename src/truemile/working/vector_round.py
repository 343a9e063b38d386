"""The hand lines behind a vector round: components of each leg, factor, heading offset, stream, and how the legs agree.

Two legs are subtracted from each other; legs at one log speed whose headings close all round are averaged along and
across the heading; three speeds on headings 120° apart have a closed form; anything else takes the sums of a straight
line. What no hand can do, leeway and a changing stream or odd sets of speeds alone, is given and checked leg by leg.
"""

from __future__ import annotations

import math
from enum import Enum, auto
from typing import Final

from truemile.core.ground_vectors import Tack
from truemile.core.numbers import decimals_of
from truemile.core.uncertainty import Budget, rounded
from truemile.core.vector_budget import TIDE, UNEVENNESS, group_of
from truemile.core.vector_round import LegResult, Method, VectorRound
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working, printed

#: Sums over more legs than this are given.
_MOST_TERMS: Final = 8
#: Headings whose unit vectors add up to less than this a leg close all round.
_CLOSED: Final = 1e-9


class _Way(Enum):
    """How far the round can be worked by hand."""

    DIFFERENCE = auto()
    CLOSED = auto()
    SUMS = auto()
    THREE_SPEEDS = auto()
    GIVEN = auto()


def explain_round(result: VectorRound, *, title: str = "") -> Working:
    """Return the lines that a navigator writes to get factor, heading offset and stream of a vector round.

    Parameters
    ----------
    result
        From `truemile.core.vector_round.solve_round`.
    title
        Above the lines.
    """
    heading = title or f"Vector round, {len(result.legs)} legs"
    return settle(lambda carried: _write(result, heading, carried)).working()


def _way(result: VectorRound) -> _Way:
    logs = {leg.leg.indicated_kn for leg in result.legs}
    closed = len(logs) == 1 and result.conditioning.mean_resultant_length < _CLOSED
    if result.method is Method.SPEEDS:
        return _Way.THREE_SPEEDS if closed and len(result.legs) == 3 else _Way.GIVEN
    if result.leeway_budget is not None or result.stream_change_kn_h is not None:
        return _Way.GIVEN
    if len(result.legs) == 2:
        return _Way.DIFFERENCE
    return _Way.CLOSED if closed else _Way.SUMS


def _write(result: VectorRound, title: str, carried: Carried) -> Hand:
    hand, way = Hand(title, carried), _way(result)
    for leg in result.legs:
        _write_leg(hand, leg, way)
    {
        _Way.DIFFERENCE: _write_difference,
        _Way.CLOSED: _write_closed,
        _Way.SUMS: _write_sums,
        _Way.THREE_SPEEDS: _write_three_speeds,
        _Way.GIVEN: _write_given,
    }[way](hand, result)
    _write_plus_minus(hand, result)
    _write_notes(hand, result, way)
    return hand


# ---------------------------------------------------------------- the legs


def _write_leg(hand: Hand, result: LegResult, way: _Way) -> None:
    n, leg = result.number, result.leg
    hand.section(f"Leg {n}" + (f", {leg.tack.value} tack" if leg.tack is not Tack.POWER else ""))
    if leg.variation_deg:
        hand.given(f"M_{n}", "heading, magnetic", leg.heading_deg, 1, "°")
        hand.given(f"v_{n}", "variation, east above 0", leg.variation_deg, 1, "°")
        turn = round((result.leg.heading_true_deg - leg.heading_deg - leg.variation_deg) / 360.0)
        formula = f"M_{n} + v_{n}" + {-1: " - 360", 0: "", 1: " + 360"}[turn]
        hand.line(f"h_{n}", "heading, true", formula, 1, "°", core=leg.heading_true_deg)
    else:
        hand.given(f"h_{n}", "heading, true", leg.heading_deg, 1, "°")
    hand.given(f"L_{n}", "speed shown by the log", leg.indicated_kn, 1, "kn")
    hand.given(f"V_{n}", "speed over the ground", leg.sog_kn, 1, "kn")
    if leg.cog_true_deg is None or way is _Way.THREE_SPEEDS:
        return
    hand.given(f"C_{n}", "course over the ground, true", leg.cog_true_deg, 1, "°")
    hand.line(f"E_{n}", "over the ground, east", f"V_{n} * sin(C_{n})", 2, "kn")
    hand.line(f"N_{n}", "over the ground, north", f"V_{n} * cos(C_{n})", 2, "kn")
    if way in {_Way.DIFFERENCE, _Way.SUMS}:
        hand.line(f"e_{n}", "by log and heading, east", f"L_{n} * sin(h_{n})", 2, "kn")
        hand.line(f"n_{n}", "by log and heading, north", f"L_{n} * cos(h_{n})", 2, "kn")
    if way is _Way.CLOSED:
        hand.line(f"F_{n}", "over the ground, ahead along the heading", f"V_{n} * cos(C_{n} - h_{n})", 2, "kn")
        hand.line(f"X_{n}", "over the ground, to starboard of it", f"V_{n} * sin(C_{n} - h_{n})", 2, "kn")


def _sum(result: VectorRound, term: str) -> str:
    """A term for each leg, ``{n}`` standing for its number, joined by plus signs."""
    return " + ".join(term.replace("{n}", str(leg.number)) for leg in result.legs)


# ---------------------------------------------------------------- ways of working


def _write_difference(hand: Hand, result: VectorRound) -> None:
    hand.section("Leg 1 less leg 2: the stream drops out")
    hand.line("A_E", "over the ground, east", "E_1 - E_2", 2, "kn")
    hand.line("A_N", "over the ground, north", "N_1 - N_2", 2, "kn")
    hand.line("B_E", "by log and heading, east", "e_1 - e_2", 2, "kn")
    hand.line("B_N", "by log and heading, north", "n_1 - n_2", 2, "kn")
    hand.line("k_c", "how much longer over the ground", "hypot(A_E, A_N) / hypot(B_E, B_N)", 4)
    ground = hand.line("alpha", "direction over the ground", "atan2(A_E, A_N)", 1, "°")
    logged = hand.line("phi", "direction by log and heading", "atan2(B_E, B_N)", 1, "°")
    around = ground - logged
    turn = " - 360" if around > 180.0 else " + 360" if around < -180.0 else ""
    hand.line("b_c", "how far over the ground lies to starboard of it", f"alpha - phi{turn}", 2, "°")
    _write_factor(hand, result, "k_c")
    _write_offset(hand, result, "b_c")
    _write_stream(
        hand,
        result,
        "E_1 - k_c * (e_1 * cos(b_c) + n_1 * sin(b_c))",
        "N_1 - k_c * (n_1 * cos(b_c) - e_1 * sin(b_c))",
    )


def _write_closed(hand: Hand, result: VectorRound) -> None:
    count = len(result.legs)
    hand.section("Means: headings that close all round cancel the stream ahead and to starboard")
    hand.line("F", "mean ahead", f"({_sum(result, 'F_{n}')}) / {count}", 3, "kn")
    hand.line("X", "mean to starboard", f"({_sum(result, 'X_{n}')}) / {count}", 3, "kn")
    _write_factor(hand, result, "hypot(F, X) / L_1")
    _write_offset(hand, result, "atan2(X, F)")
    _write_stream(hand, result, f"({_sum(result, 'E_{n}')}) / {count}", f"({_sum(result, 'N_{n}')}) / {count}")
    _write_residuals(
        hand,
        result,
        "hypot(E_{n} - F * sin(h_{n}) - X * cos(h_{n}) - c_E, N_{n} - F * cos(h_{n}) + X * sin(h_{n}) - c_N)",
    )


def _write_sums(hand: Hand, result: VectorRound) -> None:
    count = len(result.legs)
    hand.section("Means of the legs")
    for symbol, words in (
        ("E", "over the ground, east"),
        ("N", "over the ground, north"),
        ("e", "by log and heading, east"),
        ("n", "by log and heading, north"),
    ):
        formula = f"({_sum(result, symbol + '_{n}')}) / {count}"
        hand.line(f"{symbol}_m", f"mean {words}", formula, 3, "kn")
    hand.section("Sums of what each leg differs from the mean: the stream drops out")
    _write_three_sums(hand, result)
    _write_factor(hand, result, "hypot(P, Q) / S")
    _write_offset(hand, result, "atan2(Q, P)")
    _write_stream(hand, result, "E_m - (P * e_m + Q * n_m) / S", "N_m - (P * n_m - Q * e_m) / S")
    _write_residuals(
        hand,
        result,
        "hypot(E_{n} - (P * e_{n} + Q * n_{n}) / S - c_E, N_{n} - (P * n_{n} - Q * e_{n}) / S - c_N)",
    )


def _write_three_sums(hand: Hand, result: VectorRound) -> None:
    terms = {
        "S": ("squares of the log's parts", "(e_{n} - e_m)**2 + (n_{n} - n_m)**2"),
        "P": (
            "products of like parts",
            "(e_{n} - e_m) * (E_{n} - E_m) + (n_{n} - n_m) * (N_{n} - N_m)",
        ),
        "Q": (
            "products of crossed parts",
            "(n_{n} - n_m) * (E_{n} - E_m) - (e_{n} - e_m) * (N_{n} - N_m)",
        ),
    }
    if len(result.legs) <= _MOST_TERMS:
        for symbol, (words, term) in terms.items():
            hand.line(symbol, words, _sum(result, term), 2, "kn²")
        return
    for symbol, value in _sums_by_program(result).items():
        words, term = terms[symbol]
        shown = term.replace("_{n}", "").replace("**2", "²").replace("_m", "ₘ").replace(" * ", " × ")
        hand.given(symbol, words, value, 3, "kn²", source=f"sum over the legs of {shown}")


def _sums_by_program(result: VectorRound) -> dict[str, float]:
    """S, P and Q for more legs than a hand adds up."""
    legs = [leg.leg for leg in result.legs]
    logged = [_vector(leg.indicated_kn, leg.heading_true_deg) for leg in legs]
    ground = [_vector(leg.sog_kn, leg.cog_true_deg or 0.0) for leg in legs]
    x = [each - sum(logged) / len(legs) for each in logged]
    g = [each - sum(ground) / len(legs) for each in ground]
    total = sum((a.conjugate() * b for a, b in zip(x, g, strict=True)), 0j)
    return {"S": math.fsum(abs(a) ** 2 for a in x), "P": total.real, "Q": total.imag}


def _vector(speed_kn: float, direction_deg: float) -> complex:
    """North and east part."""
    angle = math.radians(direction_deg)
    return complex(speed_kn * math.cos(angle), speed_kn * math.sin(angle))


def _write_three_speeds(hand: Hand, result: VectorRound) -> None:
    hand.section("Three speeds on headings 120° apart")
    hand.line("m", "mean of the squares", f"({_sum(result, 'V_{n}**2')}) / 3", 3, "kn²")
    hand.line("D", "how much they differ", f"({_sum(result, '(V_{n}**2 / m - 1)**2')}) / 6", 4)
    hand.line("B", "part of the boat", "1 / 2 + sqrt(1 / 4 - D)", 4)
    hand.line("W", "speed through the water", "sqrt(m * B)", 2, "kn")
    _write_factor(hand, result, "W / L_1")
    hand.section("The stream")
    shown, around = rounded(result.stream_drift_kn, result.drift_budget.expanded)
    hand.line(
        "c",
        "drift of the stream",
        "sqrt(m * D / B)",
        decimals_of(shown),
        "kn",
        core=result.stream_drift_kn,
        kind=Kind.ANSWER,
        plus_minus=around,
    )
    hand.line("s_E", "squares, east", _sum(result, "V_{n}**2 * sin(h_{n})"), 2)
    hand.line("s_N", "squares, north", _sum(result, "V_{n}**2 * cos(h_{n})"), 2)
    _write_set(hand, result, "s_E", "s_N")


def _write_given(hand: Hand, result: VectorRound) -> None:
    """What only repeated trial gives, and the check of each leg that anyone can make."""
    source = "least squares by the program"
    hand.section("Found by repeated trial")
    hand.given("k_0", "log factor", result.factor, 4, source=source)
    _write_answer(hand, "k", "log factor, true over indicated", "k_0", result.budget)
    steered = "h_{n}"
    if result.offset_budget is not None:
        hand.given("b_0", "heading offset, to add to the heading", result.offset_budget.value, 2, "°", source=source)
        _write_answer(hand, "b", "heading offset", "b_0", result.offset_budget, "°")
        steered += " + b_0"
    if result.leeway_budget is not None:
        hand.given("lam_0", "leeway", result.leeway_budget.value, 2, "°", source=source)
        _write_answer(hand, "lam", "leeway", "lam_0", result.leeway_budget, "°")
    hand.given("c_E", "stream, east", result.fit.value("east"), 3, "kn", source=source)
    hand.given("c_N", "stream, north", result.fit.value("north"), 3, "kn", source=source)
    stream = {"E": "c_E", "N": "c_N"}
    if result.stream_change_kn_h is not None:
        north, east = result.stream_change_kn_h
        hand.given("g_E", "change of the stream in an hour, east", east, 3, "kn", source=source)
        hand.given("g_N", "change of the stream in an hour, north", north, 3, "kn", source=source)
        stream = {part: f"{symbol} + g_{part} * T_{{n}}" for part, symbol in stream.items()}
    _write_drift_and_set(hand, result)
    hand.section("How far each leg is off")
    for leg in result.legs:
        _write_check(hand, result, leg, steered, stream)


def _write_check(hand: Hand, result: VectorRound, leg: LegResult, steered: str, stream: dict[str, str]) -> None:
    n, sign = leg.number, leg.leg.tack.leeway_sign if result.leeway_budget is not None else 0
    way = steered + {1: " + lam_0", -1: " - lam_0", 0: ""}[sign]
    if result.stream_change_kn_h is not None:
        mid = result.mid_h[n - 1]
        hand.given(f"T_{n}", "middle of the leg, from that of the round", mid, 3, "h")
    east = f"(k_0 * L_{n} * sin({way}) + {stream['E']})".replace("{n}", str(n))
    north = f"(k_0 * L_{n} * cos({way}) + {stream['N']})".replace("{n}", str(n))
    if result.method is Method.SPEEDS:
        formula, core = f"V_{n} - hypot({east}, {north})", leg.residual_along_kn
    else:
        formula, core = f"hypot(E_{n} - {east}, N_{n} - {north})", leg.residual_kn
    hand.line(f"r_{n}", f"leg {n} off the fit", formula, 2, "kn", core=core)


# ---------------------------------------------------------------- the answers


def _write_factor(hand: Hand, result: VectorRound, formula: str) -> None:
    _write_answer(hand, "k", "log factor, true over indicated", formula, result.budget, section="The factor")


def _write_offset(hand: Hand, result: VectorRound, formula: str) -> None:
    if result.offset_budget is None:
        return
    words = "heading offset, to add to the heading"
    _write_answer(hand, "b", words, formula, result.offset_budget, "°", section="The heading offset")


def _write_answer(
    hand: Hand, symbol: str, words: str, formula: str, budget: Budget, unit: str = "", *, section: str = ""
) -> None:
    if section:
        hand.section(section)
    shown, around = rounded(budget.value, budget.expanded)
    places = decimals_of(shown)
    hand.line(symbol, words, formula, places, unit, core=budget.value, kind=Kind.ANSWER, plus_minus=around)


def _write_stream(hand: Hand, result: VectorRound, east: str, north: str) -> None:
    hand.section("The stream")
    hand.line("c_E", "stream, east", east, 2, "kn", core=result.fit.value("east"))
    hand.line("c_N", "stream, north", north, 2, "kn", core=result.fit.value("north"))
    _write_drift_and_set(hand, result)


def _write_drift_and_set(hand: Hand, result: VectorRound) -> None:
    _write_answer(hand, "c", "drift of the stream", "hypot(c_E, c_N)", result.drift_budget, "kn")
    _write_set(hand, result, "c_E", "c_N")


def _write_set(hand: Hand, result: VectorRound, east: str, north: str) -> None:
    if result.set_expanded_deg is None:
        hand.note("The stream is too weak to have a set.")
        return
    around = printed(result.set_expanded_deg, 0)
    turn = "360 + " if result.stream_set_deg > 180.0 else ""
    hand.line(
        "theta",
        "set of the stream, true",
        f"{turn}atan2({east}, {north})",
        0,
        "°",
        core=result.stream_set_deg,
        kind=Kind.ANSWER,
        plus_minus=around,
    )


def _write_residuals(hand: Hand, result: VectorRound, formula: str) -> None:
    if result.dof <= 0 or len(result.legs) > _MOST_TERMS:
        return
    hand.section("How far each leg is off")
    for leg in result.legs:
        n = leg.number
        hand.line(f"r_{n}", f"leg {n} off the fit", formula.replace("{n}", str(n)), 2, "kn", core=leg.residual_kn)


def _write_plus_minus(hand: Hand, result: VectorRound) -> None:
    hand.section("The ± of the factor")
    places = decimals_of(rounded(result.factor, result.expanded)[0])
    hand.given("u", "standard uncertainty of the factor", result.u, places + 1, source="from the budget")
    dof = result.budget.dof
    freedom = "many degrees of freedom" if dof > 200 else f"{dof:.0f} degrees of freedom"
    hand.given("t", "coverage factor to 95 %", result.budget.coverage_factor, 2, source=freedom)
    hand.line("U", "uncertainty that is printed", "t * u", places, core=result.expanded, kind=Kind.SHOWN)


def _write_notes(hand: Hand, result: VectorRound, way: _Way) -> None:
    if way is _Way.GIVEN:
        hand.note("These values are found by repeated trial, which no hand does; each leg's check is short.")
    largest = result.budget.grouped(group_of)[0]
    what = {UNEVENNESS: "how unevenly the legs ran", TIDE: "the stream, which may have changed"}
    hand.note(f"Most of the ± comes from {what.get(largest.label, largest.label)}.")
    if result.refusals:
        hand.note("Not to be put in force: " + " ".join(result.reasons))
