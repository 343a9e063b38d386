"""``truemile log setting``: what is set in the log itself, and since when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import box, by_option, filled, json_option, log_option, workbook_option
from truemile.cli.present import ruled, show
from truemile.cli.workbook_file import open_to_read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.workbook.views import SettingView

_HERE = "truemile.cli.log.setting"

COMMANDS = {
    "show": (f"{_HERE}:show_settings", "Show what was set and when; this is the default."),
    "note": (f"{_HERE}:note", "Note what is set in the log now."),
}


@click.group(cls=LazyGroup, table=COMMANDS, default="show")
def setting() -> None:
    """Show or note what is set in the log itself.

    Each reading remembers what was set when it was taken, so that nothing is corrected twice.
    """


@click.command("show")
@log_option
@workbook_option
@json_option
def show_settings(*, log_name: str | None, workbook_path: str | None, as_json: bool) -> None:
    """Show what was set in the log and when."""
    from truemile.workbook import instruments

    with open_to_read(workbook_path) as workbook:
        found = instruments.settings(workbook, log_name)
    none = "  Nothing is noted yet. Note it with: truemile log setting note --value 1.00"
    show(lambda: {"settings": found}, lambda: settings_table(found) if found else none, as_json=as_json)


def settings_table(settings: Sequence[SettingView]) -> str:
    """Return settings as a table, oldest first."""
    rows = [(f"{s.set_at:%Y-%m-%d %H:%M}Z", str(s.setting), s.author, s.note) for s in settings]
    return ruled(("from", "set", "by", "note"), rows, left=4)


@click.command("note")
@box("--value", "value", "The value in the instrument's menu.", "VALUE")
@box("--convention", "convention", "Multiplier, percent, or pulses per mile, if not the log's usual one.", "HOW")
@box("--set-at", "set_at", "Since when: 2026-05-14T13:32Z, or a clock time of today; now if not said.", "WHEN")
@box("--note", "note", "Anything else.")
@by_option
@log_option
@workbook_option
@json_option
def note(
    *, author: str | None, log_name: str | None, workbook_path: str | None, as_json: bool, **boxes: str | None
) -> None:
    """Note what is set in the log now. What was read before keeps the setting of its time."""
    from truemile.workbook import instruments
    from truemile.workbook.entries import SettingEntry, read_entry

    with open_to_read(workbook_path) as workbook:
        kept = instruments.record_setting(workbook, log_name, read_entry(SettingEntry, filled(boxes)), author=author)
    show(lambda: kept, lambda: settings_table([kept]), as_json=as_json)
