"""The log factor from runs over a measured course at one engine speed, and the ladder up to it from the hand mean.

The model of a run, with k the factor, L what the log indicated, c the stream along the course and e, a the angles at
which transits were crossed and the track was held::

    D / (T cos e) = k L cos a ± c(t)

Weights of the mean of means free both sides from c(t), and k is the ratio of the two weighted sums. That is exact for a
constant factor even if the boat's speed drifts from run to run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from truemile.core.angles import circular_mean, wrap_180
from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.factor_budget import RunFigures, factor_and_stream_budgets
from truemile.core.factor_remarks import Remark, remarks_on
from truemile.core.log_runs import (
    WIDEST_CRAB_DEG,
    Conditions,
    Direction,
    Indication,
    Run,
    Steering,
    check_factor,
    check_runs,
)
from truemile.core.mean_of_means import RunWeights, run_weights
from truemile.core.measured_course import MeasuredCourse
from truemile.core.uncertainty import Budget


@dataclass(frozen=True, slots=True)
class Crab:
    """The angle between heading and track, and where it came from.

    Attributes
    ----------
    angle_deg
        Without sign; None where it matters and was not noted.
    u_deg
        Its standard uncertainty.
    source
        In words.
    head_to
        Side of the track to which the boat headed on an outward run: "starboard", "port" or "" if not known.
    """

    angle_deg: float | None
    u_deg: float
    source: str
    head_to: str = ""

    @property
    def cosine(self) -> float:
        """What the speed over the ground is divided by; 1 where the angle was not noted."""
        return math.cos(math.radians(self.angle_deg or 0.0))


@dataclass(frozen=True, slots=True)
class RunResult:
    """What one run gives.

    Attributes
    ----------
    number
        From 1, in the order made.
    ground_kn
        Speed over the ground between the marks.
    indicated_kn
        Mean speed that the log indicated.
    factor
        ground / indicated: holds the whole stream.
    mid_h
        Middle of the run, in hours after the middle of the first; or just its place in the row if no times were noted.
    stream_kn
        Stream along the course during the run; above 0 where it flowed the way of an outward run.
    """

    number: int
    run: Run
    ground_kn: float
    indicated_kn: float
    factor: float
    mid_h: float
    stream_kn: float


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of the ladder from the hand mean to the estimate: the factor so far, its change, and why."""

    words: str
    factor: float
    change: float
    reason: str


@dataclass(frozen=True, slots=True)
class LogFactor:
    """The factor of one engine speed, with all that led to it.

    Attributes
    ----------
    weights
        Of the runs.
    times_known
        False where no start times were noted and equal intervals are taken.
    hand_factor
        Plain mean of the run factors, as done by hand.
    ladder
        From the hand mean to the estimate.
    mean_ground_kn, mean_indicated_kn
        Weighted means.
    water_kn
        Speed through the water, the mean over the ground freed from stream and crab.
    factor, budget
        The estimate and what its uncertainty is made of.
    stream_along_kn, u_stream_along_kn, expanded_stream_along_kn
        Stream along the course in the middle of the trial; above 0 where it flowed the way of an outward run.
    stream_across_kn, stream_across_to
        Stream across it, and the side it flowed to on an outward run ("" if not known); None where it does not show.
    lowest_kn, highest_kn
        Range of the indicated speeds.
    """

    course: MeasuredCourse
    conditions: Conditions
    indication: Indication
    runs: tuple[RunResult, ...]
    weights: RunWeights
    times_known: bool
    crab: Crab
    hand_factor: float
    ladder: tuple[Rung, ...]
    mean_ground_kn: float
    mean_indicated_kn: float
    water_kn: float
    factor: float
    budget: Budget
    stream_along_kn: float
    u_stream_along_kn: float
    expanded_stream_along_kn: float
    stream_across_kn: float | None
    stream_across_to: str
    lowest_kn: float
    highest_kn: float
    remarks: tuple[Remark, ...]

    @property
    def u(self) -> float:
        """Standard uncertainty of the factor."""
        return self.budget.u

    @property
    def expanded(self) -> float:
        """95 % uncertainty of the factor."""
        return self.budget.expanded

    @property
    def difference(self) -> float:
        """Estimate less hand mean."""
        return self.factor - self.hand_factor

    @property
    def reads_percent_too_much(self) -> float:
        """How much the log reads too much, in percent of the true speed; below 0 for too little."""
        return (1.0 / self.factor - 1.0) * 100.0


def speed_over_ground_kn(distance_nm: float, elapsed_s: float) -> float:
    """Return the speed over a measured distance.

    Notes
    -----
    0.6 nm in 5 min 34 s is 6.47 kn (common practice, no source).

    Examples
    --------
    >>> round(speed_over_ground_kn(0.6, 334), 2)
    6.47
    """
    return distance_nm * SECONDS_PER_HOUR / elapsed_s


def two_run_distance_factor(course_nm: float, elapsed_s: tuple[float, float], logged_nm: tuple[float, float]) -> float:
    """Return the factor from the distance counter over two runs, one each way.

    Notes
    -----
    k = D (T1 + T2) / (L1 T2 + L2 T1), from k L1 + c T1 = D and k L2 - c T2 = D. The common 2 D / (L1 + L2) is low by
    (c/V)².

    Examples
    --------
    >>> round(two_run_distance_factor(1.0, (562.5, 900.0), (0.7523148, 1.2037037)), 4)
    1.08
    """
    (t1, t2), (l1, l2) = elapsed_s, logged_nm
    return course_nm * (t1 + t2) / (l1 * t2 + l2 * t1)


def factor_from_runs(
    course: MeasuredCourse,
    runs: Sequence[Run],
    conditions: Conditions | None = None,
    *,
    indication: Indication | None = None,
    degree: int | None = None,
) -> LogFactor:
    """Return the log factor from runs both ways over a measured course at one engine speed.

    Parameters
    ----------
    course
        The measured course.
    runs
        In the order made.
    conditions
        How they were made and read; the usual ones if None.
    indication
        Which reading of the log to use; None for the one with the smaller uncertainty.
    degree
        Degree of the polynomial stream to remove: 0 constant, 1 linear, 2 quadratic in time; None for the highest that
        the runs bear.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than two runs, all go one way, or no reading was noted on every one of them.
    ReadingError
        If a run cannot be right.

    Notes
    -----
    k = Σ w SOG / (cos a Σ w LOG), the same weights above and below. See `truemile.core.mean_of_means`.

    Examples
    --------
    >>> from truemile.core.measured_course import charted_course
    >>> course = charted_course("Harbour mile", 1.0, 0.001)
    >>> out = Run(Direction.OUT, 600.0, speed_readings_kn=(5.6, 5.5, 5.5, 5.7))
    >>> back = Run(Direction.BACK, 900.0, speed_readings_kn=(5.5, 5.6, 5.5, 5.6))
    >>> found = factor_from_runs(course, [out, back])
    >>> round(found.factor, 3), round(found.hand_factor, 3), round(found.stream_along_kn, 2)
    (0.899, 0.898, 0.99)
    """
    conditions = conditions or Conditions()
    check_runs(course, runs, conditions)
    usable = [i for i in Indication if all(i in run.indications for run in runs)]
    if indication is not None:
        usable = [indication] if indication in usable else []
    if not usable:
        wanted = "one and the same reading of the log" if indication is None else f"the {indication.value}"
        raise NotEnoughReadings(
            "runs",
            None,
            f"{wanted} must be noted on every run",
            "Add the missing readings, or leave out the runs without them.",
        )
    return min((_estimate(course, runs, conditions, i, degree) for i in usable), key=lambda found: found.u)


def crab_of(runs: Sequence[Run], conditions: Conditions) -> Crab:
    """Return the angle between heading and track that these runs were made with.

    Notes
    -----
    With a compass course out H1 and back H2, a = (H1 - H2 - 180°)/2: a constant error of the compass drops out, and
    neither variation nor deviation need be known. What remains is how deviation differs between the two headings.

    Raises
    ------
    ReadingError
        If the courses noted are not about opposite.
    """
    if conditions.steering is Steering.HEADING_HELD:
        return Crab(0.0, 0.0, "heading held square to the transits: a stream across does not enter")
    if conditions.crab_deg is not None:
        return Crab(conditions.crab_deg, conditions.u_crab_deg, "as noted")
    out = [r.heading_compass_deg for r in runs if r.direction is Direction.OUT and r.heading_compass_deg is not None]
    back = [r.heading_compass_deg for r in runs if r.direction is Direction.BACK and r.heading_compass_deg is not None]
    if not out or not back:
        return Crab(None, 0.0, "not noted")
    signed = float(wrap_180(circular_mean(out).mean_deg - circular_mean(back).mean_deg - 180.0)) / 2.0
    if abs(signed) > WIDEST_CRAB_DEG:
        raise ReadingError(
            "heading_compass_deg",
            f"{circular_mean(out).mean_deg:03.0f}° out, {circular_mean(back).mean_deg:03.0f}° back",
            f"with the track held the two are nearly opposite: half of what is left over is the crab, and"
            f" {WIDEST_CRAB_DEG:.0f}° of it is too much",
            "Check the compass courses of the runs, or leave them out.",
        )
    side = "" if signed == 0 else "starboard" if signed > 0 else "port"
    return Crab(abs(signed), conditions.u_crab_deg, "half the difference of the compass courses out and back", side)


def mid_run_times(runs: Sequence[Run]) -> tuple[tuple[float, ...], bool]:
    """Return the middle of each run in hours after that of the first, and whether times were noted.

    Notes
    -----
    Without start times the runs are taken at equal intervals, numbered 0, 1, 2 …
    """
    starts = [run.started_at for run in runs]
    if any(start is None for start in starts):
        return tuple(float(i) for i in range(len(runs))), False
    first = starts[0]
    middles = [
        (start - first).total_seconds() + run.elapsed_s / 2.0  # type: ignore[operator]  # none is None here
        for start, run in zip(starts, runs, strict=True)
    ]
    return tuple((middle - middles[0]) / SECONDS_PER_HOUR for middle in middles), True


def _estimate(
    course: MeasuredCourse, runs: Sequence[Run], conditions: Conditions, indication: Indication, degree: int | None
) -> LogFactor:
    crab = crab_of(runs, conditions)
    mids, times_known = mid_run_times(runs)
    weights = run_weights([run.direction.sign for run in runs], mids, degree=degree)
    noted = None if crab.angle_deg is None else (crab.angle_deg, crab.u_deg)
    figures = RunFigures(course, tuple(runs), conditions, indication, weights, mids, noted)
    budget, stream = factor_and_stream_budgets(figures)
    lengthened = 1.0 / math.cos(math.radians(conditions.crossing_deg))
    ground = [speed_over_ground_kn(course.length_nm, run.elapsed_s) for run in runs]
    indicated = [run.indicated_kn(indication) for run in runs]
    mean_ground = lengthened * _weighted(weights.weights, ground)
    mean_indicated = _weighted(weights.weights, indicated)
    water = mean_ground / crab.cosine
    check_factor("runs", water, mean_indicated)
    along = mean_ground / mean_indicated
    results = tuple(
        RunResult(i + 1, run, v, log, v / log, mid, run.direction.sign * (lengthened * v - along * log))
        for i, (run, v, log, mid) in enumerate(zip(runs, ground, indicated, mids, strict=True))
    )
    readings = [v for run in runs for v in run.speed_readings_kn] or indicated
    shows_across = conditions.steering is Steering.TRACK_HELD and crab.angle_deg is not None
    across = water * math.sin(math.radians(crab.angle_deg or 0.0)) if shows_across else None
    return LogFactor(
        course=course,
        conditions=conditions,
        indication=indication,
        runs=results,
        weights=weights,
        times_known=times_known,
        crab=crab,
        hand_factor=fmean(r.factor for r in results),
        ladder=_ladder(results, weights, crab, conditions),
        mean_ground_kn=mean_ground,
        mean_indicated_kn=mean_indicated,
        water_kn=water,
        factor=water / mean_indicated,
        budget=budget,
        stream_along_kn=stream.value,
        u_stream_along_kn=stream.u,
        expanded_stream_along_kn=stream.expanded,
        stream_across_kn=across,
        stream_across_to={"starboard": "port", "port": "starboard"}.get(crab.head_to, ""),
        lowest_kn=min(*readings, *indicated),
        highest_kn=max(*readings, *indicated),
        remarks=remarks_on(figures, times_known=times_known, budget=budget),
    )


def _weighted(weights: Sequence[float], values: Sequence[float]) -> float:
    return math.fsum(w * v for w, v in zip(weights, values, strict=True))


def _ladder(results: Sequence[RunResult], weights: RunWeights, crab: Crab, conditions: Conditions) -> tuple[Rung, ...]:
    """Each rung mends one fault of the one below; the changes add up to the whole difference."""
    indicated = [r.indicated_kn for r in results]
    ground = [r.ground_kn for r in results]
    by_hand = fmean(r.factor for r in results)
    speeds_first = fmean(ground) / fmean(indicated)
    weighted = _weighted(weights.weights, ground) / _weighted(weights.weights, indicated)
    squared = weighted / math.cos(math.radians(conditions.crossing_deg))
    rungs = [Rung("mean of the run factors, by hand", by_hand, 0.0, "")]

    def add(words: str, factor: float, reason: str) -> None:
        rungs.append(Rung(words, factor, factor - rungs[-1].factor, reason))

    add(
        "speeds averaged first, then divided",
        speeds_first,
        "the log did not read the same on every run, and a mean of ratios then leans to the runs it read low on",
    )
    if len(results) > 2:
        add(
            "runs weighted against the change of the stream",
            weighted,
            "the stream changed between the runs, and equal weights leave some of it in",
        )
    if conditions.crossing_deg:
        add("lengthened for the angle of crossing", squared, "transits crossed off the square make the run longer")
    if crab.angle_deg and conditions.steering is Steering.TRACK_HELD:
        add(
            "divided by the cosine of the crab angle",
            squared / crab.cosine,
            f"to hold the track she headed {crab.angle_deg:.0f}° off it, so she went further through the water",
        )
    return tuple(rungs)
