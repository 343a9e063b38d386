"""What the use-cases return: frozen facts, with core values inside, free of the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from truemile.core.corrections import LogCorrection
from truemile.core.log_runs import Conditions, Run
from truemile.core.log_settings import Convention, LogSetting
from truemile.core.measured_course import CourseMark, MeasuredCourse
from truemile.core.position import Position
from truemile.workbook.schema import How, InstrumentKind, ReadingKind, TrialKind


@dataclass(frozen=True, slots=True)
class BoatView:
    """A boat, with ship's time minus UTC as it stands now."""

    id: int
    name: str
    description: str
    length_m: float | None
    draught_m: float | None
    air_draft_m: float | None
    ship_utc_offset_min: int
    demo: bool
    entry_id: int

    @property
    def ship_utc_offset(self) -> timedelta:
        """Ship's time minus UTC."""
        return timedelta(minutes=self.ship_utc_offset_min)


@dataclass(frozen=True, slots=True)
class SettingView:
    """What was set in an instrument from `set_at` on."""

    id: int
    instrument_id: int
    setting: LogSetting
    set_at: datetime
    author: str
    note: str
    entry_id: int


@dataclass(frozen=True, slots=True)
class InstrumentView:
    """An instrument, how finely it reads, and what is set in it now (None if never noted)."""

    id: int
    boat_id: int
    name: str
    kind: InstrumentKind
    speed_resolution_kn: float
    distance_resolution_nm: float
    convention: Convention | None
    setting_step: float | None
    remarks: str
    setting: SettingView | None
    entry_id: int


@dataclass(frozen=True, slots=True)
class MarkView:
    """A mark, its position as typed and as understood, and how well it is known."""

    id: int
    name: str
    position: Position
    position_typed: str
    u_m: float
    fixed: bool
    source: str
    checked_on: date | None
    remarks: str
    entry_id: int

    @property
    def course_mark(self) -> CourseMark:
        """The same as the end of a course."""
        return CourseMark(self.name, self.position, self.u_m, self.fixed)


@dataclass(frozen=True, slots=True)
class CourseView:
    """A measured course, with its marks if it has any."""

    id: int
    name: str
    course: MeasuredCourse
    start: MarkView | None
    end: MarkView | None
    precision_nm: float | None
    remarks: str
    trial_ids: tuple[int, ...]
    entry_id: int


@dataclass(frozen=True, slots=True)
class ReadingView:
    """One reading, raw as read."""

    id: str
    run_id: str
    instrument_id: int | None
    kind: ReadingKind
    place: int
    value: float | None
    typed: str
    taken_at: datetime
    noted_by: str
    setting_id: int | None


@dataclass(frozen=True, slots=True)
class RunView:
    """One run as kept; `number` counts the runs in use from 1, and is 0 for a withdrawn one."""

    id: str
    number: int
    trial_id: int
    run: Run
    readings: tuple[ReadingView, ...]
    setting: LogSetting | None
    noted_by: str
    timed_by: str
    helm: str
    remarks: str
    withdrawn: bool
    entry_id: int

    @property
    def ended_at(self) -> datetime | None:
        """When the second mark was passed."""
        started = self.run.started_at
        return None if started is None else started + timedelta(seconds=self.run.elapsed_s)


@dataclass(frozen=True, slots=True)
class TrialView:
    """A trial with its runs in use (in order of time), and those that were withdrawn."""

    id: int
    kind: TrialKind
    instrument: InstrumentView
    course: CourseView
    began_at: datetime
    utc_offset_min: int
    conditions: Conditions
    crew: str
    weather: str
    remarks: str
    floating_insisted: bool
    runs: tuple[RunView, ...]
    withdrawn_runs: tuple[RunView, ...]
    correction_ids: tuple[int, ...]
    author: str
    withdrawn: bool
    entry_id: int

    @property
    def setting(self) -> LogSetting | None:
        """What was set in the log at the first run, to which all readings of the trial are reduced."""
        return self.runs[0].setting if self.runs else None

    @property
    def ship_date(self) -> date:
        """The date on ship's clock when the trial began."""
        return (self.began_at + timedelta(minutes=self.utc_offset_min)).date()


@dataclass(frozen=True, slots=True)
class CorrectionView:
    """A correction put in force: the curve, its validity, and where it came from.

    Attributes
    ----------
    correction
        As measured; its `setting` is what was set in the log then.
    new_setting
        What was entered in the instrument when it was put in force as a setting, else None.
    leftover_factor
        Factor that remains for readings under `new_setting`, in the middle of the measured speeds; else None.
    measured_at
        When the trial began.
    provenance
        Trial, program version, indication, degree, readings used, hand factor.
    standing
        False once its entry was undone.
    """

    id: int
    instrument_id: int
    trial_id: int
    how: How
    correction: LogCorrection
    new_setting: LogSetting | None
    leftover_factor: float | None
    measured_at: datetime
    put_at: datetime
    valid_from: datetime
    valid_until: datetime | None
    author: str
    provenance: Mapping[str, Any]
    standing: bool
    entry_id: int

    @property
    def hand_factor(self) -> float | None:
        """Plain mean of the run factors, as worked by hand."""
        value = self.provenance.get("hand_factor")
        return None if value is None else float(value)

    def valid_at(self, at: datetime) -> bool:
        """True where the instant lies in its validity."""
        return self.valid_from <= at and (self.valid_until is None or at < self.valid_until)


@dataclass(frozen=True, slots=True)
class EntryView:
    """One entry of the journal.

    Attributes
    ----------
    subject, subject_id
        Table and row that it is about.
    undoes
        The entry that this one undid, or None.
    undone_by
        The entry by which this one is undone now, or None.
    standing
        True while it counts.
    """

    id: int
    at: datetime
    author: str
    action: str
    subject: str
    subject_id: str
    summary: str
    detail: Mapping[str, Any]
    undoes: int | None
    undone_by: int | None
    standing: bool
