"""The hand lines behind a log factor: each run, the mean done by hand, the mean of means, crab, factor and stream."""

from __future__ import annotations

from statistics import fmean
from typing import Final

from truemile.core.angles import circular_mean
from truemile.core.log_factor import LogFactor, RunResult
from truemile.core.log_runs import Direction, Indication
from truemile.core.numbers import decimals_of
from truemile.core.uncertainty import rounded
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working, printed
from truemile.working.log_means import write_mean, write_weights
from truemile.working.minutes import elapsed_text, in_minutes

#: More readings than this are added up first.
_MOST_TERMS: Final = 10


def explain(result: LogFactor, *, title: str = "") -> Working:
    """Return the lines that a navigator writes to get this factor.

    Parameters
    ----------
    result
        From `truemile.core.log_factor.factor_from_runs`.
    title
        Above the lines; the course if empty.
    """
    return settle(lambda carried: _write(result, title or f"Log factor, {result.course.name}", carried)).working()


def course_decimals(length_nm: float) -> int:
    """Return the decimals that a course length is printed to: as charted, else three."""
    return next((d for d in (2, 3) if abs(float(printed(length_nm, d)) - length_nm) < 1e-12), 3)


def _write(result: LogFactor, title: str, carried: Carried) -> Hand:
    hand = Hand(title, carried)
    hand.section("The course")
    length = result.course.length_nm
    hand.given("D", "length of the course", length, course_decimals(length), "nm", source=_course_source(result))
    for run in result.runs:
        _write_run(hand, run, result.indication)
    hand.section("The mean as done by hand")
    n = len(result.runs)
    mean = " + ".join(f"k_{run.number}" for run in result.runs)
    hand.line("k_h", "mean of the run factors", f"({mean}) / {n}", 3, core=result.hand_factor, kind=Kind.SHOWN)
    write_weights(hand, result)
    hand.section("Free of the stream")
    _write_means(hand, result)
    _write_factor(hand, result)
    _write_stream(hand, result)
    _write_reasons(hand, result)
    return hand


def _course_source(result: LogFactor) -> str:
    start, end = result.course.start, result.course.end
    return "charted" if start is None or end is None else f"{start.name} to {end.name}"


def _write_run(hand: Hand, result: RunResult, indication: Indication) -> None:
    n, run = result.number, result.run
    hand.section(f"Run {n}, {run.direction.value}")
    hand.line(
        f"t_{n}",
        f"elapsed time {elapsed_text(run.elapsed_s)}, in minutes",
        in_minutes(run.elapsed_s),
        3,
        "min",
        core=run.elapsed_s / 60.0,
    )
    hand.line(f"V_{n}", "speed over the ground", f"60 * D / t_{n}", 2, "kn", core=result.ground_kn)
    if indication is Indication.DISTANCE:
        _write_counter(hand, result)
    else:
        _write_readings(hand, result)
    hand.line(f"k_{n}", "factor of this run alone", f"V_{n} / L_{n}", 3, core=result.factor, kind=Kind.SHOWN)


def _write_readings(hand: Hand, result: RunResult) -> None:
    n, readings = result.number, result.run.speed_readings_kn
    places = max(1, *(_decimals(reading) for reading in readings))
    words = "speed shown by the log"
    if len(readings) == 1:
        hand.given(f"L_{n}", words, readings[0], places, "kn", source="one reading")
    elif len(readings) <= _MOST_TERMS:
        terms = " + ".join(f"{reading:.{places}f}" for reading in readings)
        formula = f"({terms}) / {len(readings)}"
        hand.line(f"L_{n}", f"{words}, mean of {len(readings)} readings", formula, 2, "kn", core=result.indicated_kn)
    else:
        total = result.indicated_kn * len(readings)
        hand.given(f"s_{n}", f"sum of {len(readings)} readings of the log", round(total, places), places, "kn")
        hand.line(f"L_{n}", f"{words}, mean", f"s_{n} / {len(readings)}", 2, "kn", core=result.indicated_kn)


def _write_counter(hand: Hand, result: RunResult) -> None:
    n, run = result.number, result.run
    start, stop = run.log_start_nm or 0.0, run.log_stop_nm or 0.0
    places = max(2, _decimals(start), _decimals(stop))
    if start:
        formula = f"{stop:.{places}f} - {start:.{places}f}"
        hand.line(f"d_{n}", "distance by the counter, stop less start", formula, places, "nm", core=stop - start)
    else:
        hand.given(f"d_{n}", "distance by the counter", stop, places, "nm", source="zeroed at the start")
    words = "speed that the counter means"
    hand.line(f"L_{n}", words, f"60 * d_{n} / t_{n}", 2, "kn", core=result.indicated_kn)


def _decimals(reading: float) -> int:
    return min(4, decimals_of(f"{reading:.6f}".rstrip("0")))


def _write_means(hand: Hand, result: LogFactor) -> None:
    plain = result.conditions.crossing_deg == 0
    weights = result.weights.weights
    ground = sum(w * run.ground_kn for w, run in zip(weights, result.runs, strict=True))
    write_mean(hand, result, "V", "G" if plain else "M", "mean speed over the ground", ground)
    if not plain:
        hand.given(
            "e", "angle off the square at which the transits were crossed", result.conditions.crossing_deg, 1, "°"
        )
        hand.line("G", "over the longer line that she ran", "M / cos(e)", 2, "kn", core=result.mean_ground_kn)
    write_mean(hand, result, "L", "L", "mean speed shown by the log", result.mean_indicated_kn)


def _write_factor(hand: Hand, result: LogFactor) -> None:
    above = "G"
    if result.crab.angle_deg:
        _write_crab(hand, result)
        hand.line("W", "speed through the water", "G / cos(a)", 2, "kn", core=result.water_kn)
        above = "W"
    shown, around = rounded(result.factor, result.expanded)
    places = decimals_of(shown)
    hand.section("The factor")
    words = "log factor, true over indicated"
    hand.line("k", words, f"{above} / L", places, core=result.factor, kind=Kind.ANSWER, plus_minus=around)
    hand.given("u", "standard uncertainty of the factor", result.u, places + 1, source="from the budget")
    coverage = result.budget.coverage_factor
    hand.given("c", "coverage factor to 95 %", coverage, 2, source=_freedom(result.budget.dof))
    hand.line("U", "uncertainty that is printed", "c * u", places, core=result.expanded, kind=Kind.SHOWN)
    hand.line("d", "estimate less the mean by hand", "k - k_h", min(3, places))


def _freedom(dof: float) -> str:
    return "many degrees of freedom" if dof > 200 else f"{dof:.0f} degrees of freedom"


def _write_crab(hand: Hand, result: LogFactor) -> None:
    angle = result.crab.angle_deg or 0.0
    if result.conditions.crab_deg is not None:
        hand.given("a", "crab angle, between heading and track", angle, 1, "°", source=result.crab.source)
        return
    headings = {}
    for direction, symbol in ((Direction.OUT, "H_o"), (Direction.BACK, "H_b")):
        steered = [r.run.heading_compass_deg for r in result.runs if r.run.direction is direction]
        noted = [heading for heading in steered if heading is not None]
        mean = noted[0] if len(noted) == 1 else float(circular_mean(noted).mean_deg)
        source = "" if len(noted) == 1 else f"mean of {len(noted)} runs"
        words = f"compass course steered, {direction.value}"
        headings[symbol] = hand.given(symbol, words, mean, 1, "°", source=source)
    around = headings["H_o"] - headings["H_b"] - 180.0
    turn = " + 360" if around < -180.0 else ""
    formula = f"abs(H_o - H_b - 180{turn}) / 2"
    hand.line("a", "crab angle, half of what the two differ from opposite", formula, 1, "°", core=angle)


def _write_stream(hand: Hand, result: LogFactor) -> None:
    """Each run's own stream, their middle, and the stream across if she crabbed."""
    hand.section("The stream that comes out, above 0 where it flows the way of an outward run")
    ratio = result.mean_ground_kn / result.mean_indicated_kn
    hand.line("q", "over the ground for each knot shown, stream taken out", "G / L", 3, core=ratio)
    stretched = " / cos(e)" if result.conditions.crossing_deg else ""
    for run in result.runs:
        n, ground, log = run.number, f"V_{run.number}{stretched}", f"q * L_{run.number}"
        formula = f"{ground} - {log}" if run.run.direction is Direction.OUT else f"{log} - {ground}"
        hand.line(f"C_{n}", f"stream along the course, run {n}", formula, 2, "kn", core=run.stream_kn)
    words = "stream along the course in the middle of the trial"
    around = printed(result.expanded_stream_along_kn, 2)
    formula, core = _middle_formula(result), result.stream_along_kn
    hand.line("S", words, formula, 2, "kn", core=core, kind=Kind.ANSWER, plus_minus=around)
    if result.stream_across_kn is not None and result.crab.angle_deg:
        words = "stream across it" + (f", to {result.stream_across_to}" if result.stream_across_to else "")
        hand.line("X", words, "W * sin(a)", 2, "kn", core=result.stream_across_kn, kind=Kind.ANSWER)


def _middle_formula(result: LogFactor) -> str:
    """Return the polynomial through the runs' streams, taken in the middle of the trial."""
    n = len(result.runs)
    if result.weights.degree == 0:
        return f"({' + '.join(f'C_{run.number}' for run in result.runs)}) / {n}"
    import numpy as np

    times = np.asarray([run.mid_h for run in result.runs])
    centred = times - fmean((times.min(), times.max()))
    pull = np.linalg.pinv(np.vander(centred, result.weights.degree + 1, increasing=True))[0]
    terms = [f"{printed(float(p), 5)} * C_{run.number}" for p, run in zip(pull, result.runs, strict=True)]
    return " + ".join(terms).replace("+ -", "- ")


def _write_reasons(hand: Hand, result: LogFactor) -> None:
    step = 0.5 * 10.0 ** -decimals_of(rounded(result.factor, result.expanded)[0])
    for rung in result.ladder[1:]:
        if abs(rung.change) >= step:
            change = f"{rung.change:+.3f}".replace("-", "\N{MINUS SIGN}")
            hand.note(f"{rung.words[0].upper()}{rung.words[1:]}: {change}, because {rung.reason}.")
    if result.crab.angle_deg is None:
        hand.note("No crab angle was noted: the track is taken to lie along the heading, and the ± holds the doubt.")
