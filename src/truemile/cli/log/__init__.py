"""``truemile log``: the table of its commands."""

from __future__ import annotations

import click

from truemile.cli.lazy import LazyGroup

_HERE = "truemile.cli.log"

COMMANDS = {
    "boat": (f"{_HERE}.boat:boat", "Enter the boat and her log, or show them."),
    "mark": (f"{_HERE}.waters:mark", "Keep the marks that measured courses run between."),
    "course": (f"{_HERE}.course:course", "Judge a measured course before going, keep it, list those kept."),
    "factor": (f"{_HERE}.factor:factor", "Work out a log factor from runs given here; nothing is kept."),
    "trial": (f"{_HERE}.trial:trial", "Start a trial, list trials, show one with its result, export it."),
    "run": (f"{_HERE}.run:run", "Add runs to a trial, or withdraw one."),
    "round": (f"{_HERE}.round:vector_round", "Find the log factor without marks, from legs on several headings."),
    "check": (f"{_HERE}.check:check", "Judge a check trial, which should give a factor of 1.00."),
    "force": (f"{_HERE}.force:force", "Put the result of a trial in force."),
    "setting": (f"{_HERE}.setting:setting", "Show or note what is set in the log itself."),
    "correct": (f"{_HERE}.correct:correct", "Correct speeds or distances shown by the log."),
    "event": (f"{_HERE}.event:event", "Note what happened to the log: cleaned, hauled out, struck …"),
    "history": (f"{_HERE}.history:history", "Watch the log over the years; list what was entered and put in force."),
    "undo": (f"{_HERE}.history:undo", "Undo an entry; it stays in the history."),
}


@click.group(cls=LazyGroup, table=COMMANDS)
def log() -> None:
    """Measure the log, keep its factor, correct what it shows."""
