"""The demo workbook: two seasons of the sloop Dunlin in Hollin Sound. Invented waters, not for navigation."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from truemile.core.log_runs import Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook.boats import add_boat
from truemile.workbook.courses import add_course, add_mark, course
from truemile.workbook.demo_truth import DemoCrew, DemoSpeed, DemoTruth, demo_truth
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, MarkEntry, TrialEntry
from truemile.workbook.events import EventKind, record_event
from truemile.workbook.instruments import add_log, record_setting
from truemile.workbook.log_corrections import put_in_force
from truemile.workbook.log_trials import record_run, start_trial
from truemile.workbook.schema import How
from truemile.workbook.store import Workbook, remove_file
from truemile.workbook.vector_rounds import RoundEntry, record_legs, start_round

__all__ = ["DEMO_WORDS", "DemoTruth", "demo_truth", "make_demo"]

#: Stands on every page that shows the demo boat.
DEMO_WORDS: Final = "Invented waters, not for navigation."

_PASSAGE: Final = "Gannet Pier to Kestle Beacon"
_CHARTED: Final = "Saltgrass measured distance"
_IDS: Final = uuid.UUID("6f1d5c0e-2f5b-5a0e-9b57-47310d0a11aa")
_CRUISING: Final = DemoSpeed("", 2200, 5.86)
_SPEEDS: Final = (DemoSpeed("1500 rpm", 1500, 4.1), DemoSpeed("2000 rpm", 2000, 5.4), DemoSpeed("2600 rpm", 2600, 6.9))

_MARKS: Final = (
    MarkEntry(
        name="Gannet Pier",
        position="47°12.000′N 031°03.000′W",
        precision_m="3",
        fixed="yes",
        source="satellite fix alongside",
        checked="2026-04-04",
        remarks="White post on the pier head; transit with the chapel gable.",
    ),
    MarkEntry(
        name="Kestle Beacon",
        position="47°12.354′N 031°01.920′W",
        precision_m="3",
        fixed="yes",
        source="satellite fix alongside",
        checked="2026-04-04",
        remarks="Stone beacon; transit with the barn.",
    ),
    MarkEntry(
        name="Wren Ledge",
        position="47°11.52′N 031°02.10′W",
        precision_m="8",
        fixed="no",
        source="chart",
        remarks="Buoy, swings on some 40 m of chain.",
    ),
)
_COURSES: Final = (
    CourseEntry(name=_PASSAGE, start="Gannet Pier", end="Kestle Beacon", transits="yes"),
    CourseEntry(
        name=_CHARTED,
        distance="0.60",
        precision="0.01",
        course_true="118",
        transits="no",
        remarks="Distance as printed on the chart of Saltgrass Bar.",
    ),
    CourseEntry(name="Gannet Pier to Wren Ledge", start="Gannet Pier", end="Wren Ledge"),
)


class _Calendar:
    """A clock that the demo sets as it goes through the season."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at


@dataclass(frozen=True, slots=True)
class _Plan:
    """One trial of the season."""

    course: str
    start: datetime
    speeds: tuple[DemoSpeed, ...] = (_CRUISING,)
    each: int = 4
    kind: str = "calibration"
    steering: Steering = Steering.HEADING_HELD
    weather: str = ""
    remarks: str = ""
    in_force: bool = False


_SEASON: Final = (
    _Plan(
        _PASSAGE,
        datetime(2026, 4, 18, 9, 40, tzinfo=UTC),
        weather="Light air from the west, slight sea.",
        remarks="First trial after launching.",
        in_force=True,
    ),
    _Plan(
        _PASSAGE,
        datetime(2026, 5, 2, 10, 15, tzinfo=UTC),
        kind="check",
        weather="Calm.",
        remarks="Check of the factor in force.",
    ),
    _Plan(
        _PASSAGE,
        datetime(2026, 6, 13, 8, 30, tzinfo=UTC),
        speeds=_SPEEDS,
        weather="Calm, long low swell.",
        remarks="Three engine speeds.",
    ),
    _Plan(
        _CHARTED,
        datetime(2026, 7, 25, 14, 5, tzinfo=UTC),
        steering=Steering.TRACK_HELD,
        each=6,
        weather="Wind 2 from the north-west.",
        remarks="Steered from mark to mark, so the course steered was noted.",
    ),
    _Plan(
        _PASSAGE,
        datetime(2026, 9, 12, 9, 20, tzinfo=UTC),
        each=6,
        weather="Light air, smooth.",
        remarks="End of the season, paddle green.",
    ),
)


#: The season before, entered from the deck log on an evening of the second.
_EARLIER: Final = (
    _Plan(_PASSAGE, datetime(2025, 4, 19, 10, 10, tzinfo=UTC), weather="Calm.", remarks="After launching."),
    _Plan(_PASSAGE, datetime(2025, 5, 31, 8, 45, tzinfo=UTC), weather="Light air from the south."),
    _Plan(_PASSAGE, datetime(2025, 7, 5, 9, 30, tzinfo=UTC), weather="Calm.", remarks="Slime on the paddle."),
    _Plan(_PASSAGE, datetime(2025, 8, 2, 8, 0, tzinfo=UTC), weather="Wind 1, smooth.", remarks="After scrubbing."),
    _Plan(_PASSAGE, datetime(2025, 9, 20, 10, 0, tzinfo=UTC), weather="Light air from the west, slight sea."),
)
_EVENING: Final = datetime(2026, 9, 12, 20, 0, tzinfo=UTC)
_EVENTS: Final = (
    (EventKind.CLEANING, datetime(2025, 7, 19, 12, 0, tzinfo=UTC), "scrubbed on the slip, paddle brushed"),
    (EventKind.HAUL_OUT, datetime(2025, 10, 11, 10, 0, tzinfo=UTC), "ashore for the winter, new antifouling"),
)
#: On the last day of the season, an hour after the trial between marks: the same log without them.
_ROUND: Final = datetime(2026, 9, 12, 13, 30, tzinfo=UTC)
_HEADINGS: Final = (20.0, 200.0, 110.0, 290.0, 20.0, 200.0)


def make_demo(path: str | Path) -> Path:
    """Make the demo workbook, the same every time.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    WorkbookError
        If there is a file of that name, or its folder cannot be written.

    Notes
    -----
    Every reading comes from `demo_truth` through a seeded generator: the display rounds to 0.1 kn, the counter to
    0.01 nm, the watch to 1 s.
    """
    truth = demo_truth()
    calendar = _Calendar(truth.launched_at)
    with Workbook.create(path, clock=calendar, author="Ines") as wb:
        try:
            _fit_out(wb, truth)
            crew = DemoCrew(truth)
            for number, plan in enumerate(_SEASON, 1):
                _make_trial(wb, calendar, crew, plan, number)
            _make_round(wb, calendar, crew)
            _make_earlier(wb, calendar, truth)
        except BaseException:
            # Half a season would look like a whole one.
            wb.close()
            remove_file(wb.path)
            raise
        return wb.path


def _fit_out(wb: Workbook, truth: DemoTruth) -> None:
    add_boat(
        wb,
        BoatEntry(
            name="Dunlin",
            description="Sloop, diesel",
            length_m="11.2",
            draught_m="1.9",
            air_draft_m="16.4",
            ship_utc_offset_min="-120",
            demo="yes",
        ),
    )
    add_log(
        wb,
        LogEntry(
            name="Log",
            speed_resolution="0.1",
            distance_resolution="0.01",
            convention="multiplier",
            setting_step="0.01",
            remarks="Paddle wheel, starboard of the keel.",
        ),
    )
    record_setting(wb, None, LogSetting(Convention.MULTIPLIER, 1.0), set_at=truth.launched_at)
    for mark in _MARKS:
        add_mark(wb, mark)
    for entry in _COURSES:
        add_course(wb, entry)


def _make_trial(wb: Workbook, calendar: _Calendar, crew: DemoCrew, plan: _Plan, number: int) -> None:
    late = plan.start < calendar.at
    calendar.at = max(calendar.at, plan.start)
    trial = start_trial(
        wb,
        TrialEntry(
            course=plan.course,
            date=plan.start.isoformat(),
            kind=plan.kind,
            steering=plan.steering.value,
            weather=plan.weather,
            remarks=plan.remarks,
            crew="Okke at the helm, Bram with the watch, Ines writing",
        ),
    )
    runs = crew.runs(course(wb, plan.course).course, plan.start, plan.speeds, each=plan.each, steering=plan.steering)
    for place, entry in enumerate(runs, 1):
        calendar.at += timedelta(minutes=1 if late else 12)
        named = entry.model_copy(update={"id": str(uuid.uuid5(_IDS, f"trial {number} run {place}"))})
        record_run(wb, trial.id, named)
    if plan.in_force:
        calendar.at += timedelta(hours=2)
        put_in_force(wb, trial.id, How.APPLIED, valid_from=crew.truth.launched_at)


def _make_round(wb: Workbook, calendar: _Calendar, crew: DemoCrew) -> None:
    calendar.at = _ROUND
    entry = RoundEntry(
        date=_ROUND.isoformat(),
        tide_amplitude="0.9",
        # The demo compass is right.
        u_deviation="0.5",
        wind="4",
        crew="Okke at the helm, Ines reading",
        weather="Light air, smooth.",
        remarks="Without marks, after the trial between them.",
    )
    round_id = start_round(wb, entry).id
    legs = crew.legs(_ROUND, _HEADINGS, _CRUISING.water_kn)
    calendar.at += timedelta(minutes=25)
    named = [
        leg.model_copy(update={"id": str(uuid.uuid5(_IDS, f"round leg {place}"))}) for place, leg in enumerate(legs, 1)
    ]
    record_legs(wb, round_id, named)


def _make_earlier(wb: Workbook, calendar: _Calendar, truth: DemoTruth) -> None:
    """Enter the season before, when the log was set otherwise, and what was done to the boat since."""
    calendar.at = _EVENING
    setting = LogSetting(Convention.MULTIPLIER, truth.earlier_scale)
    record_setting(wb, None, setting, set_at=truth.cleaned_at[0])
    crew = DemoCrew(truth, 47_025, counter_nm=96.40, scale=truth.earlier_scale)
    for number, plan in enumerate(_EARLIER, len(_SEASON) + 1):
        _make_trial(wb, calendar, crew, plan, number)
    for kind, at, note in _EVENTS:
        record_event(wb, None, kind, at, note)
