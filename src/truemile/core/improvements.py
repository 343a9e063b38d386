"""What would make a factor surer: each possible change of the trial, worked through and ranked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from truemile.core.factor_budget import UNNOTED_CRAB_DEG
from truemile.core.log_factor import crab_of
from truemile.core.log_runs import Conditions, Indication, Run, Steering
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.core.measured_course import LONGEST_NM, MeasuredCourse

#: A change that takes off less than this part of the uncertainty is not worth naming.
WORTH_NAMING = 0.03
#: Time to turn and come back to the mark, taken where runs are added to a plan.
TURN = timedelta(minutes=4)
#: Most changes that are put together to halve an uncertainty.
MOST_CHANGES = 4


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a factor rests on: the course, the runs and the conditions."""

    course: MeasuredCourse
    runs: tuple[Run, ...]
    conditions: Conditions


@dataclass(frozen=True, slots=True)
class Improvement:
    """A change, in words, and the 95 % uncertainty of the factor without and with it."""

    words: str
    expanded_now: float
    expanded_after: float

    @property
    def takes_off(self) -> float:
        """Part of the uncertainty that it takes off."""
        return 1.0 - self.expanded_after / self.expanded_now


@dataclass(frozen=True, slots=True)
class WayToHalve:
    """Changes that together bring the uncertainty down, and how far; `reached` where it is halved."""

    changes: tuple[str, ...]
    expanded_after: float
    reached: bool


Change = Callable[[Evidence], Evidence]


def improvements(result: TrialResult) -> tuple[Improvement, ...]:
    """Return the changes that would make the factor of this trial surer, best first.

    Notes
    -----
    Each is tried on the trial's own runs: the same estimate, with the course, readings or conditions changed.
    """
    evidence = _evidence(result)
    found = [
        Improvement(words, result.expanded, _expanded(change(evidence))) for words, change in _changes(evidence, result)
    ]
    found = [item for item in found if item.takes_off >= WORTH_NAMING]
    return tuple(sorted(found, key=lambda item: item.expanded_after))


def way_to_halve(result: TrialResult) -> WayToHalve:
    """Return the fewest changes, taken best first, that halve the uncertainty, or how far they get."""
    evidence, left = _evidence(result), _changes(_evidence(result), result)
    taken: list[str] = []
    now = result.expanded
    while left and now > result.expanded / 2.0 and len(taken) < MOST_CHANGES:
        tried = [(_expanded(change(evidence)), i) for i, (_, change) in enumerate(left)]
        best, i = min(tried)
        if best > now * (1.0 - WORTH_NAMING):
            break
        words, change = left.pop(i)
        evidence, now = change(evidence), best
        taken.append(words)
    return WayToHalve(tuple(taken), now, reached=now <= result.expanded / 2.0)


def _evidence(result: TrialResult) -> Evidence:
    runs = tuple(run.run for group in result.groups for run in group.best.runs)
    return Evidence(result.course, runs, result.conditions)


def _expanded(evidence: Evidence) -> float:
    return analyse_trial(evidence.course, evidence.runs, evidence.conditions).expanded


def _changes(evidence: Evidence, result: TrialResult) -> list[tuple[str, Change]]:
    by_display = any(group.best.indication is Indication.SPEED for group in result.groups)
    found: list[tuple[str, Change]] = []
    if by_display:
        found.append(("Read the distance counter, zeroed at the start of each run.", _read_counter))
        found.append(("Take twice as many readings on each run.", _more_readings))
    found.append((f"Make {2 * len(evidence.runs)} runs instead of {len(evidence.runs)}.", _more_runs))
    if evidence.course.length_nm * 2 <= LONGEST_NM:
        found.append((f"Take a course of {2 * evidence.course.length_nm:.1f} nm.", _longer))
    found.append(("Know the length of the course three times better: marks fixed more exactly.", _better_marks))
    found.append((f"Time the runs to ± {evidence.conditions.timing_limit_s / 2:g} s.", _better_timing))
    found.append(("Run in water with half the unevenness in the stream.", _slacker))
    if evidence.conditions.steering is Steering.TRACK_HELD:
        found.append(("Read the compass course on every run, for a crab angle to 1°.", _better_crab))
    return found


def _read_counter(evidence: Evidence) -> Evidence:
    def counted(run: Run) -> Run:
        speed = run.indicated_kn(Indication.SPEED if run.speed_readings_kn else Indication.DISTANCE)
        return replace(run, log_start_nm=None, log_stop_nm=speed * run.elapsed_h)

    return replace(
        evidence,
        runs=tuple(counted(run) for run in evidence.runs),
        conditions=replace(
            evidence.conditions, distance_resolution_nm=min(0.01, evidence.conditions.distance_resolution_nm)
        ),
    )


def _more_readings(evidence: Evidence) -> Evidence:
    return replace(evidence, runs=tuple(replace(r, speed_readings_kn=r.speed_readings_kn * 2) for r in evidence.runs))


def _more_runs(evidence: Evidence) -> Evidence:
    return replace(evidence, runs=evidence.runs + _later(evidence.runs))


def _later(runs: Sequence[Run]) -> tuple[Run, ...]:
    """The same runs made once more afterwards."""
    starts = [run.started_at for run in runs if run.started_at is not None]
    if not starts:
        return tuple(runs)
    end = max(r.started_at + timedelta(seconds=r.elapsed_s) for r in runs if r.started_at is not None)
    shift = end + TURN - min(starts)
    return tuple(r if r.started_at is None else replace(r, started_at=r.started_at + shift) for r in runs)


def _longer(evidence: Evidence) -> Evidence:
    start = min((r.started_at for r in evidence.runs if r.started_at is not None), default=None)

    def twice(run: Run) -> Run:
        stop = None if run.logged_nm is None else (run.log_start_nm or 0.0) + 2 * run.logged_nm
        moved = run.started_at
        if moved is not None and start is not None:
            moved = start + 2 * (moved - start)
        return replace(run, elapsed_s=2 * run.elapsed_s, log_stop_nm=stop, started_at=moved)

    return replace(
        evidence,
        course=replace(evidence.course, length_nm=2 * evidence.course.length_nm),
        runs=tuple(twice(run) for run in evidence.runs),
    )


def _better_marks(evidence: Evidence) -> Evidence:
    return replace(evidence, course=replace(evidence.course, u_length_nm=evidence.course.u_length_nm / 3))


def _better_timing(evidence: Evidence) -> Evidence:
    limit = evidence.conditions.timing_limit_s / 2
    return replace(evidence, conditions=replace(evidence.conditions, timing_limit_s=limit))


def _slacker(evidence: Evidence) -> Evidence:
    uneven = evidence.conditions.stream_irregularity_kn / 2
    return replace(evidence, conditions=replace(evidence.conditions, stream_irregularity_kn=uneven))


def _better_crab(evidence: Evidence) -> Evidence:
    noted = crab_of(evidence.runs, evidence.conditions).angle_deg
    angle = UNNOTED_CRAB_DEG / 2 if noted is None else noted
    return replace(evidence, conditions=replace(evidence.conditions, crab_deg=angle, u_crab_deg=1.0))
