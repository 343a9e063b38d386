"""A small workbook for tests: one boat, one log, one charted course, and trials with a factor that is known."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook.boats import add_boat
from truemile.workbook.courses import add_course
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, RunEntry, TrialEntry
from truemile.workbook.instruments import add_log, record_setting
from truemile.workbook.log_trials import record_run, start_trial
from truemile.workbook.store import Workbook
from truemile.workbook.views import TrialView

APRIL = datetime(2026, 4, 10, 9, 0, tzinfo=UTC)
MAY = datetime(2026, 5, 14, 9, 0, tzinfo=UTC)
JUNE = datetime(2026, 6, 20, 9, 0, tzinfo=UTC)
LAUNCHED = datetime(2026, 4, 1, 12, 0, tzinfo=UTC)


class Clock:
    """A clock that a test sets."""

    def __init__(self, at: datetime = JUNE) -> None:
        """Start in June."""
        self.at = at

    def __call__(self) -> datetime:
        """Return what was set."""
        return self.at


def fitted_out(path: Path, clock: Clock) -> Workbook:
    """Return a workbook with the boat Dunlin, her log set to a multiplier of 1, and a course of 0.60 nm."""
    wb = Workbook.create(path, clock=clock, author="Ines")
    add_boat(wb, BoatEntry(name="Dunlin"))
    add_log(wb, LogEntry(name="Log", convention="multiplier", setting_step="0.01"))
    record_setting(wb, "Log", LogSetting(Convention.MULTIPLIER, 1.0), set_at=LAUNCHED)
    add_course(wb, CourseEntry(name="Saltgrass", distance="0.60", transits="yes"))
    return wb


def run_entry(direction: str, clock_time: str, *, readings: str = "7.6 7.6", elapsed: str = "5:34") -> RunEntry:
    """Return a run; as it stands, 0.6 nm in 5 min 34 s at 7.6 kn indicated."""
    return RunEntry(direction=direction, elapsed=elapsed, started_at=clock_time, readings=readings)


def trial_of(wb: Workbook, at: datetime, *, readings: str = "7.6 7.6", kind: str = "calibration") -> TrialView:
    """Return a trial of four runs in slack water: factor 6.47 kn over what was indicated."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=at.isoformat(), kind=kind))
    for number, direction in enumerate(("out", "back", "out", "back")):
        record_run(wb, view.id, run_entry(direction, f"{at.hour:02d}:{number * 10:02d}", readings=readings))
    return view
