"""The history of a log in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from truemile.workbook.history import LogHistory

#: Speeds further apart than this, in knots, make a difference that is none of the years (judgement, no source).
_FAR_APART_KN: Final = 1.0


def history_words(history: LogHistory) -> tuple[str, ...]:
    """Return what a history says: drift, agreement, control, and when to measure again."""
    return (*_drift(history), *_agreement(history), *_control(history), *_speeds(history), _again(history))


def _drift(history: LogHistory) -> Iterator[str]:
    found = history.trend
    if found is None:
        return
    begin = f"the {history.reset.kind.value} on {history.reset.at:%Y-%m-%d}" if history.reset else "the first trial"
    rate = f"{_percent(found.per_month, found.expanded_per_month, 2, '+')} a month"
    if not found.significant:
        yield f"Steady: no drift shows since {begin} ({rate})."
        return
    rising = found.change > 0
    change = _percent(abs(found.change), found.expanded_change, 1)
    yield (
        f"The factor has drifted {'up' if rising else 'down'} by {change} since {begin} ({rate}): "
        f"the log reads {'less' if rising else 'more'} than it did."
    )


def _agreement(history: LogHistory) -> Iterator[str]:
    if len(history.points) < 2:
        return
    newest = history.points[-1]
    error = newest.normalised_error or 0.0
    if newest.agrees:
        yield f"The last two trials agree (Eₙ {error:.2f})."
    else:
        yield (
            f"The last two trials do not agree (Eₙ {error:.2f}, more than 1): something has changed, "
            "or one of them has a slip in it."
        )


def _control(history: LogHistory) -> Iterator[str]:
    if history.chart is not None:
        numbers = [str(history.points[place].trial_id) for place in history.chart.outside]
        if numbers:
            yield f"Outside the limits of the chart: trial {', '.join(numbers)}."
    if history.ewma is not None and history.points and len(history.points) - 1 in history.ewma.outside:
        yield "The weighted mean has left its limits: a slow change that no single trial shows."


def _speeds(history: LogHistory) -> Iterator[str]:
    speeds = [point.speed_kn for point in history.points]
    if speeds and max(speeds) - min(speeds) > _FAR_APART_KN:
        yield (
            f"The trials were made between {min(speeds):.1f} and {max(speeds):.1f} kn indicated: "
            "part of a difference may be of the speed."
        )


def _again(history: LogHistory) -> str:
    if history.next_due is None:
        return history.due_reason
    if not history.due_now:
        return f"Measure again by {history.next_due:%Y-%m-%d}. {history.due_reason}"
    if _by_drift(history):
        return "Measure again now: drift and uncertainty already use up the 2 % that the factor may be off."
    return f"Measure again now. {history.due_reason}"


def _by_drift(history: LogHistory) -> bool:
    """Whether the day it is due comes out of the line through the trials, after the last of them, and of no event."""
    after = history.next_due is not None and history.next_due > history.points[-1].at
    return after and not any(event.kind.makes_due and event.at == history.next_due for event in history.events)


def _percent(value: float, expanded: float, decimals: int, sign: str = "") -> str:
    words = f"{100.0 * value:{sign}.{decimals}f} ± {100.0 * expanded:.{decimals}f} %"
    return words.replace("-", "\N{MINUS SIGN}")
