"""Corrections of the log: put in force, and found for an instant."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import numpy as np
import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.corrections import LogCorrection
from truemile.core.errors import NotFound, ReadingError
from truemile.core.log_settings import LogSetting, setting_for
from truemile.workbook import journal
from truemile.workbook.correcting import (
    ColumnView,
    CorrectedView,
    IndicatedView,
    correct_column,
    correct_distance,
    correct_speed,
    indicated_speed,
)
from truemile.workbook.correction_rows import correction_view, leftover, valid_row
from truemile.workbook.finding import find
from truemile.workbook.instruments import add_setting, log_setting, setting_rows
from truemile.workbook.measured import measured_by
from truemile.workbook.round_rows import RoundView
from truemile.workbook.schema import Correction, How, Instrument, Journal
from truemile.workbook.store import Workbook
from truemile.workbook.views import CorrectionView, TrialView

__all__ = [
    "ColumnView",
    "CorrectedView",
    "IndicatedView",
    "correct_column",
    "correct_distance",
    "correct_speed",
    "correction",
    "corrections",
    "in_force",
    "indicated_speed",
    "put_in_force",
]

#: A new setting that would leave more than this uncorrected was mistyped or meant for another log.
MOST_LEFT_OVER: Final = 0.05


def put_in_force(  # noqa: PLR0913  a correction has that many independent givens
    wb: Workbook,
    trial_id: int,
    how: How | str = How.APPLIED,
    *,
    author: str | None = None,
    at: datetime | None = None,
    valid_from: datetime | None = None,
    valid_until: datetime | None = None,
    new_setting: LogSetting | None = None,
    entered_at: datetime | None = None,
) -> CorrectionView:
    """Put what a trial gave in force.

    Parameters
    ----------
    how
        ``applied``: Truemile applies it when a reading is used. ``set``: the new setting was entered in the log;
        it is noted from `entered_at` on, and what its rounding leaves over is applied.
    at
        When; now if None.
    valid_from, valid_until
        Readings of that span are corrected by it; from the beginning of the trial, without end, if None. Give the
        day of the haul-out, say, to improve what was read before the trial.
    new_setting
        With ``set``: what was entered; the computed one if None.
    entered_at
        With ``set``: when it was entered; `at` if None.

    Returns
    -------
    CorrectionView
        Of overlapping corrections the one put in force last counts.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughReadings, NoSolution, ReadingError
        If the trial cannot give a factor, or something speaks against a vector round, or the setting cannot be.
    """
    way = _how(how)
    with wb.writing() as session:
        found = measured_by(session, wb, trial_id)
        view, measured = found.view, found.correction
        when = wb.at(at)
        start = found.first if valid_from is None else wb.at(valid_from)
        _check_validity(start, valid_until)
        _check_setting_noted(session, view, valid_until)
        entered_when = _entered_when(view, way, when if entered_at is None else wb.at(entered_at))
        entered = _entered(view, measured, new_setting) if way is How.SET else None
        if entered is None and new_setting is not None:
            raise ReadingError("new_setting", str(new_setting), "the factor is applied, not set", "Choose how = set.")
        written = journal.note(
            session,
            wb,
            "put in force",
            ("trials", view.id),
            _summary(view, measured, way, entered, start),
            author=author,
        )
        kept = _row(view, measured, written, when, start)
        kept.how, kept.valid_until = way, None if valid_until is None else wb.at(valid_until)
        kept.provenance = found.provenance
        if entered is not None:
            kept.new_setting_id = add_setting(
                session, written, kept.instrument_id, entered, entered_when, _from(view)
            ).id
        session.add(kept)
        session.flush()
        return correction_view(session, kept)


def in_force(wb: Workbook, which: int | str | None = None, at: datetime | None = None) -> CorrectionView | None:
    """Return the correction for readings of an instant, or None if there is none."""
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        found = valid_row(session, log.id, wb.at(at))
        return None if found is None else correction_view(session, found)


def corrections(wb: Workbook, which: int | str | None = None, *, withdrawn: bool = False) -> tuple[CorrectionView, ...]:
    """Return the corrections of an instrument, last put in force first; taken-back ones too if asked for."""
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        query = sa.select(Correction) if withdrawn else journal.standing(Correction)
        rows = session.scalars(query.where(Correction.instrument_id == log.id).order_by(Correction.id.desc())).all()
        return tuple(correction_view(session, row) for row in rows)


def correction(wb: Workbook, correction_id: int) -> CorrectionView:
    """Return one correction, also one that was taken back.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    with wb.reading() as session:
        row = session.get(Correction, correction_id)
        if row is None:
            raise NotFound("correction", correction_id, "there is none of that number", "Look at the history.")
        return correction_view(session, row)


def _check_setting_noted(session: Session, view: TrialView | RoundView, valid_until: datetime | None) -> None:
    """A factor measured with an unknown setting cannot be applied to readings of a known one."""
    noted = setting_rows(session, view.instrument.id)
    if view.setting is not None or not noted or (valid_until is not None and valid_until <= noted[0].set_at):
        return
    first = noted[0]
    raise ReadingError(
        "setting",
        None,
        f"what was set in {view.instrument.name} during the trial of {view.began_at:%-d %B %Y} is not noted,"
        f" though {log_setting(first)} is noted from {first.set_at:%-d %B %Y} on",
        "Note what it had then, dated before the trial, and put the factor in force again.",
    )


def _entered_when(view: TrialView | RoundView, way: How, when: datetime) -> datetime:
    if way is How.SET and when < view.began_at:
        raise ReadingError(
            "entered_at",
            when.isoformat(),
            f"a setting found by a trial is entered after it began, {view.began_at:%Y-%m-%d %H:%M}Z",
            "Give the time at which the value was entered in the log.",
        )
    return when


def _from(view: TrialView | RoundView) -> str:
    return f"From trial {view.id}"


def _how(how: How | str) -> How:
    try:
        return How(how)
    except ValueError:
        raise ReadingError(
            "how", how, "a factor is applied or set", "Write applied, or set if it was entered in the log."
        ) from None


def _check_validity(start: datetime, end: datetime | None) -> None:
    if end is not None and end <= start:
        raise ReadingError(
            "valid_until", end.isoformat(), f"it must end after it begins at {start.isoformat()}", "Check both times."
        )


def _entered(view: TrialView | RoundView, measured: LogCorrection, given: LogSetting | None) -> LogSetting:
    """Return the setting that was entered, if it can be meant."""
    was = view.setting
    if was is None:
        raise ReadingError(
            "new_setting",
            None if given is None else str(given),
            "it is not noted what was set in the log during the trial, so a new setting has nothing to stand on",
            "Note the setting that the log had then, with its date; or let Truemile apply the factor.",
        )
    factor = measured.factor(measured.middle_kn)
    exact = setting_for(factor, was, step=view.instrument.setting_step).setting
    entered = exact if given is None else given
    left = leftover(measured, entered)
    if left is None or abs(left - 1.0) > MOST_LEFT_OVER:
        raise ReadingError(
            "new_setting",
            str(entered),
            f"a log that had {was} and a factor of {factor:.3f} should be set to {exact}",
            "Check the value in the instrument's menu; a factor is entered once, not on top of itself.",
        )
    return entered


def _summary(
    view: TrialView | RoundView, measured: LogCorrection, how: How, entered: LogSetting | None, start: datetime
) -> str:
    middle, source = measured.middle_kn, f"{'round' if isinstance(view, RoundView) else 'trial'} {view.id}"
    words = f"{view.instrument.name}: factor {measured.factor(middle):.3f} at {middle:.1f} kn from {source}"
    if how is How.SET:
        words += f", entered in the log as {entered}"
    return f"{words}, for readings from {journal.local_words(start)}"


def _row(
    view: TrialView | RoundView, measured: LogCorrection, written: Journal, when: datetime, start: datetime
) -> Correction:
    return Correction(
        instrument_id=view.instrument.id,
        trial_id=view.id,
        powers=list(measured.powers),
        coefficients=list(measured.coefficients),
        covariance=[list(row) for row in measured.covariance],
        dof=measured.dof if np.isfinite(measured.dof) else None,
        lowest_kn=measured.lowest_kn,
        highest_kn=measured.highest_kn,
        measured_convention=None if measured.setting is None else measured.setting.convention,
        measured_value=None if measured.setting is None else measured.setting.value,
        put_at=when,
        valid_from=start,
        author=written.author,
        entry_id=written.id,
    )
