"""A whole log trial: its runs by engine speed, the better reading of the log, and the correction that comes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from truemile.core.corrections import LogCorrection
from truemile.core.errors import NavigationError, gather
from truemile.core.factor_remarks import Remark
from truemile.core.log_curve import FactorCurve, curve_through
from truemile.core.log_factor import LogFactor, factor_from_runs
from truemile.core.log_runs import Conditions, Indication, Run, check_runs
from truemile.core.log_settings import LogSetting
from truemile.core.measured_course import MeasuredCourse
from truemile.core.uncertainty import coverage_factor


@dataclass(frozen=True, slots=True)
class SpeedGroup:
    """Runs at one engine speed: the factor by the better reading of the log, and by the other if it was noted."""

    label: str
    best: LogFactor
    other: LogFactor | None

    @property
    def other_agrees(self) -> bool:
        """True where both readings of the log give one factor within their own uncertainty.

        Notes
        -----
        One sensor feeds both, so they should (common practice, no source). Length, timing and stream enter both alike;
        only what belongs to the readings themselves counts.
        """
        if self.other is None:
            return True
        own = _u_of_readings(self.best) ** 2 + _u_of_readings(self.other) ** 2
        return bool(abs(self.best.factor - self.other.factor) <= 2.0 * own**0.5)


@dataclass(frozen=True, slots=True)
class TrialResult:
    """What a log trial gives.

    Attributes
    ----------
    groups
        One an engine speed, slowest first.
    curve
        The correction and the shapes it was chosen from.
    remarks
        About the evidence, cautions first.
    """

    course: MeasuredCourse
    conditions: Conditions
    groups: tuple[SpeedGroup, ...]
    curve: FactorCurve
    remarks: tuple[Remark, ...]

    @property
    def correction(self) -> LogCorrection:
        """The correction to put in force."""
        return self.curve.correction

    @property
    def factor(self) -> float:
        """Log factor in the middle of the speeds that were run."""
        return self.correction.factor(self.quoted_at_kn)

    @property
    def u_factor(self) -> float:
        """Standard uncertainty of that factor."""
        return self.correction.u_factor(self.quoted_at_kn)

    @property
    def quoted_at_kn(self) -> float:
        """Indicated speed that the factor is quoted at."""
        return self.groups[0].best.mean_indicated_kn if len(self.groups) == 1 else self.correction.middle_kn

    @property
    def expanded(self) -> float:
        """95 % uncertainty of the factor."""
        if len(self.groups) == 1:
            return self.groups[0].best.expanded
        return coverage_factor(self.correction.dof) * self.u_factor

    @property
    def hand_factor(self) -> float:
        """Plain mean of all run factors, as done by hand."""
        factors = [run.factor for group in self.groups for run in group.best.runs]
        return sum(factors) / len(factors)


def analyse_trial(
    course: MeasuredCourse,
    runs: Sequence[Run],
    conditions: Conditions | None = None,
    *,
    setting: LogSetting | None = None,
) -> TrialResult:
    """Return what a trial over a measured course gives.

    Parameters
    ----------
    course
        The measured course.
    runs
        All runs in the order made; those at one engine setting carry one `speed_group`.
    conditions
        How they were made and read; the usual ones if None.
    setting
        What was set in the log during the trial.

    Raises
    ------
    NotEnoughReadings
        If an engine speed has no run one way, or no reading on every run.
    ReadingError
        If a run cannot be right.
    """
    conditions = conditions or Conditions()
    labels = list(dict.fromkeys(run.speed_group for run in runs)) or [""]
    groups: list[SpeedGroup] = []
    faults: list[NavigationError] = []
    for label in labels:
        members = [run for run in runs if run.speed_group == label]
        try:
            groups.append(_group(label, course, members, conditions))
        except NavigationError as error:
            faults.append(_renumbered(error, label, runs, members))
    gather(faults)
    groups.sort(key=lambda group: group.best.mean_indicated_kn)
    curve = curve_through([group.best for group in groups])
    curve = replace(curve, correction=replace(curve.correction, setting=setting))
    return TrialResult(course, conditions, tuple(groups), curve, _remarks(groups))


def _group(label: str, course: MeasuredCourse, runs: Sequence[Run], conditions: Conditions) -> SpeedGroup:
    check_runs(course, runs, conditions)
    best = factor_from_runs(course, runs, conditions)
    rest = Indication.DISTANCE if best.indication is Indication.SPEED else Indication.SPEED
    both = all(rest in run.indications for run in runs)
    other = factor_from_runs(course, runs, conditions, indication=rest) if both else None
    return SpeedGroup(label, best, other)


def _renumbered(error: NavigationError, label: str, runs: Sequence[Run], members: Sequence[Run]) -> NavigationError:
    """Field names of one engine speed count its own runs; the reader counts all of them."""
    if len(runs) == len(members):
        return error
    place = [i for i, run in enumerate(runs) if run.speed_group == label]
    return error.renamed(lambda field: _in_all(field, place, label))


def _in_all(field: str, place: Sequence[int], label: str) -> str:
    head, bracket, rest = field.partition("[")
    if head != "runs" or not bracket:
        return f"{field} at {label or 'the unnamed speed'}"
    number, _, tail = rest.partition("]")
    return f"runs[{place[int(number)]}]{tail}"


def _u_of_readings(factor: LogFactor) -> float:
    words = ("scatter", "display", "counter")
    return float(sum(row.contribution**2 for row in factor.budget.rows if row.label.startswith(words)) ** 0.5)


def _remarks(groups: Sequence[SpeedGroup]) -> tuple[Remark, ...]:
    found = list(dict.fromkeys(remark for group in groups for remark in group.best.remarks))
    found.extend(
        Remark(
            "caution",
            "readings",
            f"Two readings of one log disagree: factor {group.best.factor:.3f} by the {group.best.indication.value},"
            f" {group.other.factor:.3f} by the {group.other.indication.value}.",
            "One sensor feeds both, so look for a slip in the counter readings.",
        )
        for group in groups
        if group.other is not None and not group.other_agrees
    )
    return tuple(sorted(found, key=lambda remark: remark.level != "caution"))
