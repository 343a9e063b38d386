"""Readings of the log corrected, each by the correction and the setting of its own instant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from truemile.core.corrections import Corrected, corrected_distance, corrected_speed, corrected_speeds, indicated_for
from truemile.core.errors import NotFound, ReadingError
from truemile.core.log_settings import LogSetting, reading_under
from truemile.workbook.correction_rows import correction_view, latest_valid, standing_corrections, valid_row
from truemile.workbook.finding import find
from truemile.workbook.instruments import log_setting, setting_in, setting_row_at, setting_rows
from truemile.workbook.schema import Correction, Instrument
from truemile.workbook.store import Workbook
from truemile.workbook.views import CorrectionView


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
    # One instant for all is looked at once: a clock that goes on must not give each row its own.
    instants = [wb.at(at)] * shown.size if at is None or isinstance(at, datetime) else [wb.at(item) for item in at]
    if len(instants) != shown.size:
        raise ReadingError("at", len(instants), f"there are {shown.size} readings", "Give one time a reading.")
    with wb.reading() as session:
        log = find(session, Instrument, which, "instrument")
        groups = _grouped(session, log, instants)
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
            row = _needed(latest_valid(standing, at), log, at)
            views.setdefault(row.id, correction_view(session, row))
            known[at] = row.id, log_setting(setting_in(begun, at))
        found.setdefault(known[at], []).append(place)
    return [(views[key[0]], key[1], np.asarray(rows, dtype=np.intp)) for key, rows in found.items()]


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
    view = correction_view(session, _needed(valid_row(session, log.id, at), log, at))
    setting = log_setting(setting_row_at(session, log.id, at))
    reading_under(1.0, setting, view.correction.setting)
    return view, setting
