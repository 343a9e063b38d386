"""``truemile log boat``: the boat and her log, which all else belongs to."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, TypedDict

import click

from truemile.cli.lazy import LazyGroup
from truemile.cli.options import UtcOffset, box, by_option, filled, json_option, workbook_option
from truemile.cli.present import ruled, show
from truemile.cli.workbook_file import open_to_read, open_to_write

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truemile.workbook.entries import LogEntry
    from truemile.workbook.store import Workbook
    from truemile.workbook.views import BoatView, InstrumentView

    class BoatsFound(TypedDict):
        """Boats, and the logs of all of them."""

        boats: Sequence[BoatView]
        logs: Sequence[InstrumentView]


_HERE = "truemile.cli.log.boat"

COMMANDS = {
    "add": (f"{_HERE}:add", "Enter a boat and her log, or one more log of hers."),
    "show": (f"{_HERE}:show_boats", "Show boats and logs; this is the default."),
}


@click.group(cls=LazyGroup, table=COMMANDS, default="show")
def boat() -> None:
    """Enter the boat and her log, or show them."""


@click.command("add")
@box("--name", "name", "The boat's name.")
@box("--log", "log", "What to call her log; Log if not said.", "NAME")
@box("--speed-digit", "speed_resolution", "Last digit of its speed display, usually 0.1.", "KN")
@box("--distance-digit", "distance_resolution", "Last digit of its distance counter, usually 0.01.", "NM")
@box("--convention", "convention", "How it is adjusted: multiplier, percent, or pulses per mile.", "HOW")
@box("--setting", "value", "What is set in it now.", "VALUE")
@box("--setting-step", "setting_step", "Smallest change its menu allows.", "STEP")
@box("--length", "length_m", "Length of the boat.", "M")
@box("--draught", "draught_m", "Draught of the boat.", "M")
@box("--air-draft", "air_draft_m", "Air draft of the boat.", "M")
@box("--description", "description", "Rig, engine, anything that matters.")
@click.option("--utc-offset", type=UtcOffset(), metavar="HOURS", help="Ship's time minus UTC; 0 if not said.")
@by_option
@workbook_option
@json_option
def add(
    *,
    log: str | None,
    value: str | None,
    utc_offset: timedelta | None,
    author: str | None,
    workbook_path: str | None,
    as_json: bool,
    **boxes: str | None,
) -> None:
    """Enter a boat and her log. A boat of that name that is there already gets one more log."""
    from truemile.workbook.entries import LogEntry, SettingEntry, read_entry

    if utc_offset is not None:
        boxes["ship_utc_offset_min"] = f"{utc_offset.total_seconds() / 60:g}"
    given = filled(boxes)
    about_log = {name: given.pop(name) for name in _LOG_BOXES if name in given}
    setting = {name: text for name, text in (("value", value), ("convention", about_log.get("convention"))) if text}
    if value is not None:
        read_entry(SettingEntry, setting).read()
    log_entry = read_entry(LogEntry, {"name": log or "Log", "boat": given.get("name"), **about_log})
    with open_to_write(workbook_path) as workbook:
        _add(workbook, given, log_entry, setting if value is not None else None, author)
        found = _all(workbook)
    show(lambda: found, lambda: boats_text(found["boats"], found["logs"]), as_json=as_json)


_LOG_BOXES = ("speed_resolution", "distance_resolution", "convention", "setting_step")


def _add(
    workbook: Workbook, given: dict[str, str], log_entry: LogEntry, setting: dict[str, str] | None, author: str | None
) -> None:
    from truemile.workbook import boats, instruments
    from truemile.workbook.entries import BoatEntry, SettingEntry, read_entry

    name = given.get("name", "").casefold()
    if not any(there.name.casefold() == name for there in boats.boats(workbook)):
        boats.add_boat(workbook, read_entry(BoatEntry, given), author=author)
    log = instruments.add_log(workbook, log_entry, author=author)
    if setting is not None:
        instruments.record_setting(workbook, log.id, read_entry(SettingEntry, setting), author=author)


@click.command("show")
@workbook_option
@json_option
def show_boats(*, workbook_path: str | None, as_json: bool) -> None:
    """Show boats and logs."""
    with open_to_read(workbook_path) as workbook:
        found = _all(workbook)
    show(lambda: found, lambda: boats_text(found["boats"], found["logs"]), as_json=as_json)


def _all(workbook: Workbook) -> BoatsFound:
    from truemile.workbook import boats, instruments

    return {"boats": boats.boats(workbook), "logs": instruments.instruments(workbook)}


def boats_text(boats: Sequence[BoatView], logs: Sequence[InstrumentView]) -> str:
    """Return each boat with her logs."""
    blocks = []
    for boat_view in boats:
        hours = boat_view.ship_utc_offset.total_seconds() / 3600
        size = f", {boat_view.length_m:g} m" if boat_view.length_m else ""
        about = f", {boat_view.description}" if boat_view.description else ""
        rows = [
            (
                str(log.id),
                log.name,
                f"{log.speed_resolution_kn:g}",
                f"{log.distance_resolution_nm:g}",
                str(log.setting.setting) if log.setting else "not noted",
            )
            for log in logs
            if log.boat_id == boat_view.id
        ]
        blocks.append(
            f"{boat_view.name}{size}{about}; ship's time UTC {hours:+g} h\n"
            + ruled(("no", "log", "digit kn", "digit nm", "set in it"), rows, left=2)
        )
    return "\n\n".join(blocks) or "  No boat is entered yet. Enter yours with: truemile log boat add --name NAME"
