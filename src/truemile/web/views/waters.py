"""Waters: marks and measured courses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from truemile.core.position import format_position
from truemile.web.asks.waters import COURSE_BOXES, MARK_BOXES, course_form, keep_mark_form, mark_form
from truemile.web.formats import bearing, with_unit
from truemile.web.forms import Choice, Form, Refused, Typed
from truemile.web.pages import Action, Asked, NavigationError, Page, Section
from truemile.workbook import courses
from truemile.workbook.entries import CourseEntry, MarkEntry, read_entry
from truemile.workbook.views import CourseView, MarkView

#: A mark worse than this, in metres, makes a course that is not worth running (judgement, no source).
VAGUE_U_M: Final = 20.0


@dataclass(frozen=True, slots=True)
class MarkRow:
    """One mark of the list."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "As on the chart."]
    position: Annotated[str, "On WGS 84."]
    known_to: Annotated[str, "95 % uncertainty of each coordinate."]
    fixed: Annotated[bool, "False for a floating mark."]
    source: Annotated[str, "Where the position comes from."]


@dataclass(frozen=True, slots=True)
class CourseRow:
    """One measured course of the list."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "How it is called."]
    length: Annotated[str, "Its length."]
    course: Annotated[str, "True course of an outward run."]
    floating: Annotated[bool, "Whether a mark of it floats."]
    trials: Annotated[int, "How many trials were made on it."]


@dataclass(frozen=True, slots=True)
class WatersPage:
    """Marks and measured courses."""

    says: Annotated[str, "What this section is not yet."]
    courses: Annotated[tuple[CourseRow, ...], "The measured courses."]
    marks: Annotated[tuple[MarkRow, ...], "The marks."]


@dataclass(frozen=True, slots=True)
class NewMarkPage:
    """A mark to be added, shown as understood before it is kept."""

    understood: Annotated[str, "The position as understood; empty before one was typed."]
    known_to: Annotated[str, "95 % uncertainty of each coordinate."]
    name: Annotated[str, "Name of the mark understood."]
    floating: Annotated[bool, "Whether it floats."]
    vague: Annotated[bool, "Whether it is known too badly to end a course."]
    form: Annotated[Form, "Asks for the mark."]
    keep: Annotated[Form | None, "Offers to keep it; None before it is understood."]


@dataclass(frozen=True, slots=True)
class NewCoursePage:
    """A measured course to be added."""

    marks: Annotated[int, "How many marks there are to choose from."]
    form: Annotated[Form, "Asks for the course."]


def waters(asked: Asked) -> WatersPage:
    """Show marks and measured courses."""
    return WatersPage(
        says="Tides and streams are not here yet; look the stream up in the official tables and tell the judge of a"
        " course what you found.",
        courses=tuple(_course_row(course) for course in courses.courses(asked.workbook)),
        marks=tuple(_mark_row(mark) for mark in courses.marks(asked.workbook)),
    )


def _mark_row(mark: MarkView) -> MarkRow:
    known = with_unit(1.96 * mark.course_mark.u_place_m, 0, "m")
    return MarkRow(mark.id, mark.name, format_position(mark.position), known, mark.fixed, mark.source)


def _course_row(view: CourseView) -> CourseRow:
    course = view.course
    return CourseRow(
        id=view.id,
        name=view.name,
        length=with_unit(course.length_nm, 3, "nm"),
        course=bearing(course.course_true_deg),
        floating=bool(course.floating_marks),
        trials=len(view.trial_ids),
    )


def new_mark(asked: Asked) -> NewMarkPage:
    """Show how a mark is understood before it is kept."""
    typed = Typed(asked.query)
    refused = asked.refused_form("keep")
    if refused is not None:
        return _unread(Refused("mark", refused.typed, refused.error))
    if not typed.only(MARK_BOXES):
        return NewMarkPage("", "", "", floating=False, vague=False, form=mark_form(), keep=None)
    try:
        read = read_entry(MarkEntry, typed.only(MARK_BOXES)).read()
    except NavigationError as error:
        return _unread(Refused("mark", typed, error))
    return NewMarkPage(
        understood=read.understood,
        known_to=with_unit(1.96 * read.mark.u_place_m, 0, "m"),
        name=read.mark.name,
        floating=not read.mark.fixed,
        vague=read.mark.fixed and read.mark.u_m > VAGUE_U_M,
        form=mark_form().filled(asked.query),
        keep=keep_mark_form(typed.only(MARK_BOXES)),
    )


def _unread(refused: Refused) -> NewMarkPage:
    return NewMarkPage("", "", "", floating=False, vague=False, form=mark_form().after(refused), keep=None)


def keep_mark(asked: Asked, typed: Typed) -> str:
    """Add a mark."""
    mark = courses.add_mark(asked.workbook, read_entry(MarkEntry, typed.only(MARK_BOXES)))
    return f"/waters?done={mark.entry_id}"


def new_course(asked: Asked) -> NewCoursePage:
    """Ask for a measured course."""
    known = courses.marks(asked.workbook)
    choices = [Choice(str(mark.id), mark.name if mark.fixed else f"{mark.name}, floating") for mark in known]
    form = course_form(choices).after(asked.refused_form("course"))
    return NewCoursePage(len(known), form)


def keep_course(asked: Asked, typed: Typed) -> str:
    """Add a measured course."""
    course = courses.add_course(asked.workbook, read_entry(CourseEntry, typed.only(COURSE_BOXES)))
    return f"/waters/courses/{course.id}?done={course.entry_id}"


_WATERS = Page("/waters", "Waters", "waters.html", WatersPage, waters)
_NEW_MARK = Page("/waters/marks/new", "Waters", "new_mark.html", NewMarkPage, new_mark)
_NEW_COURSE = Page("/waters/courses/new", "Waters", "new_course.html", NewCoursePage, new_course)

SECTION = Section(
    pages=(_WATERS, _NEW_MARK, _NEW_COURSE),
    actions=(
        Action("/waters/marks", _NEW_MARK, "keep", keep_mark),
        Action("/waters/courses", _NEW_COURSE, "course", keep_course),
    ),
)
