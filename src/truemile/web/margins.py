"""What stands in the margin of a sheet: what an uncertainty is made of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from truemile.core.factor_budget import group_of
from truemile.core.uncertainty import Budget

#: Parts smaller than this are gathered into one line.
SMALLEST_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Bar:
    """One part of an uncertainty."""

    label: Annotated[str, "What it is."]
    percent: Annotated[int, "Its part of the variance."]
    advice: Annotated[str, "What would make it smaller."]


def bars_of(budget: Budget, heading_of: Callable[[str], str] = group_of) -> tuple[Bar, ...]:
    """Return the parts of a budget, largest first, equal ones of several runs merged and the smallest gathered."""
    rows = budget.grouped(heading_of)
    large = [row for row in rows if row.share >= SMALLEST_SHARE]
    bars = [Bar(row.label, round(100 * row.share), row.advice) for row in large]
    rest = sum(row.share for row in rows) - sum(row.share for row in large)
    if rest >= 0.005:
        bars.append(Bar("all the rest", round(100 * rest), ""))
    return tuple(bars)
