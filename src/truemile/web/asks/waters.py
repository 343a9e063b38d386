"""Questions about marks and measured courses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from truemile.core.log_runs import Steering
from truemile.web.forms import Choice, Field, Form

MARK_BOXES: Final = ("name", "position", "precision_m", "fixed", "source", "checked", "remarks")
COURSE_BOXES: Final = ("name", "start", "end", "distance", "precision", "course_true", "transits", "remarks")
PLAN_BOXES: Final = ("speed", "runs", "readings", "counter", "set", "drift", "steering", "timing", "insist")

STEERINGS: Final = (
    Choice(Steering.HEADING_HELD.value, "heading held, square to the transits"),
    Choice(Steering.TRACK_HELD.value, "track held, from mark to mark"),
)
YES_NO: Final = (Choice("yes", "Yes"), Choice("no", "No"))


def mark_form() -> Form:
    """Ask for a mark; the answer is shown as understood before anything is kept."""
    return Form(
        "mark",
        "/waters/marks/new",
        "Show how it is understood",
        (
            Field("name", "Name, as on the chart", required=True),
            Field("position", "Position", hint="47°12.345′N 031°04.120′W, or any common form.", required=True),
            Field("fixed", "The mark is", "choice", "", "yes", (Choice("yes", "fixed"), Choice("no", "floating"))),
            Field(
                "precision_m",
                "How well its place is known",
                "number",
                "Standard uncertainty in metres; empty to take it from the digits typed.",
                more=True,
            ),
            Field(
                "source", "Where the position comes from", hint="Chart and edition, or a fix of your own.", more=True
            ),
            Field("checked", "Checked on", hint="As 2026-05-14.", more=True),
            Field("remarks", "Remarks", more=True),
        ),
        method="get",
    )


def keep_mark_form(values: dict[str, str]) -> Form:
    """Offer to keep the mark just understood."""
    fields = tuple(Field(name, name, "hidden", value=values.get(name, "")) for name in MARK_BOXES if values.get(name))
    return Form("keep", "/waters/marks", "Keep this mark", fields)


def course_form(marks: Sequence[Choice]) -> Form:
    """Ask for a measured course: between two marks, or a charted distance."""
    ends = (Choice("", "none: charted distance"), *marks)
    first, second = (marks[-2].value, marks[-1].value) if len(marks) > 1 else ("", "")
    return Form(
        "course",
        "/waters/courses",
        "Keep this course",
        (
            Field("name", "How you call it", hint="Empty for the names of the two marks."),
            Field("start", "From mark", "choice", "Outward runs begin here.", first, ends),
            Field("end", "To mark", "choice", "", second, ends),
            Field(
                "transits",
                "Each end is a transit of two marks in line",
                "choice",
                "Then the heading can be held square to them.",
                "no",
                YES_NO,
            ),
            Field(
                "distance",
                "Charted distance",
                "number",
                "In miles with all its digits, 0.60; only where there are no marks.",
                more=True,
            ),
            Field("precision", "Its last printed digit", "number", "0.01; empty to take it from them.", more=True),
            Field("course_true", "True course outward", "number", "In degrees, for a charted distance.", more=True),
            Field("remarks", "Remarks", more=True),
        ),
        more="A charted distance instead",
    )


def plan_form(course_id: int, *, floating: bool, steering: str) -> Form:
    """Ask the judge's questions: how the course is meant to be run."""
    insist = Field(
        "insist",
        "Judge it all the same: a mark floats, and its swing goes into the ±",
        "tick",
        more=False,
    )
    return Form(
        "plan",
        f"/waters/courses/{course_id}",
        "Judge again",
        (
            *((insist,) if floating else ()),
            Field("speed", "Speed you mean to keep", "number", "In knots through the water.", "6.0"),
            Field("runs", "Runs", "number", "Out and back by turns, 2 to 12.", "2"),
            Field("set", "Stream sets towards", "number", "Degrees true; empty if not known."),
            Field("drift", "Its rate", "number", "In knots."),
            Field("steering", "How it is steered", "choice", "", steering, STEERINGS),
            Field("counter", "Distance counter read as well", "choice", "", "no", YES_NO),
            Field("readings", "Readings of the display a run", "number", "", "5", more=True),
            Field("timing", "Timed to within ± s", "number", "", "1.0", more=True),
        ),
        title="Ask the judge",
        method="get",
        quiet=True,
    )
