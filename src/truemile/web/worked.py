"""What was worked out of a trial, remembered: a page that is looked at again is not worked out again.

All three depend on nothing but the readings and conditions they are given, so that they can never be out of date.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from truemile.core.improvements import way_to_halve
from truemile.core.log_trial import TrialResult
from truemile.web.formats import pair
from truemile.workbook import log_trials
from truemile.workbook.views import TrialView
from truemile.working.log_trial import explain_trial


@dataclass(frozen=True, slots=True)
class Halving:
    """What would halve an uncertainty."""

    changes: Annotated[tuple[str, ...], "What to do, best first."]
    reached: Annotated[bool, "Whether that halves it."]
    then: Annotated[str, "95 % uncertainty then."]


@lru_cache(maxsize=256)
def result_of(view: TrialView) -> TrialResult:
    """Return what the runs of a trial give.

    Raises
    ------
    NotEnoughReadings, ReadingError
        If they cannot give a factor.
    """
    return log_trials.analysed(view)


@lru_cache(maxsize=64)
def working_of(result: TrialResult) -> Mapping[str, Any]:
    """Return the hand lines of a trial, as data."""
    return explain_trial(result).as_dict()


@lru_cache(maxsize=64)
def halving_of(result: TrialResult) -> Halving:
    """Return what would halve the uncertainty of a trial."""
    way = way_to_halve(result)
    return Halving(way.changes, way.reached, pair(1.0, way.expanded_after)[1])
