"""The history of a log as text for a terminal, and as data for a machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from truemile.cli.errors import error_as_plain
from truemile.cli.log.event import events_table
from truemile.cli.present import as_plain, paragraph, ruled

if TYPE_CHECKING:
    from truemile.workbook.history import LogHistory

_PLAIN = (
    "setting",
    "points",
    "events",
    "chart",
    "ewma",
    "reset",
    "trend",
    "next_due",
    "due_reason",
    "state",
    "words",
)


def history_data(history: LogHistory) -> dict[str, Any]:
    """Return a history for a machine."""
    return {
        "log": history.instrument.name,
        **{name: as_plain(getattr(history, name)) for name in _PLAIN},
        "due_now": history.due_now,
        "skipped": [
            {"trial_id": each.trial_id, "at": as_plain(each.at), **error_as_plain(each.reason)}
            for each in history.skipped
        ],
    }


def history_text(history: LogHistory) -> str:
    """Return what a history says, the trials with how they agree, limits, events, and trials that give no factor."""
    blocks = ["\n".join(paragraph(words, indent=0) for words in history.words), points_table(history)]
    limits = _limits(history)
    if limits:
        blocks.append(limits)
    if history.events:
        blocks.append(f"Events\n{events_table(history.events)}")
    if history.skipped:
        skipped = [paragraph(f"trial {each.trial_id}: {each.reason}", mark="- ") for each in history.skipped]
        blocks.append("\n".join(["Without a factor", *skipped]))
    return "\n\n".join(blocks)


def points_table(history: LogHistory) -> str:
    """Return the trials, oldest first, as one setting would have shown them."""
    if not history.points:
        return "  No trial gives a factor yet."
    outside = set() if history.chart is None else set(history.chart.outside)
    rows = []
    for place, point in enumerate(history.points):
        error = "" if point.normalised_error is None else f"{point.normalised_error:.2f}"
        rows.append(
            (
                f"{point.at:%Y-%m-%d}",
                str(point.trial_id),
                f"{point.factor:.3f}",
                f"± {point.expanded:.3f}",
                f"{point.speed_kn:.1f}",
                error,
                "no" if point.agrees is False else "",
                "outside" if place in outside else "",
                "" if point.how is None else "in force" if point.how.value == "applied" else point.how.value,
            )
        )
    heads = ("date", "trial", "factor", "95 %", "log kn", "Eₙ", "agrees", "limits", "")
    table = ruled(heads, rows, left=1)
    setting = "" if history.setting is None else f"\n  As the log would read, set to {history.setting}."
    return f"{table}{setting}"


def _limits(history: LogHistory) -> str:
    if history.chart is None:
        return ""
    chart = history.chart
    source = "moving ranges" if chart.from_ranges else "the stated ±"
    rows = [("single trials", f"{chart.low:.3f}", f"{chart.centre:.3f}", f"{chart.high:.3f}")]
    if history.ewma is not None:
        mean = history.ewma
        rows.append(("weighted mean", f"{mean.low:.3f}", f"{chart.centre:.3f}", f"{mean.high:.3f}"))
    return f"Limits, from {source}\n{ruled(('of', 'low', 'centre', 'high'), rows)}"
