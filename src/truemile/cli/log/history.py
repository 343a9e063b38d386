"""``truemile log history`` and ``undo``: what was entered and put in force, and how it is taken back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.options import by_option, json_option, log_option, plot_option, workbook_option
from truemile.cli.present import ruled, show
from truemile.cli.workbook_file import open_to_read
from truemile.core.errors import NotFound

if TYPE_CHECKING:
    from truemile.workbook.history import LogHistory
    from truemile.workbook.store import Workbook
    from truemile.workbook.views import CorrectionView, EntryView


@click.command()
@click.option("--limit", type=click.IntRange(1, 10_000), default=20, show_default=True, help="How many entries.")
@plot_option
@log_option
@workbook_option
@json_option
def history(*, limit: int, plot: Path | None, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Watch the log over the years: its trials, whether they agree, drift, and when to measure again.

    Below stand its corrections, and the newest entries of the journal.
    """
    from truemile.cli.log.history_text import history_data, history_text
    from truemile.workbook import journal, log_corrections
    from truemile.workbook.history import log_history

    with open_to_read(workbook_path) as workbook:
        years = log_history(workbook, log_name)
        corrections = log_corrections.corrections(workbook, log_name, withdrawn=True)
        entries = journal.entries(workbook, limit=limit)
    if plot is not None:
        _draw(years, plot)
    show(
        lambda: {"history": history_data(years), "corrections": corrections, "entries": entries},
        lambda: f"{history_text(years)}\n\n{corrections_table(corrections)}\n\n{entries_table(entries)}",
        as_json=as_json,
    )


def _draw(years: LogHistory, plot: Path) -> None:
    from truemile.cli.log.trial_output import write_picture
    from truemile.core.errors import NotEnoughReadings
    from truemile.plots.history_charts import history_picture

    if not years.points:
        raise NotEnoughReadings(
            "plot", None, "no trial gives a factor to draw", "Make a trial or a vector round first."
        )
    write_picture(history_picture(years), plot)


def corrections_table(corrections: Sequence[CorrectionView]) -> str:
    """Return the corrections, last put in force first."""
    from truemile.core.coverage import coverage_factor

    if not corrections:
        return "  No correction was put in force yet."
    rows = []
    for kept in corrections:
        curve = kept.correction
        middle = curve.middle_kn
        until = "" if kept.valid_until is None else f"{kept.valid_until:%Y-%m-%d}"
        rows.append(
            (
                f"{kept.put_at:%Y-%m-%d}",
                str(kept.trial_id),
                f"{curve.factor(middle):.3f}",
                f"± {coverage_factor(curve.dof) * curve.u_factor(middle):.3f}",
                f"{curve.lowest_kn:.1f}-{curve.highest_kn:.1f}",
                kept.how.value,
                f"{kept.valid_from:%Y-%m-%d}",
                until,
                "" if kept.standing else "taken back",
            )
        )
    heads = ("put in", "trial", "factor", "95 %", "log kn", "how", "from", "until", "")
    return ruled(heads, rows, left=1)


def entries_table(entries: Sequence[EntryView]) -> str:
    """Return entries of the journal, newest first."""
    rows = []
    for entry in entries:
        mark = "" if entry.standing else "x"
        words = entry.summary if len(entry.summary) <= 44 else f"{entry.summary[:43]}…"
        rows.append((str(entry.id), mark, f"{entry.at:%Y-%m-%d %H:%M}Z", entry.author[:10], words))
    table = ruled(("no", "", "at", "by", "entry"), rows, left=5)
    return f"{table}\n  x: taken back, kept in the history" if any(row[1] for row in rows) else table


@click.command()
@click.argument("entry_id", metavar="[ENTRY]", type=int, required=False)
@click.option("--reason", default="", help="Why.")
@by_option
@workbook_option
@json_option
def undo(*, entry_id: int | None, reason: str, author: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Undo entry number ENTRY of the history, or the newest that counts. Undoing an undo brings it back."""
    from truemile.workbook import journal

    with open_to_read(workbook_path) as workbook:
        number = entry_id if entry_id is not None else _newest(workbook)
        written = journal.undo(workbook, number, author=author, reason=reason)
    words = f"  {written.summary}\n  Bring it back with: truemile log undo {written.id}"
    show(lambda: written, lambda: words, as_json=as_json)


def _newest(workbook: Workbook) -> int:
    from truemile.workbook import journal

    for entry in journal.entries(workbook):
        if entry.standing and entry.undoes is None:
            return entry.id
    raise NotFound("entry", None, "nothing that counts is left in the journal", "See: truemile log history")
