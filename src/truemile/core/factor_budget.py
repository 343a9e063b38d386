"""What the uncertainty of a log factor is made of: every reading of every run as an input of one model."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.log_runs import Conditions, Indication, Run, Steering
from truemile.core.mean_of_means import RunWeights
from truemile.core.measured_course import MeasuredCourse
from truemile.core.readings_noise import resolution_uncertainty
from truemile.core.uncertainty import Budget, Input, Shape, evaluate, from_limit, from_resolution

#: Crab angle up to which a helm who says "track held" may have steered without noting it (judgement, no source).
UNNOTED_CRAB_DEG = 10.0
#: Period of the principal lunar tide, in hours (from memory).
TIDE_H = 12.4206
#: Turn between two runs, in hours, taken where no start times were noted (common practice, no source).
TURN_H = 4.0 / 60.0
#: Degrees of freedom of a scatter that is judged, not seen: known to about a third [JCGM100]_ G.4.2.
JUDGED_DOF = 4.0

#: Inputs that stand before those of the runs: length, crab, tide.
_RUNS = 3

Model = Callable[[Sequence[float]], float]


@dataclass(frozen=True, slots=True)
class RunFigures:
    """The givens of one estimate: `crab` is the angle and its standard uncertainty in degrees, None if not noted."""

    course: MeasuredCourse
    runs: tuple[Run, ...]
    conditions: Conditions
    indication: Indication
    weights: RunWeights
    mid_h: tuple[float, ...]
    crab: tuple[float, float] | None

    @property
    def track_held(self) -> bool:
        """True where a stream across the course enters."""
        return self.conditions.steering is Steering.TRACK_HELD


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter of the display readings over all runs: sd of one, its degrees of freedom, resolution part, steadiness."""

    sd_kn: float
    dof: float
    u_resolution_kn: float
    steady: bool


def display_scatter(runs: Sequence[Run], resolution_kn: float) -> Scatter:
    """Return what the readings of the speed display show of themselves, pooled over the runs.

    Notes
    -----
    s² = Σ squares / Σ (m - 1). A display that stood still on any run is uncertain by its whole last digit,
    d/√12, however often it was written down [JCGM100]_ F.2.2.1.
    """
    squares, dof = 0.0, 0
    for run in runs:
        mean = fmean(run.speed_readings_kn)
        squares += math.fsum((v - mean) ** 2 for v in run.speed_readings_kn)
        dof += len(run.speed_readings_kn) - 1
    parts = [resolution_uncertainty(run.speed_readings_kn, resolution_kn) for run in runs]
    u_resolution = max(part.u for part in parts)
    steady = any(part.steady for part in parts)
    if dof == 0:
        return Scatter(resolution_kn, JUDGED_DOF, u_resolution, steady)
    return Scatter(math.sqrt(squares / dof), float(dof), u_resolution, steady)


def factor_and_stream_budgets(figures: RunFigures) -> tuple[Budget, Budget]:
    """Return the budgets of the factor and of the stream along the course in the middle of the trial.

    Notes
    -----
    Inputs: the length and the crab angle, shared by all runs; for each run the time, the reading of the log and an
    irregular part of the stream with value 0; for a display the resolution, shared. Where there are more runs than
    the fit needs, the irregular part is pooled with what the residuals show, each with its degrees of freedom.
    """
    inputs = _inputs(figures, figures.conditions.stream_irregularity_kn, figures.conditions.stream_irregularity_dof)
    if figures.weights.least_squares:
        u_stream, dof = _pooled_irregularity(figures, inputs)
        inputs = _inputs(figures, u_stream, dof)
    factor = _factor_model(figures)
    return evaluate(factor, inputs, shaped=True), evaluate(_stream_model(figures, factor), inputs)


def group_of(label: str) -> str:
    """Return the heading under which a budget row is shown: the label without the number of its run."""
    return label.partition(", run ")[0]


def _inputs(figures: RunFigures, u_stream_kn: float, stream_dof: float) -> list[Input]:
    return [
        Input(
            "length of the course",
            figures.course.length_nm,
            figures.course.u_length_nm,
            shared=True,
            unit="nm",
            advice="A longer course, or marks fixed more exactly.",
        ),
        _crab_input(figures),
        _tide_input(figures),
        *_time_inputs(figures),
        *_stream_inputs(figures, u_stream_kn, stream_dof),
        *_log_inputs(figures),
    ]


def _crab_input(figures: RunFigures) -> Input:
    if not figures.track_held:
        return Input("crab angle", 1.0, 0.0, shared=True)
    if figures.crab is None:
        limit = 1.0 / math.cos(math.radians(UNNOTED_CRAB_DEG)) - 1.0
        return Input(
            "crab angle, not noted",
            1.0,
            from_limit(limit),
            shared=True,
            advice="Note the compass course steered on every run, or hold the heading square to transits.",
        )
    angle, u = figures.crab
    return Input("crab angle", angle, u, shared=True, unit="°", advice="Read the compass course more often.")


def _tide_input(figures: RunFigures) -> Input:
    """What a tide of unknown phase leaves in the weighted mean: C |Σ w s exp(iωt)|, worst, and that over √2."""
    times = figures.mid_h
    if all(run.started_at is None for run in figures.runs):
        step = fmean(run.elapsed_h for run in figures.runs) + TURN_H
        times = tuple(step * t for t in times)
    left = sum(
        w * run.direction.sign * cmath.exp(2j * math.pi * t / TIDE_H)
        for w, run, t in zip(figures.weights.weights, figures.runs, times, strict=True)
    )
    return Input(
        "stream changing between the runs",
        0.0,
        from_limit(figures.conditions.tide_amplitude_kn * abs(left), Shape.ARCSINE),
        shared=True,
        unit="kn",
        shape=Shape.ARCSINE,
        advice="Four runs, out and back by turns and close together.",
    )


def _time_inputs(figures: RunFigures) -> list[Input]:
    u = from_limit(figures.conditions.timing_limit_s)
    return [
        Input(f"timing, run {i + 1}", run.elapsed_s, u, unit="s", advice="A longer course, or two watches.")
        for i, run in enumerate(figures.runs)
    ]


def _stream_inputs(figures: RunFigures, u_kn: float, dof: float) -> list[Input]:
    return [
        Input(
            f"uneven stream, run {i + 1}",
            0.0,
            u_kn,
            dof,
            unit="kn",
            advice="More runs, close together, near slack water.",
        )
        for i in range(len(figures.runs))
    ]


def _log_inputs(figures: RunFigures) -> list[Input]:
    if figures.indication is Indication.DISTANCE:
        u = from_resolution(figures.conditions.distance_resolution_nm)
        return [
            Input(
                f"counter, {figures.conditions.distance_resolution_nm:g} nm, run {i + 1}",
                run.logged_nm or 0.0,
                u * math.sqrt(run.counter_readings),
                unit="nm",
                advice="A longer course, more runs, or zero the counter at the start.",
            )
            for i, run in enumerate(figures.runs)
        ]
    resolution = figures.conditions.speed_resolution_kn
    scatter = display_scatter(figures.runs, resolution)
    readings = [
        Input(
            f"scatter of the readings, run {i + 1}",
            fmean(run.speed_readings_kn),
            scatter.sd_kn / math.sqrt(len(run.speed_readings_kn)),
            scatter.dof,
            unit="kn",
            advice="More readings on each run.",
        )
        for i, run in enumerate(figures.runs)
    ]
    return [*readings, *_display_inputs(figures, scatter.u_resolution_kn)]


def _display_inputs(figures: RunFigures, u_kn: float) -> list[Input]:
    """Rounding of the display: one error for all runs that showed the same digit, one a run where they moved apart."""
    resolution = figures.conditions.speed_resolution_kn
    means = [run.indicated_kn(Indication.SPEED) for run in figures.runs]
    apart = max(means) - min(means) >= 0.999 * resolution
    label, n = f"display, {resolution:g} kn", len(figures.runs)
    advice = "Read the distance counter at start and stop: a steady display hides up to half its last digit."
    rounding = Input(label, 0.0, u_kn, shared=True, unit="kn", shape=Shape.RECTANGULAR, advice=advice)
    if apart:
        return [replace(rounding, label=f"{label}, run {i + 1}", shared=False) for i in range(n)]
    return [rounding]


@dataclass(frozen=True, slots=True)
class _Values:
    """Input values by what they are: `tide_kn` is what the stream leaves in the mean, `stretch` is 1 / cos crab."""

    ground_kn: list[float]
    indicated_kn: list[float]
    stretch: float
    tide_kn: float


def _split(figures: RunFigures, x: Sequence[float]) -> _Values:
    n = len(figures.runs)
    length = x[0] / math.cos(math.radians(figures.conditions.crossing_deg))
    angled = figures.track_held and figures.crab is not None
    stretch = 1.0 / math.cos(math.radians(x[1])) if angled else x[1]
    times, stream, log = x[_RUNS : _RUNS + n], x[_RUNS + n : _RUNS + 2 * n], x[_RUNS + 2 * n :]
    ground = [length * SECONDS_PER_HOUR / t + c for t, c in zip(times, stream, strict=True)]
    if figures.indication is Indication.DISTANCE:
        return _Values(ground, [d * SECONDS_PER_HOUR / t for d, t in zip(log, times, strict=True)], stretch, x[2])
    rounding = log[n:] if len(log) == 2 * n else [log[n]] * n
    return _Values(ground, [v + r for v, r in zip(log[:n], rounding, strict=True)], stretch, x[2])


def _factor_model(figures: RunFigures) -> Model:
    weights = figures.weights.weights

    def factor(x: Sequence[float]) -> float:
        now = _split(figures, x)
        above = now.tide_kn + math.fsum(w * v for w, v in zip(weights, now.ground_kn, strict=True))
        return now.stretch * above / math.fsum(w * v for w, v in zip(weights, now.indicated_kn, strict=True))

    return factor


def _stream_fit(figures: RunFigures) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Design of the stream alone, d t^j with time from the middle of the trial, and its pseudo-inverse."""
    times = np.asarray(figures.mid_h)
    middle = (times.min() + times.max()) / 2.0
    signs = np.asarray([run.direction.sign for run in figures.runs], dtype=float)
    design = np.column_stack([signs * (times - middle) ** j for j in range(figures.weights.degree + 1)])
    return design, np.linalg.pinv(design)


def _left(now: _Values, k: float) -> NDArray[np.float64]:
    """What the stream did on each run, with its sign, if the log's factor along the track is k."""
    return np.asarray([v - k * log for v, log in zip(now.ground_kn, now.indicated_kn, strict=True)])


def _stream_model(figures: RunFigures, factor: Model) -> Model:
    _, inverse = _stream_fit(figures)

    def stream(x: Sequence[float]) -> float:
        now = _split(figures, x)
        left = _left(now, factor(x) / now.stretch)
        return float(inverse[0] @ left)

    return stream


def _pooled_irregularity(figures: RunFigures, inputs: Sequence[Input]) -> tuple[float, float]:
    """Judged irregularity of the stream and the scatter about the fit, pooled by their degrees of freedom."""
    values = [item.value for item in inputs]
    now = _split(figures, values)
    k = _factor_model(figures)(values) / now.stretch
    left = _left(now, k)
    design, inverse = _stream_fit(figures)
    residuals = left - design @ (inverse @ left)
    dof = len(figures.runs) - figures.weights.degree - 2
    seen = float(residuals @ residuals) / dof
    explained = fmean(_explained(figures, inputs, i, now.ground_kn[i], k) for i in range(len(figures.runs)))
    prior_u, prior_dof = figures.conditions.stream_irregularity_kn, figures.conditions.stream_irregularity_dof
    pooled = (prior_dof * prior_u**2 + dof * max(0.0, seen - explained)) / (prior_dof + dof)
    return math.sqrt(pooled), prior_dof + dof


def _explained(figures: RunFigures, inputs: Sequence[Input], i: int, ground_kn: float, k: float) -> float:
    """Variance of a run's residual that timing and reading explain already."""
    n = len(figures.runs)
    timing, log = inputs[_RUNS + i], inputs[_RUNS + 2 * n + i]
    per_kn = 1.0 if figures.indication is Indication.SPEED else SECONDS_PER_HOUR / timing.value
    return (ground_kn * timing.u / timing.value) ** 2 + (k * log.u * per_kn) ** 2
