"""A log over the years: its trials on control charts, how they agree, what happened to it, when to measure again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from truemile.core.errors import NotFound
from truemile.plots.history_charts import HISTORY_CHARTS, history_charts
from truemile.web.asks.rounds import EVENT_BOXES, event_form
from truemile.web.formats import day_of, pair, with_unit
from truemile.web.forms import Form, Typed
from truemile.web.pages import Action, Asked, Download, Page, Section
from truemile.web.views.trial_charts import Picture, chart_file, picture
from truemile.workbook import boats, events
from truemile.workbook.entries import read_entry
from truemile.workbook.history import HistoryPoint, LogHistory, log_history
from truemile.workbook.schema import TrialKind


@dataclass(frozen=True, slots=True)
class PointRow:
    """One trial of the history."""

    trial_id: Annotated[int, "Its number."]
    address: Annotated[str, "Where it stands."]
    kind: Annotated[str, "What it was."]
    day: Annotated[str, "When."]
    factor: Annotated[str, "Its factor, as the log would show it with the common setting."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    speed: Annotated[str, "Indicated speed it is quoted at."]
    error: Annotated[str, "Normalised error against the trial before; empty for the first."]
    agrees: Annotated[bool, "False where it does not agree with the trial before."]
    outside: Annotated[bool, "Whether it lies outside the limits of the chart."]
    in_force: Annotated[bool, "Whether it was put in force."]


@dataclass(frozen=True, slots=True)
class EventRow:
    """What happened on a day."""

    day: Annotated[str, "When."]
    kind: Annotated[str, "What happened."]
    note: Annotated[str, "Note."]
    by: Annotated[str, "Who noted it."]


@dataclass(frozen=True, slots=True)
class SkippedRow:
    """A trial without a factor."""

    trial_id: Annotated[int, "Its number."]
    day: Annotated[str, "When."]
    why: Annotated[str, "Why it gives no factor."]


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """A log over the years."""

    id: Annotated[int, "Number of the log."]
    name: Annotated[str, "How it is called."]
    state: Annotated[str, "What the history says in one word."]
    due: Annotated[str, "When to measure again; empty if that cannot be told."]
    due_now: Annotated[bool, "Whether it should be measured again at once."]
    words: Annotated[tuple[str, ...], "What the history says, in plain sentences."]
    setting: Annotated[str, "The setting that all factors are reduced to; empty if none was noted."]
    points: Annotated[tuple[PointRow, ...], "Trials with a factor, newest first."]
    limits: Annotated[str, "Limits of the chart and where they come from; empty before there are two trials."]
    pictures: Annotated[tuple[Picture, ...], "The charts."]
    events: Annotated[tuple[EventRow, ...], "What happened, newest first."]
    skipped: Annotated[tuple[SkippedRow, ...], "Trials without a factor."]
    event_form: Annotated[Form, "Asks what happened."]
    report: Annotated[str, "Address of the history as a sheet; empty before there is a factor."]


def history(asked: Asked, instrument_id: int) -> HistoryPage:
    """Show a log over the years."""
    found = log_history(asked.workbook, instrument_id, at=asked.at)
    log = found.instrument
    offset = boats.boat(asked.workbook, log.boat_id).ship_utc_offset
    return HistoryPage(
        id=log.id,
        name=log.name,
        state=found.state.value,
        due="" if found.next_due is None else day_of(found.next_due, offset),
        due_now=found.due_now,
        words=found.words,
        setting="" if found.setting is None else str(found.setting),
        points=_points(found, offset),
        limits=_limits(found),
        pictures=_pictures(found),
        events=tuple(
            EventRow(day_of(each.at, offset), each.kind.value, each.note, each.author)
            for each in reversed(found.events)
        ),
        skipped=tuple(
            SkippedRow(each.trial_id, day_of(each.at, offset), f"{each.reason.allowed}. {each.reason.remedy}")
            for each in found.skipped
        ),
        event_form=event_form(log.id, (asked.at + offset).date().isoformat()).after(asked.refused_form("event")),
        report=f"/instruments/{log.id}/history.pdf" if found.points else "",
    )


def _points(found: LogHistory, offset: timedelta) -> tuple[PointRow, ...]:
    outside = set() if found.chart is None else set(found.chart.outside)
    rows = [_row(point, place in outside, offset) for place, point in enumerate(found.points)]
    return tuple(reversed(rows))


def _row(point: HistoryPoint, outside: bool, offset: timedelta) -> PointRow:
    number, margin = pair(point.factor, point.expanded)
    of_round = point.kind is TrialKind.VECTOR_ROUND
    return PointRow(
        trial_id=point.trial_id,
        address=f"/{'rounds' if of_round else 'trials'}/{point.trial_id}",
        kind={TrialKind.VECTOR_ROUND: "Round", TrialKind.CHECK: "Check"}.get(point.kind, "Trial"),
        day=day_of(point.at, offset),
        factor=number,
        plus_minus=margin,
        speed=with_unit(point.speed_kn, 1),
        error="" if point.normalised_error is None else f"{point.normalised_error:.2f}",
        agrees=point.agrees is not False,
        outside=outside,
        in_force=point.how is not None,
    )


def _limits(found: LogHistory) -> str:
    if found.chart is None:
        return ""
    source = "how much successive trials differ" if found.chart.from_ranges else "the stated ±"
    return f"Limits {found.chart.low:.3f} to {found.chart.high:.3f}, three standard deviations, from {source}."


def _pictures(found: LogHistory) -> tuple[Picture, ...]:
    if not found.points:
        return ()
    root = f"/instruments/{found.instrument.id}/history/plots"
    return tuple(
        picture(HISTORY_CHARTS[name], f"{root}/{name}.json", spec) for name, spec in history_charts(found).items()
    )


def chart(asked: Asked, instrument_id: int, name: str) -> tuple[bytes, str]:
    """Return the specification of one chart of a history."""
    charts = history_charts(log_history(asked.workbook, instrument_id, at=asked.at))
    if name not in charts:
        raise NotFound("plot", name, "this history has " + (", ".join(charts) or "no chart yet"), "Use one of these.")
    return chart_file(asked, charts[name])


def add_event(asked: Asked, typed: Typed, instrument_id: int) -> str:
    """Note what happened."""
    entry = read_entry(events.EventEntry, typed.only(EVENT_BOXES))
    made = events.record_event(asked.workbook, instrument_id, entry)
    return f"/instruments/{instrument_id}/history?done={made.entry_id}"


def report(asked: Asked, instrument_id: int) -> tuple[bytes, str]:
    """Return the history as a sheet."""
    from truemile.reports import history_report

    return history_report(asked.workbook, instrument_id, at=asked.at), f"log-history-{instrument_id}.pdf"


PAGE = Page("/instruments/{instrument_id:int}/history", "Instruments", "history.html", HistoryPage, history)

SECTION = Section(
    pages=(PAGE,),
    actions=(Action("/instruments/{instrument_id:int}/events", PAGE, "event", add_event),),
    downloads=(
        Download("/instruments/{instrument_id:int}/history.pdf", "application/pdf", report),
        Download("/instruments/{instrument_id:int}/history/plots/{name}.json", "application/json", chart),
    ),
)
