"""Questions about vector rounds, their legs and recordings, and about what happened to an instrument."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from truemile.core.ground_vectors import Tack
from truemile.web.forms import Choice, Field, Form
from truemile.workbook.kinds import EventKind

ROUND_BOXES: Final = (
    "date",
    "wind",
    "crew",
    "weather",
    "remarks",
    "tide_amplitude",
    "u_deviation",
    "sog_resolution",
    "cog_resolution",
    "heading_resolution",
    "unevenness",
)
LEG_BOXES: Final = (
    "id",
    "heading",
    "indicated",
    "sog",
    "cog",
    "variation",
    "duration",
    "started_at",
    "tack",
)
EVENT_BOXES: Final = ("kind", "date", "note")

TACKS: Final = (
    Choice("power", "Under power"),
    Choice(Tack.PORT.value, "Port tack"),
    Choice(Tack.STARBOARD.value, "Starboard tack"),
)
GROUNDS: Final = (
    Choice("position", "the positions at both ends of a leg"),
    Choice("course", "speed and course over the ground"),
)


def event_form(instrument_id: int, date: str) -> Form:
    """Ask what happened."""
    kinds = tuple(Choice(kind.value, kind.value) for kind in EventKind if kind is not EventKind.SETTING)
    return Form(
        "event",
        f"/instruments/{instrument_id}/events",
        "Note it",
        (
            Field("kind", "What happened", "choice", "", EventKind.CLEANING.value, kinds),
            Field("date", "When", "date", "Ship's date, 2026-05-14.", date),
            Field("note", "Note"),
        ),
        quiet=True,
    )


def round_form(instrument_id: int, date: str) -> Form:
    """Ask when and how a round is made."""
    return Form(
        "round",
        f"/instruments/{instrument_id}/rounds",
        "Begin the round",
        (
            Field("date", "Date", "date", "Ship's date, 2026-05-14.", date),
            Field("wind", "True wind speed", "number", "In knots; light wind serves best."),
            *_reading_fields(),
            Field("crew", "Crew", hint="Who helms and notes.", more=True),
            Field("weather", "Weather", hint="Wind and sea.", more=True),
            Field("remarks", "Remarks", "note", more=True),
        ),
        more="More: tide, deviation, last digits, crew",
    )


def _reading_fields() -> tuple[Field, ...]:
    return (
        Field(
            "tide_amplitude",
            "Greatest rate of the tidal stream there",
            "number",
            "In knots, usually 1; 0 where there is no tide.",
            more=True,
        ),
        Field(
            "u_deviation",
            "Deviation left in the headings",
            "number",
            "In degrees, usually 1; 0 for a satellite compass.",
            more=True,
        ),
        Field("unevenness", "How unsteady a leg may be", "number", "In knots, usually 0.08.", more=True),
        Field("sog_resolution", "Last digit of speed over the ground", "number", "Usually 0.1 kn.", more=True),
        Field("cog_resolution", "Last digit of course over the ground", "number", "Usually 1°.", more=True),
        Field("heading_resolution", "How finely headings are read", "number", "Usually 1°.", more=True),
    )


def leg_form(trial_id: int, values: dict[str, str]) -> Form:
    """Ask for the next leg, as it stands on paper."""
    form = Form(
        "leg",
        f"/rounds/{trial_id}/legs",
        "Add this leg",
        (
            Field("id", "id", "hidden"),
            Field("heading", "Heading steered", "number", "Three figures; several readings count with their mean."),
            Field("indicated", "Speed the log showed", "number", "In knots, as often as it was read."),
            Field("sog", "Speed over the ground", "number", "From the satellite receiver, in knots."),
            Field("cog", "Course over the ground", "number", "True, three figures."),
            Field("variation", "Variation", "number", "Where headings are magnetic; east is +.", more=True),
            Field("started_at", "Started at", hint="Ship's clock, 13:32:10.", more=True),
            Field("duration", "How long", hint="2:00", more=True),
            Field("tack", "Tack", "choice", "", "power", TACKS, more=True),
        ),
        more="More: variation, times, tack",
    )
    return form.filled(values)


def recording_form(instrument_id: int) -> Form:
    """Ask for a recorded file in which legs are looked for."""
    return Form(
        "recording",
        f"/instruments/{instrument_id}/rounds/recording",
        "Look what is in it",
        (
            Field("file", "Recording", "file", "CSV, or a log of NMEA 0183 sentences. Nothing is kept yet."),
            *taking_fields(),
        ),
        more="More: variation, tack, turns",
        quiet=True,
    )


def taking_fields() -> tuple[Field, ...]:
    """Ask how legs are taken from a recording."""
    return (
        Field("variation", "Variation", "number", "Where its headings are magnetic; east is +.", more=True),
        Field(
            "tide_amplitude",
            "Greatest rate of the tidal stream there",
            "number",
            "In knots, usually 1; 0 where there is no tide.",
            more=True,
        ),
        Field("ground", "Velocity over the ground from", "choice", "", "position", GROUNDS, more=True),
        Field("tack", "Tack", "choice", "", "power", TACKS, more=True),
        Field("arcs", "Take the turns too: shown, and never put in force", "tick", more=True),
    )


def keep_form(word: str, legs: Sequence[tuple[int, str, bool]], date: str) -> Form:
    """Offer to keep what was found: a box for each leg, ticked if it was taken."""
    return Form(
        "keep",
        f"/rounds/recordings/{word}",
        "Keep these legs",
        (
            *(Field(f"leg{number}", words, "tick", value="yes" if ticked else "") for number, words, ticked in legs),
            Field("date", "Date of the round", "date", "Ship's date.", date),
            Field("wind", "True wind speed", "number", "In knots."),
            Field("crew", "Crew", more=True),
            Field("remarks", "Remarks", "note", more=True),
        ),
        more="More: crew, remarks",
    )
