"""``truemile log trial``: a trial kept in the workbook, from its start to its result."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import (
    ConditionsGiven,
    box,
    by_option,
    conditions_options,
    filled,
    json_option,
    log_option,
    out_option,
    plot_option,
    workbook_option,
    working_option,
)
from truemile.cli.present import as_plain, paragraph, ruled, show
from truemile.cli.workbook_file import open_to_read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.core.errors import NavigationError
    from truemile.core.log_trial import TrialResult
    from truemile.workbook.views import TrialView

_HERE = "truemile.cli.log.trial"

COMMANDS = {
    "new": (f"{_HERE}:new", "Start a trial on a course that is kept."),
    "list": (f"{_HERE}:list_trials", "List the trials; this is the default."),
    "show": (f"{_HERE}:show_trial", "Show a trial: runs, hand mean, estimate, what it is made of."),
    "amend": (f"{_HERE}:amend", "Change conditions, crew, weather or remarks of a trial."),
    "withdraw": (f"{_HERE}:withdraw", "Take a trial out of use; it stays in the history."),
    "export": (f"{_HERE}:export", "Write a trial as JSON, or its runs as CSV."),
}


@click.group(cls=LazyGroup, table=COMMANDS, default="list")
def trial() -> None:
    """Start a trial, list trials, show one with its result, export it."""


@click.command("new")
@box("--course", "course", "A kept course, by name or number.", "NAME")
@box("--date", "date", "When it was made: 2026-05-14, or with time and zone; now if not said.", "DATE")
@click.option("--check", "kind", flag_value="check", help="It is a check trial, which should give 1.00.")
@click.option("--insist", "insist_floating", flag_value="yes", help="Use a course between floating marks.")
@box("--crew", "crew", "Who helms, times and notes.")
@box("--weather", "weather", "Wind, sea, anything that matters.")
@box("--remarks", "remarks", "Anything else.")
@conditions_options
@by_option
@log_option
@workbook_option
@json_option
def new(
    *,
    conditions_given: ConditionsGiven,
    author: str | None,
    log_name: str | None,
    workbook_path: str | None,
    as_json: bool,
    **boxes: str | None,
) -> None:
    """Start a trial on a course that is kept. Its runs are added with: truemile log run add."""
    from truemile.workbook import log_trials
    from truemile.workbook.entries import TrialEntry, read_entry

    boxes["instrument"] = log_name
    entry = read_entry(TrialEntry, {**filled(boxes), **conditions_given.boxes()})
    with open_to_read(workbook_path) as workbook:
        view = log_trials.start_trial(workbook, entry, author=author)
    next_step = f'Add its runs with: truemile log run add {view.id} --run "out 5:34 7.6 7.5 7.6"'
    show(lambda: view, lambda: f"{trials_table([view])}\n{paragraph(next_step)}", as_json=as_json)


@click.command("list")
@click.option("--withdrawn", is_flag=True, help="The withdrawn ones too.")
@log_option
@workbook_option
@json_option
def list_trials(*, withdrawn: bool, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """List the trials, newest first."""
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        found = log_trials.trials(workbook, log_name, withdrawn=withdrawn)
    none = paragraph("No trial is kept yet. Start one with: truemile log trial new --course NAME")
    show(lambda: {"trials": found}, lambda: trials_table(found) if found else none, as_json=as_json)


def trials_table(trials: Sequence[TrialView]) -> str:
    """Return trials as a table."""
    rows = [
        (
            str(view.id),
            f"{view.ship_date}",
            view.kind.value,
            view.instrument.name,
            view.course.name,
            str(len(view.runs)),
            "withdrawn" if view.withdrawn else "in force" if view.correction_ids else "",
        )
        for view in trials
    ]
    return ruled(("no", "date", "kind", "log", "course", "runs", ""), rows, left=5)


@click.command("show")
@click.argument("trial_id", metavar="TRIAL", type=int)
@working_option
@plot_option
@workbook_option
@json_option
def show_trial(*, trial_id: int, working: bool, plot: Path | None, workbook_path: str | None, as_json: bool) -> None:
    """Show trial number TRIAL with its result, or with what it still lacks."""
    from truemile.cli.log.trial_output import write_plot
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        view = log_trials.trial(workbook, trial_id)
    result, lacks = result_or_lack(view)
    if plot is not None and result is not None:
        write_plot(result, plot)
    show(
        lambda: {"trial": as_plain(view), **_result_data(result, lacks, working=working)},
        lambda: trial_page(view, result, lacks, working=working),
        as_json=as_json,
        caution=True,
    )


def result_or_lack(view: TrialView) -> tuple[TrialResult | None, NavigationError | None]:
    """Return what a trial gives, or what is wrong or missing: a trial under way is no fault."""
    from truemile.core.errors import NavigationError
    from truemile.workbook.log_trials import analysed

    try:
        return analysed(view), None
    except NavigationError as error:
        return None, error


def _result_data(result: TrialResult | None, lacks: NavigationError | None, *, working: bool) -> dict[str, Any]:
    from truemile.cli.errors import error_as_plain
    from truemile.cli.log.trial_output import trial_data

    if result is not None:
        return {**trial_data(result, working=working), "lacks": None}
    return {"result": None, "lacks": error_as_plain(lacks)["error"] if lacks is not None else None}


def trial_page(
    view: TrialView, result: TrialResult | None, lacks: NavigationError | None, *, working: bool = False
) -> str:
    """Return a trial as text: what it is, and its result or its runs with what they lack."""
    from truemile.cli.log.render import course_line
    from truemile.cli.log.trial_output import result_text

    kind = "Check trial" if view.kind.value == "check" else "Trial"
    setting = f"; set in it {view.setting}" if view.setting else ""
    head = paragraph(f"{kind} {view.id} of {view.instrument.name}, {view.ship_date}{setting}", indent=0)
    if view.withdrawn:
        head += "\n  Withdrawn: it is not in use."
    notes = [f"{name}: {text}" for name, text in (("Crew", view.crew), ("Weather", view.weather)) if text]
    notes += [view.remarks] if view.remarks else []
    head = "\n".join([head, *(paragraph(note) for note in notes)])
    if result is not None:
        return f"{head}\n\n{result_text(result, working=working)}"
    body = f"{course_line(view.course.course)}\n\n{raw_runs_table(view)}"
    return f"{head}\n\n{body}\n\n{paragraph(f'No result yet. {lacks}', mark='! ')}"


def raw_runs_table(view: TrialView) -> str:
    """Return the runs of a trial as read."""
    from truemile.core.times import format_elapsed

    if not view.runs:
        return "  No run is kept yet."
    rows = []
    for item in view.runs:
        run = item.run
        readings = " ".join(f"{v:g}" for v in run.speed_readings_kn)
        shown = readings if len(readings) <= 24 else f"{readings[:23]}…"
        counter = "" if run.log_stop_nm is None else f"{run.log_start_nm or 0:g}/{run.log_stop_nm:g}"
        started = "" if run.started_at is None else f"{run.started_at:%H:%M:%S}"
        times = started, format_elapsed(run.elapsed_s)
        rows.append((str(item.number), run.direction.value, *times, shown, counter, run.speed_group))
    return ruled(("run", "way", "UTC", "time", "log kn", "counter nm", "speed"), rows, left=2)


@click.command("amend")
@click.argument("trial_id", metavar="TRIAL", type=int)
@box("--crew", "crew", "Who helms, times and notes.")
@box("--weather", "weather", "Wind, sea, anything that matters.")
@box("--remarks", "remarks", "Anything else.")
@conditions_options
@by_option
@workbook_option
@json_option
def amend(
    *,
    trial_id: int,
    conditions_given: ConditionsGiven,
    author: str | None,
    workbook_path: str | None,
    as_json: bool,
    **boxes: str | None,
) -> None:
    """Change conditions, crew, weather or remarks of trial number TRIAL; the rest stays as it is."""
    from truemile.workbook import log_trials
    from truemile.workbook.entries import TrialEntry, read_entry

    entry = read_entry(TrialEntry, {**filled(boxes), **conditions_given.boxes()})
    with open_to_read(workbook_path) as workbook:
        view = log_trials.amend_trial(workbook, trial_id, entry, author=author)
    show(lambda: view, lambda: trials_table([view]), as_json=as_json)


@click.command("withdraw")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--reason", default="", help="Why.")
@by_option
@workbook_option
@json_option
def withdraw(*, trial_id: int, reason: str, author: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Take trial number TRIAL out of use. It stays in the history, and undo brings it back."""
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        view = log_trials.withdraw_trial(workbook, trial_id, author=author, reason=reason)
    show(lambda: view, lambda: trials_table([view]), as_json=as_json)


@click.command("export")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--csv", "as_csv", is_flag=True, help="The runs only, as a table that can be read in again.")
@out_option("Where to write it; on the terminal if not said.")
@workbook_option
@json_option
def export(*, trial_id: int, as_csv: bool, out: Path | None, workbook_path: str | None, as_json: bool) -> None:
    """Write trial number TRIAL as JSON, or its runs as CSV."""
    from truemile.cli.log.trial_output import write_bytes
    from truemile.core.errors import ReadingError
    from truemile.workbook import log_trials

    if as_csv and as_json:
        raise ReadingError("csv", "--csv --json", "a trial is written in one form", "Leave out one of the two.")
    with open_to_read(workbook_path) as workbook:
        if as_csv:
            text = log_trials.export_runs_csv(workbook, trial_id)
        else:
            found = log_trials.export_trial(workbook, trial_id)
            text = json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    if out is None:
        click.echo(text, nl=False)
        return
    write_bytes(out, text.encode())
    click.echo(f"Wrote {out}", err=True)
