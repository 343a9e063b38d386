"""The tables of a workbook: facts that are added and never altered, each tied to the journal entry that added it.

Nothing is updated and nothing is deleted. A row counts as long as its journal entry stands; undoing the entry takes
the row out of use, undoing the undo brings it back, and the history stays readable.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from truemile.core.errors import ReadingError
from truemile.core.ground_vectors import Tack
from truemile.core.log_runs import Direction, Steering
from truemile.core.log_settings import Convention
from truemile.workbook.kinds import EventKind as EventKind  # noqa: PLC0414
from truemile.workbook.kinds import How as How  # noqa: PLC0414 (a table's kinds are found beside it)
from truemile.workbook.kinds import InstrumentKind as InstrumentKind  # noqa: PLC0414
from truemile.workbook.kinds import ReadingKind as ReadingKind  # noqa: PLC0414
from truemile.workbook.kinds import TapKind as TapKind  # noqa: PLC0414
from truemile.workbook.kinds import TrialKind as TrialKind  # noqa: PLC0414

#: The schema this program reads and writes: the newest migration.
HEAD: Final = "0002"
#: Stands in the header of every workbook file, so that another program's database is not mistaken for one.
APPLICATION_ID: Final = 0x54724D6C


class UtcDateTime(sa.types.TypeDecorator[datetime]):
    """An instant in UTC, on every database; one without zone is refused."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002
        """Give the database UTC."""
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ReadingError(
                "at", value.isoformat(), "an instant must say its zone", "Add tzinfo=datetime.UTC, or the offset."
            )
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002
        """Give back UTC, which SQLite does not keep."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _choice(kind: type[StrEnum], name: str) -> sa.Enum:
    """Return a text column that holds the values of an enumeration, checked by the database."""
    return sa.Enum(
        kind,
        name=name,
        native_enum=False,
        create_constraint=True,
        values_callable=lambda members: [member.value for member in members],
    )


class Base(DeclarativeBase):
    """All tables, with names for every constraint so that a later migration can alter them."""

    metadata = sa.MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_name)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {datetime: UtcDateTime, dict[str, Any]: sa.JSON, list[Any]: sa.JSON}  # noqa: RUF012


class Journal(Base):
    """Every change: when, by whom, what, in words; and whether it still stands."""

    __tablename__ = "journal"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    author: Mapped[str] = mapped_column(sa.String(120))
    action: Mapped[str] = mapped_column(sa.String(40))
    subject: Mapped[str] = mapped_column(sa.String(40))
    subject_id: Mapped[str] = mapped_column(sa.String(40), default="")
    summary: Mapped[str] = mapped_column(sa.Text)
    detail: Mapped[dict[str, Any]]
    undoes_id: Mapped[int | None] = mapped_column(sa.ForeignKey("journal.id"), index=True)
    #: The one thing that changes: whether the entry still counts. `check` works it out afresh and compares.
    standing: Mapped[bool] = mapped_column(default=True)


class Entered:
    """What every fact carries: the journal entry that added it."""

    entry_id: Mapped[int] = mapped_column(sa.ForeignKey("journal.id"), index=True)


class Boat(Entered, Base):
    """A boat."""

    __tablename__ = "boats"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120))
    description: Mapped[str] = mapped_column(sa.Text, default="")
    length_m: Mapped[float | None]
    draught_m: Mapped[float | None]
    air_draft_m: Mapped[float | None]
    demo: Mapped[bool] = mapped_column(default=False)


class ShipTime(Entered, Base):
    """Ship's time minus UTC, from an instant on."""

    __tablename__ = "ship_times"
    __table_args__ = (sa.CheckConstraint("utc_offset_min BETWEEN -720 AND 840", "offset"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(sa.ForeignKey("boats.id"), index=True)
    utc_offset_min: Mapped[int]
    valid_from: Mapped[datetime]


class Instrument(Entered, Base):
    """An instrument of a boat, with how finely it reads."""

    __tablename__ = "instruments"
    id: Mapped[int] = mapped_column(primary_key=True)
    boat_id: Mapped[int] = mapped_column(sa.ForeignKey("boats.id"), index=True)
    name: Mapped[str] = mapped_column(sa.String(120))
    kind: Mapped[InstrumentKind] = mapped_column(_choice(InstrumentKind, "kind"))
    speed_resolution_kn: Mapped[float]
    distance_resolution_nm: Mapped[float]
    convention: Mapped[Convention | None] = mapped_column(_choice(Convention, "convention"))
    setting_step: Mapped[float | None]
    remarks: Mapped[str] = mapped_column(sa.Text, default="")


class Setting(Entered, Base):
    """What was set in an instrument from an instant on."""

    __tablename__ = "settings"
    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(sa.ForeignKey("instruments.id"), index=True)
    convention: Mapped[Convention] = mapped_column(_choice(Convention, "convention"))
    value: Mapped[float]
    set_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(sa.Text, default="")


class Mark(Entered, Base):
    """A mark by position, with how well that is known."""

    __tablename__ = "marks"
    __table_args__ = (
        sa.CheckConstraint("latitude_deg BETWEEN -90 AND 90", "latitude"),
        sa.CheckConstraint("longitude_deg BETWEEN -180 AND 180", "longitude"),
        sa.CheckConstraint("u_m > 0", "precision"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120))
    latitude_deg: Mapped[float]
    longitude_deg: Mapped[float]
    position_typed: Mapped[str] = mapped_column(sa.Text)
    u_m: Mapped[float]
    fixed: Mapped[bool]
    source: Mapped[str] = mapped_column(sa.Text, default="")
    checked_on: Mapped[date | None]
    remarks: Mapped[str] = mapped_column(sa.Text, default="")


class Course(Entered, Base):
    """A measured course: two marks, or a charted length."""

    __tablename__ = "courses"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120))
    start_id: Mapped[int | None] = mapped_column(sa.ForeignKey("marks.id"), index=True)
    end_id: Mapped[int | None] = mapped_column(sa.ForeignKey("marks.id"), index=True)
    length_nm: Mapped[float | None]
    precision_nm: Mapped[float | None]
    course_true_deg: Mapped[float | None]
    transits: Mapped[bool] = mapped_column(default=False)
    remarks: Mapped[str] = mapped_column(sa.Text, default="")


class Trial(Entered, Base):
    """One session of measuring an instrument, over a course or, as a vector round, without one."""

    __tablename__ = "trials"
    __table_args__ = (sa.CheckConstraint("course_id IS NOT NULL OR kind = 'vector round'", "course"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(sa.ForeignKey("instruments.id"), index=True)
    course_id: Mapped[int | None] = mapped_column(sa.ForeignKey("courses.id"), index=True)
    kind: Mapped[TrialKind] = mapped_column(_choice(TrialKind, "kind"))
    began_at: Mapped[datetime]
    utc_offset_min: Mapped[int]
    floating_insisted: Mapped[bool] = mapped_column(default=False)


class TrialDetails(Entered, Base):
    """Conditions and remarks of a trial; a later row amends an earlier one."""

    __tablename__ = "trial_details"
    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    steering: Mapped[Steering] = mapped_column(_choice(Steering, "steering"))
    speed_resolution_kn: Mapped[float]
    distance_resolution_nm: Mapped[float]
    timing_limit_s: Mapped[float]
    stream_irregularity_kn: Mapped[float]
    tide_amplitude_kn: Mapped[float] = mapped_column(server_default="1.0")
    crab_deg: Mapped[float | None]
    u_crab_deg: Mapped[float]
    crossing_deg: Mapped[float]
    crew: Mapped[str] = mapped_column(sa.Text, default="")
    weather: Mapped[str] = mapped_column(sa.Text, default="")
    remarks: Mapped[str] = mapped_column(sa.Text, default="")


class RunRow(Entered, Base):
    """One run of a trial; what was read in it stands in the readings."""

    __tablename__ = "runs"
    __table_args__ = (sa.CheckConstraint("elapsed_s > 0", "elapsed"),)
    id: Mapped[str] = mapped_column(sa.String(36), primary_key=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    place: Mapped[int]
    direction: Mapped[Direction] = mapped_column(_choice(Direction, "direction"))
    elapsed_s: Mapped[float]
    started_at: Mapped[datetime | None]
    speed_group: Mapped[str] = mapped_column(sa.String(60), default="")
    noted_by: Mapped[str] = mapped_column(sa.Text, default="")
    timed_by: Mapped[str] = mapped_column(sa.Text, default="")
    helm: Mapped[str] = mapped_column(sa.Text, default="")
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    #: Of the content as understood, so that the same run posted twice is known for the same.
    fingerprint: Mapped[str] = mapped_column(sa.String(64))


class Reading(Entered, Base):
    """One reading, raw as read: value, text as typed, when, by whom, and what was set in the instrument."""

    __tablename__ = "readings"
    id: Mapped[str] = mapped_column(sa.String(36), primary_key=True)
    run_id: Mapped[str] = mapped_column(sa.ForeignKey("runs.id"), index=True)
    instrument_id: Mapped[int | None] = mapped_column(sa.ForeignKey("instruments.id"), index=True)
    kind: Mapped[ReadingKind] = mapped_column(_choice(ReadingKind, "kind"))
    place: Mapped[int] = mapped_column(default=0)
    value: Mapped[float | None]
    typed: Mapped[str] = mapped_column(sa.Text)
    taken_at: Mapped[datetime]
    noted_by: Mapped[str] = mapped_column(sa.Text, default="")
    setting_id: Mapped[int | None] = mapped_column(sa.ForeignKey("settings.id"), index=True)


class Correction(Entered, Base):
    """A correction that was put in force, with where it came from."""

    __tablename__ = "corrections"
    __table_args__ = (sa.CheckConstraint("valid_until IS NULL OR valid_until > valid_from", "validity"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(sa.ForeignKey("instruments.id"), index=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    how: Mapped[How] = mapped_column(_choice(How, "how"))
    powers: Mapped[list[Any]]
    coefficients: Mapped[list[Any]]
    covariance: Mapped[list[Any]]
    dof: Mapped[float | None]
    lowest_kn: Mapped[float]
    highest_kn: Mapped[float]
    measured_convention: Mapped[Convention | None] = mapped_column(_choice(Convention, "measured_convention"))
    measured_value: Mapped[float | None]
    new_setting_id: Mapped[int | None] = mapped_column(sa.ForeignKey("settings.id"), index=True)
    put_at: Mapped[datetime]
    valid_from: Mapped[datetime]
    valid_until: Mapped[datetime | None]
    author: Mapped[str] = mapped_column(sa.String(120))
    provenance: Mapped[dict[str, Any]]


class TapRow(Base):
    """One press or reading on a capture page, as it came from the phone; it belongs to no trial by force."""

    __tablename__ = "taps"
    id: Mapped[str] = mapped_column(sa.String(36), primary_key=True)
    #: Which clock `pressed_at_ms` is of: the page's own id of the browser it runs in.
    device_id: Mapped[str] = mapped_column(sa.String(60))
    device_name: Mapped[str] = mapped_column(sa.String(120), default="")
    page: Mapped[str] = mapped_column(sa.String(20))
    trial_id: Mapped[int] = mapped_column(index=True)
    run_id: Mapped[str] = mapped_column(sa.String(36), index=True)
    kind: Mapped[TapKind] = mapped_column(_choice(TapKind, "kind"))
    value: Mapped[str] = mapped_column(sa.Text, default="")
    pressed_at_ms: Mapped[float]
    clock_offset_ms: Mapped[float | None]
    clock_offset_u_ms: Mapped[float | None]
    by: Mapped[str] = mapped_column(sa.String(120), default="")
    #: The joined phone that sent it; none for the laptop's own page.
    sent_by: Mapped[int | None] = mapped_column(sa.ForeignKey("devices.id"), index=True)
    received_at: Mapped[datetime]


class JoinCodeRow(Entered, Base):
    """A code by which phones join; short-lived, and only the newest counts."""

    __tablename__ = "join_codes"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(sa.String(12))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    #: Counts up; a code that was guessed at too often is void.
    wrong_tries: Mapped[int] = mapped_column(default=0)


class Device(Entered, Base):
    """A phone of the crew, known by a token of which only the hash is kept."""

    __tablename__ = "devices"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120))
    token_hash: Mapped[str] = mapped_column(sa.String(64), unique=True)
    joined_at: Mapped[datetime]
    code_id: Mapped[int] = mapped_column(sa.ForeignKey("join_codes.id"), index=True)


class Event(Entered, Base):
    """What happened to an instrument; settings have a table of their own."""

    __tablename__ = "events"
    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(sa.ForeignKey("instruments.id"), index=True)
    kind: Mapped[EventKind] = mapped_column(_choice(EventKind, "kind"))
    happened_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(sa.Text, default="")


class RoundDetails(Entered, Base):
    """Conditions and remarks of a vector round; a later row amends an earlier one."""

    __tablename__ = "round_details"
    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    speed_resolution_kn: Mapped[float]
    sog_resolution_kn: Mapped[float]
    cog_resolution_deg: Mapped[float]
    heading_resolution_deg: Mapped[float]
    unevenness_kn: Mapped[float]
    tide_amplitude_kn: Mapped[float]
    u_deviation_deg: Mapped[float]
    wind_kn: Mapped[float | None]
    crew: Mapped[str] = mapped_column(sa.Text, default="")
    weather: Mapped[str] = mapped_column(sa.Text, default="")
    remarks: Mapped[str] = mapped_column(sa.Text, default="")


class RecordingRow(Entered, Base):
    """A recorded file that legs were found in: what it was, not the file itself."""

    __tablename__ = "recordings"
    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    name: Mapped[str] = mapped_column(sa.Text)
    sha256: Mapped[str] = mapped_column(sa.String(64))
    size_bytes: Mapped[int]
    kind: Mapped[str] = mapped_column(sa.String(20))
    started_at: Mapped[datetime | None]
    duration_s: Mapped[float]
    counts: Mapped[dict[str, Any]]
    words: Mapped[list[Any]]


class LegRow(Entered, Base):
    """One leg of a vector round, raw as read or as found in a recording."""

    __tablename__ = "legs"
    id: Mapped[str] = mapped_column(sa.String(36), primary_key=True)
    trial_id: Mapped[int] = mapped_column(sa.ForeignKey("trials.id"), index=True)
    place: Mapped[int]
    heading_deg: Mapped[float]
    variation_deg: Mapped[float]
    indicated_kn: Mapped[float]
    sog_kn: Mapped[float]
    cog_true_deg: Mapped[float | None]
    duration_s: Mapped[float | None]
    started_at: Mapped[datetime | None]
    tack: Mapped[Tack] = mapped_column(_choice(Tack, "tack"))
    turn_rate_deg_s: Mapped[float | None]
    u_indicated_kn: Mapped[float | None]
    u_sog_kn: Mapped[float | None]
    u_cog_deg: Mapped[float | None]
    u_heading_deg: Mapped[float | None]
    typed: Mapped[dict[str, Any]]
    recording_id: Mapped[int | None] = mapped_column(sa.ForeignKey("recordings.id"), index=True)
    #: Of the content, so that the same leg posted twice is known for the same.
    fingerprint: Mapped[str] = mapped_column(sa.String(64))


#: Tables whose rows are facts: the database itself refuses to alter or delete them.
IMMUTABLE: Final = (
    "boats",
    "ship_times",
    "instruments",
    "settings",
    "marks",
    "courses",
    "trials",
    "trial_details",
    "runs",
    "readings",
    "corrections",
    "taps",
    "devices",
    "events",
    "round_details",
    "recordings",
    "legs",
)
