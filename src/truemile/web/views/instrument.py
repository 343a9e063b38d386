"""A log's own page: what is in force, what is set, its trials and its history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any

from truemile.core.coverage import coverage_factor
from truemile.core.errors import NavigationError, NotFound
from truemile.core.log_settings import Convention
from truemile.plots.log_charts import InForce, TrialPoint, history_chart
from truemile.web.asks.boat import SETTING_BOXES, setting_form, use_form
from truemile.web.formats import day_of, pair
from truemile.web.forms import Form, Typed
from truemile.web.pages import Action, Asked, Download, Page, Section
from truemile.web.views.in_force import Standing, how_words, standing_of, trial_address
from truemile.web.views.trial_charts import Picture, chart_file, picture
from truemile.web.worked import result_of
from truemile.workbook import boats, instruments, log_corrections, log_trials, vector_rounds
from truemile.workbook.entries import SettingEntry, read_entry
from truemile.workbook.vector_rounds import RoundView
from truemile.workbook.views import CorrectionView, TrialView


@dataclass(frozen=True, slots=True)
class SettingRow:
    """What was set in the log from a day on."""

    setting: Annotated[str, "As it stands in the menu."]
    since: Annotated[str, "From when."]
    by: Annotated[str, "Who noted it."]
    note: Annotated[str, "Remark."]
    entry_id: Annotated[int, "Its entry in the journal."]


@dataclass(frozen=True, slots=True)
class TrialRow:
    """One trial of the list, or a vector round."""

    id: Annotated[int, "Its number."]
    address: Annotated[str, "Where it stands."]
    name: Annotated[str, "What it was for, and where."]
    day: Annotated[str, "When."]
    factor: Annotated[str, "The factor it gave; empty if it gave none."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    runs: Annotated[str, "How many runs or legs it has."]
    in_force: Annotated[bool, "Whether its factor is in force now."]


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """One correction of the history."""

    factor: Annotated[str, "The factor as measured."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    put: Annotated[str, "When it was put in force."]
    how: Annotated[str, "How."]
    by: Annotated[str, "Who did it."]
    trial_id: Annotated[int, "The trial it came from."]
    address: Annotated[str, "Where that trial stands."]
    standing: Annotated[bool, "False once it was taken back."]
    entry_id: Annotated[int, "Its entry in the journal."]


@dataclass(frozen=True, slots=True)
class InstrumentPage:
    """One log."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "How it is called."]
    reads: Annotated[str, "How finely it reads."]
    standing: Annotated[Standing | None, "The correction in force; None if there is none."]
    use: Annotated[Form, "Asks for a reading to correct."]
    trials: Annotated[tuple[TrialRow, ...], "Its trials, newest first."]
    setting: Annotated[str, "What is set in it now; empty if never noted."]
    settings: Annotated[tuple[SettingRow, ...], "What was set, newest first."]
    setting_form: Annotated[Form, "Asks for what is set."]
    corrections: Annotated[tuple[CorrectionRow, ...], "All corrections, newest first."]
    picture: Annotated[Picture | None, "The history as a picture; None before there are two trials with a factor."]
    card: Annotated[str, "Address of the correction card; empty before there is a correction."]


def instrument(asked: Asked, instrument_id: int) -> InstrumentPage:
    """Show a log."""
    workbook = asked.workbook
    log = instruments.instrument(workbook, instrument_id)
    offset = boats.boat(workbook, log.boat_id).ship_utc_offset
    standing = standing_of(asked, log)
    current = log_corrections.in_force(workbook, log.id, asked.at)
    known = log_trials.trials(workbook, log.id)
    convention = log.convention or (log.setting.setting.convention if log.setting else Convention.MULTIPLIER)
    return InstrumentPage(
        id=log.id,
        name=log.name,
        reads=f"reads to {log.speed_resolution_kn:g} kn and {log.distance_resolution_nm:g} nm",
        standing=standing,
        use=use_form(log.id),
        trials=_trial_rows(asked, log.id, known, None if current is None else current.trial_id),
        setting="" if log.setting is None else str(log.setting.setting),
        settings=_setting_rows(asked, log.id, offset),
        setting_form=setting_form(log.id, convention.value).after(asked.refused_form("setting")),
        corrections=tuple(
            _correction_row(view, offset) for view in log_corrections.corrections(workbook, log.id, withdrawn=True)
        ),
        picture=_picture(asked, log.id, known),
        card=f"/instruments/{log.id}/card.pdf" if standing is not None else "",
    )


def _trial_rows(
    asked: Asked, instrument_id: int, known: Sequence[TrialView], in_force: int | None
) -> tuple[TrialRow, ...]:
    """Return trials and vector rounds together, newest first."""
    rows = [(trial.began_at, trial.id, _trial_row(trial, trial.id == in_force)) for trial in known]
    rounds = vector_rounds.rounds(asked.workbook, instrument_id)
    rows += [(view.began_at, view.id, _round_row(view, view.id == in_force)) for view in rounds]
    return tuple(row for _, _, row in sorted(rows, key=lambda each: each[:2], reverse=True))


def _round_row(view: RoundView, in_force: bool) -> TrialRow:
    number, margin = "", ""
    try:
        result = vector_rounds.solved(view)
        number, margin = pair(result.factor, result.expanded) if result.may_be_put_in_force else ("", "")
    except NavigationError:
        pass
    day = day_of(view.began_at, timedelta(minutes=view.utc_offset_min))
    legs = _counted(len(view.legs), "leg")
    return TrialRow(view.id, f"/rounds/{view.id}", "Vector round", day, number, margin, legs, in_force)


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _trial_row(trial: TrialView, in_force: bool) -> TrialRow:
    number, margin = "", ""
    try:
        result = result_of(trial)
        number, margin = pair(result.factor, result.expanded)
    except NavigationError:
        pass
    kind = "Check" if trial.kind.value == "check" else "Trial"
    day = day_of(trial.began_at, timedelta(minutes=trial.utc_offset_min))
    name = f"{kind} on {trial.course.name}"
    runs = _counted(len(trial.runs), "run")
    return TrialRow(trial.id, f"/trials/{trial.id}", name, day, number, margin, runs, in_force)


def _setting_rows(asked: Asked, instrument_id: int, offset: timedelta) -> tuple[SettingRow, ...]:
    known = instruments.settings(asked.workbook, instrument_id)
    return tuple(
        SettingRow(str(view.setting), day_of(view.set_at, offset), view.author, view.note, view.entry_id)
        for view in reversed(known)
    )


def _correction_row(view: CorrectionView, offset: timedelta) -> CorrectionRow:
    curve = view.correction
    number, margin = pair(curve.factor(curve.middle_kn), coverage_factor(curve.dof) * curve.u_factor(curve.middle_kn))
    return CorrectionRow(
        factor=number,
        plus_minus=margin,
        put=day_of(view.put_at, offset),
        how=how_words(view),
        by=view.author,
        trial_id=view.trial_id,
        address=trial_address(view),
        standing=view.standing,
        entry_id=view.entry_id,
    )


def _history(asked: Asked, instrument_id: int, trials: Sequence[TrialView]) -> dict[str, Any] | None:
    """Return the chart of all trials that gave a factor; None before there are two."""
    points: list[TrialPoint] = []
    for trial in trials:
        try:
            result = result_of(trial)
        except NavigationError:
            continue
        points.append(TrialPoint(trial.began_at, result.factor, result.expanded, trial.course.name))
    return history_chart(points, _applied(asked, instrument_id)) if len(points) > 1 else None


def _applied(asked: Asked, instrument_id: int) -> list[InForce]:
    """Return which factor was applied when: each until the next one begins."""
    views = sorted(log_corrections.corrections(asked.workbook, instrument_id), key=lambda view: view.valid_from)
    ends = [*(view.valid_from for view in views[1:]), None]
    return [
        InForce(view.valid_from, view.valid_until or end, view.correction.factor(view.correction.middle_kn))
        for view, end in zip(views, ends, strict=True)
    ]


def _picture(asked: Asked, instrument_id: int, trials: Sequence[TrialView]) -> Picture | None:
    spec = _history(asked, instrument_id, trials)
    if spec is None:
        return None
    return picture("Over the years", f"/instruments/{instrument_id}/plots/history.json", spec)


def note_setting(asked: Asked, typed: Typed, instrument_id: int) -> str:
    """Note what is set in the log."""
    made = instruments.record_setting(
        asked.workbook, instrument_id, read_entry(SettingEntry, typed.only(SETTING_BOXES))
    )
    return f"/instruments/{instrument_id}?done={made.entry_id}"


def card(asked: Asked, instrument_id: int) -> tuple[bytes, str]:
    """Return the correction card for the chart table."""
    from truemile.reports import correction_card

    return correction_card(asked.workbook, instrument_id), f"correction-card-{instrument_id}.pdf"


def history(asked: Asked, instrument_id: int) -> tuple[bytes, str]:
    """Return the specification of the history chart."""
    spec = _history(asked, instrument_id, log_trials.trials(asked.workbook, instrument_id))
    if spec is None:
        raise NotFound("plot", "history", "a history needs two trials with a factor", "Make another trial.")
    return chart_file(asked, spec)


_PAGE = Page("/instruments/{instrument_id:int}", "Instruments", "instrument.html", InstrumentPage, instrument)

SECTION = Section(
    pages=(_PAGE,),
    actions=(Action("/instruments/{instrument_id:int}/settings", _PAGE, "setting", note_setting),),
    downloads=(
        Download("/instruments/{instrument_id:int}/card.pdf", "application/pdf", card),
        Download("/instruments/{instrument_id:int}/plots/history.json", "application/json", history),
    ),
)
