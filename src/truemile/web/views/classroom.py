"""Class: the hand working of a chosen trial, to be done again with pencil and paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any

from truemile.core.errors import NavigationError
from truemile.web.formats import day_of
from truemile.web.pages import Asked, Page, Section
from truemile.web.worked import result_of, working_of
from truemile.workbook import log_trials
from truemile.workbook.views import TrialView


@dataclass(frozen=True, slots=True)
class ExerciseLink:
    """A trial that can be worked by hand."""

    address: Annotated[str, "Address of the exercise."]
    name: Annotated[str, "Log and course."]
    about: Annotated[str, "Date and number of runs."]


@dataclass(frozen=True, slots=True)
class ClassPage:
    """The exercises of this workbook."""

    says: Annotated[str, "What this section is not yet."]
    exercises: Annotated[tuple[ExerciseLink, ...], "A trial each."]


@dataclass(frozen=True, slots=True)
class ExercisePage:
    """One trial as an exercise."""

    title: Annotated[str, "What is to be worked out."]
    about: Annotated[str, "Course and date."]
    working: Annotated[Mapping[str, Any], "The lines, to be shown with blanks first and with their values last."]


def classroom(asked: Asked) -> ClassPage:
    """List the trials that can be worked by hand."""
    links = tuple(
        ExerciseLink(f"/class/trials/{trial.id}", f"{trial.instrument.name} on {trial.course.name}", _about(trial))
        for trial in log_trials.trials(asked.workbook)
        if _can_be_worked(trial)
    )
    return ClassPage(
        says="Exercises made by the program, answer sheets and marking are not here yet; today the working of any"
        " trial can be printed with blanks and done by hand.",
        exercises=links,
    )


def _about(trial: TrialView) -> str:
    return f"{day_of(trial.began_at, timedelta(minutes=trial.utc_offset_min))}, {len(trial.runs)} runs"


def _can_be_worked(trial: TrialView) -> bool:
    try:
        result_of(trial)
    except NavigationError:
        return False
    return True


def exercise(asked: Asked, trial_id: int) -> ExercisePage:
    """Show one trial as an exercise."""
    trial = log_trials.trial(asked.workbook, trial_id)
    working = working_of(result_of(trial))
    return ExercisePage(title=working["title"], about=_about(trial), working=working)


SECTION = Section(
    pages=(
        Page("/class", "Class", "class.html", ClassPage, classroom),
        Page("/class/trials/{trial_id:int}", "Class", "exercise.html", ExercisePage, exercise),
    )
)
