"""Corrections of the log: put in force, found for an instant, and applied to what the log showed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from truemile.core.corrections import (
    Corrected,
    LogCorrection,
    corrected_distance,
    corrected_speed,
    corrected_speeds,
    indicated_for,
)
from truemile.core.errors import NotFound, ReadingError
from truemile.core.log_settings import LogSetting, reading_under, setting_for
from truemile.workbook import journal
from truemile.workbook.finding import find
from truemile.workbook.instruments import add_setting, log_setting, setting_in, setting_row_at, setting_rows
from truemile.workbook.log_trials import analysed, trial_row, trial_view
from truemile.workbook.schema import Correction, How, Instrument, Journal, Setting, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.views import CorrectionView, TrialView

if TYPE_CHECKING:
    from truemile.core.log_trial import TrialResult

#: A new setting that would leave more than this uncorrected was mistyped or meant for another log.
MOST_LEFT_OVER = 0.05


@dataclass(frozen=True, slots=True)
class CorrectedView:
    """A corrected reading, with the correction and the setting it rests on."""

    corrected: Corrected
    correction: CorrectionView
    setting: LogSetting | None
    at: datetime


@dataclass(frozen=True, slots=True)
class IndicatedView:
    """What the log shows for a wanted true speed, with the correction and the setting it rests on."""

    true_kn: float
    indicated_kn: float
    correction: CorrectionView
    setting: LogSetting | None
    at: datetime


@dataclass(frozen=True, slots=True)
class ColumnView:
    """A whole column corrected: true speeds, their 95 % uncertainties, and whether each was in the measured range."""

    indicated_kn: NDArray[np.float64]
    true_kn: NDArray[np.float64]
    expanded_kn: NDArray[np.float64]
    inside: NDArray[np.bool_]
    corrections: tuple[CorrectionView, ...]


def put_in_force(
    wb: Workbook,
    trial_id: int,
    how: How | str = How.APPLIED,
    *,
    author: str | None = None,
    at: datetime | None = None,
    valid_from: datetime | None = None,
    valid_until: datetime | None = None,
    new_setting: LogSetting | None = None,
) -> CorrectionView:
    """Put what a trial gave in force.

    Parameters
    ----------
    how
        ``applied``: Truemile applies it when a reading is used. ``set``: the new setting was entered in the log;
        it is noted from `at` on, and what its rounding leaves over is applied.
    at
        When; now if None.
    valid_from, valid_until
        Readings of that span are corrected by it; from the beginning of the trial, without end, if None. Give the
        day of the haul-out, say, to improve what was read before the trial.
    new_setting
        With ``set``: what was entered; the computed one if None.

    Returns
    -------
    CorrectionView
        Of overlapping corrections the one put in force last counts.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughReadings, ReadingError
        If the trial cannot give a factor, or the setting cannot be.
    """
    way = _how(how)
    with wb.writing() as session:
        row = trial_row(session, trial_id)
        view = trial_view(session, wb, row)
        result = analysed(view)
        when = wb.at(at)
        measured = replace(result.correction, setting=view.setting)
        start = _first_instant(view) if valid_from is None else wb.at(valid_from)
        _check_validity(start, valid_until)
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
        kept.provenance = _provenance(session, view, result)
        if entered is not None:
            kept.new_setting_id = add_setting(session, written, kept.instrument_id, entered, when, _from(view)).id
        session.add(kept)
        session.flush()
        return correction_view(session, kept)


def in_force(wb: Workbook, which: int | str | None = None, at: datetime | None = None) -> CorrectionView | None:
    """Return the correction for readings of an instant, or None if there is none."""
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        found = _valid(session, log.id, wb.at(at))
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


def correct_speed(
    wb: Workbook, which: int | str | None, indicated_kn: float, *, at: datetime | None = None
) -> CorrectedView:
    """Return the true speed for what the log showed at an instant.

    Raises
    ------
    NotFound
        If no correction is in force then.
    ReadingError
        If the reading cannot be right, or its setting is unknown or not comparable.
    """
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        when = wb.at(at)
        view, setting = _for_reading(session, log, when)
        fixed = corrected_speed(view.correction, indicated_kn, resolution_kn=log.speed_resolution_kn, setting=setting)
        return CorrectedView(fixed, view, setting, when)


def correct_distance(
    wb: Workbook,
    which: int | str | None,
    logged_nm: float,
    *,
    elapsed_h: float | None = None,
    at: datetime | None = None,
) -> CorrectedView:
    """Return the true distance through the water for a logged one.

    Raises
    ------
    NotFound
        If no correction is in force then.
    ReadingError
        If the distance or time cannot be right, or its setting is unknown or not comparable.
    """
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        when = wb.at(at)
        view, setting = _for_reading(session, log, when)
        fixed = corrected_distance(
            view.correction,
            logged_nm,
            elapsed_h=elapsed_h,
            resolution_nm=log.distance_resolution_nm,
            setting=setting,
        )
        return CorrectedView(fixed, view, setting, when)


def indicated_speed(
    wb: Workbook, which: int | str | None, true_kn: float, *, at: datetime | None = None
) -> IndicatedView:
    """Return what the log shows when the boat makes a wanted true speed.

    Raises
    ------
    NotFound
        If no correction is in force then.
    NoSolution, ReadingError
        If no single reading belongs to that speed, or the setting is unknown.
    """
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        when = wb.at(at)
        view, setting = _for_reading(session, log, when)
        shown = reading_under(indicated_for(view.correction, true_kn), view.correction.setting, setting)
        return IndicatedView(true_kn, shown, view, setting, when)


def correct_column(
    wb: Workbook,
    which: int | str | None,
    indicated_kn: Sequence[float] | NDArray[np.float64],
    *,
    at: datetime | Sequence[datetime] | None = None,
) -> ColumnView:
    """Return the true speeds for a whole column, each by the correction and the setting of its own instant.

    Parameters
    ----------
    at
        One instant for all, or one a row; now if None.

    Raises
    ------
    NotFound
        If no correction is in force at one of the instants.
    ReadingError
        If a reading is not a speed; the field says which row.
    """
    shown = np.asarray(indicated_kn, dtype=float)
    instants = [at] * shown.size if at is None or isinstance(at, datetime) else list(at)
    if len(instants) != shown.size:
        raise ReadingError("at", len(instants), f"there are {shown.size} readings", "Give one time a reading.")
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        groups = _grouped(session, log, [wb.at(instant) for instant in instants])
    # Checked as a whole first, so that the row named is the row of the column.
    if groups:
        corrected_speeds(groups[0][0].correction, shown, resolution_kn=log.speed_resolution_kn)
    true, expanded = np.zeros_like(shown), np.zeros_like(shown)
    inside = np.zeros(shown.shape, dtype=np.bool_)
    for view, setting, rows in groups:
        scale = reading_under(1.0, setting, view.correction.setting)
        true[rows], expanded[rows], inside[rows] = corrected_speeds(
            view.correction, shown[rows] * scale, resolution_kn=log.speed_resolution_kn * scale
        )
    return ColumnView(shown, true, expanded, inside, tuple({view.id: view for view, _, _ in groups}.values()))


def _grouped(
    session: Session, log: Instrument, instants: Sequence[datetime]
) -> list[tuple[CorrectionView, LogSetting | None, NDArray[np.intp]]]:
    """Return the rows that share a correction and a setting, looking each instant up once."""
    known: dict[datetime, tuple[int, LogSetting | None]] = {}
    views: dict[int, CorrectionView] = {}
    found: dict[tuple[int, LogSetting | None], list[int]] = {}
    standing = standing_corrections(session, log.id)
    begun = setting_rows(session, log.id)
    for place, at in enumerate(instants):
        if at not in known:
            row = _needed(_latest_valid(standing, at), log, at)
            views.setdefault(row.id, correction_view(session, row))
            known[at] = row.id, log_setting(setting_in(begun, at))
        found.setdefault(known[at], []).append(place)
    return [(views[key[0]], key[1], np.asarray(rows, dtype=np.intp)) for key, rows in found.items()]


def _from(view: TrialView) -> str:
    return f"From trial {view.id}"


def _how(how: How | str) -> How:
    try:
        return How(how)
    except ValueError:
        raise ReadingError(
            "how", how, "a factor is applied or set", "Write applied, or set if it was entered in the log."
        ) from None


def _first_instant(view: TrialView) -> datetime:
    starts = [item.run.started_at for item in view.runs if item.run.started_at is not None]
    return min([view.began_at, *starts])


def _check_validity(start: datetime, end: datetime | None) -> None:
    if end is not None and end <= start:
        raise ReadingError(
            "valid_until", end.isoformat(), f"it must end after it begins at {start.isoformat()}", "Check both times."
        )


def _entered(view: TrialView, measured: LogCorrection, given: LogSetting | None) -> LogSetting:
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
    left = _leftover(measured, entered)
    if left is None or abs(left - 1.0) > MOST_LEFT_OVER:
        raise ReadingError(
            "new_setting",
            str(entered),
            f"a log that had {was} and a factor of {factor:.3f} should be set to {exact}",
            "Check the value in the instrument's menu; a factor is entered once, not on top of itself.",
        )
    return entered


def _leftover(measured: LogCorrection, entered: LogSetting) -> float | None:
    """Return the factor that remains for readings under the new setting, in the middle of the measured speeds."""
    was = measured.setting
    if was is None or was.convention is not entered.convention:
        return None
    return measured.factor(measured.middle_kn) * was.scale / entered.scale


def _summary(view: TrialView, measured: LogCorrection, how: How, entered: LogSetting | None, start: datetime) -> str:
    middle = measured.middle_kn
    words = f"{view.instrument.name}: factor {measured.factor(middle):.3f} at {middle:.1f} kn from trial {view.id}"
    if how is How.SET:
        words += f", entered in the log as {entered}"
    return f"{words}, for readings from {journal.local_words(start)}"


def _row(view: TrialView, measured: LogCorrection, written: Journal, when: datetime, start: datetime) -> Correction:
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


def _provenance(session: Session, view: TrialView, result: TrialResult) -> dict[str, Any]:
    setting = setting_row_at(session, view.instrument.id, _first_instant(view))
    return {
        "trial_id": view.id,
        "program_version": program_version(),
        "course": view.course.name,
        "run_ids": [item.id for item in view.runs],
        "reading_ids": [reading.id for item in view.runs for reading in item.readings],
        "setting_id": None if setting is None else setting.id,
        "shape": result.curve.words,
        "hand_factor": result.hand_factor,
        "factor": result.factor,
        "expanded": result.expanded,
        "quoted_at_kn": result.quoted_at_kn,
        "groups": [
            {
                "label": group.label,
                "indication": group.best.indication.value,
                "degree": group.best.weights.degree,
                "least_squares": bool(group.best.weights.least_squares),
                "hand_factor": float(group.best.hand_factor),
                "factor": float(group.best.factor),
            }
            for group in result.groups
        ],
    }


def program_version() -> str:
    """Return the version of this program that is installed."""
    try:
        return version("truemile")
    except PackageNotFoundError:
        return "not installed"


def standing_corrections(session: Session, instrument_id: int) -> list[Correction]:
    """Return the corrections in use of an instrument, in the order they were put in force."""
    query = journal.standing(Correction).where(Correction.instrument_id == instrument_id)
    return list(session.scalars(query.order_by(Correction.id)))


def _latest_valid(rows: Sequence[Correction], at: datetime) -> Correction | None:
    fits = [row for row in rows if row.valid_from <= at and (row.valid_until is None or at < row.valid_until)]
    return fits[-1] if fits else None


def _valid(session: Session, instrument_id: int, at: datetime) -> Correction | None:
    return _latest_valid(standing_corrections(session, instrument_id), at)


def _needed(row: Correction | None, log: Instrument, at: datetime) -> Correction:
    if row is None:
        raise NotFound(
            "correction",
            f"{log.name} at {at.isoformat()}",
            "no correction is in force for that time",
            "Make a trial and put its factor in force, from that time on.",
        )
    return row


def _for_reading(session: Session, log: Instrument, at: datetime) -> tuple[CorrectionView, LogSetting | None]:
    """Return correction and setting for a reading, and refuse two that do not compare."""
    view = correction_view(session, _needed(_valid(session, log.id, at), log, at))
    setting = log_setting(setting_row_at(session, log.id, at))
    reading_under(1.0, setting, view.correction.setting)
    return view, setting


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


def correction_view(session: Session, row: Correction) -> CorrectionView:
    """Return a correction's row as a view."""
    measured = correction_of(row)
    entered = None if row.new_setting_id is None else log_setting(session.get_one(Setting, row.new_setting_id))
    return CorrectionView(
        row.id,
        row.instrument_id,
        row.trial_id,
        row.how,
        measured,
        entered,
        None if entered is None else _leftover(measured, entered),
        session.get_one(Trial, row.trial_id).began_at,
        row.put_at,
        row.valid_from,
        row.valid_until,
        row.author,
        row.provenance,
        journal.stands(session, row),
        row.entry_id,
    )
