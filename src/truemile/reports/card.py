"""The correction card: true speed for each speed on the log, to lie at the chart table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import truemile
from truemile.core.corrections import LogCorrection, corrected_speed
from truemile.core.log_runs import FASTEST_KN
from truemile.core.log_settings import LogSetting
from truemile.core.uncertainty import coverage_factor, rounded
from truemile.reports.typeset import typeset
from truemile.reports.words import DEMO, cautions, day_text, speeds_text

#: How far the card goes beyond the speeds that were measured.
_BEYOND_KN: Final = 1.0
_MOST_ROWS: Final = 34
_ONE_COLUMN: Final = 15


@dataclass(frozen=True, slots=True)
class CardSheet:
    """What a correction card is made from.

    Attributes
    ----------
    boat, instrument
        Names.
    correction
        In force.
    setting
        What is set in the log now: the card is for readings under it.
    measured, in_force
        When and by which trial it was measured, and since when it is in force, in words.
    made_at
        When this card is.
    resolution_kn
        Last digit of the display.
    demo
        True for the invented waters.
    """

    boat: str
    instrument: str
    correction: LogCorrection
    setting: LogSetting | None
    measured: str
    in_force: str
    made_at: datetime
    resolution_kn: float = 0.1
    demo: bool = False


def set_card(sheet: CardSheet) -> bytes:
    """Return the correction card as PDF, A6; the same sheet gives the same bytes.

    Raises
    ------
    ReadingError
        If what is set in the log now cannot be compared with what was set during the trial.
    """
    return typeset("card", card_data(sheet), made_at=sheet.made_at)


def card_data(sheet: CardSheet) -> dict[str, Any]:
    """Return all that the card shows, as plain data."""
    middle = _shown(sheet, sheet.correction.middle_kn)
    at_middle = corrected_speed(sheet.correction, middle, setting=_now(sheet))
    u_factor = sheet.correction.u_true_kn(at_middle.reduced) / middle
    number, around = rounded(at_middle.value / middle, coverage_factor(sheet.correction.dof) * u_factor)
    rows = _rows(sheet)
    made = sheet.made_at
    return {
        "title": "Log correction",
        "author": sheet.boat,
        "date": [made.year, made.month, made.day],
        "boat": sheet.boat,
        "instrument": sheet.instrument,
        "demo": sheet.demo,
        "demo_words": DEMO,
        "number": number,
        "plus_minus": around,
        "at_speed": f"at {middle:.1f} kn shown",
        "rows": rows,
        "columns": 1 if len(rows) <= _ONE_COLUMN else 2,
        "beyond": f"± is 95 %. A dot marks speeds beyond those measured, {_measured_text(sheet)} shown.",
        "facts": [_setting_text(sheet), sheet.measured, sheet.in_force],
        "cautions": [*cautions(sheet.correction)[1:], "Holds upright with a clean paddle, and with the setting above."],
        "provenance": f"Truemile {truemile.__version__}, {day_text(made.date())}. Make a new card when the log is set.",
    }


def _now(sheet: CardSheet) -> LogSetting | None:
    """Return what is set now where that matters: a factor measured with no setting noted is taken as it is."""
    return None if sheet.correction.setting is None else sheet.setting


def _shown(sheet: CardSheet, measured_kn: float) -> float:
    """Return what the log shows now where it showed another speed during the trial."""
    was, now = sheet.correction.setting, _now(sheet)
    return measured_kn if was is None or now is None else measured_kn * now.scale / was.scale


def _rows(sheet: CardSheet) -> list[dict[str, Any]]:
    low = max(1.0, math.floor(2 * (_shown(sheet, sheet.correction.lowest_kn) - _BEYOND_KN)) / 2)
    high = min(FASTEST_KN, math.ceil(2 * (_shown(sheet, sheet.correction.highest_kn) + _BEYOND_KN)) / 2)
    step = next(step for step in (0.2, 0.5, 1.0, 2.0, 5.0) if (high - low) / step + 1 <= _MOST_ROWS)
    rows = []
    for i in range(round((high - low) / step) + 1):
        shown = low + i * step
        found = corrected_speed(sheet.correction, shown, resolution_kn=sheet.resolution_kn, setting=_now(sheet))
        rows.append(
            {
                "shown": f"{shown:.1f}",
                "true": f"{found.value:.2f}",
                "around": f"{found.expanded:.2f}",
                "inside": found.inside,
            }
        )
    return rows


def _measured_text(sheet: CardSheet) -> str:
    if sheet.setting is None or sheet.setting == sheet.correction.setting:
        return speeds_text(sheet.correction)
    low, high = (_shown(sheet, each) for each in (sheet.correction.lowest_kn, sheet.correction.highest_kn))
    return f"{low:.1f} to {high:.1f} kn"


def _setting_text(sheet: CardSheet) -> str:
    return "What is set in the log was not noted." if sheet.setting is None else f"Set in the log: {sheet.setting}."
