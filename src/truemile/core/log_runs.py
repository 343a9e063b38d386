"""What is written down during a log trial: the runs, and the conditions they were made in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import NavigationError, NotEnoughReadings, ReadingError, gather
from truemile.core.measured_course import MeasuredCourse
from truemile.core.numbers import Limit, check_limits

#: More than this in one trial is a recording, not a trial.
MOST_RUNS = 200
#: More readings than this in one run is a recording, not a run.
MOST_READINGS = 500
#: No displacement yacht logs more; a slip of the decimal point does.
FASTEST_KN = 60.0
#: A log that needs a factor outside this range is broken, or a unit was mistaken.
FACTOR_RANGE = (0.5, 2.0)
#: One run holds the whole stream as well, so its own factor may lie further out before it is refused.
RUN_FACTOR_RANGE = (0.25, 4.0)
#: A distance counter serves only if it shows at least tenths (common practice, no source).
COARSEST_COUNTER_NM = 0.1


class Direction(StrEnum):
    """Which way along the measured course."""

    OUT = "out"
    BACK = "back"

    @property
    def sign(self) -> int:
        """+1 out, -1 back: the sign with which the stream along the course enters."""
        return 1 if self is Direction.OUT else -1


class Steering(StrEnum):
    """How the course was run, which decides what a stream across it does."""

    HEADING_HELD = "heading held"
    TRACK_HELD = "track held"


class Indication(StrEnum):
    """Which of the log's two readings is used."""

    SPEED = "speed display"
    DISTANCE = "distance counter"


@dataclass(frozen=True, slots=True)
class Run:
    """One run over the measured course, as written down.

    Parameters
    ----------
    direction
        Out, from the first mark to the second, or back.
    elapsed_s
        From mark to mark, in seconds.
    started_at
        Aware time of passing the first mark, or None if only the elapsed time was noted.
    speed_readings_kn
        What the speed display showed, as often as it was read.
    log_start_nm, log_stop_nm
        The distance counter at start and stop; no start for a counter zeroed there.
    heading_compass_deg
        Compass course steered.
    engine_rpm
        Engine speed.
    speed_group
        Runs at one engine setting carry one label; empty if all were.
    """

    direction: Direction
    elapsed_s: float
    started_at: datetime | None = None
    speed_readings_kn: tuple[float, ...] = ()
    log_start_nm: float | None = None
    log_stop_nm: float | None = None
    heading_compass_deg: float | None = None
    engine_rpm: float | None = None
    speed_group: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot have been read, all faults at once."""
        gather([*_time_faults(self), *_speed_faults(self), *_counter_faults(self), *_engine_faults(self)])

    @property
    def elapsed_h(self) -> float:
        """Elapsed time in hours."""
        return self.elapsed_s / SECONDS_PER_HOUR

    @property
    def logged_nm(self) -> float | None:
        """Distance run by the log, or None if the counter was not read."""
        return None if self.log_stop_nm is None else self.log_stop_nm - (self.log_start_nm or 0.0)

    @property
    def counter_readings(self) -> int:
        """How many rounded readings the logged distance rests on: one for a counter zeroed at the start."""
        return 2 if self.log_start_nm else 1

    @property
    def indications(self) -> frozenset[Indication]:
        """Which readings of the log were noted."""
        found = set()
        if self.speed_readings_kn:
            found.add(Indication.SPEED)
        if self.log_stop_nm is not None:
            found.add(Indication.DISTANCE)
        return frozenset(found)

    def indicated_kn(self, indication: Indication) -> float:
        """Mean speed that the log indicated over the run.

        Raises
        ------
        NotEnoughReadings
            If that reading was not noted.
        """
        if indication is Indication.SPEED and self.speed_readings_kn:
            return math.fsum(self.speed_readings_kn) / len(self.speed_readings_kn)
        if indication is Indication.DISTANCE and self.logged_nm is not None:
            return self.logged_nm / self.elapsed_h
        raise NotEnoughReadings(
            "speed_readings_kn" if indication is Indication.SPEED else "log_stop_nm",
            None,
            f"this run has no reading of the {indication.value}",
            "Add it, or use the other reading.",
        )


@dataclass(frozen=True, slots=True)
class Conditions:
    """How the runs were made and how finely they were read.

    Parameters
    ----------
    steering
        Heading held square to the transits, or track held from mark to mark.
    speed_resolution_kn, distance_resolution_nm
        Last digit of the speed display and of the distance counter.
    timing_limit_s
        The elapsed time is right within plus or minus this.
    stream_irregularity_kn
        Standard uncertainty, for each run, of the stream's departure from a smooth change.
    stream_irregularity_dof
        How well that is known; 8 means to about a quarter of itself [JCGM100]_ G.4.2.
    tide_amplitude_kn
        Greatest rate of the tidal stream along the course; what its change leaves in the mean is allowed for. 0 where
        there is no tide.
    crab_deg
        Angle between heading and track, without sign; None to take it from the compass courses steered.
    u_crab_deg
        Its standard uncertainty.
    crossing_deg
        Angle by which the transits were crossed off the square; the run is longer by 1 / cos of it.
    """

    steering: Steering = Steering.HEADING_HELD
    speed_resolution_kn: float = 0.1
    distance_resolution_nm: float = 0.01
    timing_limit_s: float = 1.0
    stream_irregularity_kn: float = 0.05
    stream_irregularity_dof: float = 8.0
    tide_amplitude_kn: float = 1.0
    crab_deg: float | None = None
    u_crab_deg: float = 2.0
    crossing_deg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse conditions that cannot be, all faults at once."""
        check_limits(self, _CONDITION_LIMITS)


#: With more between heading and track a small error of the angle is a large one of the factor (judgement, no source).
WIDEST_CRAB_DEG = 45.0

_CONDITION_LIMITS: tuple[Limit, ...] = (
    ("speed_resolution_kn", 0.001, 1.0, "Give the last digit of the speed display, usually 0.1 kn."),
    ("distance_resolution_nm", 0.0001, 1.0, "Give the last digit of the distance counter, usually 0.01 nm."),
    ("timing_limit_s", 0.01, 60.0, "Give how far the elapsed time may be wrong, usually 1 s."),
    ("stream_irregularity_kn", 0.0, 2.0, "Give the uneven part of the stream, usually 0.05 kn."),
    ("tide_amplitude_kn", 0.0, 15.0, "Give the greatest rate of the tidal stream there, or 0 where there is no tide."),
    ("stream_irregularity_dof", 1.0, math.inf, "Leave it at 8 if in doubt."),
    ("crab_deg", 0.0, WIDEST_CRAB_DEG, "Give the angle between heading and track; above 45° wait for slacker water."),
    ("u_crab_deg", 0.1, 20.0, "Give how well the angle is known, usually 2°."),
    ("crossing_deg", 0.0, 30.0, "Give the angle off the square; above 30° make the run again."),
)


def check_runs(course: MeasuredCourse, runs: Sequence[Run], conditions: Conditions) -> None:
    """Refuse runs that cannot give a factor.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than two, or all go one way.
    ReadingError
        If there are too many, the counter is too coarse, or a run's factor is outside 0.25 to 4, with the mistaken
        unit that would explain it.
    """
    _check_count(runs)
    if len({run.direction for run in runs}) < 2:
        raise NotEnoughReadings(
            "runs",
            f"{len(runs)} {runs[0].direction.value}",
            "the stream cancels only between runs both ways",
            "Make at least one run the other way at the same engine speed.",
        )
    faults: list[NavigationError] = []
    for number, run in enumerate(runs):
        if not run.indications:
            faults.append(
                NotEnoughReadings(
                    f"runs[{number}].speed_readings_kn",
                    None,
                    "a run needs at least one reading of the log",
                    "Add the indicated speed, or the distance counter at start and stop.",
                )
            )
        faults.extend(fault.inside(f"runs[{number}]") for fault in _factor_faults(course, run))
    if conditions.distance_resolution_nm > COARSEST_COUNTER_NM and any(r.log_stop_nm is not None for r in runs):
        faults.append(
            ReadingError(
                "distance_resolution_nm",
                conditions.distance_resolution_nm,
                "a distance counter serves only if it shows at least tenths of a mile",
                "Leave the counter out and use the speed display.",
            )
        )
    gather(faults)


def check_run(course: MeasuredCourse, run: Run) -> None:
    """Refuse a run that cannot be right on this course, by itself, as soon as it is entered.

    Raises
    ------
    ReadingError
        If its own factor is outside 0.25 to 4, with the mistaken unit that would explain it.
    """
    gather(_factor_faults(course, run))


def check_apart(runs: Sequence[Run]) -> None:
    """Refuse runs of one boat that were made at the same time, as when a file is taken in twice.

    Raises
    ------
    ReadingError
        If two runs with start times overlap.
    """
    timed = sorted((run.started_at, run.elapsed_s) for run in runs if run.started_at is not None)
    for (start, elapsed_s), (following, _) in pairwise(timed):
        if following < start + timedelta(seconds=elapsed_s):
            raise ReadingError(
                "started_at",
                following.isoformat(),
                f"another run was made from {start:%H:%M:%S}Z, for {elapsed_s:.0f} s, and a boat makes one at a time",
                "Look whether this run is kept already, and check the times.",
            )


def usual_steering(course: MeasuredCourse) -> Steering:
    """Return the usual steering: on transits the heading is held, between single marks the track."""
    return Steering.HEADING_HELD if course.transits else Steering.TRACK_HELD


def _check_count(runs: Sequence[Run]) -> None:
    if len(runs) < 2:
        raise NotEnoughReadings(
            "runs",
            len(runs),
            "a trial needs at least two runs, one each way",
            "Add the run the other way: a single run still holds the whole stream.",
        )
    if len(runs) > MOST_RUNS:
        raise ReadingError(
            "runs",
            len(runs),
            f"a trial has at most {MOST_RUNS} runs",
            "Check that this is the right file: one line a run, not one line a second.",
        )


def _factor_faults(course: MeasuredCourse, run: Run) -> list[NavigationError]:
    ground_kn = course.length_nm / run.elapsed_h
    faults: list[NavigationError] = []
    for indication in sorted(run.indications):
        field = "speed_readings_kn" if indication is Indication.SPEED else "log_stop_nm"
        try:
            check_factor(field, ground_kn, run.indicated_kn(indication), RUN_FACTOR_RANGE)
        except ReadingError as fault:
            faults.append(fault)
    return faults


def check_factor(field: str, true_kn: float, indicated_kn: float, allowed: tuple[float, float] = FACTOR_RANGE) -> None:
    """Refuse a factor that no log in order needs, naming the mistaken unit that would explain it.

    Raises
    ------
    ReadingError
        If true / indicated is outside what is allowed.
    """
    factor = true_kn / indicated_kn
    if not allowed[0] <= factor <= allowed[1]:
        raise ReadingError(
            field,
            round(indicated_kn, 2),
            f"with {true_kn:.2f} kn run over the course the factor would be {factor:.3g},"
            f" outside {allowed[0]:g} to {allowed[1]:g}",
            likely_slip(factor) or "Check the elapsed time, the course and the reading, and whether the log is fouled.",
        )


#: Factors that a mistaken unit produces, with what to say; exact ratios of the units. Statute miles an hour (0.869) are
#: left out: many a good log needs that factor.
_SLIPS: tuple[tuple[float, str], ...] = (
    (1 / 60.0, "Was the time typed as hours and minutes? Write it as minutes and seconds, 5m34s."),
    (60.0, "Were the minutes typed as seconds? Write it as minutes and seconds, 5m34s."),
    (1 / 1.852, "Does the log show km/h? Set it to knots, or divide by 1.852."),
    (3.6 / 1.852, "Does the log show metres a second? Set it to knots, or multiply by 1.944."),
    (10.0, "Is the decimal point of the reading in its place?"),
    (0.1, "Is the decimal point of the reading in its place?"),
)


def likely_slip(factor: float, *, within: float = 0.6) -> str:
    """Return what mistaken unit would explain a factor, or "" if none does to within this part of it."""
    ratio, words = min(_SLIPS, key=lambda slip: abs(math.log(factor / slip[0])))
    return words if abs(math.log(factor / ratio)) < within else ""


def _time_faults(run: Run) -> list[NavigationError]:
    faults: list[NavigationError] = []
    if not (math.isfinite(run.elapsed_s) and run.elapsed_s > 0):
        faults.append(
            ReadingError(
                "elapsed_s",
                run.elapsed_s,
                "a run takes more than 0 s",
                "Write the time from mark to mark as minutes and seconds, 5m34s.",
            )
        )
    if run.started_at is not None and run.started_at.utcoffset() is None:
        faults.append(
            ReadingError(
                "started_at",
                run.started_at.isoformat(),
                "a time must say its zone",
                "Add Z for UTC or the offset, as in 2026-05-14T13:32:00+01:00.",
            )
        )
    return faults


def _speed_faults(run: Run) -> list[NavigationError]:
    faults: list[NavigationError] = []
    if len(run.speed_readings_kn) > MOST_READINGS:
        faults.append(
            ReadingError(
                "speed_readings_kn",
                len(run.speed_readings_kn),
                f"a run has at most {MOST_READINGS} readings",
                "Give some ten readings, spread over the run.",
            )
        )
        return faults
    for number, reading in enumerate(run.speed_readings_kn):
        if not (math.isfinite(reading) and 0 < reading <= FASTEST_KN):
            faults.append(
                ReadingError(
                    f"speed_readings_kn[{number}]",
                    reading,
                    f"an indicated speed is above 0 and at most {FASTEST_KN:g} kn",
                    "Leave out a reading that was not taken; a log at 0 with the boat moving is fouled.",
                )
            )
    return faults


def _counter_faults(run: Run) -> list[NavigationError]:
    if run.log_stop_nm is None:
        if run.log_start_nm is None:
            return []
        return [
            ReadingError(
                "log_stop_nm",
                None,
                "the counter was read at the start",
                "Add the reading at the stop, or leave both out.",
            )
        ]
    start = run.log_start_nm or 0.0
    if not (math.isfinite(run.log_stop_nm) and math.isfinite(start) and start >= 0):
        return [
            ReadingError("log_stop_nm", run.log_stop_nm, "a counter shows 0 or more", "Read it again from the paper.")
        ]
    if run.log_stop_nm <= start:
        return [
            ReadingError(
                "log_stop_nm",
                run.log_stop_nm,
                f"the counter must have moved on from {start:g} nm",
                "Check that start and stop are not swapped, and that the counter was not zeroed on the way.",
            )
        ]
    return []


def _engine_faults(run: Run) -> list[NavigationError]:
    faults: list[NavigationError] = []
    heading = run.heading_compass_deg
    if heading is not None and not (math.isfinite(heading) and 0 <= heading <= 360):
        faults.append(
            ReadingError("heading_compass_deg", heading, "a course is 000 to 359.9", "Write it in three figures: 064.")
        )
    rpm = run.engine_rpm
    if rpm is not None and not (math.isfinite(rpm) and 0 <= rpm <= 10_000):
        faults.append(
            ReadingError("engine_rpm", rpm, "engine speed is 0 to 10000 a minute", "Read the engine's counter again.")
        )
    return faults
