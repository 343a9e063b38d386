"""``truemile log round``: the log factor without marks, from legs typed in or found in a recording."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.log.legs_given import (
    LegsGiven,
    RoundConditionsGiven,
    legs_options,
    read_all,
    read_bytes,
    round_conditions_options,
)
from truemile.cli.options import (
    box,
    by_option,
    filled,
    json_option,
    log_option,
    plot_option,
    workbook_option,
    working_option,
)
from truemile.cli.present import as_plain, paragraph, ruled, show
from truemile.cli.workbook_file import open_to_read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.core.errors import NavigationError
    from truemile.core.ground_vectors import VectorConditions
    from truemile.core.vector_round import VectorRound
    from truemile.recordings.report import RecordingReport
    from truemile.recordings.taking import Taking
    from truemile.workbook.round_entries import LegEntry
    from truemile.workbook.store import Workbook
    from truemile.workbook.vector_rounds import RoundView

_HERE = "truemile.cli.log.round"

COMMANDS = {
    "try": (f"{_HERE}:try_round", "Work out a round from legs or a recording; nothing is kept. The default."),
    "keep": (f"{_HERE}:keep", "Keep a round with its legs in the workbook."),
    "add": (f"{_HERE}:add", "Add legs to a round that is kept."),
    "list": (f"{_HERE}:list_rounds", "List the rounds that are kept."),
    "show": (f"{_HERE}:show_round", "Show a round that is kept, with its result."),
    "withdraw": (f"{_HERE}:withdraw", "Take a round, or a leg of it, out of use; it stays in the history."),
}


@click.group("round", cls=LazyGroup, table=COMMANDS, default="try")
def vector_round() -> None:
    """Find the log factor without marks: steady legs on several headings, with speed and course over the ground.

    Two headings give factor, heading offset and stream; from three on the legs check each other.
    """


@click.command("try")
@legs_options
@round_conditions_options
@working_option
@plot_option
@json_option
def try_round(
    *,
    legs_given: LegsGiven,
    conditions_given: RoundConditionsGiven,
    working: bool,
    plot: Path | None,
    as_json: bool,
) -> None:
    """Work out a round from legs or a recording; nothing is kept.

    Of a recording it says how many lines are good and faulty, what it gives and lacks, and which legs are in it.
    """
    from truemile.cli.log.round_text import report_data, report_text
    from truemile.core.vector_round import solve_round

    legs_given.one_source()
    conditions = conditions_given.conditions()
    if legs_given.recording is not None:
        report = looked_at(legs_given, conditions)
        if report.result is not None:
            _draw(report.result, plot)
        show(
            lambda: {**report_data(report), **_working_data(report.result, working=working)},
            lambda: report_text(report) + _working_lines(report.result, working=working),
            as_json=as_json,
            caution=True,
        )
        return
    result = solve_round([read.leg for read in read_all(legs_given.entries())], conditions)
    _draw(result, plot)
    _show_result(result, working=working, as_json=as_json)


def looked_at(given: LegsGiven, conditions: VectorConditions) -> RecordingReport:
    """Return what the recording on the command line says."""
    from truemile.recordings.read import MOST_BYTES, read_recording
    from truemile.recordings.report import report_on

    file = given.recording or Path()
    recording = read_recording(read_bytes(file, MOST_BYTES, "file"), file.name)
    return report_on(recording, given.how, conditions)


def _show_result(result: VectorRound, *, working: bool, as_json: bool) -> None:
    from truemile.cli.log.round_text import round_data, round_text

    show(
        lambda: {"result": round_data(result), **_working_data(result, working=working)},
        lambda: round_text(result) + _working_lines(result, working=working),
        as_json=as_json,
        caution=True,
    )


def _working_data(result: VectorRound | None, *, working: bool) -> dict[str, Any]:
    from truemile.working.vector_round import explain_round

    return {"working": explain_round(result).as_dict()} if working and result is not None else {}


def _working_lines(result: VectorRound | None, *, working: bool) -> str:
    from truemile.cli.log.trial_output import working_text
    from truemile.working.vector_round import explain_round

    return f"\n\n{working_text(explain_round(result))}" if working and result is not None else ""


def _draw(result: VectorRound, plot: Path | None) -> None:
    if plot is None:
        return
    from truemile.cli.log.trial_output import write_picture
    from truemile.plots.round_chart import round_chart

    write_picture(round_chart(result), plot)


@click.command("keep")
@legs_options
@round_conditions_options
@box("--date", "date", "When it was made: 2026-05-14, or with time and zone; now if not said.", "DATE")
@box("--crew", "crew", "Who helms and notes.")
@box("--weather", "weather", "Wind, sea, anything that matters.")
@box("--remarks", "remarks", "Anything else.")
@by_option
@log_option
@workbook_option
@json_option
def keep(
    *,
    legs_given: LegsGiven,
    conditions_given: RoundConditionsGiven,
    author: str | None,
    log_name: str | None,
    workbook_path: str | None,
    as_json: bool,
    **boxes: str | None,
) -> None:
    """Keep a round with its legs in the workbook, then put it in force with: truemile log force TRIAL.

    Of a recording its name, fingerprint and counts are kept, and the legs found in it, but not the file.
    """
    from truemile.workbook import vector_rounds
    from truemile.workbook.entries import read_entry

    legs_given.one_source()
    boxes["instrument"] = log_name
    entry = read_entry(vector_rounds.RoundEntry, {**filled(boxes), **conditions_given.boxes()})
    with open_to_read(workbook_path) as workbook:
        legs = _legs(legs_given, conditions_given.conditions())
        if entry.date is None and legs.started_at is not None:
            entry = entry.model_copy(update={"date": legs.started_at.isoformat()})
        begun = vector_rounds.start_round(workbook, entry, author=author)
        legs.keep(workbook, begun.id, author)
        view = vector_rounds.vector_round(workbook, begun.id)
    _show_kept(view, as_json=as_json)


@dataclass(frozen=True, slots=True)
class _Legs:
    """Legs that were looked at and can be kept: typed ones, or a recording's."""

    entries: Sequence[LegEntry] = ()
    content: bytes = b""
    name: str = ""
    taking: Taking | None = None
    started_at: datetime | None = None

    def keep(self, workbook: Workbook, trial_id: int, author: str | None) -> None:
        """Put them into a round."""
        from truemile.workbook.round_recordings import take_recording
        from truemile.workbook.vector_rounds import record_legs

        if self.taking is None:
            record_legs(workbook, trial_id, self.entries, author=author)
        else:
            take_recording(workbook, trial_id, self.content, self.name, self.taking, author=author)


def _legs(given: LegsGiven, conditions: VectorConditions) -> _Legs:
    """Return legs to be kept; what cannot be kept is refused before a round is begun for it."""
    from truemile.core.errors import NotEnoughReadings
    from truemile.recordings.read import MOST_BYTES

    if given.recording is None:
        return _Legs(given.entries())
    report = looked_at(given, conditions)
    if not report.pieces:
        raise NotEnoughReadings(
            "file",
            given.recording.name,
            f"no leg was found in it. {' '.join(report.found.words).rstrip('.')}",
            "Record steady legs of one minute and more, with log, heading and positions, on two headings at least.",
        )
    content = read_bytes(given.recording, MOST_BYTES, "file")
    return _Legs((), content, given.recording.name, given.how, report.recording.started_at)


@click.command("add")
@click.argument("trial_id", metavar="TRIAL", type=int)
@legs_options
@by_option
@workbook_option
@json_option
def add(*, trial_id: int, legs_given: LegsGiven, author: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Add legs to round number TRIAL; clock times are ship's time of its day."""
    from truemile.workbook import vector_rounds

    legs_given.one_source()
    with open_to_read(workbook_path) as workbook:
        known = vector_rounds.vector_round(workbook, trial_id)
        _legs(legs_given, known.conditions).keep(workbook, trial_id, author)
        view = vector_rounds.vector_round(workbook, trial_id)
    _show_kept(view, as_json=as_json)


@click.command("list")
@click.option("--withdrawn", is_flag=True, help="The withdrawn ones too.")
@log_option
@workbook_option
@json_option
def list_rounds(*, withdrawn: bool, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """List the rounds that are kept, newest first."""
    from truemile.workbook import vector_rounds

    with open_to_read(workbook_path) as workbook:
        found = vector_rounds.rounds(workbook, log_name, withdrawn=withdrawn)
    none = paragraph("No vector round is kept yet. Keep one with: truemile log round keep --leg WORDS")
    show(lambda: {"rounds": found}, lambda: rounds_table(found) if found else none, as_json=as_json)


def rounds_table(rounds: Sequence[RoundView]) -> str:
    """Return rounds as a table."""
    rows = []
    for view in rounds:
        result, _ = result_or_lack(view)
        factor = "" if result is None else f"{result.factor:.3f} ± {result.expanded:.3f}"
        state = "withdrawn" if view.withdrawn else "in force" if view.correction_ids else ""
        if not state and result is not None and not result.may_be_put_in_force:
            state = "refused"
        rows.append((str(view.id), f"{view.ship_date}", view.instrument.name, str(len(view.legs)), factor, state))
    return ruled(("no", "date", "log", "legs", "factor", ""), rows, left=3)


def result_or_lack(view: RoundView) -> tuple[VectorRound | None, NavigationError | None]:
    """Return what a round gives, or what is missing: a round under way is no fault."""
    from truemile.core.errors import NavigationError
    from truemile.workbook.vector_rounds import solved

    try:
        return solved(view), None
    except NavigationError as error:
        return None, error


@click.command("show")
@click.argument("trial_id", metavar="TRIAL", type=int)
@working_option
@plot_option
@workbook_option
@json_option
def show_round(*, trial_id: int, working: bool, plot: Path | None, workbook_path: str | None, as_json: bool) -> None:
    """Show round number TRIAL with its result, or with what it still lacks."""
    from truemile.workbook import vector_rounds

    with open_to_read(workbook_path) as workbook:
        view = vector_rounds.vector_round(workbook, trial_id)
    result, _ = result_or_lack(view)
    if result is not None:
        _draw(result, plot)
    _show_kept(view, as_json=as_json, working=working, whole=True)


def _show_kept(view: RoundView, *, as_json: bool, working: bool = False, whole: bool = False) -> None:
    """Print a round, whole or only where it leads, and what to do with it."""
    show(
        lambda: _kept_data(view, working=working),
        lambda: _kept_text(view, working=working, whole=whole),
        as_json=as_json,
        caution=True,
    )


def _kept_data(view: RoundView, *, working: bool) -> dict[str, Any]:
    from truemile.cli.errors import error_as_plain
    from truemile.cli.log.round_text import round_data

    result, lacks = result_or_lack(view)
    return {
        "round": as_plain(view),
        "result": None if result is None else round_data(result),
        "lacks": None if lacks is None else error_as_plain(lacks)["error"],
        **_working_data(result, working=working),
    }


def _kept_text(view: RoundView, *, working: bool, whole: bool) -> str:
    from truemile.cli.log.round_text import answer_text, round_text

    setting = f"; set in it {view.setting}" if view.setting else ""
    head = paragraph(f"Vector round {view.id} of {view.instrument.name}, {view.ship_date}{setting}", indent=0)
    if view.withdrawn:
        head += "\n  Withdrawn: it is not in use."
    notes = [f"{name}: {text}" for name, text in (("Crew", view.crew), ("Weather", view.weather)) if text]
    notes += [view.remarks] if view.remarks else []
    head = "\n".join([head, *(paragraph(note) for note in notes)])
    result, lacks = result_or_lack(view)
    if result is None:
        return f"{head}\n\n{paragraph(f'No result yet. {lacks}', mark='! ')}"
    if whole:
        return f"{head}\n\n{round_text(result)}{_working_lines(result, working=working)}"
    then = f"Put it in force with: truemile log force {view.id}" if result.may_be_put_in_force else ""
    return "\n\n".join(part for part in (head, answer_text(result), paragraph(then) if then else "") if part)


@click.command("withdraw")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--leg", "number", type=int, help="Only this leg of it.")
@click.option("--reason", default="", help="Why.")
@by_option
@workbook_option
@json_option
def withdraw(
    *, trial_id: int, number: int | None, reason: str, author: str | None, workbook_path: str | None, as_json: bool
) -> None:
    """Take round number TRIAL, or a leg of it, out of use. It stays in the history, and undo brings it back."""
    from truemile.core.errors import NotFound
    from truemile.workbook import vector_rounds

    with open_to_read(workbook_path) as workbook:
        if number is None:
            view = vector_rounds.withdraw_round(workbook, trial_id, author=author, reason=reason)
        else:
            known = vector_rounds.vector_round(workbook, trial_id).legs
            leg = next((each for each in known if each.number == number), None)
            if leg is None:
                raise NotFound(
                    "leg", number, f"round {trial_id} has {len(known)} legs in use", "Look at them with: log round show"
                )
            view = vector_rounds.withdraw_leg(workbook, leg.id, author=author, reason=reason)
    _show_kept(view, as_json=as_json)
