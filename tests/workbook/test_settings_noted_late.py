"""The setting that stood in the log during a trial: noted late, missing, or entered at another time than now."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.workbook.season import APRIL, JUNE, MAY, run_entry, trial_of
from truemile.core.errors import ManyFaults, ReadingError
from truemile.core.log_runs import Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook.courses import add_course
from truemile.workbook.entries import CourseEntry, LogEntry, TrialEntry
from truemile.workbook.instruments import add_log, record_setting, settings
from truemile.workbook.log_corrections import correct_speed, put_in_force
from truemile.workbook.log_trials import import_runs, record_run, start_trial, trial
from truemile.workbook.store import Workbook

TIMES_1 = LogSetting(Convention.MULTIPLIER, 1.0)


@pytest.fixture
def second_log(wb: Workbook) -> Workbook:
    """A workbook with a second log whose setting is not noted."""
    add_log(wb, LogEntry(name="Spare", convention="multiplier"))
    return wb


def _trial_of_spare(wb: Workbook) -> int:
    view = start_trial(wb, TrialEntry(instrument="Spare", course="Saltgrass", date=MAY.isoformat()))
    for number, direction in enumerate(("out", "back")):
        record_run(wb, view.id, run_entry(direction, f"10:{number}0"))
    return view.id


def test_a_factor_of_an_unknown_setting_is_not_put_in_force_beside_a_known_one(second_log: Workbook) -> None:
    """It could be applied to no reading of today; noted late, dated before the trial, it can."""
    trial_id = _trial_of_spare(second_log)
    record_setting(second_log, "Spare", TIMES_1, set_at=JUNE)
    with pytest.raises(ReadingError, match=r"setting is missing.*14 May 2026.*not noted.*dated before the trial"):
        put_in_force(second_log, trial_id)
    record_setting(second_log, "Spare", TIMES_1, set_at=APRIL)
    assert put_in_force(second_log, trial_id).correction.setting == TIMES_1
    assert correct_speed(second_log, "Spare", 7.6).corrected.inside


def test_a_setting_noted_after_the_factor_is_honoured(second_log: Workbook) -> None:
    """Put in force with nothing noted at all, the factor follows the setting that is noted later for its time."""
    trial_id = _trial_of_spare(second_log)
    assert put_in_force(second_log, trial_id).correction.setting is None
    record_setting(second_log, "Spare", TIMES_1, set_at=JUNE)
    with pytest.raises(ReadingError, match="setting"):
        correct_speed(second_log, "Spare", 7.6, at=JUNE + timedelta(days=1))
    record_setting(second_log, "Spare", TIMES_1, set_at=APRIL)
    assert correct_speed(second_log, "Spare", 7.6, at=JUNE + timedelta(days=1)).corrected.inside


def test_a_setting_counts_from_when_it_was_entered(wb: Workbook) -> None:
    """Readings between entering and telling are those of the new setting."""
    view = trial_of(wb, MAY)
    entered = MAY + timedelta(hours=3)
    put_in_force(wb, view.id, "set", entered_at=entered)
    assert max(item.set_at for item in settings(wb, "Log")) == entered
    with pytest.raises(ReadingError, match=r"entered_at is .*entered after it began"):
        put_in_force(wb, view.id, "set", entered_at=MAY - timedelta(days=1))


def test_a_file_taken_in_twice_is_refused(wb: Workbook) -> None:
    """A boat makes one run at a time, so the same runs again cannot halve the uncertainty."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    text = "direction,elapsed,started_at,readings\nout,5:34,10:00,7.6\nback,5:34,10:10,7.6\n"
    import_runs(wb, view.id, text)
    with pytest.raises(ReadingError, match=r"started_at is .*one at a time.*kept already"):
        import_runs(wb, view.id, text)
    assert len(trial(wb, view.id).runs) == 2


def test_a_run_that_cannot_be_is_refused_when_it_is_entered(wb: Workbook) -> None:
    """At the box it was typed into, or at its row of the file, and none of the file is kept."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    with pytest.raises(ReadingError, match=r"^readings is 7\.6.*hours and minutes"):
        record_run(wb, view.id, run_entry("out", "10:00", elapsed="5h34m"))
    rows = "direction,elapsed,readings\nout,5h34m,7.6\nback,5:34,7.6\nout,0:05,7.6\n"
    with pytest.raises(ManyFaults) as caught:
        import_runs(wb, view.id, rows)
    assert [fault.field for fault in caught.value.faults] == ["rows[0].readings", "rows[2].readings"]
    assert trial(wb, view.id).runs == ()


def test_the_course_decides_how_it_is_steered_unless_somebody_says_so(wb: Workbook) -> None:
    """On transits by the heading, between single marks by the track."""
    add_course(wb, CourseEntry(name="Bare", distance="0.60"))
    held = {
        name: start_trial(wb, TrialEntry(course=name, date=MAY.isoformat())).conditions.steering
        for name in ("Saltgrass", "Bare")
    }
    assert held == {"Saltgrass": Steering.HEADING_HELD, "Bare": Steering.TRACK_HELD}
    told = start_trial(wb, TrialEntry(course="Bare", date=MAY.isoformat(), steering="heading held"))
    assert told.conditions.steering is Steering.HEADING_HELD
