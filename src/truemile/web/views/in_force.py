"""What is in force for an instrument, in the words of a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.core.coverage import coverage_factor
from truemile.core.log_settings import LogSetting
from truemile.web.formats import age, day_of, pair, percent_off, with_unit
from truemile.web.pages import Asked
from truemile.workbook import boats, log_corrections
from truemile.workbook.schema import How
from truemile.workbook.slate import STALE_DAYS
from truemile.workbook.views import CorrectionView, InstrumentView


@dataclass(frozen=True, slots=True)
class Standing:
    """The correction in force."""

    number: Annotated[str, "Log factor for what is set in the log now."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    says: Annotated[str, "How much the log reads too much or too little now."]
    at: Annotated[str, "Indicated speed it is quoted at; empty where one factor serves."]
    valid: Annotated[str, "Indicated speeds it was measured at."]
    how: Annotated[str, "Whether Truemile applies it or it was set in the log."]
    age: Annotated[str, "How long ago it was measured."]
    stale: Annotated[bool, "Whether it should be measured again."]
    since: Annotated[str, "When it was put in force."]
    by: Annotated[str, "Who put it in force."]
    trial_id: Annotated[int, "The trial it came from."]
    address: Annotated[str, "Where that trial stands."]


def standing_of(asked: Asked, log: InstrumentView) -> Standing | None:
    """Return what is in force for a log now."""
    view = log_corrections.in_force(asked.workbook, log.id, asked.at)
    if view is None:
        return None
    offset = boats.boat(asked.workbook, log.boat_id).ship_utc_offset
    curve = view.correction
    scale = _scale_now(view, None if log.setting is None else log.setting.setting)
    factor = curve.factor(curve.middle_kn) * scale
    number, margin = pair(factor, coverage_factor(curve.dof) * curve.u_factor(curve.middle_kn) * scale)
    days = max(0, (asked.at - view.measured_at).days)
    return Standing(
        number=number,
        plus_minus=margin,
        says=percent_off(factor),
        at="" if curve.is_factor else with_unit(curve.middle_kn / scale, 1, "kn"),
        valid=f"{with_unit(curve.lowest_kn / scale, 1)}–{with_unit(curve.highest_kn / scale, 1, 'kn')}",
        how=how_words(view),
        age=age(days),
        stale=days > STALE_DAYS,
        since=day_of(view.put_at, offset),
        by=view.author,
        trial_id=view.trial_id,
        address=trial_address(view),
    )


def trial_address(view: CorrectionView) -> str:
    """Return where the trial, or the vector round, stands that a correction came from."""
    return f"/{'rounds' if 'leg_ids' in view.provenance else 'trials'}/{view.trial_id}"


def how_words(view: CorrectionView) -> str:
    """Say how a correction was put in force."""
    if view.how is How.SET and view.new_setting is not None:
        return f"Set in the log as {view.new_setting}; Truemile applies what rounding left over"
    return "Applied by Truemile"


def _scale_now(view: CorrectionView, now_set: LogSetting | None) -> float:
    """Return by what the factor changes because of what is set now, 1 where that is not known."""
    was = view.correction.setting
    if was is None or now_set is None or was.convention is not now_set.convention:
        return 1.0
    return was.scale / now_set.scale
