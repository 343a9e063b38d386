"""The forms: boats, logs, settings, marks, courses, trials and runs, with the text as typed in every box.

A form is filled by page, command line, CSV and TOML alike. `read_entry` takes the text, and each form's `read`
turns it into core values; every fault is found in one go and named after its box.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from truemile.core.errors import ReadingError
from truemile.core.log_runs import Conditions, Direction, Run, Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.core.measured_course import CourseMark, MeasuredCourse, charted_course
from truemile.core.numbers import parse_number, precision_of
from truemile.core.position import parse_position
from truemile.core.times import elapsed_between, parse_elapsed
from truemile.core.uncertainty import from_resolution
from truemile.workbook.kinds import ReadingKind, TrialKind
from truemile.workbook.typed import (
    Entry,
    Faults,
    Text,
    choice,
    day_of,
    identity,
    instant,
    needed,
    number,
    plain,
    read_entry,
    reraised,
    several_numbers,
    short,
    yes_no,
)

__all__ = [
    "BoatEntry",
    "CourseEntry",
    "LogEntry",
    "MarkEntry",
    "ReadMark",
    "ReadRun",
    "RunEntry",
    "SettingEntry",
    "TrialEntry",
    "read_entry",
]

#: Standard uncertainty of a good satellite fix, below which no typed position is trusted (judgement, no source).
FIX_U_M: Final = 3.0
#: Elapsed time, and start and stop, may differ by this before one of them is wrong.
ELAPSED_SLACK_S: Final = 2.0

#: What the core calls a value, and the box it was typed in.
RUN_COLUMNS: Final = {
    "elapsed_s": "elapsed",
    "speed_readings_kn": "readings",
    "log_start_nm": "log_start",
    "log_stop_nm": "log_stop",
    "heading_compass_deg": "heading_compass",
    "engine_rpm": "rpm",
}
CONDITION_COLUMNS: Final = {
    "speed_resolution_kn": "speed_resolution",
    "distance_resolution_nm": "distance_resolution",
    "timing_limit_s": "timing_limit",
    "stream_irregularity_kn": "stream_irregularity",
    "tide_amplitude_kn": "tide_amplitude",
    "crab_deg": "crab",
    "u_crab_deg": "u_crab",
    "crossing_deg": "crossing",
}
COURSE_COLUMNS: Final = {"length_nm": "distance", "u_length_nm": "precision", "precision_nm": "precision"}


class BoatEntry(Entry):
    """A boat."""

    name: Text = None
    description: Text = None
    length_m: Text = None
    draught_m: Text = None
    air_draft_m: Text = None
    ship_utc_offset_min: Text = None
    demo: Text = None


class LogEntry(Entry):
    """A boat's log: how finely it reads, and how it is adjusted."""

    name: Text = None
    boat: Text = None
    speed_resolution: Text = None
    distance_resolution: Text = None
    convention: Text = None
    setting_step: Text = None
    remarks: Text = None


class SettingEntry(Entry):
    """What is set in the log."""

    convention: Text = None
    value: Text = None
    set_at: Text = None
    note: Text = None

    def read(self, usual: Convention | None = None) -> LogSetting:
        """Return the setting; the instrument's usual convention serves if none is named.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be.
        """
        faults = Faults()
        convention = faults.take(lambda: choice(self.convention, "convention", Convention, usual), None)
        value = faults.take(
            lambda: parse_number(needed(self.value, "value", "Read it in the instrument's menu."), "value"), None
        )
        known, number_set = faults.sure(convention), faults.sure(value)
        return reraised(lambda: LogSetting(known, number_set), {"setting": "value"})


@dataclass(frozen=True, slots=True)
class ReadMark:
    """A mark as understood."""

    mark: CourseMark
    understood: str
    source: str
    remarks: str
    checked_on: date | None


class MarkEntry(Entry):
    """A mark; its precision is the standard uncertainty of each coordinate, or comes from the digits typed."""

    name: Text = None
    position: Text = None
    precision_m: Text = None
    fixed: Text = None
    source: Text = None
    remarks: Text = None
    checked: Text = None

    def read(self) -> ReadMark:
        """Return the mark.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be.
        """
        faults = Faults()
        name = faults.take(lambda: short(needed(self.name, "name", "Give it as on the chart."), "name", 120), "")
        parsed = faults.take(
            lambda: parse_position(
                needed(self.position, "position", "Write it as 47°12.345′N 031°04.120′W."), "position"
            ),
            None,
        )
        precision = faults.take(lambda: number(self.precision_m, "precision_m", 0.01, 2000.0, "m"), None)
        fixed = faults.take(lambda: yes_no(self.fixed, "fixed", empty=True), True)
        checked = faults.take(lambda: None if self.checked is None else day_of(self.checked, "checked"), None)
        source = faults.take(lambda: short(self.source, "source"), "")
        remarks = faults.take(lambda: short(self.remarks, "remarks"), "")
        place = faults.sure(parsed)
        digits_u_m = from_resolution(place.resolution_m)
        u_m = (digits_u_m**2 + FIX_U_M**2) ** 0.5 if precision is None else precision
        return ReadMark(
            CourseMark(name, place.position, u_m, fixed),
            place.understood,
            source,
            remarks,
            checked,
        )


class CourseEntry(Entry):
    """A measured course: between two marks, by name or number, or of a charted distance."""

    name: Text = None
    start: Text = None
    end: Text = None
    distance: Text = None
    precision: Text = None
    course_true: Text = None
    transits: Text = None
    remarks: Text = None

    def read_charted(self) -> MeasuredCourse:
        """Return the course whose distance is printed on the chart.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be.
        """
        faults = Faults()
        name = faults.take(lambda: short(needed(self.name, "name", "Give the course a name."), "name", 120), "")
        typed = faults.take(
            lambda: needed(self.distance, "distance", "Give two marks, or the charted distance with all its digits."),
            None,
        )
        length = faults.take(lambda: None if typed is None else parse_number(typed, "distance"), None)
        given = faults.take(lambda: number(self.precision, "precision", 0.0001, 1.0, "nm"), None)
        course_true = faults.take(lambda: number(self.course_true, "course_true", 0.0, 360.0, "degrees"), None)
        transits = faults.take(lambda: yes_no(self.transits, "transits"), False)
        length_nm = faults.sure(length)
        precision = precision_of(faults.sure(typed), "distance") if given is None else given
        return reraised(
            lambda: charted_course(name, length_nm, precision, course_true_deg=course_true, transits=transits),
            COURSE_COLUMNS,
        )


class TrialEntry(Entry):
    """A trial: what is measured, where, when and how."""

    instrument: Text = None
    course: Text = None
    date: Text = None
    kind: Text = None
    steering: Text = None
    crab: Text = None
    u_crab: Text = None
    speed_resolution: Text = None
    distance_resolution: Text = None
    timing_limit: Text = None
    stream_irregularity: Text = None
    tide_amplitude: Text = None
    crossing: Text = None
    weather: Text = None
    remarks: Text = None
    crew: Text = None
    insist_floating: Text = None

    def read_kind(self) -> TrialKind:
        """Return whether it measures or checks.

        Raises
        ------
        ReadingError
            If it says neither.
        """
        kind = choice(self.kind, "kind", TrialKind, TrialKind.CALIBRATION)
        if kind is TrialKind.VECTOR_ROUND:
            raise ReadingError("kind", self.kind, "a vector round has no measured course", "Begin it as a round.")
        return kind

    def read_conditions(self, usual: Conditions | None = None) -> Conditions:
        """Return the conditions; what is left empty is taken from the usual ones.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if they cannot be.
        """
        base = usual or Conditions()
        faults = Faults()
        steering = faults.take(lambda: choice(self.steering, "steering", Steering, base.steering), base.steering)
        values: dict[str, float | None] = {}
        for name, column in CONDITION_COLUMNS.items():
            text: str | None = getattr(self, column)
            values[name] = faults.take(
                lambda text=text, column=column: None if text is None else parse_number(text, column),  # type: ignore[misc]
                None,
            )
        faults.done()

        def pick(name: str, otherwise: float) -> float:
            value = values[name]
            return otherwise if value is None else value

        return reraised(
            lambda: Conditions(
                steering=steering,
                speed_resolution_kn=pick("speed_resolution_kn", base.speed_resolution_kn),
                distance_resolution_nm=pick("distance_resolution_nm", base.distance_resolution_nm),
                timing_limit_s=pick("timing_limit_s", base.timing_limit_s),
                stream_irregularity_kn=pick("stream_irregularity_kn", base.stream_irregularity_kn),
                tide_amplitude_kn=pick("tide_amplitude_kn", base.tide_amplitude_kn),
                crab_deg=base.crab_deg if values["crab_deg"] is None else values["crab_deg"],
                u_crab_deg=pick("u_crab_deg", base.u_crab_deg),
                crossing_deg=pick("crossing_deg", base.crossing_deg),
            ),
            CONDITION_COLUMNS,
        )


@dataclass(frozen=True, slots=True)
class Raw:
    """One raw reading of a run: what, its value, and the text as typed; and its own id, instant and reader if known."""

    kind: ReadingKind
    value: float | None
    typed: str
    id: str | None = None
    taken_at: datetime | None = None
    noted_by: str | None = None


@dataclass(frozen=True, slots=True)
class ReadRun:
    """A run as understood, with the raw readings and who did what."""

    id: str
    run: Run
    raw: tuple[Raw, ...]
    noted_by: str
    timed_by: str
    helm: str
    remarks: str

    @property
    def fingerprint(self) -> str:
        """Of the content, so that the same run is known again and a different one is not taken for it."""
        run = self.run
        content = [
            run.direction,
            run.elapsed_s,
            run.started_at,
            run.speed_readings_kn,
            run.log_start_nm,
            run.log_stop_nm,
            run.heading_compass_deg,
            run.engine_rpm,
            run.speed_group,
            self.noted_by,
            self.timed_by,
            self.helm,
            self.remarks,
        ]
        return hashlib.sha256(json.dumps(plain(content)).encode()).hexdigest()


class RunEntry(Entry):
    """One run, from paper, page or phone."""

    id: Text = None
    direction: Text = None
    elapsed: Text = None
    started_at: Text = None
    ended_at: Text = None
    readings: Text = None
    log_start: Text = None
    log_stop: Text = None
    rpm: Text = None
    heading_compass: Text = None
    speed_group: Text = None
    noted_by: Text = None
    timed_by: Text = None
    helm: Text = None
    remarks: Text = None

    def read(self, day: date | None = None, utc_offset: timedelta = timedelta(0)) -> ReadRun:
        """Return the run.

        Parameters
        ----------
        day
            Date on ship's clock, for clock times.
        utc_offset
            Ship's time minus UTC.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be.
        """
        faults = Faults()
        run_id = faults.take(lambda: identity(self.id), "")
        direction = faults.take(lambda: choice(self.direction, "direction", Direction), Direction.OUT)
        started_at, elapsed_s = self._times(faults, day, utc_offset)
        nothing: tuple[tuple[float, ...], tuple[str, ...]] = ((), ())
        speeds, typed_speeds = faults.take(lambda: several_numbers(self.readings, "readings"), nothing)
        single = {
            name: faults.take(lambda name=name: _maybe(getattr(self, name), name), None)  # type: ignore[misc]
            for name in ("log_start", "log_stop", "rpm", "heading_compass")
        }
        words = {
            name: faults.take(lambda name=name: short(getattr(self, name), name), "")  # type: ignore[misc]
            for name in ("noted_by", "timed_by", "helm", "remarks")
        }
        group = faults.take(lambda: short(self.speed_group, "speed_group", 60), "")
        run = faults.take(
            lambda: reraised(
                # Where the time is at fault already, 1 s stands in so that the other boxes are looked at too.
                lambda: Run(
                    direction,
                    elapsed_s or 1.0,
                    started_at,
                    speeds,
                    single["log_start"],
                    single["log_stop"],
                    single["heading_compass"],
                    single["rpm"],
                    group,
                ),
                RUN_COLUMNS,
            ),
            None,
        )
        whole = faults.sure(run)
        return ReadRun(run_id, whole, self._raw(whole, typed_speeds, single), **words)

    def _times(self, faults: Faults, day: date | None, utc_offset: timedelta) -> tuple[datetime | None, float | None]:
        """Return start and elapsed time from any two of elapsed, start and stop."""
        watch = faults.take(lambda: None if self.elapsed is None else parse_elapsed(self.elapsed), None)
        begun, stopped = (
            faults.take(
                lambda text=text, field=field: None if text is None else instant(text, field, day, utc_offset),  # type: ignore[misc]
                None,
            )
            for text, field in ((self.started_at, "started_at"), (self.ended_at, "ended_at"))
        )
        clock = faults.take(lambda: _clock_elapsed(begun, stopped), None)
        if watch is not None and clock is not None and abs(watch - clock) > ELAPSED_SLACK_S:
            faults.add(
                "elapsed",
                self.elapsed,
                f"start and stop are {clock:g} s apart, and the two must agree within {ELAPSED_SLACK_S:g} s",
                "Find which of the three was written down wrongly, and leave out or correct that one.",
            )
        elapsed_s = watch if watch is not None else clock
        if elapsed_s is None and self.elapsed is None and (self.started_at is None or self.ended_at is None):
            faults.add("elapsed", None, "a run needs its time", "Write it as 5:34, or give start and stop.")
        if elapsed_s is not None:
            elapsed_s = round(elapsed_s, 6)
            if begun is None and stopped is not None:
                begun = stopped - timedelta(seconds=elapsed_s)
        return begun, elapsed_s

    def _raw(self, run: Run, typed_speeds: tuple[str, ...], single: dict[str, float | None]) -> tuple[Raw, ...]:
        found = [
            Raw(ReadingKind.SPEED, value, typed)
            for value, typed in zip(run.speed_readings_kn, typed_speeds, strict=True)
        ]
        found += [
            Raw(ReadingKind(name), single[name], getattr(self, name)) for name in single if single[name] is not None
        ]
        if self.elapsed is not None:
            found.append(Raw(ReadingKind.ELAPSED, run.elapsed_s, self.elapsed))
        if self.started_at is not None:
            found.append(Raw(ReadingKind.MARK_START, None, self.started_at))
        if self.ended_at is not None:
            found.append(Raw(ReadingKind.MARK_STOP, None, self.ended_at))
        return tuple(found)


def _clock_elapsed(begun: datetime | None, stopped: datetime | None) -> float | None:
    return None if begun is None or stopped is None else elapsed_between(begun, stopped, "ended_at")


def _maybe(text: str | None, field: str) -> float | None:
    return None if text is None else parse_number(text, field)
