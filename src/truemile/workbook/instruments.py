"""Instruments, and what was set in them when."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from truemile.core.log_runs import Conditions
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import journal
from truemile.workbook.boats import offset_at
from truemile.workbook.entries import LogEntry, SettingEntry
from truemile.workbook.finding import find, refuse_same_name
from truemile.workbook.schema import Boat, Instrument, InstrumentKind, Journal, Setting
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Faults, choice, instant, needed, number, short
from truemile.workbook.views import InstrumentView, SettingView


def add_log(wb: Workbook, entry: LogEntry, *, author: str | None = None) -> InstrumentView:
    """Add a log to a boat.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or the boat has an instrument of that name.
    NotFound
        If there is no such boat.
    """
    usual = Conditions()
    faults = Faults()
    name = faults.take(lambda: short(needed(entry.name, "name", "Call it Log if in doubt."), "name", 120), "")
    speed = faults.take(lambda: number(entry.speed_resolution, "speed_resolution", 0.001, 1, "kn"), None)
    distance = faults.take(lambda: number(entry.distance_resolution, "distance_resolution", 0.0001, 1, "nm"), None)
    convention = faults.take(
        lambda: None if entry.convention is None else choice(entry.convention, "convention", Convention), None
    )
    step = faults.take(lambda: number(entry.setting_step, "setting_step", 1e-6, 10_000), None)
    remarks = faults.take(lambda: short(entry.remarks, "remarks"), "")
    faults.done()
    with wb.writing() as session:
        boat = find(session, Boat, entry.boat, "boat")
        others = session.scalars(journal.standing(Instrument).where(Instrument.boat_id == boat.id)).all()
        refuse_same_name(others, name, "instrument")
        written = journal.note(session, wb, "add instrument", ("instruments", ""), f"Instrument {name}", author=author)
        row = Instrument(
            boat_id=boat.id,
            name=name,
            kind=InstrumentKind.LOG,
            speed_resolution_kn=usual.speed_resolution_kn if speed is None else speed,
            distance_resolution_nm=usual.distance_resolution_nm if distance is None else distance,
            convention=convention,
            setting_step=step,
            remarks=remarks,
            entry_id=written.id,
        )
        journal.keep(session, written, row)
        return instrument_view(session, wb, row)


def instruments(wb: Workbook, boat: int | str | None = None) -> tuple[InstrumentView, ...]:
    """Return the instruments in use, of one boat or of all."""
    with wb.reading() as session:
        query = journal.standing(Instrument).order_by(Instrument.id)
        if boat is not None:
            query = query.where(Instrument.boat_id == find(session, Boat, boat, "boat").id)
        return tuple(instrument_view(session, wb, row) for row in session.scalars(query))


def instrument(wb: Workbook, which: int | str | None = None) -> InstrumentView:
    """Return an instrument by number or name, or the only one.

    Raises
    ------
    NotFound
        If there is none.
    ReadingError
        If there are several and none was named.
    """
    with wb.reading() as session:
        return instrument_view(session, wb, find(session, Instrument, which, "instrument"))


def record_setting(
    wb: Workbook,
    which: int | str | None,
    entry: SettingEntry | LogSetting,
    *,
    set_at: datetime | None = None,
    author: str | None = None,
) -> SettingView:
    """Note what is set in an instrument, from an instant on.

    Parameters
    ----------
    entry
        The form, or the setting itself.
    set_at
        When it was set; the entry's own time, or now.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if the entry cannot be.
    NotFound
        If there is no such instrument.
    """
    with wb.writing() as session:
        row = find(session, Instrument, which, "instrument")
        note = ""
        if isinstance(entry, LogSetting):
            setting, when = entry, wb.at(set_at)
        else:
            setting, when, note = _read(session, wb, row, entry, set_at)
        words = f"{row.name}: {setting} set in the instrument from {journal.local_words(when)}"
        written = journal.note(session, wb, "note setting", ("settings", ""), words, author=author)
        return setting_view(session, add_setting(session, written, row.id, setting, when, note))


def setting_at(wb: Workbook, which: int | str | None, at: datetime | None = None) -> SettingView | None:
    """Return what was set in an instrument at an instant, or None if that was never noted."""
    with wb.reading() as session:
        found = setting_row_at(session, find(session, Instrument, which, "instrument").id, wb.at(at))
        return None if found is None else setting_view(session, found)


def settings(wb: Workbook, which: int | str | None = None) -> tuple[SettingView, ...]:
    """Return all that was set in an instrument, oldest first."""
    with wb.reading() as session:
        row = find(session, Instrument, which, "instrument")
        return tuple(setting_view(session, found) for found in setting_rows(session, row.id))


def _read(
    session: Session, wb: Workbook, row: Instrument, entry: SettingEntry, set_at: datetime | None
) -> tuple[LogSetting, datetime, str]:
    now = wb.now()
    offset = timedelta(minutes=offset_at(session, row.boat_id, now))
    faults = Faults()
    setting = faults.take(lambda: entry.read(row.convention), None)
    when = faults.take(
        lambda: (
            wb.at(set_at) if entry.set_at is None else instant(entry.set_at, "set_at", (now + offset).date(), offset)
        ),
        now,
    )
    note = faults.take(lambda: short(entry.note, "note"), "")
    faults.done()
    # `done` raised if the setting could not be read.
    return setting or entry.read(row.convention), when, note


def add_setting(
    session: Session, written: Journal, instrument_id: int, setting: LogSetting, set_at: datetime, note: str = ""
) -> Setting:
    """Add a setting inside a change that is being made."""
    row = Setting(
        instrument_id=instrument_id,
        convention=setting.convention,
        value=setting.value,
        set_at=set_at,
        note=note,
        entry_id=written.id,
    )
    journal.keep(session, written, row)
    return row


def setting_rows(session: Session, instrument_id: int) -> list[Setting]:
    """Return the settings in use of an instrument, oldest first; of two set at once the later entry last."""
    query = journal.standing(Setting).where(Setting.instrument_id == instrument_id)
    return list(session.scalars(query.order_by(Setting.set_at, Setting.id)))


def setting_row_at(session: Session, instrument_id: int, at: datetime) -> Setting | None:
    """Return the setting in force at an instant."""
    return setting_in(setting_rows(session, instrument_id), at)


def setting_in(rows: Sequence[Setting], at: datetime) -> Setting | None:
    """Return the last of several settings, oldest first, that was set by an instant."""
    begun = [row for row in rows if row.set_at <= at]
    return begun[-1] if begun else None


def log_setting(row: Setting | None) -> LogSetting | None:
    """Return a setting's row as a core value."""
    return None if row is None else LogSetting(row.convention, row.value)


def setting_view(session: Session, row: Setting) -> SettingView:
    """Return a setting's row as a view."""
    written = session.get_one(Journal, row.entry_id)
    return SettingView(
        row.id,
        row.instrument_id,
        LogSetting(row.convention, row.value),
        row.set_at,
        written.author,
        row.note,
        row.entry_id,
    )


def instrument_view(session: Session, wb: Workbook, row: Instrument) -> InstrumentView:
    """Return an instrument's row as a view."""
    now_set = setting_row_at(session, row.id, wb.now())
    return InstrumentView(
        row.id,
        row.boat_id,
        row.name,
        row.kind,
        row.speed_resolution_kn,
        row.distance_resolution_nm,
        row.convention,
        row.setting_step,
        row.remarks,
        None if now_set is None else setting_view(session, now_set),
        row.entry_id,
    )
