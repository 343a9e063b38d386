"""The slate: boat, time, and every correction in force with its uncertainty and age."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Final

from truemile.core.coverage import coverage_factor
from truemile.workbook.boats import boat, offset_words
from truemile.workbook.instruments import instruments
from truemile.workbook.log_corrections import in_force
from truemile.workbook.store import Workbook
from truemile.workbook.views import BoatView, CorrectionView, InstrumentView

#: After a year the hull has been fouled, cleaned and painted (judgement, no source).
STALE_DAYS: Final = 365


@dataclass(frozen=True, slots=True)
class SlateItem:
    """One instrument on the slate.

    Attributes
    ----------
    text
        What is in force, in words: ``factor 0.934``, or ``not measured``.
    plus_minus
        95 % uncertainty of the factor, or None if nothing is in force.
    age_days
        Whole days since the trial began, or None.
    stale
        True where it is older than a year.
    """

    instrument: InstrumentView
    correction: CorrectionView | None
    text: str
    plus_minus: float | None
    age_days: int | None
    stale: bool


@dataclass(frozen=True, slots=True)
class Slate:
    """What is always in view; ship's time carries its own offset."""

    boat: BoatView
    utc: datetime
    ship_time: datetime
    offset: str
    items: tuple[SlateItem, ...]


def slate(wb: Workbook, at: datetime | None = None, *, boat_id: int | str | None = None) -> Slate:
    """Return the slate of a boat at an instant, now if None.

    Raises
    ------
    NotFound
        If there is no boat.
    """
    now = wb.at(at)
    found = boat(wb, boat_id)
    items = tuple(_item(wb, log, now) for log in instruments(wb, found.id))
    ship = now.astimezone(_zone(found))
    return Slate(found, now, ship, offset_words(found.ship_utc_offset_min), items)


def _zone(found: BoatView) -> timezone:
    return timezone(timedelta(minutes=found.ship_utc_offset_min))


def _item(wb: Workbook, log: InstrumentView, now: datetime) -> SlateItem:
    view = in_force(wb, log.id, now)
    if view is None:
        return SlateItem(log, None, "not measured", None, None, stale=False)
    curve = view.correction
    middle = curve.middle_kn
    words = f"factor {_factor_now(view, log):.3f}"
    if not curve.is_factor:
        words += f" at {middle:.1f} kn"
    u = curve.u_factor(middle) * _factor_now(view, log) / curve.factor(middle)
    age = max(0, (now - view.measured_at).days)
    return SlateItem(log, view, words, coverage_factor(curve.dof) * u, age, stale=age > STALE_DAYS)


def _factor_now(view: CorrectionView, log: InstrumentView) -> float:
    """Return the factor for readings under what is set in the log now."""
    curve = view.correction
    factor = curve.factor(curve.middle_kn)
    now_set = log.setting.setting if log.setting is not None else None
    if now_set is None or curve.setting is None or now_set.convention is not curve.setting.convention:
        return factor
    return factor * curve.setting.scale / now_set.scale
