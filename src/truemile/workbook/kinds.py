"""The kinds of things a workbook keeps, apart from the tables so that a form can be read without the database."""

from __future__ import annotations

from enum import StrEnum


class InstrumentKind(StrEnum):
    """What an instrument measures."""

    LOG = "log"


class TrialKind(StrEnum):
    """Whether a trial measures the factor over a course, checks the one in force, or goes without marks."""

    CALIBRATION = "calibration"
    CHECK = "check"
    VECTOR_ROUND = "vector round"


class How(StrEnum):
    """How a factor is put in force."""

    APPLIED = "applied"
    SET = "set"


class TapKind(StrEnum):
    """What a press or a reading on a capture page says."""

    START = "start"
    STOP = "stop"
    SPEED = "speed"
    LOG_START = "log_start"
    LOG_STOP = "log_stop"
    RPM = "rpm"
    COMPASS = "compass"
    GROUP = "group"
    DIRECTION = "direction"
    HELM = "helm"
    TIMED_BY = "timed_by"
    NOTED_BY = "noted_by"
    REMARK = "remark"
    #: The tap whose id it names does not count.
    STRIKE = "strike"
    #: The run is whole.
    KEEP = "keep"
    #: The run is void.
    DROP = "drop"


class EventKind(StrEnum):
    """What happened to an instrument between trials."""

    CLEANING = "cleaning"
    HAUL_OUT = "haul-out"
    COLLISION = "collision"
    NEW_PADDLE = "new paddle"
    SETTING = "setting change"
    OTHER = "other"

    @property
    def resets(self) -> bool:
        """True where a trend begins anew after it."""
        return self in {EventKind.CLEANING, EventKind.HAUL_OUT, EventKind.NEW_PADDLE}

    @property
    def makes_due(self) -> bool:
        """True where the instrument must be measured again, whatever the trend says."""
        return self.resets or self is EventKind.COLLISION


class ReadingKind(StrEnum):
    """What was read or pressed during a run."""

    SPEED = "speed"
    LOG_START = "log_start"
    LOG_STOP = "log_stop"
    ELAPSED = "elapsed"
    MARK_START = "mark_start"
    MARK_STOP = "mark_stop"
    HEADING_COMPASS = "heading_compass"
    RPM = "rpm"
