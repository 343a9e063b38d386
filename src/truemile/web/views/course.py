"""A measured course and its judge."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Final

from truemile.core.course_judge import CourseVerdict, Finding, RunPlan, judge_course
from truemile.core.log_runs import Conditions, Steering
from truemile.core.measured_course import MeasuredCourse
from truemile.core.numbers import parse_number
from truemile.core.position import format_position
from truemile.core.times import format_elapsed
from truemile.web.asks.waters import plan_form
from truemile.web.formats import bearing, pair, with_unit
from truemile.web.forms import Form, Refused, Typed
from truemile.web.margins import Bar, bars_of
from truemile.web.pages import Asked, NavigationError, Page, Section
from truemile.workbook import courses, instruments
from truemile.workbook.typed import Faults, choice, yes_no
from truemile.workbook.views import CourseView


@dataclass(frozen=True, slots=True)
class EndRow:
    """One end of the course."""

    name: Annotated[str, "Name of the mark."]
    position: Annotated[str, "Its position."]
    known_to: Annotated[str, "95 % uncertainty of each coordinate."]
    fixed: Annotated[bool, "False for a floating mark."]


@dataclass(frozen=True, slots=True)
class Judged:
    """What the judge says."""

    level: Annotated[str, "The worst of the findings: good, fair or poor."]
    expanded: Annotated[str, "Expected 95 % uncertainty of the factor."]
    percent: Annotated[str, "The same in percent."]
    out: Annotated[str, "Expected time of a run out."]
    back: Annotated[str, "Expected time of a run back."]
    findings: Annotated[tuple[Finding, ...], "Each with its level, and what to do about it."]
    improvements: Annotated[tuple[str, ...], "What would make the factor surer, best first."]
    bars: Annotated[tuple[Bar, ...], "What the expected uncertainty is made of."]


@dataclass(frozen=True, slots=True)
class CoursePage:
    """A measured course, judged."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "How it is called."]
    length: Annotated[str, "Its length."]
    length_pm: Annotated[str, "95 % uncertainty of the length."]
    course: Annotated[str, "True course of an outward run."]
    transits: Annotated[bool, "Whether each end is a transit."]
    ends: Annotated[tuple[EndRow, ...], "The marks; none for a charted distance."]
    floating: Annotated[tuple[str, ...], "Names of the marks that float."]
    judged: Annotated[Judged | None, "What the judge says; None where it refuses."]
    refuses: Annotated[str, "Why the judge refuses; empty where it does not."]
    plan: Annotated[Form, "The judge's questions."]
    trial: Annotated[str, "Address to begin a trial here; empty without a log."]
    trials: Annotated[tuple[int, ...], "The trials made on it."]


def course(asked: Asked, course_id: int) -> CoursePage:
    """Show a course with what the judge says of it for a planned trial."""
    view = courses.course(asked.workbook, course_id)
    found = view.course
    usual = Steering.HEADING_HELD if found.transits else Steering.TRACK_HELD
    floating = found.floating_marks
    form = plan_form(course_id, floating=bool(floating), steering=usual.value).filled(asked.query)
    judged, refuses = None, ""
    try:
        judged = _judged(judge_course(found, _plan(asked, usual), insist=_insists(asked)))
    except NavigationError as error:
        asks_to_insist = floating and not _insists(asked)
        shown = error.renamed(lambda field: "insist" if asks_to_insist and field == "course" else field)
        refuses = f"{shown.allowed[0].upper()}{shown.allowed[1:]}. {shown.remedy}"
        # Before anything was asked there is nothing wrong with the answers.
        form = form.after(Refused("plan", Typed(asked.query), shown)) if asked.query else form
    logs = instruments.instruments(asked.workbook)
    expanded = 1.96 * found.u_length_nm
    number, margin = pair(found.length_nm, expanded)
    return CoursePage(
        id=view.id,
        name=view.name,
        length=f"{number} nm",
        length_pm=f"{margin} nm",
        course=bearing(found.course_true_deg),
        transits=found.transits,
        ends=_ends(view),
        floating=floating,
        judged=judged,
        refuses=refuses,
        plan=form,
        trial=f"/instruments/{logs[0].id}/trials/new?course={view.id}" if logs else "",
        trials=view.trial_ids,
    )


#: What is taken for a question left empty.
_USUAL: Final[dict[str, float | None]] = {
    "speed": 6.0,
    "runs": 2.0,
    "readings": 5.0,
    "set": None,
    "drift": None,
    "timing": 1.0,
}


def _insists(asked: Asked) -> bool:
    return Typed(asked.query).ticked("insist")


def _ends(view: CourseView) -> tuple[EndRow, ...]:
    return tuple(
        EndRow(
            mark.name, format_position(mark.position), with_unit(1.96 * mark.course_mark.u_place_m, 0, "m"), mark.fixed
        )
        for mark in (view.start, view.end)
        if mark is not None
    )


def _plan(asked: Asked, usual: Steering) -> RunPlan:
    typed = Typed(asked.query)
    faults = Faults()

    def read(name: str, otherwise: float | None) -> float | None:
        text = typed.text(name)
        return faults.take(lambda: parse_number(text, name), otherwise) if text else otherwise

    numbers = {
        name: read(name, otherwise)
        for name, otherwise in (
            ("speed", 6.0),
            ("runs", 2),
            ("readings", 5),
            ("set", None),
            ("drift", None),
            ("timing", 1.0),
        )
    }
    steering = faults.take(lambda: choice(typed.text("steering") or None, "steering", Steering, usual), usual)
    counter = faults.take(lambda: yes_no(typed.text("counter") or None, "counter"), False)
    faults.done()
    try:
        return RunPlan(
            speed_kn=numbers["speed"] or 0.0,
            runs=round(numbers["runs"] or 0),
            readings_per_run=round(numbers["readings"] or 0),
            counter=counter,
            stream_set_true_deg=numbers["set"],
            stream_drift_kn=numbers["drift"],
            conditions=dataclasses.replace(Conditions(), steering=steering, timing_limit_s=numbers["timing"] or 0.0),
        )
    except NavigationError as error:
        raise error.renamed(_asked_name) from error


def _asked_name(field: str) -> str:
    names = {
        "speed_kn": "speed",
        "readings_per_run": "readings",
        "stream_set_true_deg": "set",
        "stream_drift_kn": "drift",
        "timing_limit_s": "timing",
    }
    return names.get(field, field)


def _judged(verdict: CourseVerdict) -> Judged:
    out, back = verdict.run_s
    budget = verdict.expected.groups[0].best.budget
    return Judged(
        level=verdict.level,
        expanded=pair(1.0, verdict.expanded)[1],
        percent=with_unit(100 * verdict.expanded, 1, "%"),
        out=format_elapsed(out, 0),
        back=format_elapsed(back, 0),
        findings=verdict.findings,
        improvements=tuple(
            f"{item.words} The factor then to ± {with_unit(100 * item.expanded_after, 1, '%')}."
            for item in verdict.improvements[:3]
        ),
        bars=bars_of(budget),
    )


def measured(course: MeasuredCourse) -> str:
    """Write a course in one line."""
    return f"{with_unit(course.length_nm, 3, 'nm')}, {bearing(course.course_true_deg)}"


_COURSE = Page("/waters/courses/{course_id:int}", "Waters", "course.html", CoursePage, course)

SECTION = Section(pages=(_COURSE,))
