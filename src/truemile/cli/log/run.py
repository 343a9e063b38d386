"""``truemile log run``: the runs of a trial, added from words or a file, corrected, withdrawn."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.log.run_words import KEYS
from truemile.cli.options import by_option, json_option, workbook_option
from truemile.cli.present import show
from truemile.cli.workbook_file import open_to_read
from truemile.core.errors import NotFound

if TYPE_CHECKING:
    from truemile.workbook.store import Workbook
    from truemile.workbook.views import RunView, TrialView

_HERE = "truemile.cli.log.run"

COMMANDS = {
    "add": (f"{_HERE}:add", "Add runs to a trial."),
    "import": (f"{_HERE}:import_file", "Add all runs of a .csv or .toml file, or none if one is at fault."),
    "replace": (f"{_HERE}:replace", "Correct a run that was entered wrongly; the old one stays in the history."),
    "withdraw": (f"{_HERE}:withdraw", "Take a run out of use; it stays in the history."),
}

_WORDS_HELP = f'Way, time, readings: "out 5:34 7.6 7.5 7.6"; then log=START/STOP, {", ".join(f"{k}=" for k in KEYS)}.'


@click.group(cls=LazyGroup, table=COMMANDS)
def run() -> None:
    """Add runs to a trial, correct one, or withdraw one."""


@click.command("add")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--run", "words", multiple=True, metavar="WORDS", help=_WORDS_HELP)
@by_option
@workbook_option
@json_option
def add(*, trial_id: int, words: tuple[str, ...], author: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Add runs to trial number TRIAL; clock times are ship's time of its day."""
    from truemile.cli.log.runs_file import read_words
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        day, offset = _day(log_trials.trial(workbook, trial_id))
        for entry, read in read_words(words, day, offset):
            log_trials.record_run(workbook, trial_id, entry.model_copy(update={"id": read.id}), author=author)
        view = log_trials.trial(workbook, trial_id)
    _show(view, as_json=as_json)


def _day(view: TrialView) -> tuple[date, timedelta]:
    return view.ship_date, timedelta(minutes=view.utc_offset_min)


def _show(view: TrialView, *, as_json: bool) -> None:
    """Print the runs now in use, and where they lead if they lead anywhere yet."""
    show(lambda: view, lambda: _text(view), as_json=as_json)


def _text(view: TrialView) -> str:
    from truemile.cli.log.trial import raw_runs_table, result_or_lack
    from truemile.core.plus_minus import format_with_uncertainty

    result, lacks = result_or_lack(view)
    if result is None:
        return f"{raw_runs_table(view)}\n\n  No result yet. {lacks}"
    factor = format_with_uncertainty(result.factor, result.expanded)
    return f"{raw_runs_table(view)}\n\n  Factor {factor} (95 %), by hand {result.hand_factor:.3f}"


@click.command("import")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--file", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The .csv or .toml.")
@by_option
@workbook_option
@json_option
def import_file(*, trial_id: int, file: Path, author: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Add all runs of a file to trial number TRIAL, or none of them if one is at fault."""
    from truemile.cli.log.runs_file import content_and_kind
    from truemile.workbook import log_trials

    content, kind = content_and_kind(file)
    with open_to_read(workbook_path) as workbook:
        log_trials.import_runs(workbook, trial_id, content, kind, author=author)
        view = log_trials.trial(workbook, trial_id)
    _show(view, as_json=as_json)


@click.command("replace")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--number", type=int, required=True, help="Which run of the trial.")
@click.option("--run", "words", required=True, metavar="WORDS", help="What it should have been, in words.")
@by_option
@workbook_option
@json_option
def replace(
    *, trial_id: int, number: int, words: str, author: str | None, workbook_path: str | None, as_json: bool
) -> None:
    """Correct a run of trial number TRIAL that was entered wrongly; the old one stays in the history."""
    from truemile.cli.log.runs_file import read_words
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        was = numbered(workbook, trial_id, number)
        day, offset = _day(log_trials.trial(workbook, trial_id))
        [(entry, _)] = read_words([words], day, offset)
        log_trials.replace_run(workbook, was.id, entry, author=author)
        view = log_trials.trial(workbook, trial_id)
    _show(view, as_json=as_json)


@click.command("withdraw")
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option("--number", type=int, required=True, help="Which run of the trial.")
@click.option("--reason", default="", help="Why.")
@by_option
@workbook_option
@json_option
def withdraw(
    *, trial_id: int, number: int, reason: str, author: str | None, workbook_path: str | None, as_json: bool
) -> None:
    """Take a run of trial number TRIAL out of use. It stays in the history, and undo brings it back."""
    from truemile.workbook import log_trials

    with open_to_read(workbook_path) as workbook:
        log_trials.withdraw_run(workbook, numbered(workbook, trial_id, number).id, author=author, reason=reason)
        view = log_trials.trial(workbook, trial_id)
    _show(view, as_json=as_json)


def numbered(workbook: Workbook, trial_id: int, number: int) -> RunView:
    """Return a run in use by its number in the trial.

    Raises
    ------
    NotFound
        If there is none.
    """
    from truemile.workbook import log_trials

    runs = log_trials.trial(workbook, trial_id).runs
    for item in runs:
        if item.number == number:
            return item
    raise NotFound(
        "number", number, f"trial {trial_id} has {len(runs)} runs in use", f"See: truemile log trial show {trial_id}"
    )
