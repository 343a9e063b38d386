"""``truemile report``: a trial, the history of the log, or the correction card, as a PDF."""

from __future__ import annotations

from pathlib import Path

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import json_option, log_option, out_option, workbook_option
from truemile.cli.present import show
from truemile.cli.workbook_file import open_to_read

_HERE = "truemile.cli.report"

COMMANDS = {
    "trial": (f"{_HERE}:trial", "One page: course, runs, working, plot, budget, cautions, signatures."),
    "history": (f"{_HERE}:history", "One page: the log over the years, with its charts."),
    "card": (f"{_HERE}:card", "The correction card for the chart table."),
}


@click.group(cls=LazyGroup, table=COMMANDS)
def report() -> None:
    """Write a trial, the history of the log, or the correction card, as a PDF."""


@click.command("trial")
@click.argument("trial_id", metavar="TRIAL", type=int)
@out_option("Where to write it; trial-TRIAL.pdf if not said.")
@workbook_option
@json_option
def trial(*, trial_id: int, out: Path | None, workbook_path: str | None, as_json: bool) -> None:
    """Write the report of trial number TRIAL, or of a vector round: one page to sign and file."""
    from truemile.reports import trial_report

    with open_to_read(workbook_path) as workbook:
        content = trial_report(workbook, trial_id)
    _write(content, out or Path(f"trial-{trial_id}.pdf"), as_json=as_json)


@click.command("history")
@out_option("Where to write it.", "log-history.pdf")
@log_option
@workbook_option
@json_option
def history(*, out: Path, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Write the history of the log: what it says, control charts, trials, events, when to measure again."""
    from truemile.reports import history_report
    from truemile.workbook import instruments

    with open_to_read(workbook_path) as workbook:
        content = history_report(workbook, instruments.instrument(workbook, log_name).id)
    _write(content, out, as_json=as_json)


@click.command("card")
@out_option("Where to write it.", "correction-card.pdf")
@log_option
@workbook_option
@json_option
def card(*, out: Path, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Write the correction card: true speed for each speed by the log, to lie at the chart table."""
    from truemile.reports import correction_card
    from truemile.workbook import instruments

    with open_to_read(workbook_path) as workbook:
        content = correction_card(workbook, instruments.instrument(workbook, log_name).id)
    _write(content, out, as_json=as_json)


def _write(content: bytes, out: Path, *, as_json: bool) -> None:
    from truemile.cli.log.trial_output import write_bytes

    write_bytes(out, content)
    show(
        lambda: {"out": out, "bytes": len(content)},
        lambda: f"Wrote {out} ({len(content) / 1000:.0f} kB)",
        as_json=as_json,
    )
