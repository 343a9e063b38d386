"""How far a trial has come: pairs that are whole at each engine speed, and the factor as soon as there is one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from truemile.core.errors import NavigationError
from truemile.core.log_runs import Direction
from truemile.workbook.log_trials import analysed, trial
from truemile.workbook.store import Workbook
from truemile.workbook.views import RunView, TrialView

if TYPE_CHECKING:
    from truemile.core.log_trial import TrialResult


@dataclass(frozen=True, slots=True)
class FactorSoFar:
    """A factor with its 95 % uncertainty, and the indicated speed that it is quoted at."""

    factor: float
    expanded: float
    at_kn: float


@dataclass(frozen=True, slots=True)
class GroupSummary:
    """Runs at one engine speed.

    Attributes
    ----------
    pairs
        Runs out with a run back to match.
    wanted
        The direction of the run that completes a pair; None if all are matched.
    result
        None until there are runs both ways, or where they cannot give a factor: `reason` then says why.
    """

    label: str
    out: int
    back: int
    result: FactorSoFar | None
    reason: NavigationError | None

    @property
    def pairs(self) -> int:
        """How many pairs are whole."""
        return min(self.out, self.back)

    @property
    def wanted(self) -> Direction | None:
        """Which way to go next to complete a pair."""
        if self.out == self.back:
            return None
        return Direction.BACK if self.out > self.back else Direction.OUT


@dataclass(frozen=True, slots=True)
class TrialSummary:
    """A trial so far: its engine speeds in the order run, and the factor of those that have runs both ways."""

    trial_id: int
    runs: int
    groups: tuple[GroupSummary, ...]
    result: FactorSoFar | None
    reason: NavigationError | None

    @property
    def words(self) -> str:
        """One sentence for a page that is read at a glance."""
        if not self.runs:
            return "No run yet."
        pairs = sum(group.pairs for group in self.groups)
        count = f"{pairs} {'pair' if pairs == 1 else 'pairs'} whole"
        if self.result is not None:
            return f"{count}, factor {self.result.factor:.3f} ± {self.result.expanded:.3f}."
        return f"{count}; the factor needs runs both ways." if not pairs else f"{count}, but no factor: {self.reason}"


def trial_summary(wb: Workbook, trial_id: int) -> TrialSummary:
    """Return how far a trial has come.

    Raises
    ------
    NotFound
        If there is no such trial.
    """
    return summary_of(trial(wb, trial_id))


def summary_of(view: TrialView) -> TrialSummary:
    """Return how far a trial has come, from its view."""
    members: dict[str, list[RunView]] = {}
    for item in view.runs:
        members.setdefault(item.run.speed_group, []).append(item)
    groups = tuple(_group(view, label, runs) for label, runs in members.items())
    paired = [item for item in view.runs if _both_ways(members[item.run.speed_group])]
    result, reason = _factor(view, paired) if paired else (None, None)
    return TrialSummary(view.id, len(view.runs), groups, result, reason)


def _group(view: TrialView, label: str, runs: Sequence[RunView]) -> GroupSummary:
    out = sum(item.run.direction is Direction.OUT for item in runs)
    result, reason = _factor(view, runs) if _both_ways(runs) else (None, None)
    return GroupSummary(label, out, len(runs) - out, result, reason)


def _both_ways(runs: Sequence[RunView]) -> bool:
    return len({item.run.direction for item in runs}) == 2


def _factor(view: TrialView, runs: Sequence[RunView]) -> tuple[FactorSoFar | None, NavigationError | None]:
    try:
        result: TrialResult = analysed(replace(view, runs=tuple(runs)))
    except NavigationError as error:
        return None, error
    return FactorSoFar(result.factor, result.expanded, result.quoted_at_kn), None
