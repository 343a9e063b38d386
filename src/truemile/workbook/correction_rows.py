"""Corrections as rows and as views, and which of them counts at an instant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.corrections import LogCorrection
from truemile.core.log_settings import LogSetting
from truemile.workbook import journal
from truemile.workbook.instruments import log_setting, setting_in, setting_rows
from truemile.workbook.schema import Correction, RunRow, Setting, Trial
from truemile.workbook.views import CorrectionView


def standing_corrections(session: Session, instrument_id: int) -> list[Correction]:
    """Return the corrections in use of an instrument, in the order they were put in force."""
    query = journal.standing(Correction).where(Correction.instrument_id == instrument_id)
    return list(session.scalars(query.order_by(Correction.id)))


def latest_valid(rows: Sequence[Correction], at: datetime) -> Correction | None:
    """Return, of those whose validity holds the instant, the one that was put in force last."""
    fits = [row for row in rows if row.valid_from <= at and (row.valid_until is None or at < row.valid_until)]
    return fits[-1] if fits else None


def valid_row(session: Session, instrument_id: int, at: datetime) -> Correction | None:
    """Return the correction for readings of an instant."""
    return latest_valid(standing_corrections(session, instrument_id), at)


def leftover(measured: LogCorrection, entered: LogSetting) -> float | None:
    """Return the factor that remains for readings under the new setting, in the middle of the measured speeds."""
    was = measured.setting
    if was is None or was.convention is not entered.convention:
        return None
    return measured.factor(measured.middle_kn) * was.scale / entered.scale


def correction_of(row: Correction) -> LogCorrection:
    """Return a correction's row as a core value."""
    measured = (
        None
        if row.measured_convention is None or row.measured_value is None
        else LogSetting(row.measured_convention, row.measured_value)
    )
    return LogCorrection(
        tuple(int(power) for power in row.powers),
        tuple(float(value) for value in row.coefficients),
        tuple(tuple(float(value) for value in line) for line in row.covariance),
        float("inf") if row.dof is None else row.dof,
        row.lowest_kn,
        row.highest_kn,
        measured,
    )


def _noted_since(session: Session, row: Correction) -> LogSetting | None:
    """Return what was set during the trial where that was noted only later, and was one setting throughout."""
    ids = row.provenance.get("run_ids", ())
    starts = set(session.scalars(sa.select(RunRow.started_at).where(RunRow.id.in_(ids))))
    began = session.get_one(Trial, row.trial_id).began_at
    begun = setting_rows(session, row.instrument_id)
    found = {log_setting(setting_in(begun, start or began)) for start in starts or {None}}
    return found.pop() if len(found) == 1 else None


def correction_view(session: Session, row: Correction) -> CorrectionView:
    """Return a correction's row as a view."""
    measured = correction_of(row)
    if measured.setting is None:
        measured = replace(measured, setting=_noted_since(session, row))
    entered = None if row.new_setting_id is None else log_setting(session.get_one(Setting, row.new_setting_id))
    return CorrectionView(
        row.id,
        row.instrument_id,
        row.trial_id,
        row.how,
        measured,
        entered,
        None if entered is None else leftover(measured, entered),
        session.get_one(Trial, row.trial_id).began_at,
        row.put_at,
        row.valid_from,
        row.valid_until,
        row.author,
        row.provenance,
        journal.stands(session, row),
        row.entry_id,
    )
