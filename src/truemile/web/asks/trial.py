"""Questions about a trial and its runs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from truemile.core.log_runs import Direction, Steering
from truemile.web.asks.waters import STEERINGS
from truemile.web.forms import Choice, Field, Form
from truemile.workbook.schema import How, TrialKind

TRIAL_BOXES: Final = (
    "course",
    "date",
    "kind",
    "steering",
    "crab",
    "u_crab",
    "speed_resolution",
    "distance_resolution",
    "timing_limit",
    "stream_irregularity",
    "tide_amplitude",
    "crossing",
    "weather",
    "remarks",
    "crew",
    "insist_floating",
)
RUN_BOXES: Final = (
    "id",
    "direction",
    "elapsed",
    "started_at",
    "ended_at",
    "readings",
    "log_start",
    "log_stop",
    "rpm",
    "heading_compass",
    "speed_group",
    "noted_by",
    "timed_by",
    "helm",
    "remarks",
)

KINDS: Final = (
    Choice(TrialKind.CALIBRATION.value, "measure the factor"),
    Choice(TrialKind.CHECK.value, "check the one in force"),
)
DIRECTIONS: Final = (Choice(Direction.OUT.value, "out"), Choice(Direction.BACK.value, "back"))
HOWS: Final = (
    Choice(How.APPLIED.value, "Truemile applies it"),
    Choice(How.SET.value, "I set it in the log"),
)


def trial_form(
    instrument_id: int,
    courses: Sequence[Choice],
    *,
    course: str,
    date: str,
    kind: str,
    transits: bool,
    floating: bool,
) -> Form:
    """Ask where, when and how a trial is made."""
    steering = Steering.HEADING_HELD if transits else Steering.TRACK_HELD
    return Form(
        "trial",
        f"/instruments/{instrument_id}/trials",
        "Begin this trial",
        (
            Field("course", "Measured course", "choice", "", course, tuple(courses)),
            Field("date", "Date", hint="On ship's clock, as 2026-05-14.", value=date, required=True),
            Field("steering", "How it is steered", "choice", "", steering.value, STEERINGS),
            Field("kind", "What it is for", "choice", "", kind, KINDS),
            Field("crew", "Crew", hint="Who times, who notes, who steers."),
            Field("weather", "Wind and sea"),
            Field(
                "crab",
                "Crab angle",
                "number",
                "Between heading and track; empty to take it from the compass courses.",
                more=True,
            ),
            Field("u_crab", "Crab angle is known to ±", "number", "In degrees, usually 2.", more=True),
            Field("crossing", "Transits crossed off the square by", "number", "In degrees, usually 0.", more=True),
            Field("timing_limit", "Timed to within ±", "number", "In seconds, usually 1.", more=True),
            Field("speed_resolution", "Last digit of the display", "number", "Empty for the log's own.", more=True),
            Field("distance_resolution", "Last digit of the counter", "number", "Empty for the log's own.", more=True),
            Field("stream_irregularity", "Uneven part of the stream", "number", "In knots, usually 0.05.", more=True),
            Field(
                "tide_amplitude",
                "Greatest rate of the tidal stream there",
                "number",
                "In knots, usually 1; 0 where there is no tide.",
                more=True,
            ),
            Field("remarks", "Remarks", "note", more=True),
            Field(
                "insist_floating",
                "A mark of this course floats; I insist, and its swing goes into the ±",
                "tick",
                more=not floating,
            ),
        ),
        more="More: crab angle, timing, resolution, floating marks",
    )


def run_form(trial_id: int, run_id: str, values: dict[str, str], *, steering: Steering) -> Form:
    """Ask for one run, as it stands on paper."""
    heading = Field(
        "heading_compass",
        "Compass course steered",
        "number",
        "Three figures; out and back give the crab angle.",
        more=steering is Steering.HEADING_HELD,
    )
    form = Form(
        "run",
        f"/trials/{trial_id}/runs",
        "Add this run",
        (
            Field("id", "id", "hidden", value=run_id),
            Field("direction", "Direction", "choice", "", Direction.OUT.value, DIRECTIONS),
            Field("elapsed", "Time from mark to mark", hint="5:34 or 5m34.2s; or start and stop under “more”."),
            Field("readings", "Speeds the log showed", hint="6.3 6.4 6.3, as often as it was read."),
            Field("log_start", "Counter at the start", "number", "In miles; empty if zeroed there."),
            Field("log_stop", "Counter at the stop", "number", "In miles; empty if not read."),
            heading,
            Field("started_at", "Started at", hint="Ship's clock, 13:32:10.", more=True),
            Field("ended_at", "Stopped at", hint="Ship's clock, 13:40:52.", more=True),
            Field("rpm", "Engine", "number", "Revolutions a minute.", more=True),
            Field("speed_group", "Engine speed is called", hint="The same word for all runs at one speed.", more=True),
            Field("noted_by", "Noted by", more=True),
            Field("timed_by", "Timed by", more=True),
            Field("helm", "At the helm", more=True),
            Field("remarks", "Remarks", more=True),
        ),
        more="More: clock times, engine, who did what",
    )
    return form.filled(values)


def import_form(trial_id: int) -> Form:
    """Ask for a file of runs."""
    return Form(
        "import",
        f"/trials/{trial_id}/runs/import",
        "Take these runs in",
        (
            Field(
                "file",
                "CSV or TOML with one run a row",
                "file",
                "Columns are named as in the CSV download: direction, elapsed, readings, log_start, log_stop …",
            ),
        ),
        quiet=True,
    )


def force_form(trial_id: int, *, how: str, set_to: str) -> Form:
    """Ask how the correction is put in force; `set_to` is the new setting, empty where none can be worked out."""
    return Form(
        "force",
        f"/trials/{trial_id}/in-force",
        "Put it in force",
        (
            Field("how", "Who corrects from now on", "choice", "", how, HOWS if set_to else HOWS[:1]),
            *(
                (Field("set_value", "Value you entered in the log", "number", "Only if you set it there.", set_to),)
                if set_to
                else ()
            ),
            Field(
                "valid_from",
                "Readings are corrected from",
                hint="Date, time and zone, 2026-05-14T13:32Z; empty for the beginning of the trial.",
                more=True,
            ),
        ),
    )
