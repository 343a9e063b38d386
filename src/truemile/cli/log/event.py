"""``truemile log event``: what happened to the log between trials."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import box, by_option, json_option, log_option, workbook_option
from truemile.cli.present import paragraph, ruled, show
from truemile.cli.workbook_file import open_to_read
from truemile.workbook.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.workbook.events import EventView

_HERE = "truemile.cli.log.event"

COMMANDS = {
    "list": (f"{_HERE}:list_events", "List what happened; this is the default."),
    "add": (f"{_HERE}:add", "Note what happened."),
}
#: A change of setting is noted with its value: truemile log setting note.
KINDS = tuple(kind.value for kind in EventKind if kind is not EventKind.SETTING)


@click.group(cls=LazyGroup, table=COMMANDS, default="list")
def event() -> None:
    """Note what happened to the log, or list it.

    Cleaning, haul-out and a new paddle begin the trend anew; these and a collision make the log due at once.
    """


@click.command("list")
@log_option
@workbook_option
@json_option
def list_events(*, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """List what happened to the log, changes of its setting among it, oldest first."""
    from truemile.workbook import events

    with open_to_read(workbook_path) as workbook:
        found = events.events(workbook, log_name)
    none = paragraph("Nothing is noted yet. Note it with: truemile log event add cleaning --date 2026-05-14")
    show(lambda: {"events": found}, lambda: events_table(found) if found else none, as_json=as_json)


def events_table(found: Sequence[EventView]) -> str:
    """Return events as a table, oldest first."""
    rows = [(f"{each.at:%Y-%m-%d}", each.kind.value, each.author[:12], each.note) for each in found]
    return ruled(("date", "what", "by", "note"), rows, left=4)


@click.command("add")
@click.argument("kind", type=click.Choice(KINDS))
@box("--date", "date", "When: 2026-05-14, or with time and zone; now if not said.", "DATE")
@box("--note", "note", "Anything else.")
@by_option
@log_option
@workbook_option
@json_option
def add(
    *,
    kind: str,
    date: str | None,
    note: str | None,
    author: str | None,
    log_name: str | None,
    workbook_path: str | None,
    as_json: bool,
) -> None:
    """Note what happened to the log; a new setting is noted with: truemile log setting note."""
    from truemile.workbook import events

    with open_to_read(workbook_path) as workbook:
        entry = events.EventEntry(kind=kind, date=date, note=note)
        kept = events.record_event(workbook, log_name, entry, author=author)
    show(lambda: kept, lambda: _kept_words(kept), as_json=as_json)


def _kept_words(kept: EventView) -> str:
    table = events_table([kept])
    if not kept.kind.makes_due:
        return table
    return f"{table}\n{paragraph('Measure the log again before you rely on its correction.')}"
