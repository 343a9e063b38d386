"""``truemile log mark`` and the courses kept: the places that measured courses are made of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import box, by_option, filled, json_option, workbook_option
from truemile.cli.present import paragraph, ruled, show
from truemile.cli.workbook_file import open_to_read, open_to_write

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.workbook.views import CourseView, MarkView

_HERE = "truemile.cli.log.waters"

MARK_COMMANDS = {
    "add": (f"{_HERE}:add_mark", "Keep a mark."),
    "list": (f"{_HERE}:list_marks", "List the marks kept; this is the default."),
}


@click.group(cls=LazyGroup, table=MARK_COMMANDS, default="list")
def mark() -> None:
    """Keep the marks that measured courses run between."""


@click.command("add")
@box("--name", "name", "As on the chart.")
@box("--position", "position", 'In any common form: "47 12.345N 31 04.120W".')
@box("--precision-m", "precision_m", "Standard uncertainty; else from the digits typed, 3 m at best.", "M")
@click.option("--floating", "fixed", flag_value="no", help="It is a buoy and swings on its chain.")
@box("--source", "source", "Where the position is from: chart and edition, own fix.")
@box("--checked", "checked", "When it was last checked: 2026-05-14.", "DATE")
@box("--remarks", "remarks", "Anything else.")
@by_option
@workbook_option
@json_option
def add_mark(*, author: str | None, workbook_path: str | None, as_json: bool, **boxes: str | None) -> None:
    """Keep a mark, and say how its position was understood."""
    from truemile.workbook import courses
    from truemile.workbook.entries import MarkEntry, read_entry

    entry = read_entry(MarkEntry, filled(boxes))
    entry.read()
    with open_to_write(workbook_path) as workbook:
        kept = courses.add_mark(workbook, entry, author=author)
    show(lambda: kept, lambda: f"Mark {kept.id}\n{marks_table([kept])}", as_json=as_json)


@click.command("list")
@workbook_option
@json_option
def list_marks(*, workbook_path: str | None, as_json: bool) -> None:
    """List the marks kept."""
    from truemile.workbook import courses

    with open_to_read(workbook_path) as workbook:
        kept = courses.marks(workbook)
    none = "  No mark is kept yet. Add one with: truemile log mark add --name NAME --position POSITION"
    show(lambda: {"marks": kept}, lambda: marks_table(kept) if kept else none, as_json=as_json)


def marks_table(marks: Sequence[MarkView]) -> str:
    """Return marks as a table."""
    rows = [(str(m.id), m.name, str(m.position), f"{m.u_m:.0f}", "" if m.fixed else "floats") for m in marks]
    return ruled(("no", "mark", "position, WGS 84", "u m", ""), rows, left=3)


@click.command("add")
@box("--name", "name", "How the crew call it.")
@box("--from", "start", "Kept mark where a run out begins.", "MARK")
@box("--to", "end", "Kept mark where it ends.", "MARK")
@box("--distance", "distance", "Or a charted distance, with all its digits: 0.60.", "NM")
@box("--precision-nm", "precision", "Its last digit, if not the last one typed.", "NM")
@box("--bearing", "course_true", "True course of a run out, for a charted distance.", "DEG")
@click.option("--transits", flag_value="yes", help="Each end is a transit: two marks to be seen in line.")
@box("--remarks", "remarks", "Anything else.")
@by_option
@workbook_option
@json_option
def add_course(*, author: str | None, workbook_path: str | None, as_json: bool, **boxes: str | None) -> None:
    """Keep a measured course, between two kept marks or of a charted distance."""
    from truemile.workbook import courses
    from truemile.workbook.entries import CourseEntry, read_entry

    entry = read_entry(CourseEntry, filled(boxes))
    if not (entry.start or entry.end):
        entry.read_charted()
    with open_to_write(workbook_path) as workbook:
        kept = courses.add_course(workbook, entry, author=author)
    show(lambda: kept, lambda: courses_table([kept]), as_json=as_json)


@click.command("list")
@workbook_option
@json_option
def list_courses(*, workbook_path: str | None, as_json: bool) -> None:
    """List the measured courses kept."""
    from truemile.workbook import courses

    with open_to_read(workbook_path) as workbook:
        kept = courses.courses(workbook)
    none = paragraph("No course is kept yet. Add one with: truemile log course add --name NAME --distance 0.60")
    show(lambda: {"courses": kept}, lambda: courses_table(kept) if kept else none, as_json=as_json)


def courses_table(courses: Sequence[CourseView]) -> str:
    """Return measured courses as a table."""
    rows = []
    for kept in courses:
        course = kept.course
        bearing = "" if course.course_true_deg is None else f"{course.course_true_deg % 360:05.1f}°T"
        how = "floating" if course.floating_marks else "transits" if course.transits else ""
        length = f"{course.length_nm:.4f}", f"± {1.96 * course.u_length_nm:.4f}"
        rows.append((str(kept.id), course.name, *length, bearing, how))
    return ruled(("no", "course", "nm", "95 %", "out", ""), rows, left=2)
