"""Marks and measured courses."""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from truemile.core.measured_course import MeasuredCourse, charted_course, course_between
from truemile.core.numbers import precision_of
from truemile.core.position import Position
from truemile.workbook import journal
from truemile.workbook.entries import COURSE_COLUMNS, CourseEntry, MarkEntry
from truemile.workbook.finding import find, refuse_same_name
from truemile.workbook.schema import Course, Mark, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Faults, needed, reraised, short, yes_no
from truemile.workbook.views import CourseView, MarkView


def add_mark(wb: Workbook, entry: MarkEntry, *, author: str | None = None) -> MarkView:
    """Add a mark.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or there is a mark of that name.
    """
    read = entry.read()
    mark = read.mark
    with wb.writing() as session:
        refuse_same_name(session.scalars(journal.standing(Mark)).all(), mark.name, "mark")
        words = f"Mark {mark.name} at {read.understood}{'' if mark.fixed else ', floating'}"
        written = journal.note(session, wb, "add mark", ("marks", ""), words, author=author)
        row = Mark(
            name=mark.name,
            latitude_deg=mark.position.latitude_deg,
            longitude_deg=mark.position.longitude_deg,
            position_typed=entry.position or "",
            u_m=mark.u_m,
            fixed=mark.fixed,
            source=read.source,
            checked_on=read.checked_on,
            remarks=read.remarks,
            entry_id=written.id,
        )
        journal.keep(session, written, row)
        return mark_view(row)


def marks(wb: Workbook) -> tuple[MarkView, ...]:
    """Return the marks in use."""
    with wb.reading() as session:
        return tuple(mark_view(row) for row in session.scalars(journal.standing(Mark).order_by(Mark.id)))


def mark(wb: Workbook, which: int | str) -> MarkView:
    """Return a mark by number or name.

    Raises
    ------
    NotFound
        If there is none.
    """
    with wb.reading() as session:
        return mark_view(find(session, Mark, which, "mark"))


def add_course(wb: Workbook, entry: CourseEntry, *, author: str | None = None) -> CourseView:
    """Add a measured course, between two marks or of a charted distance.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or there is a course of that name.
    NotFound
        If there is no such mark.
    """
    with wb.writing() as session:
        parts = _between(session, entry) if entry.start or entry.end else _charted(entry)
        course: MeasuredCourse = parts.pop("course")
        refuse_same_name(session.scalars(journal.standing(Course)).all(), course.name, "course")
        words = f"Course {course.name}, {course.length_nm:.3f} nm"
        written = journal.note(session, wb, "add course", ("courses", ""), words, author=author)
        remarks = short(entry.remarks, "remarks")
        row = Course(name=course.name, transits=course.transits, remarks=remarks, entry_id=written.id, **parts)
        journal.keep(session, written, row)
        return course_view(session, row)


def courses(wb: Workbook) -> tuple[CourseView, ...]:
    """Return the measured courses in use."""
    with wb.reading() as session:
        rows = session.scalars(journal.standing(Course).order_by(Course.id)).all()
        return tuple(course_view(session, row) for row in rows)


def course(wb: Workbook, which: int | str) -> CourseView:
    """Return a measured course by number or name.

    Raises
    ------
    NotFound
        If there is none.
    """
    with wb.reading() as session:
        return course_view(session, find(session, Course, which, "course"))


def _between(session: Session, entry: CourseEntry) -> dict[str, Any]:
    faults = Faults()
    if entry.distance is not None or entry.precision is not None:
        faults.add(
            "distance",
            entry.distance,
            "the distance between two marks is worked out from their positions",
            "Leave the distance out, or leave the marks out.",
        )
    ends = [
        faults.take(
            lambda text=text, field=field: find(  # type: ignore[misc]
                session, Mark, needed(text, field, "A course needs both marks."), "mark", field=field
            ),
            None,
        )
        for text, field in ((entry.start, "start"), (entry.end, "end"))
    ]
    name = faults.take(lambda: short(entry.name, "name", 120), "")
    transits = faults.take(lambda: yes_no(entry.transits, "transits"), False)
    start, end = (faults.sure(end) for end in ends)
    found = reraised(
        lambda: course_between(mark_view(start).course_mark, mark_view(end).course_mark, name=name, transits=transits),
        {"length_nm": "end", "u_length_nm": "end"},
    )
    return {"course": found, "start_id": start.id, "end_id": end.id}


def _charted(entry: CourseEntry) -> dict[str, Any]:
    found = entry.read_charted()
    typed = entry.precision or entry.distance or ""
    precision = float(typed.replace(",", ".")) if entry.precision else precision_of(typed, "distance")
    return {
        "course": found,
        "length_nm": found.length_nm,
        "precision_nm": precision,
        "course_true_deg": found.course_true_deg,
    }


def mark_view(row: Mark) -> MarkView:
    """Return a mark's row as a view."""
    return MarkView(
        row.id,
        row.name,
        Position(row.latitude_deg, row.longitude_deg),
        row.position_typed,
        row.u_m,
        row.fixed,
        row.source,
        row.checked_on,
        row.remarks,
        row.entry_id,
    )


def course_view(session: Session, row: Course) -> CourseView:
    """Return a course's row as a view, with the trials made on it."""
    start, end = (None if key is None else mark_view(session.get_one(Mark, key)) for key in (row.start_id, row.end_id))
    if start is not None and end is not None:
        found = course_between(start.course_mark, end.course_mark, name=row.name, transits=row.transits)
    else:
        found = reraised(
            lambda: charted_course(
                row.name,
                row.length_nm or 0.0,
                row.precision_nm or 0.0,
                course_true_deg=row.course_true_deg,
                transits=row.transits,
            ),
            COURSE_COLUMNS,
        )
    trials = session.scalars(
        journal.standing(Trial).with_only_columns(Trial.id).where(Trial.course_id == row.id).order_by(Trial.id)
    )
    return CourseView(row.id, row.name, found, start, end, row.precision_nm, row.remarks, tuple(trials), row.entry_id)
