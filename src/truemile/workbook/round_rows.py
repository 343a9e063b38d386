"""Vector rounds, their legs and recordings, as rows and as views."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import ReadingError
from truemile.core.ground_vectors import Leg, VectorConditions
from truemile.core.log_settings import LogSetting
from truemile.workbook import journal
from truemile.workbook.instruments import instrument_view, log_setting, setting_in, setting_rows
from truemile.workbook.round_entries import CONDITIONS, ReadLeg
from truemile.workbook.schema import Correction, Instrument, Journal, LegRow, RecordingRow, RoundDetails, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.views import InstrumentView


@dataclass(frozen=True, slots=True)
class LegView:
    """One leg as kept; `number` counts the legs in use from 1, and is 0 for a withdrawn one.

    Attributes
    ----------
    typed
        The text as typed in each box; for a leg of a recording, where in it and from what it was taken.
    setting
        What was set in the log then.
    """

    id: str
    number: int
    trial_id: int
    leg: Leg
    setting: LogSetting | None
    typed: Mapping[str, Any]
    recording_id: int | None
    withdrawn: bool
    entry_id: int


@dataclass(frozen=True, slots=True)
class RecordingView:
    """A recorded file that legs were found in: its name and SHA-256, what became of its lines, and what was found."""

    id: int
    trial_id: int
    name: str
    sha256: str
    size_bytes: int
    kind: str
    started_at: datetime | None
    duration_s: float
    counts: Mapping[str, Any]
    words: tuple[str, ...]
    entry_id: int


@dataclass(frozen=True, slots=True)
class RoundView:
    """A vector round with its legs in use (in order of time), and those that were withdrawn."""

    id: int
    instrument: InstrumentView
    began_at: datetime
    utc_offset_min: int
    conditions: VectorConditions
    crew: str
    weather: str
    remarks: str
    legs: tuple[LegView, ...]
    withdrawn_legs: tuple[LegView, ...]
    recordings: tuple[RecordingView, ...]
    correction_ids: tuple[int, ...]
    author: str
    withdrawn: bool
    entry_id: int

    @property
    def setting(self) -> LogSetting | None:
        """What was set in the log on the first leg, to which all readings of the round are reduced."""
        return self.legs[0].setting if self.legs else None

    @property
    def ship_date(self) -> date:
        """The date on ship's clock when the round began."""
        return (self.began_at + timedelta(minutes=self.utc_offset_min)).date()


def add_leg(session: Session, trial: Trial, read: ReadLeg, written: Journal, recording_id: int | None = None) -> LegRow:
    """Keep a leg under an entry of the journal."""
    highest = session.scalar(sa.select(sa.func.max(LegRow.place)).where(LegRow.trial_id == trial.id))
    row = LegRow(
        id=read.id,
        trial_id=trial.id,
        place=1 if highest is None else highest + 1,
        typed=read.typed,
        recording_id=recording_id,
        fingerprint=read.fingerprint,
        entry_id=written.id,
        **{field.name: getattr(read.leg, field.name) for field in fields(Leg)},
    )
    session.add(row)
    session.flush()
    return row


def same_leg(session: Session, trial: Trial, read: ReadLeg) -> LegRow | None:
    """Return the same leg kept before, if any.

    Raises
    ------
    ReadingError
        If another leg, or the same id in another round, was kept before.
    """
    before = session.get(LegRow, read.id)
    if before is not None and (before.fingerprint != read.fingerprint or before.trial_id != trial.id):
        raise ReadingError(
            "id",
            read.id,
            f"a different leg of round {before.trial_id} is kept under that id",
            "Send a correction as a new leg, and withdraw the old one.",
        )
    return before


def leg_views(session: Session, trial: Trial) -> tuple[LegView, ...]:
    """Return the legs of a round: those in use by time (by entry, if a time is missing), then the others."""
    begun = setting_rows(session, trial.instrument_id)
    query = sa.select(LegRow, Journal.standing).join(Journal, LegRow.entry_id == Journal.id)
    found = [(row, stands) for row, stands in session.execute(query.where(LegRow.trial_id == trial.id))]
    found.sort(key=lambda item: item[0].place)
    in_use = [row for row, stands in found if stands]
    if all(row.started_at is not None for row in in_use):
        in_use.sort(key=lambda row: row.started_at.timestamp() if row.started_at else 0.0)

    def setting_of(row: LegRow) -> LogSetting | None:
        return log_setting(setting_in(begun, row.started_at or trial.began_at))

    kept = [_leg_view(row, number, setting_of, withdrawn=False) for number, row in enumerate(in_use, 1)]
    return (*kept, *(_leg_view(row, 0, setting_of, withdrawn=True) for row, stands in found if not stands))


def _leg_view(
    row: LegRow, number: int, setting_of: Callable[[LegRow], LogSetting | None], *, withdrawn: bool
) -> LegView:
    leg = Leg(**{field.name: getattr(row, field.name) for field in fields(Leg)})
    return LegView(
        row.id, number, row.trial_id, leg, setting_of(row), row.typed, row.recording_id, withdrawn, row.entry_id
    )


def recording_view(row: RecordingRow) -> RecordingView:
    """Return a recording's row as a view."""
    return RecordingView(
        row.id,
        row.trial_id,
        row.name,
        row.sha256,
        row.size_bytes,
        row.kind,
        row.started_at,
        row.duration_s,
        row.counts,
        tuple(str(word) for word in row.words),
        row.entry_id,
    )


def round_details_row(session: Session, trial_id: int) -> RoundDetails:
    """Return the row of conditions that counts."""
    query = sa.select(RoundDetails).join(Journal, RoundDetails.entry_id == Journal.id)
    query = query.where(RoundDetails.trial_id == trial_id)
    # The newest that stands; of a withdrawn round, whose first row fell with it, the newest there is.
    return session.scalars(query.order_by(Journal.standing, RoundDetails.id)).all()[-1]


def round_conditions(row: RoundDetails) -> VectorConditions:
    """Return a row of conditions as a core value."""
    return VectorConditions(**{name: getattr(row, name) for name in CONDITIONS})


def round_view(session: Session, wb: Workbook, row: Trial) -> RoundView:
    """Return a round's row as a view."""
    details = round_details_row(session, row.id)
    legs = leg_views(session, row)
    recordings = session.scalars(journal.standing(RecordingRow).where(RecordingRow.trial_id == row.id))
    corrections = session.scalars(
        journal.standing(Correction).where(Correction.trial_id == row.id).order_by(Correction.id)
    )
    written = session.get_one(Journal, row.entry_id)
    return RoundView(
        id=row.id,
        instrument=instrument_view(session, wb, session.get_one(Instrument, row.instrument_id)),
        began_at=row.began_at,
        utc_offset_min=row.utc_offset_min,
        conditions=round_conditions(details),
        crew=details.crew,
        weather=details.weather,
        remarks=details.remarks,
        legs=tuple(view for view in legs if not view.withdrawn),
        withdrawn_legs=tuple(view for view in legs if view.withdrawn),
        recordings=tuple(recording_view(found) for found in recordings),
        correction_ids=tuple(item.id for item in corrections),
        author=written.author,
        withdrawn=not written.standing,
        entry_id=row.entry_id,
    )
