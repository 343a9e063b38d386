"""The history of a log on one page: what it says, its charts, its trials and what happened to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

import truemile
from truemile.core.uncertainty import rounded
from truemile.plots.history_charts import HISTORY_CHARTS, history_charts
from truemile.plots.render import svg
from truemile.reports.typeset import typeset
from truemile.reports.words import DEMO, day_text

if TYPE_CHECKING:
    from truemile.workbook.history import LogHistory

#: Rows that have room on the page; older ones stand in the workbook.
_MOST_TRIALS: Final = 14
_MOST_EVENTS: Final = 8
_HEIGHTS: Final = {"factors": 190, "weighted": 110, "agreement": 80}


@dataclass(frozen=True, slots=True)
class HistorySheet:
    """What the history sheet is made from.

    Attributes
    ----------
    boat, instrument
        Names.
    history
        From `truemile.workbook.history.log_history`.
    utc_offset
        Ship's time minus UTC.
    made_at
        When this sheet is.
    demo
        True for the invented waters.
    """

    boat: str
    instrument: str
    history: LogHistory
    utc_offset: timedelta
    made_at: datetime
    demo: bool = False


def set_history(sheet: HistorySheet) -> bytes:
    """Return the history of a log as PDF; the same sheet gives the same bytes."""
    drawings = {
        name: svg(spec, "print", width=500, height=_HEIGHTS[name])
        for name, spec in history_charts(sheet.history).items()
    }
    return typeset("history", history_data(sheet), made_at=sheet.made_at, drawings=drawings)


def history_data(sheet: HistorySheet) -> dict[str, Any]:
    """Return all that the sheet shows, as plain data."""
    history, made = sheet.history, sheet.made_at
    charts = [
        {"name": name, "title": HISTORY_CHARTS[name], "words": spec["description"]}
        for name, spec in history_charts(history).items()
    ]
    older = len(history.points) - _MOST_TRIALS
    return {
        "title": "Log history",
        "author": sheet.boat,
        "date": [made.year, made.month, made.day],
        "boat": sheet.boat,
        "instrument": sheet.instrument,
        "demo": sheet.demo,
        "demo_words": DEMO,
        "state": history.state.value.capitalize(),
        "due": _due(sheet),
        "words": list(history.words),
        "charts": charts,
        "trials": _trials(sheet),
        "older": f"{older} older trials stand in the workbook." if older > 0 else "",
        "events": [
            {"day": _day(sheet, each.at), "what": each.words} for each in reversed(history.events[-_MOST_EVENTS:])
        ],
        "setting": "" if history.setting is None else f"As the log would show it, set to {history.setting}.",
        "limits": _limits(history),
        "cautions": [
            "After a cleaning, a haul-out, a collision or a new paddle measure again, whatever the trend says.",
            "Use official, up-to-date charts; keep a look-out; local rules come first.",
        ],
        "provenance": f"Worked by Truemile {truemile.__version__} on {day_text(made.date())}",
    }


def _due(sheet: HistorySheet) -> str:
    history = sheet.history
    if history.next_due is None:
        return ""
    word = "due since" if history.due_now else "measure again by"
    return f"{word} {_day(sheet, history.next_due)}"


def _trials(sheet: HistorySheet) -> list[dict[str, str]]:
    history = sheet.history
    outside = set() if history.chart is None else set(history.chart.outside)
    rows = []
    for place, point in enumerate(history.points):
        number, around = rounded(point.factor, point.expanded)
        remarks = ["does not agree"] if point.agrees is False else []
        remarks += ["outside"] if place in outside else []
        remarks += ["in force"] if point.how is not None else []
        rows.append(
            {
                "day": _day(sheet, point.at),
                "trial": f"{point.kind.value} {point.trial_id}",
                "factor": number,
                "around": around,
                "speed": f"{point.speed_kn:.1f}",
                "error": "" if point.normalised_error is None else f"{point.normalised_error:.2f}",
                "remarks": ", ".join(remarks),
            }
        )
    return rows[::-1][:_MOST_TRIALS]


def _limits(history: LogHistory) -> str:
    if history.chart is None:
        return ""
    source = "how much successive trials differ" if history.chart.from_ranges else "the stated ±"
    return f"Limits {history.chart.low:.3f} to {history.chart.high:.3f}, three standard deviations, from {source}."


def _day(sheet: HistorySheet, at: datetime) -> str:
    return day_text((at + sheet.utc_offset).date())
