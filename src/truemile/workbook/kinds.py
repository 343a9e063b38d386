"""The kinds of things a workbook keeps, apart from the tables so that a form can be read without the database."""

from __future__ import annotations

from enum import StrEnum


class InstrumentKind(StrEnum):
    """What an instrument measures."""

    LOG = "log"


class TrialKind(StrEnum):
    """Whether a trial measures the factor, or checks the one in force."""

    CALIBRATION = "calibration"
    CHECK = "check"


class How(StrEnum):
    """How a factor is put in force."""

    APPLIED = "applied"
    SET = "set"


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
