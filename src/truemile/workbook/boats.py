"""Boats, and ship's time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from sqlalchemy.orm import Session

from truemile.core.numbers import check_range
from truemile.workbook import journal
from truemile.workbook.entries import BoatEntry
from truemile.workbook.finding import find, refuse_same_name
from truemile.workbook.schema import Boat, ShipTime
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Faults, needed, number, short, yes_no
from truemile.workbook.views import BoatView

#: Ship's time as the boat was entered holds from here until it is changed.
ALWAYS: Final = datetime(1970, 1, 1, tzinfo=UTC)


def add_boat(wb: Workbook, entry: BoatEntry, *, author: str | None = None) -> BoatView:
    """Add a boat.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or there is a boat of that name.
    """
    faults = Faults()
    name = faults.take(lambda: short(needed(entry.name, "name", "Give the boat's name."), "name", 120), "")
    description = faults.take(lambda: short(entry.description, "description"), "")
    length = faults.take(lambda: number(entry.length_m, "length_m", 1, 500, "m"), None)
    draught = faults.take(lambda: number(entry.draught_m, "draught_m", 0.1, 50, "m"), None)
    air_draft = faults.take(lambda: number(entry.air_draft_m, "air_draft_m", 0.5, 150, "m"), None)
    offset = faults.take(lambda: number(entry.ship_utc_offset_min, "ship_utc_offset_min", -720, 840, "min"), None)
    demo = faults.take(lambda: yes_no(entry.demo, "demo"), False)
    faults.done()
    with wb.writing() as session:
        refuse_same_name(session.scalars(journal.standing(Boat)).all(), name, "boat")
        written = journal.note(session, wb, "add boat", ("boats", ""), f"Boat {name}", author=author)
        row = Boat(
            name=name,
            description=description,
            length_m=length,
            draught_m=draught,
            air_draft_m=air_draft,
            demo=demo,
            entry_id=written.id,
        )
        journal.keep(session, written, row)
        minutes = round(offset or 0)
        session.add(ShipTime(boat_id=row.id, utc_offset_min=minutes, valid_from=ALWAYS, entry_id=written.id))
        session.flush()
        return boat_view(session, wb, row)


def boats(wb: Workbook) -> tuple[BoatView, ...]:
    """Return the boats in use."""
    with wb.reading() as session:
        rows = session.scalars(journal.standing(Boat).order_by(Boat.id)).all()
        return tuple(boat_view(session, wb, row) for row in rows)


def boat(wb: Workbook, which: int | str | None = None) -> BoatView:
    """Return a boat by number or name, or the only one.

    Raises
    ------
    NotFound
        If there is none.
    ReadingError
        If there are several and none was named.
    """
    with wb.reading() as session:
        return boat_view(session, wb, find(session, Boat, which, "boat"))


def set_ship_time(
    wb: Workbook,
    which: int | str | None,
    utc_offset_min: int,
    *,
    valid_from: datetime | None = None,
    author: str | None = None,
) -> BoatView:
    """Set ship's time minus UTC, from now or from a given instant on.

    Raises
    ------
    ReadingError
        If it is not from 12 h behind UTC to 14 h ahead.
    """
    check_range("ship_utc_offset_min", utc_offset_min, -720, 840, "min")
    with wb.writing() as session:
        row = find(session, Boat, which, "boat")
        start = wb.at(valid_from)
        words = f"Ship's time of {row.name}: UTC {offset_words(utc_offset_min)} from {journal.local_words(start)}"
        written = journal.note(session, wb, "set ship's time", ("boats", row.id), words, author=author)
        session.add(ShipTime(boat_id=row.id, utc_offset_min=utc_offset_min, valid_from=start, entry_id=written.id))
        session.flush()
        return boat_view(session, wb, row)


def offset_words(minutes: int) -> str:
    """Return an offset from UTC as it is said.

    Examples
    --------
    >>> offset_words(-120), offset_words(330)
    ('−2:00', '+5:30')
    """
    hours, rest = divmod(abs(minutes), 60)
    return f"{'−' if minutes < 0 else '+'}{hours}:{rest:02d}"


def offset_at(session: Session, boat_id: int, at: datetime) -> int:
    """Return ship's time minus UTC at an instant, in minutes; the earliest known before that."""
    rows = session.scalars(
        journal.standing(ShipTime).where(ShipTime.boat_id == boat_id).order_by(ShipTime.valid_from, ShipTime.id)
    ).all()
    begun = [row for row in rows if row.valid_from <= at] or rows[:1]
    return begun[-1].utc_offset_min if begun else 0


def boat_view(session: Session, wb: Workbook, row: Boat) -> BoatView:
    """Return a boat's row as a view."""
    return BoatView(
        row.id,
        row.name,
        row.description,
        row.length_m,
        row.draught_m,
        row.air_draft_m,
        offset_at(session, row.id, wb.now()),
        row.demo,
        row.entry_id,
    )
