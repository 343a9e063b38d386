"""What happened to an instrument between trials: cleaned, hauled out, struck, fitted with a new paddle, set anew."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from sqlalchemy.orm import Session

from truemile.core.errors import ReadingError
from truemile.workbook import journal
from truemile.workbook.boats import offset_at
from truemile.workbook.finding import find
from truemile.workbook.instruments import log_setting, setting_rows
from truemile.workbook.kinds import EventKind
from truemile.workbook.schema import Event, Instrument, Journal
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Entry, Faults, Text, choice, day_of, instant, needed, short

__all__ = ["EventEntry", "EventKind", "EventView", "event_views", "events", "record_event"]


class EventEntry(Entry):
    """An event as typed: what, when on ship's clock (a day alone is noon), and a note."""

    kind: Text = None
    date: Text = None
    note: Text = None


@dataclass(frozen=True, slots=True)
class EventView:
    """One event; a setting change comes from the settings, and says what was set."""

    id: int
    instrument_id: int
    kind: EventKind
    at: datetime
    note: str
    author: str
    entry_id: int

    @property
    def words(self) -> str:
        """What happened, for a list or a chart."""
        return f"{self.kind.value}: {self.note}" if self.note else self.kind.value


def record_event(
    wb: Workbook,
    which: int | str | None,
    kind: EventKind | str | EventEntry,
    at: datetime | None = None,
    note: str = "",
    *,
    author: str | None = None,
) -> EventView:
    """Note what happened to an instrument.

    Parameters
    ----------
    kind
        What happened; or the form, which says when and adds a note too.
    at
        When; now if None.

    Raises
    ------
    NotFound
        If there is no such instrument.
    ReadingError
        Or `ManyFaults`, if the entry cannot be; a change of setting is noted as such.
    """
    with wb.writing() as session:
        row = find(session, Instrument, which, "instrument")
        entry = kind if isinstance(kind, EventEntry) else EventEntry(kind=str(kind), note=note)
        faults = Faults()
        what = faults.take(lambda: _kind(entry.kind), None)
        when = faults.take(lambda: _when(session, wb, row, entry.date, at), None)
        words = faults.take(lambda: short(entry.note, "note"), "")
        known, happened = faults.sure(what), faults.sure(when)
        summary = f"{row.name}: {known.value} on {journal.local_words(happened)}" + (f" ({words})" if words else "")
        written = journal.note(session, wb, "note event", ("events", ""), summary, author=author)
        event = Event(instrument_id=row.id, kind=known, happened_at=happened, note=words, entry_id=written.id)
        journal.keep(session, written, event)
        return _view(session, event)


def events(wb: Workbook, which: int | str | None = None) -> tuple[EventView, ...]:
    """Return what happened to an instrument, changes of its setting among it, oldest first."""
    with wb.reading() as session:
        return event_views(session, find(session, Instrument, which, "instrument").id)


def event_views(session: Session, instrument_id: int) -> tuple[EventView, ...]:
    """Return the events of an instrument inside a reading; what is set first of all is no change."""
    query = journal.standing(Event).where(Event.instrument_id == instrument_id)
    found = [_view(session, row) for row in session.scalars(query.order_by(Event.happened_at, Event.id))]
    for row in setting_rows(session, instrument_id)[1:]:
        said = f"{log_setting(row)}" + (f" ({row.note})" if row.note else "")
        author = session.get_one(Journal, row.entry_id).author
        found.append(EventView(row.id, instrument_id, EventKind.SETTING, row.set_at, said, author, row.entry_id))
    return tuple(sorted(found, key=lambda view: (view.at, view.entry_id)))


def _kind(text: str | None) -> EventKind:
    kind = choice(needed(text, "kind", "Say what happened: cleaning, haul-out, collision …"), "kind", EventKind)
    if kind is EventKind.SETTING:
        raise ReadingError(
            "kind", text, "a change of setting is kept with its value", "Note the new setting of the log instead."
        )
    return kind


def _when(session: Session, wb: Workbook, row: Instrument, text: str | None, at: datetime | None) -> datetime:
    now = wb.now()
    if text is None:
        happened = wb.at(at)
    else:
        offset = timedelta(minutes=offset_at(session, row.boat_id, now))
        if len(text) <= len("2026-05-14"):
            day = day_of(text, "date")
            happened = now if day == (now + offset).date() else datetime.combine(day, time(12), UTC) - offset
        else:
            happened = instant(text, "date", None, offset)
    if happened > now + timedelta(days=1):
        raise ReadingError("date", happened.isoformat(), "an event is noted once it has happened", "Check the date.")
    return happened


def _view(session: Session, row: Event) -> EventView:
    author = session.get_one(Journal, row.entry_id).author
    return EventView(row.id, row.instrument_id, row.kind, row.happened_at, row.note, author, row.entry_id)
