"""Questions about boat, log and what is set in it."""

from __future__ import annotations

from typing import Final

from truemile.core.log_settings import Convention
from truemile.web.forms import Choice, Field, Form
from truemile.workbook.boats import offset_words

CONVENTIONS: Final = (
    Choice(Convention.MULTIPLIER.value, "multiplier, 1.00"),
    Choice(Convention.PERCENT.value, "percent, +0 %"),
    Choice(Convention.PULSES_PER_NM.value, "pulses per mile"),
)

#: From twelve hours behind UTC to fourteen ahead, by half hours.
SHIP_TIMES: Final = tuple(
    Choice(str(minutes), "UTC" if not minutes else f"UTC {offset_words(minutes)}") for minutes in range(-720, 841, 30)
)
BOAT_BOXES: Final = ("description", "length_m", "draught_m", "air_draft_m", "ship_utc_offset_min")
LOG_BOXES: Final = ("speed_resolution", "distance_resolution", "convention", "setting_step")
SETTING_BOXES: Final = ("convention", "value", "set_at", "note")


def log_fields(convention: str = Convention.MULTIPLIER.value, *, folded: bool) -> tuple[Field, ...]:
    """Return what is asked of a log besides its name."""
    return (
        Field(
            "convention",
            "How the instrument is adjusted",
            "choice",
            "Look in its menu, under calibration.",
            convention,
            CONVENTIONS,
            more=folded,
        ),
        Field("speed_resolution", "Last digit of the speed display", "number", "In knots, usually 0.1.", more=folded),
        Field(
            "distance_resolution",
            "Last digit of the distance counter",
            "number",
            "In miles, usually 0.01.",
            more=folded,
        ),
        Field("setting_step", "Smallest step of the setting", "number", "Leave empty for the usual one.", more=folded),
    )


def welcome_form() -> Form:
    """Ask for the boat and her log, in one go."""
    return Form(
        "welcome",
        "/welcome",
        "Begin this workbook",
        (
            Field("boat", "Name of the boat", required=True),
            Field("log", "What you call her log", value="log", hint="One boat may carry several.", required=True),
            Field("ship_utc_offset_min", "Ship's clock", "choice", "Against UTC.", "0", SHIP_TIMES),
            *log_fields(folded=True),
            Field("description", "What she is", hint="Sloop, diesel.", more=True),
            Field("length_m", "Length over all", "number", "In metres.", more=True),
            Field("draught_m", "Draught", "number", "In metres.", more=True),
            Field("air_draft_m", "Air draft", "number", "In metres.", more=True),
        ),
        more="More about boat and log",
    )


def log_form() -> Form:
    """Ask for one more log."""
    return Form(
        "log",
        "/instruments",
        "Add this log",
        (Field("name", "What you call it", hint="Log, port hull.", required=True), *log_fields(folded=True)),
        title="Another log",
        more="How finely it reads, how it is adjusted",
        quiet=True,
    )


def setting_form(instrument_id: int, convention: str) -> Form:
    """Ask for what is set in the log."""
    return Form(
        "setting",
        f"/instruments/{instrument_id}/settings",
        "Note this setting",
        (
            Field("value", "What the menu shows", "number", "1.00, or −3 for −3 %, or 20000.", required=True),
            Field(
                "set_at",
                "Set at",
                hint="Date, time and zone, 2026-05-14T13:32Z; empty for now.",
            ),
            Field("convention", "How it is written there", "choice", "", convention, CONVENTIONS, more=True),
            Field("note", "Remark", more=True),
        ),
        title="Note what is set",
        quiet=True,
    )


def use_form(instrument_id: int) -> Form:
    """Ask for a reading to correct, or a speed to keep."""
    return Form(
        "use",
        f"/instruments/{instrument_id}/use",
        "Work it out",
        (
            Field("indicated", "The log shows", "number", "In knots."),
            Field("wanted", "Speed you want to make", "number", "In knots through the water."),
            Field("logged", "Distance logged", "number", "In miles."),
            Field("elapsed", "Time it took", hint="1h20m or 34:10."),
        ),
        method="get",
    )
