"""The course judge: how good a measured course is, before anybody goes there, and what would make it better."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.factor_remarks import GOOD_LENGTH_NM, SHORT_RUN_S
from truemile.core.improvements import Improvement, improvements
from truemile.core.log_runs import FASTEST_KN, Conditions, Direction, Run, Steering
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.core.measured_course import MeasuredCourse
from truemile.core.numbers import Limit, check_limits
from truemile.core.triangle import along_across, crab_angle_deg

#: Longer runs gain little and let the stream change (trade article quoting model-basin practice: 5 to 10 min).
LONG_RUN_S = 900.0
#: A factor known to this, relative, serves a passage well; three times as much is poor (judgement, no source).
GOOD_EXPANDED = 0.01
POOR_EXPANDED = 0.03
#: Crab angles up to these, in degrees, bias a held track by 0.1 % and 1 %.
SMALL_CRAB_DEG = 2.6
LARGE_CRAB_DEG = 8.1
#: A stream that is more than this part of the boat's speed makes the runs very unequal (judgement, no source).
STRONG_STREAM = 0.3


@dataclass(frozen=True, slots=True)
class RunPlan:
    """How the course is meant to be run.

    Parameters
    ----------
    speed_kn
        Through the water.
    runs
        Number of runs, out and back by turns.
    readings_per_run
        Of the speed display.
    counter
        True where the distance counter is read as well, zeroed at each start.
    stream_set_true_deg, stream_drift_kn
        Expected stream: where it flows towards, and how fast; None if not known.
    conditions
        As for a trial.
    """

    speed_kn: float
    runs: int = 2
    readings_per_run: int = 5
    counter: bool = False
    stream_set_true_deg: float | None = None
    stream_drift_kn: float | None = None
    conditions: Conditions = field(default_factory=Conditions)

    def __post_init__(self) -> None:
        """Refuse a plan that cannot be run, all faults at once."""
        check_limits(self, _PLAN_LIMITS)


_PLAN_LIMITS: tuple[Limit, ...] = (
    ("speed_kn", 0.5, FASTEST_KN, "Give the speed you mean to keep, in knots."),
    ("runs", 2, 12, "Plan an even number of runs, 2 to 12."),
    ("readings_per_run", 1, 100, "Plan one reading a minute or so."),
    ("stream_drift_kn", 0.0, 15.0, "Give the rate of the stream in knots."),
    ("stream_set_true_deg", 0.0, 360.0, "Give where the stream flows to, in degrees true."),
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing about the course: `level` is "good", "fair" or "poor"."""

    level: str
    subject: str
    words: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class CourseVerdict:
    """What the judge says.

    Attributes
    ----------
    expected
        The trial as planned, worked through for a log that reads true.
    along_kn, across_kn
        Expected stream along and across the course; None if not known.
    crab_deg
        Angle to be steered off the track to hold it.
    """

    course: MeasuredCourse
    plan: RunPlan
    expected: TrialResult
    along_kn: float | None
    across_kn: float | None
    crab_deg: float | None
    findings: tuple[Finding, ...]
    improvements: tuple[Improvement, ...]

    @property
    def expanded(self) -> float:
        """Expected 95 % uncertainty of the factor."""
        return self.expected.expanded

    @property
    def run_s(self) -> tuple[float, float]:
        """Expected time of a run out and of a run back, in seconds."""
        out, back, *_ = (run.run.elapsed_s for run in self.expected.groups[0].best.runs)
        return out, back

    @property
    def level(self) -> str:
        """Worst level among the findings."""
        levels = {finding.level for finding in self.findings}
        return next(level for level in ("poor", "fair", "good") if level in levels)


def judge_course(course: MeasuredCourse, plan: RunPlan, *, insist: bool = False) -> CourseVerdict:
    """Return how good a course is for a planned trial, and what would improve it most.

    Parameters
    ----------
    course
        The measured course.
    plan
        How it is meant to be run.
    insist
        True to judge a course between floating marks all the same.

    Raises
    ------
    ReadingError
        If a mark floats and `insist` is False, or the stream is known but not the direction of the course.
    NoSolution
        If the stream is too strong for the course to be run both ways.
    """
    check_marks(course, insist=insist)
    along, across = _stream_on(course, plan)
    crab = None if across is None else crab_angle_deg(plan.speed_kn, across)
    expected = analyse_trial(course, _planned_runs(course, plan, along or 0.0), _planned_conditions(plan, crab))
    findings = (
        _length_finding(course),
        _marks_finding(course),
        _time_finding(expected),
        *_stream_findings(plan, along, crab),
        _steering_finding(course, plan),
        _expected_finding(expected),
    )
    return CourseVerdict(course, plan, expected, along, across, crab, findings, improvements(expected))


def check_marks(course: MeasuredCourse, *, insist: bool = False) -> None:
    """Refuse a course between floating marks, unless insisted on.

    Raises
    ------
    ReadingError
        If a mark floats and `insist` is False.
    """
    if course.floating_marks and not insist:
        raise ReadingError(
            "course",
            course.name,
            f"a measured course lies between fixed marks, and {course.what_floats}",
            "Choose fixed marks, or insist: the swing of the mark is then added to the uncertainty.",
        )


def _stream_on(course: MeasuredCourse, plan: RunPlan) -> tuple[float | None, float | None]:
    if plan.stream_drift_kn is None or (plan.stream_set_true_deg is None and plan.stream_drift_kn > 0):
        return None, None
    if course.course_true_deg is None:
        raise ReadingError(
            "course_true_deg",
            None,
            "the direction of the course must be known to judge a stream across it",
            "Give the true course, or leave the stream out.",
        )
    along, across = along_across(plan.stream_set_true_deg or 0.0, plan.stream_drift_kn, course.course_true_deg)
    if abs(along) >= plan.speed_kn or abs(across) >= plan.speed_kn:
        raise NoSolution(
            "stream_drift_kn",
            plan.stream_drift_kn,
            f"a boat at {plan.speed_kn:g} kn cannot run the course both ways against it",
            "Wait for slacker water.",
        )
    return along, across


def _planned_runs(course: MeasuredCourse, plan: RunPlan, along_kn: float) -> list[Run]:
    """Runs as they would be written down with a log that reads true, on a display that stands still."""

    def run(direction: Direction) -> Run:
        elapsed_s = course.length_nm / (plan.speed_kn + direction.sign * along_kn) * SECONDS_PER_HOUR
        counter = plan.speed_kn * elapsed_s / SECONDS_PER_HOUR if plan.counter else None
        return Run(
            direction, elapsed_s, speed_readings_kn=(plan.speed_kn,) * plan.readings_per_run, log_stop_nm=counter
        )

    return [run(Direction.BACK if i % 2 else Direction.OUT) for i in range(plan.runs)]


def _planned_conditions(plan: RunPlan, crab_deg: float | None) -> Conditions:
    if plan.conditions.steering is Steering.HEADING_HELD or plan.conditions.crab_deg is not None or crab_deg is None:
        return plan.conditions
    return replace(plan.conditions, crab_deg=abs(crab_deg))


def _length_finding(course: MeasuredCourse) -> Finding:
    words = f"{course.length_nm:.3f} nm, known to ± {2 * course.u_length_nm / course.length_nm:.1%}"
    relative = 2 * course.u_length_nm / course.length_nm
    if relative > GOOD_EXPANDED:
        level = "poor" if relative > POOR_EXPANDED else "fair"
        return Finding(level, "length", words, "Fix both marks more exactly: its error is the same on every run.")
    if course.length_nm < GOOD_LENGTH_NM:
        return Finding("fair", "length", words, "Half a mile or more is common practice.")
    return Finding("good", "length", words)


def _marks_finding(course: MeasuredCourse) -> Finding:
    if course.floating_marks:
        return Finding(
            "poor", "marks", course.what_floats, "Use fixed marks: a buoy lies anywhere in its watch circle."
        )
    if course.start is None:
        return Finding("good", "marks", "distance from the chart")
    return Finding("good", "marks", "both fixed")


def _time_finding(expected: TrialResult) -> Finding:
    times = sorted(run.run.elapsed_s for run in expected.groups[0].best.runs)
    shortest, longest = (f"{each / 60:.1f}" for each in (times[0], times[-1]))
    words = f"runs of {shortest if shortest == longest else f'{shortest} to {longest}'} min"
    if times[0] < SHORT_RUN_S:
        return Finding("fair", "time", words, "A longer course or a slower speed gives runs of five minutes or more.")
    if times[-1] > LONG_RUN_S:
        return Finding("fair", "time", words, "The stream changes meanwhile: run faster, or make four runs.")
    return Finding("good", "time", words)


def _stream_findings(plan: RunPlan, along_kn: float | None, crab_deg: float | None) -> list[Finding]:
    if along_kn is None or crab_deg is None:
        return [Finding("fair", "stream", "not known", "Look up the stream, and prefer slack water.")]
    found: list[Finding] = []
    strong = abs(along_kn) > STRONG_STREAM * plan.speed_kn
    found.append(
        Finding("fair", "stream along", f"{abs(along_kn):.1f} kn", "Strong for this speed: make four runs.")
        if strong
        else Finding("good", "stream along", f"{abs(along_kn):.1f} kn")
    )
    across_kn = plan.speed_kn * math.sin(math.radians(abs(crab_deg)))
    words = f"{across_kn:.1f} kn, {abs(crab_deg):.0f}° of crab to hold the track"
    if plan.conditions.steering is Steering.HEADING_HELD or abs(crab_deg) < SMALL_CRAB_DEG:
        found.append(Finding("good", "stream across", words))
    else:
        level = "poor" if abs(crab_deg) > LARGE_CRAB_DEG else "fair"
        remedy = "Hold the heading square to transits instead, or note the compass course on every run."
        found.append(Finding(level, "stream across", words, remedy))
    return found


def _steering_finding(course: MeasuredCourse, plan: RunPlan) -> Finding:
    held = plan.conditions.steering.value
    if plan.conditions.steering is Steering.HEADING_HELD and not course.transits:
        return Finding(
            "fair",
            "steering",
            f"{held}, but the ends are single marks",
            "Without transits a boat set sideways passes the mark on another line: hold the track and note the crab.",
        )
    if plan.conditions.steering is Steering.TRACK_HELD and course.transits:
        return Finding(
            "fair", "steering", held, "The transits let you hold the heading: then a stream across drops out."
        )
    return Finding("good", "steering", held)


def _expected_finding(expected: TrialResult) -> Finding:
    words = f"factor to ± {expected.expanded:.1%} expected"
    if expected.expanded <= GOOD_EXPANDED:
        return Finding("good", "result", words)
    best = improvements(expected)
    level = "poor" if expected.expanded > POOR_EXPANDED else "fair"
    return Finding(level, "result", words, best[0].words if best else "")
