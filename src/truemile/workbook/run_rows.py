"""Runs and their raw readings, as rows and as views."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import ReadingError
from truemile.core.log_runs import Run
from truemile.core.log_settings import LogSetting
from truemile.core.times import format_elapsed
from truemile.workbook import journal
from truemile.workbook.entries import Raw, ReadRun
from truemile.workbook.schema import Journal, Reading, ReadingKind, RunRow, Setting, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.views import ReadingView, RunView

#: Readings of the log itself; the others come from watch, compass and engine.
_OF_THE_LOG = frozenset({ReadingKind.SPEED, ReadingKind.LOG_START, ReadingKind.LOG_STOP})


def add_run(
    session: Session,
    wb: Workbook,
    trial: Trial,
    read: ReadRun,
    setting: Setting | None,
    *,
    author: str | None,
    place: int | None = None,
) -> RunRow:
    """Keep a run with its readings, or find the same one kept before.

    Raises
    ------
    ReadingError
        If another run, or the same id in another trial, was kept before.
    """
    before = session.get(RunRow, read.id)
    if before is not None:
        if before.fingerprint != read.fingerprint or before.trial_id != trial.id:
            raise ReadingError(
                "id",
                read.id,
                f"a different run of trial {before.trial_id} is kept under that id",
                "Send a correction as a new run, and withdraw the old one.",
            )
        return before
    run = read.run
    words = f"Run {run.direction.value} of trial {trial.id} in {format_elapsed(run.elapsed_s)}"
    written = journal.note(session, wb, "record run", ("runs", read.id), words, author=author)
    row = RunRow(
        id=read.id,
        trial_id=trial.id,
        place=_next_place(session, trial.id) if place is None else place,
        direction=run.direction,
        elapsed_s=run.elapsed_s,
        started_at=run.started_at,
        speed_group=run.speed_group,
        noted_by=read.noted_by,
        timed_by=read.timed_by,
        helm=read.helm,
        remarks=read.remarks,
        fingerprint=read.fingerprint,
        entry_id=written.id,
    )
    session.add(row)
    session.flush()
    add_readings(session, trial, row, read.raw, setting, written)
    return row


def add_readings(
    session: Session,
    trial: Trial,
    row: RunRow,
    raws: Sequence[Raw],
    setting: Setting | None,
    written: Journal,
    *,
    first: int = 0,
) -> None:
    """Keep readings of a run under an entry of the journal, numbered from `first`."""
    for number, raw in enumerate(raws, first):
        of_the_log = raw.kind in _OF_THE_LOG
        session.add(
            Reading(
                id=reading_id(row.id, raw.id or f"{raw.kind.value} {number}"),
                run_id=row.id,
                instrument_id=trial.instrument_id if of_the_log else None,
                kind=raw.kind,
                place=number,
                value=raw.value,
                typed=raw.typed,
                taken_at=raw.taken_at or row.started_at or trial.began_at,
                noted_by=row.noted_by if raw.noted_by is None else raw.noted_by,
                setting_id=setting.id if setting is not None and of_the_log else None,
                entry_id=written.id,
            )
        )
    session.flush()


def reading_id(run_id: str, own: str) -> str:
    """Return the id of a reading, made from the run's, so that a run sent twice has the same readings."""
    return str(uuid.uuid5(uuid.UUID(run_id), own))


def _next_place(session: Session, trial_id: int) -> int:
    highest = session.scalar(sa.select(sa.func.max(RunRow.place)).where(RunRow.trial_id == trial_id))
    return 1 if highest is None else highest + 1


def run_views(
    session: Session, trial_id: int, setting_of: Callable[[datetime | None], LogSetting | None]
) -> tuple[RunView, ...]:
    """Return the runs of a trial: those in use by time (by entry, if a time is missing), then the others."""
    query = (
        sa.select(RunRow, Journal.standing)
        .join(Journal, RunRow.entry_id == Journal.id)
        .where(RunRow.trial_id == trial_id)
    )
    found = [(row, stands) for row, stands in session.execute(query.order_by(RunRow.place, RunRow.entry_id))]
    in_use = [row for row, stands in found if stands]
    starts = [row.started_at for row in in_use]
    if None not in starts:
        in_use.sort(key=lambda row: row.started_at.timestamp() if row.started_at else 0.0)
    readings = _readings(session, trial_id)
    ordered = [(row, number, False) for number, row in enumerate(in_use, 1)]
    ordered += [(row, 0, True) for row, stands in found if not stands]
    return tuple(
        _view(row, number, readings.get(row.id, ()), setting_of(row.started_at), withdrawn=withdrawn)
        for row, number, withdrawn in ordered
    )


def _readings(session: Session, trial_id: int) -> dict[str, list[ReadingView]]:
    """Return the readings by run, in the order taken; those that were added later and taken back are left out."""
    query = sa.select(Reading).join(RunRow, Reading.run_id == RunRow.id).join(Journal, Reading.entry_id == Journal.id)
    query = query.where(RunRow.trial_id == trial_id)
    query = query.where(sa.or_(Journal.standing, Reading.entry_id == RunRow.entry_id))
    result: dict[str, list[ReadingView]] = {}
    for row in session.scalars(query.order_by(Reading.run_id, Reading.taken_at, Reading.place)):
        result.setdefault(row.run_id, []).append(
            ReadingView(
                row.id,
                row.run_id,
                row.instrument_id,
                row.kind,
                row.place,
                row.value,
                row.typed,
                row.taken_at,
                row.noted_by,
                row.setting_id,
            )
        )
    return result


def _view(
    row: RunRow, number: int, readings: Sequence[ReadingView], setting: LogSetting | None, *, withdrawn: bool
) -> RunView:
    single = {reading.kind: reading.value for reading in readings}
    run = Run(
        direction=row.direction,
        elapsed_s=row.elapsed_s,
        started_at=row.started_at,
        speed_readings_kn=tuple(
            reading.value for reading in readings if reading.kind is ReadingKind.SPEED and reading.value is not None
        ),
        log_start_nm=single.get(ReadingKind.LOG_START),
        log_stop_nm=single.get(ReadingKind.LOG_STOP),
        heading_compass_deg=single.get(ReadingKind.HEADING_COMPASS),
        engine_rpm=single.get(ReadingKind.RPM),
        speed_group=row.speed_group,
    )
    return RunView(
        row.id,
        number,
        row.trial_id,
        run,
        tuple(readings),
        setting,
        row.noted_by,
        row.timed_by,
        row.helm,
        row.remarks,
        withdrawn,
        row.entry_id,
    )
