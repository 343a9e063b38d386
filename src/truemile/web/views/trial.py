"""The sheet of a trial: answer first, then runs, pictures, ladder, working, and what to do with it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any

from truemile.core.errors import NavigationError
from truemile.core.factor_remarks import Remark
from truemile.core.log_runs import Direction
from truemile.core.log_trial import TrialResult
from truemile.web.asks.trial import import_form, run_form
from truemile.web.formats import day_of, pair, with_unit
from truemile.web.forms import Form
from truemile.web.margins import Bar, bars_of
from truemile.web.pages import Asked, Page
from truemile.web.views.course import measured
from truemile.web.views.trial_charts import Picture, pictures_of
from truemile.web.views.trial_force import Checked, checked, force_form_of
from truemile.web.views.trial_parts import (
    Answer,
    HandMean,
    Missing,
    RunRow,
    StreamSays,
    answer_of,
    cautions_of,
    hand_mean_of,
    missing_of,
    notes_of,
    run_rows,
    streams_of,
)
from truemile.web.worked import Halving, halving_of, result_of, working_of
from truemile.workbook import log_corrections, log_trials
from truemile.workbook.schema import TrialKind
from truemile.workbook.views import TrialView


@dataclass(frozen=True, slots=True)
class Columns:
    """Which columns of the table of runs have anything in them."""

    heading: Annotated[bool, "Compass courses were noted."]
    counter: Annotated[bool, "The distance counter was read."]


@dataclass(frozen=True, slots=True)
class BudgetPart:
    """What the uncertainty at one engine speed is made of."""

    name: Annotated[str, "Name of the engine speed; empty if there is one only."]
    bars: Annotated[tuple[Bar, ...], "Its parts, largest first."]


@dataclass(frozen=True, slots=True)
class HalvingPage:
    """What would halve the uncertainty of a trial; worked through on its own, for it takes a moment."""

    id: Annotated[int, "Number of the trial."]
    now: Annotated[str, "95 % uncertainty of its factor."]
    halving: Annotated[Halving, "What would halve it."]


@dataclass(frozen=True, slots=True)
class TrialPage:
    """A trial of the log."""

    id: Annotated[int, "Its number."]
    title: Annotated[str, "What and when."]
    instrument_id: Annotated[int, "Number of the log."]
    instrument: Annotated[str, "Which log."]
    course: Annotated[str, "Name of the measured course."]
    measured: Annotated[str, "Its length and direction."]
    steering: Annotated[str, "How it was steered."]
    crew: Annotated[str, "Who took part."]
    weather: Annotated[str, "Wind and sea."]
    remarks: Annotated[str, "What else was written down."]
    withdrawn: Annotated[bool, "Whether the trial was taken out of use."]
    runs: Annotated[tuple[RunRow, ...], "The runs in use."]
    withdrawn_runs: Annotated[tuple[RunRow, ...], "The runs taken out of use."]
    columns: Annotated[Columns, "Which columns the table needs."]
    missing: Annotated[tuple[Missing, ...], "What keeps the runs from giving a factor."]
    run_form: Annotated[Form, "Asks for the next run."]
    import_form: Annotated[Form, "Asks for a file of runs."]
    answer: Annotated[Answer | None, "The factor; None as long as the runs give none."]
    hand: Annotated[HandMean | None, "The mean as done by hand, and the ladder from it."]
    check: Annotated[Checked | None, "Verdict of a check trial."]
    in_force: Annotated[str, "Since when its factor is in force; empty if it is not."]
    force: Annotated[Form | None, "Asks how to put the factor in force."]
    force_says: Annotated[str, "What each way means here, with the new setting."]
    charts: Annotated[tuple[Picture, ...], "The pictures."]
    working: Annotated[Mapping[str, Any] | None, "The hand lines."]
    budgets: Annotated[tuple[BudgetPart, ...], "What the uncertainty is made of."]
    halving: Annotated[str, "Address of what would halve the uncertainty; empty without a factor."]
    streams: Annotated[tuple[StreamSays, ...], "The stream as it came out."]
    cautions: Annotated[tuple[Remark, ...], "What to know before trusting it."]
    notes: Annotated[tuple[Remark, ...], "Other remarks on the evidence."]
    valid: Annotated[str, "Indicated speeds that it is valid for."]
    report: Annotated[str, "Address of the report."]


def trial(asked: Asked, trial_id: int) -> TrialPage:
    """Show a trial."""
    view = log_trials.trial(asked.workbook, trial_id)
    try:
        result, missing = result_of(view), ()
    except NavigationError as error:
        return TrialPage(**_always(asked, view), **_nothing(), missing=missing_of(error))
    return TrialPage(**_always(asked, view), **_found(asked, view, result), missing=missing)


def _always(asked: Asked, view: TrialView) -> dict[str, Any]:
    runs = run_rows(view)
    kind = "Check trial" if view.kind is TrialKind.CHECK else "Log trial"
    return {
        "id": view.id,
        "title": f"{kind}, {day_of(view.began_at, timedelta(minutes=view.utc_offset_min))}",
        "instrument_id": view.instrument.id,
        "instrument": view.instrument.name,
        "course": view.course.name,
        "measured": measured(view.course.course),
        "steering": view.conditions.steering.value,
        "crew": view.crew,
        "weather": view.weather,
        "remarks": view.remarks,
        "withdrawn": view.withdrawn,
        "runs": runs,
        "withdrawn_runs": run_rows(view, withdrawn=True),
        "columns": Columns(any(run.heading for run in runs), any(run.counter for run in runs)),
        "run_form": _next_run(view).after(asked.refused_form("run")),
        "import_form": import_form(view.id).after(asked.refused_form("import")),
        "report": f"/trials/{view.id}/report.pdf",
    }


def _next_run(view: TrialView) -> Form:
    """Ask for the next run: the other way, and the rest as on the run before."""
    values: dict[str, str] = {}
    if view.runs:
        last = view.runs[-1]
        values = {
            "direction": (Direction.BACK if last.run.direction is Direction.OUT else Direction.OUT).value,
            "speed_group": last.run.speed_group,
            "rpm": "" if last.run.engine_rpm is None else f"{last.run.engine_rpm:g}",
            "noted_by": last.noted_by,
            "timed_by": last.timed_by,
            "helm": last.helm,
        }
    return run_form(view.id, str(uuid.uuid4()), values, steering=view.conditions.steering)


def _nothing() -> dict[str, Any]:
    empty: dict[str, Any] = dict.fromkeys(("answer", "hand", "check", "force", "working"))
    texts = dict.fromkeys(("in_force", "force_says", "valid", "halving"), "")
    rows: dict[str, Any] = dict.fromkeys(("charts", "budgets", "streams", "cautions", "notes"), ())
    return {**empty, **texts, **rows}


def _found(asked: Asked, view: TrialView, result: TrialResult) -> dict[str, Any]:
    several = len(result.groups) > 1
    force, force_says = force_form_of(asked, view, result)
    correction = result.correction
    return {
        "answer": answer_of(result),
        "hand": hand_mean_of(result),
        "check": checked(asked, view),
        "in_force": _in_force(asked, view),
        "force": force,
        "force_says": force_says,
        "charts": pictures_of(view.id, result),
        "working": working_of(result),
        "budgets": tuple(
            BudgetPart(group.label if several else "", bars_of(group.best.budget)) for group in result.groups
        ),
        "halving": f"/trials/{view.id}/halving",
        "streams": streams_of(result),
        "cautions": cautions_of(result),
        "notes": notes_of(result),
        "valid": f"{with_unit(correction.lowest_kn, 1)}–{with_unit(correction.highest_kn, 1, 'kn')}",
    }


def _in_force(asked: Asked, view: TrialView) -> str:
    current = log_corrections.in_force(asked.workbook, view.instrument.id, asked.at)
    if current is None or current.trial_id != view.id:
        return ""
    return day_of(current.put_at, timedelta(minutes=view.utc_offset_min))


def halving(asked: Asked, trial_id: int) -> HalvingPage:
    """Work out what would halve the uncertainty."""
    result = result_of(log_trials.trial(asked.workbook, trial_id))
    return HalvingPage(trial_id, pair(result.factor, result.expanded)[1], halving_of(result))


HALVING = Page("/trials/{trial_id:int}/halving", "Instruments", "halving.html", HalvingPage, halving)
PAGE = Page("/trials/{trial_id:int}", "Instruments", "trial.html", TrialPage, trial)
