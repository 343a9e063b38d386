"""``truemile log course``: the course judge, and the courses kept in the workbook."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.log.course_given import CourseGiven, course_options
from truemile.cli.options import (
    ConditionsGiven,
    Number,
    conditions_options,
    json_option,
    workbook_option,
    working_option,
)
from truemile.cli.present import as_plain, paragraph, ruled, show

if TYPE_CHECKING:
    from truemile.core.course_judge import CourseVerdict

_HERE = "truemile.cli.log.course"

COMMANDS = {
    "judge": (f"{_HERE}:judge", "Say how good a course is and what would improve it; this is the default."),
    "add": ("truemile.cli.log.waters:add_course", "Keep a course in the workbook."),
    "list": ("truemile.cli.log.waters:list_courses", "List the courses kept."),
}


@click.group(cls=LazyGroup, table=COMMANDS, default="judge")
def course() -> None:
    """Judge a measured course before going, keep it, list those kept.

    Without a command it judges: truemile log course --distance 0.60 --speed 6.
    """


@click.command()
@course_options
@click.option("--insist", is_flag=True, help="Judge a course between floating marks all the same.")
@click.option(
    "--speed",
    "speed_kn",
    type=Number("speed_kn"),
    default=5.0,
    show_default=True,
    metavar="KN",
    help="Speed you mean to keep.",
)
@click.option("--runs", type=int, default=4, show_default=True, help="How many runs you mean to make.")
@click.option(
    "--readings", "readings_per_run", type=int, default=5, show_default=True, help="Readings of the display each run."
)
@click.option("--counter", is_flag=True, help="The distance counter will be read too, zeroed at each start.")
@click.option(
    "--stream-set",
    "stream_set_true_deg",
    type=Number("stream_set_true_deg"),
    metavar="DEG",
    help="Where the stream flows to, true.",
)
@click.option(
    "--stream-drift", "stream_drift_kn", type=Number("stream_drift_kn"), metavar="KN", help="How fast it flows."
)
@conditions_options
@working_option
@workbook_option
@json_option
def judge(
    *,
    course_given: CourseGiven,
    insist: bool,
    speed_kn: float,
    runs: int,
    readings_per_run: int,
    counter: bool,
    stream_set_true_deg: float | None,
    stream_drift_kn: float | None,
    conditions_given: ConditionsGiven,
    working: bool,
    workbook_path: str | None,
    as_json: bool,
) -> None:
    """Say how good a measured course is before going there, and what would improve it most."""
    from truemile.cli.log.trial_output import text_with_working, with_working
    from truemile.core.course_judge import RunPlan, judge_course
    from truemile.working.course import explain_course

    plan = RunPlan(
        speed_kn,
        runs,
        readings_per_run,
        counter=counter,
        stream_set_true_deg=stream_set_true_deg,
        stream_drift_kn=stream_drift_kn,
        conditions=conditions_given.conditions(),
    )
    verdict = judge_course(course_given.course(workbook_path), plan, insist=insist)
    show(
        lambda: with_working(as_plain(verdict), explain_course(verdict.course) if working else None),
        lambda: text_with_working(verdict_text(verdict), explain_course(verdict.course) if working else None),
        as_json=as_json,
        caution=True,
    )


def verdict_text(verdict: CourseVerdict, *, advice: bool = True) -> str:
    """Return what the judge says, and what would improve the course most."""
    from truemile.cli.log.render import course_line, improvements_text
    from truemile.core.times import format_elapsed

    out, back = (format_elapsed(round(s)) for s in verdict.run_s)
    plan = (
        f"{verdict.plan.runs} runs at {verdict.plan.speed_kn:g} kn, {verdict.plan.readings_per_run} readings each;"
        f" about {out} out and {back} back."
    )
    rows = [(f.level, f.subject, f.words) for f in verdict.findings]
    table = ruled(("", "what", "found"), rows, left=3)
    remedies = [paragraph(f"{f.subject}: {f.remedy}", mark="! ") for f in verdict.findings if f.remedy]
    blocks = [
        course_line(verdict.course),
        paragraph(plan),
        table,
        f"  Expected: factor ± {verdict.expanded:.3f} (95 %). The course is {verdict.level}.",
        "\n".join(remedies),
        improvements_text(verdict.improvements) if advice else "",
    ]
    return "\n\n".join(block for block in blocks if block)
