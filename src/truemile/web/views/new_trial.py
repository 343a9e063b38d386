"""The page on which a trial is begun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from truemile.core.errors import NavigationError
from truemile.web.asks.trial import TRIAL_BOXES, trial_form
from truemile.web.formats import bearing, with_unit
from truemile.web.forms import Choice, Form, Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.workbook import boats, courses, instruments, log_trials
from truemile.workbook.entries import TrialEntry, read_entry
from truemile.workbook.schema import TrialKind
from truemile.workbook.views import CourseView


@dataclass(frozen=True, slots=True)
class NewTrialPage:
    """A trial to be begun."""

    instrument_id: Annotated[int, "Number of the log."]
    instrument: Annotated[str, "Which log."]
    courses: Annotated[int, "How many measured courses there are to choose from."]
    setting: Annotated[str, "What is set in the log now; empty if it was never noted."]
    form: Annotated[Form, "Asks where, when and how."]


def new_trial(asked: Asked, instrument_id: int) -> NewTrialPage:
    """Ask where, when and how a trial is made."""
    log = instruments.instrument(asked.workbook, instrument_id)
    known = courses.courses(asked.workbook)
    wanted = asked.query.get("course", "")
    first = next((course for course in known if str(course.id) == wanted), _likely(known))
    boat = boats.boat(asked.workbook, log.boat_id)
    kind = TrialKind.CHECK if asked.query.get("kind") == TrialKind.CHECK.value else TrialKind.CALIBRATION
    form = trial_form(
        instrument_id,
        [Choice(str(course.id), _course_words(course)) for course in known],
        course="" if first is None else str(first.id),
        date=(asked.at + boat.ship_utc_offset).date().isoformat(),
        kind=kind.value,
        transits=first is not None and first.course.transits,
        floating=first is not None and bool(first.course.floating_marks),
    )
    return NewTrialPage(
        instrument_id=log.id,
        instrument=log.name,
        courses=len(known),
        setting="" if log.setting is None else str(log.setting.setting),
        form=form.after(asked.refused_form("trial")),
    )


def _likely(known: Sequence[CourseView]) -> CourseView | None:
    """Return the course to offer first: the one most used, a floating mark only if there is nothing else."""
    return max(known, key=lambda view: (not view.course.floating_marks, len(view.trial_ids)), default=None)


def _course_words(view: CourseView) -> str:
    floating = ", a mark floats" if view.course.floating_marks else ""
    return f"{view.name}, {with_unit(view.course.length_nm, 3, 'nm')}, {bearing(view.course.course_true_deg)}{floating}"


def begin_trial(asked: Asked, typed: Typed, instrument_id: int) -> str:
    """Begin a trial; that a mark floats is asked where one may insist."""
    entry = read_entry(TrialEntry, {"instrument": str(instrument_id), **typed.only(TRIAL_BOXES)})
    floating = bool(courses.course(asked.workbook, typed.text("course")).course.floating_marks)
    try:
        trial = log_trials.start_trial(asked.workbook, entry)
    except NavigationError as error:
        raise error.renamed(lambda field: "insist_floating" if floating and field == "course" else field) from error
    return f"/trials/{trial.id}?done={trial.entry_id}"


PAGE = Page("/instruments/{instrument_id:int}/trials/new", "Instruments", "new_trial.html", NewTrialPage, new_trial)

SECTION = Section(
    pages=(PAGE,), actions=(Action("/instruments/{instrument_id:int}/trials", PAGE, "trial", begin_trial),)
)
