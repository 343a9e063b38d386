"""A measured course as options give it: two marks or positions, a charted distance, or one kept in the workbook."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from truemile.cli.options import Number, packed
from truemile.core.errors import NavigationError, NotFound, ReadingError

if TYPE_CHECKING:
    from truemile.core.measured_course import CourseMark, MeasuredCourse

#: Standard uncertainty of a position taken by a satellite receiver, in metres, where none is stated.
USUAL_U_M = 3.0


@dataclass(frozen=True, slots=True)
class CourseGiven:
    """The options that describe a course."""

    from_text: str | None
    to_text: str | None
    u_m: float | None
    distance_text: str | None
    precision_nm: float | None
    course_true_deg: float | None
    transits: bool
    floating: str | None
    kept_name: str | None

    def course(self, workbook_path: str | None) -> MeasuredCourse:
        """Return the course that was meant.

        Raises
        ------
        ReadingError
            If none was described, or more than one.
        """
        ways = [self.from_text or self.to_text, self.distance_text, self.kept_name]
        if sum(way is not None for way in ways) != 1:
            raise ReadingError(
                "course",
                ", ".join(str(way) for way in ways if way is not None) or None,
                "a course is given in one of three ways",
                "Give --from and --to, or --distance, or --course NAME for one kept in the workbook.",
            )
        self._refuse_clashes()
        if self.distance_text is not None:
            return self._charted(self.distance_text)
        if self.kept_name is not None:
            return _kept(self.kept_name, workbook_path)
        return self._between(workbook_path)

    def _refuse_clashes(self) -> None:
        """Refuse what belongs to another way of giving the course, rather than leave it unheard."""
        between = self.from_text is not None or self.to_text is not None
        charted = self.distance_text is not None
        clashes = (
            ("floating", self.floating, not between, "--floating goes with --from and --to, whose marks may swing"),
            ("precision_m", self.u_m, not between, "--precision-m goes with --from and --to"),
            ("precision_nm", self.precision_nm, not charted, "--precision-nm goes with --distance"),
            ("bearing", self.course_true_deg, not charted, "--bearing goes with --distance; two places give it"),
            ("transits", self.transits or None, self.kept_name is not None, "a kept course says itself if it has any"),
        )
        for field, given, clash, words in clashes:
            if given is not None and clash:
                raise ReadingError(field, given, words, "Leave it out, or give the course the other way.")

    def _charted(self, text: str) -> MeasuredCourse:
        from truemile.core.measured_course import charted_course
        from truemile.core.numbers import parse_number, precision_of

        precision = precision_of(text, "distance_nm") if self.precision_nm is None else self.precision_nm
        return charted_course(
            "",
            parse_number(text, "distance_nm"),
            precision,
            course_true_deg=self.course_true_deg,
            transits=self.transits,
        )

    def _between(self, workbook_path: str | None) -> MeasuredCourse:
        from truemile.core.measured_course import course_between

        start = self._mark("from", self.from_text, workbook_path)
        end = self._mark("to", self.to_text, workbook_path)
        return course_between(start, end, transits=self.transits)

    def _mark(self, field: str, text: str | None, workbook_path: str | None) -> CourseMark:
        from truemile.core.measured_course import CourseMark
        from truemile.core.position import parse_position
        from truemile.core.type_b import from_resolution

        if text is None:
            raise ReadingError(field, None, "a course has two ends", "Give --from and --to.")
        try:
            parsed = parse_position(text, field)
        except NavigationError as error:
            return _kept_mark(field, text, workbook_path, error)
        typed_u = from_resolution(parsed.resolution_m)
        u_m = max(USUAL_U_M, typed_u) if self.u_m is None else self.u_m
        fixed = self.floating not in {field, "both"}
        return CourseMark(parsed.understood, parsed.position, u_m, fixed)


course_options = packed(
    "course_given",
    CourseGiven,
    click.option("--from", "from_text", metavar="PLACE", help="Where a run out begins: a position, or a kept mark."),
    click.option("--to", "to_text", metavar="PLACE", help="Where a run out ends."),
    click.option(
        "--precision-m",
        "u_m",
        type=Number("precision_m"),
        metavar="M",
        help="Standard uncertainty of the positions; 3 m, or more where they are typed coarsely.",
    ),
    click.option("--distance", "distance_text", metavar="NM", help="A charted distance, with all its digits: 0.60."),
    click.option(
        "--precision-nm", type=Number("precision_nm"), metavar="NM", help="Its last digit, if not the last one typed."
    ),
    click.option(
        "--bearing", "course_true_deg", type=Number("course_true_deg"), metavar="DEG",
        help="True course of a run out, for a charted distance.",
    ),
    click.option("--transits", is_flag=True, help="Each end is a transit: two marks to be seen in line."),
    click.option(
        "--floating", is_flag=False, flag_value="both", type=click.Choice(["from", "to", "both"]),
        help="Which marks float; both if nothing follows.",
    ),
    click.option("--course", "kept_name", metavar="NAME", help="A course kept in the workbook."),
)  # fmt: skip


def _kept(name: str, workbook_path: str | None) -> MeasuredCourse:
    from truemile.cli.workbook_file import open_to_read
    from truemile.workbook import courses

    with open_to_read(workbook_path) as workbook:
        return courses.course(workbook, name).course


def _kept_mark(field: str, text: str, workbook_path: str | None, no_position: NavigationError) -> CourseMark:
    """Return the mark of that name; where there is no workbook, what is wrong with the text as a position."""
    from truemile.cli.workbook_file import open_to_read
    from truemile.core.errors import WorkbookError
    from truemile.workbook import courses

    try:
        workbook = open_to_read(workbook_path)
    except WorkbookError:
        raise no_position from None
    with workbook:
        try:
            return courses.mark(workbook, text).course_mark
        except NotFound as error:
            if any(character.isdigit() for character in text):
                raise no_position from None
            raise error.renamed(lambda _: field) from None
