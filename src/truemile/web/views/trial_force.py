"""Putting a trial's factor in force, and the verdict of a check trial."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from truemile.core.errors import NavigationError
from truemile.core.log_settings import Convention, LogSetting, setting_for
from truemile.core.log_trial import TrialResult
from truemile.core.numbers import parse_number
from truemile.core.vector_round import VectorRound
from truemile.web.asks.trial import force_form
from truemile.web.formats import pair
from truemile.web.forms import Form, Typed
from truemile.web.pages import Asked
from truemile.workbook import check_trials, log_corrections, log_trials
from truemile.workbook.schema import How, TrialKind
from truemile.workbook.typed import choice, instant
from truemile.workbook.vector_rounds import RoundView
from truemile.workbook.views import CorrectionView, TrialView


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check trial says of the correction in force."""

    passed: Annotated[bool, "Whether it passes both ways."]
    words: Annotated[str, "The verdict in words."]
    factor: Annotated[str, "Factor of the corrected readings, which should be 1.00."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]


def checked(asked: Asked, view: TrialView) -> Checked | None:
    """Return the verdict of a check trial; None for another trial."""
    if view.kind is not TrialKind.CHECK:
        return None
    try:
        found = check_trials.check_result(asked.workbook, view.id)
    except NavigationError as error:
        return Checked(passed=False, words=f"No verdict: {error.allowed}. {error.remedy}", factor="", plus_minus="")
    number, margin = pair(found.verdict.factor, found.verdict.expanded)
    passed = found.verdict.agrees and found.verdict.within_bar
    return Checked(passed=passed, words=found.verdict.words, factor=number, plus_minus=margin)


def force_form_of(
    asked: Asked, view: TrialView | RoundView, result: TrialResult | VectorRound
) -> tuple[Form | None, str]:
    """Return the form that puts the factor in force, and what its two ways mean for this log."""
    if view.withdrawn:
        return None, ""
    entered = _new_setting(view, result)
    form = force_form(view.id, how=How.APPLIED.value, set_to="" if entered is None else f"{entered.value:g}")
    return form.after(asked.refused_form("force")), _ways(view, entered)


def _new_setting(view: TrialView | RoundView, result: TrialResult | VectorRound) -> LogSetting | None:
    was = view.setting
    if was is None:
        return None
    correction = result.correction
    factor = correction.factor(correction.middle_kn)
    try:
        return setting_for(factor, was, step=view.instrument.setting_step).setting
    except NavigationError:
        return None


def _ways(view: TrialView | RoundView, entered: LogSetting | None) -> str:
    applied = "Either Truemile applies the factor whenever a reading is used, and the log stays as it is;"
    if entered is None:
        return (
            "Truemile applies the factor whenever a reading is used. To set it in the log instead, note first what was"
            " set there during the trial."
        )
    return f"{applied} or you set {entered} in the log, which had {view.setting} during the trial."


def put_in_force(asked: Asked, typed: Typed, trial_id: int) -> str:
    """Put a trial's factor in force."""
    made = put(asked, typed, log_trials.trial(asked.workbook, trial_id))
    return f"/trials/{trial_id}?done={made.entry_id}"


def put(asked: Asked, typed: Typed, view: TrialView | RoundView) -> CorrectionView:
    """Put the factor of a trial or a round in force as the form says."""
    how = choice(typed.text("how") or None, "how", How, How.APPLIED)
    offset = timedelta(minutes=view.utc_offset_min)
    start = typed.text("valid_from")
    try:
        return log_corrections.put_in_force(
            asked.workbook,
            view.id,
            how,
            valid_from=instant(start, "valid_from", None, offset) if start else None,
            new_setting=_typed_setting(typed, view) if how is How.SET else None,
        )
    except NavigationError as error:
        raise error.renamed(lambda field: "set_value" if field in ("new_setting", "setting") else field) from error


def _typed_setting(typed: Typed, view: TrialView | RoundView) -> LogSetting | None:
    text = typed.text("set_value")
    if not text:
        return None
    convention = view.setting.convention if view.setting is not None else Convention.MULTIPLIER
    return LogSetting(convention, parse_number(text, "set_value"))
