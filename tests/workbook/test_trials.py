"""Trials: started, filled, refused, imported and exported."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid4

import pytest

from tests.workbook.season import APRIL, JUNE, LAUNCHED, MAY, Clock, run_entry, trial_of
from truemile.core.errors import ManyFaults, NavigationError, NotEnoughReadings, NotFound, ReadingError
from truemile.core.log_runs import Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook.boats import add_boat, boat, set_ship_time
from truemile.workbook.courses import add_course, add_mark, course, courses, mark
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, MarkEntry, RunEntry, SettingEntry, TrialEntry
from truemile.workbook.instruments import add_log, instrument, instruments, record_setting, setting_at
from truemile.workbook.instruments import settings as settings_of
from truemile.workbook.journal import entries
from truemile.workbook.log_trials import (
    amend_trial,
    record_run,
    reduced_runs,
    start_trial,
    trial,
    trial_result,
    trials,
    withdraw_run,
)
from truemile.workbook.schema import TrialKind
from truemile.workbook.store import Workbook


def test_the_trade_fact_comes_out_of_a_trial(wb: Workbook) -> None:
    """0.6 nm in 5 min 34 s is 6.47 kn; with 7.6 kn indicated the factor is 0.851 (common practice, no source)."""
    result = trial_result(wb, trial_of(wb, MAY).id)
    assert round(result.factor, 3) == 0.851
    assert round(result.groups[0].best.mean_ground_kn, 2) == 6.47


def test_a_trial_says_what_it_is(wb: Workbook) -> None:
    """Instrument, course, conditions of the log's own display, and runs in order of time."""
    view = trial(wb, trial_of(wb, MAY).id)
    assert (view.instrument.name, view.course.name, view.kind) == ("Log", "Saltgrass", TrialKind.CALIBRATION)
    assert view.ship_date == date(2026, 5, 14)
    assert [item.number for item in view.runs] == [1, 2, 3, 4]
    assert view.runs[0].ended_at == MAY + timedelta(seconds=334)
    assert view.setting == LogSetting(Convention.MULTIPLIER, 1.0)
    assert course(wb, "saltgrass").trial_ids == (view.id,)


def test_runs_are_put_in_order_of_time_and_without_times_stay_as_entered(wb: Workbook) -> None:
    """The stream is followed in time, so the order matters."""
    timed = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    for minute in ("09:30", "09:10", "09:20"):
        record_run(wb, timed.id, run_entry("out", minute))
    starts = [item.run.started_at.minute for item in trial(wb, timed.id).runs if item.run.started_at]
    assert starts == [10, 20, 30]
    record_run(wb, timed.id, RunEntry(direction="back", elapsed="6:00", readings="7"))
    assert [item.run.elapsed_s for item in trial(wb, timed.id).runs][-1] == 360.0
    assert trial(wb, timed.id).runs[0].run.started_at == datetime(2026, 5, 14, 9, 30, tzinfo=UTC)


def test_the_same_run_sent_again_changes_nothing(wb: Workbook) -> None:
    """A phone that did not hear the answer asks again."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    entry = run_entry("out", "09:00").model_copy(update={"id": str(uuid4()).upper()})
    first = record_run(wb, view.id, entry)
    known = entries(wb)
    assert record_run(wb, view.id, entry) == first
    assert record_run(wb, view.id, entry.model_copy(update={"elapsed": "334 s"})) == first
    assert entries(wb) == known
    assert first.id == str(UUID(entry.id))
    assert len({reading.id for reading in first.readings}) == len(first.readings)


def test_another_run_under_the_same_id_is_refused(wb: Workbook) -> None:
    """Neither another time nor another trial may take the place of what was kept."""
    view = trial_of(wb, MAY)
    first = trial(wb, view.id).runs[0]
    other = run_entry("out", "09:00", elapsed="5:35").model_copy(update={"id": first.id})
    with pytest.raises(ReadingError, match="a different run of trial 1 is kept under that id"):
        record_run(wb, view.id, other)
    second = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    same = run_entry("out", "09:00").model_copy(update={"id": first.id})
    with pytest.raises(ReadingError, match="a different run of trial 1"):
        record_run(wb, second.id, same)


def test_a_withdrawn_run_sent_again_stays_withdrawn(wb: Workbook) -> None:
    """A late echo does not bring back what was taken out."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    entry = run_entry("out", "09:00").model_copy(update={"id": str(uuid4())})
    withdraw_run(wb, record_run(wb, view.id, entry).id)
    assert record_run(wb, view.id, entry).withdrawn
    assert trial(wb, view.id).runs == ()


def test_a_reading_is_kept_as_it_was_typed(wb: Workbook) -> None:
    """Text, value, time, who noted it and what was set in the log."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    entry = run_entry("out", "09:00", readings="7,60").model_copy(update={"noted_by": "Ines", "rpm": "2200"})
    kept = {reading.kind.value: reading for reading in record_run(wb, view.id, entry).readings}
    speed = kept["speed"]
    assert (speed.typed, speed.value, speed.taken_at, speed.noted_by) == ("7,60", 7.6, MAY, "Ines")
    setting = setting_at(wb, None, MAY)
    assert setting is not None
    assert speed.setting_id == setting.id
    assert speed.instrument_id == view.instrument.id
    # Watch and engine are not the log.
    assert (kept["elapsed"].typed, kept["elapsed"].setting_id, kept["rpm"].instrument_id) == ("5:34", None, None)
    assert kept["mark_start"].typed == "09:00"


def test_a_course_with_a_floating_mark_is_refused_unless_insisted_on(wb: Workbook) -> None:
    """The insisting is written down."""
    add_mark(wb, MarkEntry(name="Gannet Pier", position="47°12.000′N 031°03.000′W"))
    add_mark(wb, MarkEntry(name="Wren Ledge", position="47°11.52′N 031°02.10′W", fixed="no"))
    leg = add_course(wb, CourseEntry(start="Gannet Pier", end="Wren Ledge"))
    with pytest.raises(ReadingError, match="Wren Ledge floats"):
        start_trial(wb, TrialEntry(course=leg.name))
    view = start_trial(wb, TrialEntry(course=leg.name, insist_floating="yes"))
    assert view.floating_insisted
    newest = entries(wb, limit=1)[0]
    assert newest.detail["floating_marks"] == ["Wren Ledge"]
    assert "although Wren Ledge floats" in newest.summary


@pytest.mark.parametrize(
    ("typed", "began_at"),
    [
        (None, JUNE),
        ("2026-06-20", JUNE),
        ("2026-05-14", datetime(2026, 5, 14, 14, 0, tzinfo=UTC)),
        ("2026-05-14T13:00:00+02:00", datetime(2026, 5, 14, 11, 0, tzinfo=UTC)),
    ],
)
def test_a_trial_begins_now_or_when_it_says(wb: Workbook, typed: str | None, began_at: datetime) -> None:
    """A day alone is its noon on ship's clock, except today."""
    set_ship_time(wb, None, -120, valid_from=LAUNCHED)
    assert start_trial(wb, TrialEntry(course="Saltgrass", date=typed)).began_at == began_at


def test_clock_times_are_ships_time_of_the_trials_day(wb: Workbook) -> None:
    """11 o'clock on a clock two hours behind is 13 UTC."""
    set_ship_time(wb, None, -120, valid_from=LAUNCHED)
    view = start_trial(wb, TrialEntry(course="Saltgrass", date="2026-05-14"))
    kept = record_run(wb, view.id, run_entry("out", "11:00:00"))
    assert kept.run.started_at == datetime(2026, 5, 14, 13, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("boxes", "words"),
    [
        ({"date": "2027-05-14"}, "written down when it is made"),
        ({"date": "14.5.26"}, "year, month and day"),
        ({"date": "2026-05-14T13:00:00"}, "must say its zone"),
        ({"kind": "party"}, "calibration or check"),
        ({"steering": "loose"}, "heading held or track held"),
        ({"timing_limit": "0"}, "timing_limit"),
    ],
)
def test_a_trial_that_cannot_be_is_refused(wb: Workbook, boxes: dict[str, str], words: str) -> None:
    """Nothing is kept of it."""
    with pytest.raises(ReadingError, match=words):
        start_trial(wb, TrialEntry(course="Saltgrass", **boxes))
    assert trials(wb) == ()


def test_all_faults_of_a_trial_come_at_once(wb: Workbook) -> None:
    """Date, kind and conditions together."""
    with pytest.raises(ManyFaults) as caught:
        start_trial(wb, TrialEntry(course="Saltgrass", date="soon", kind="party", crossing="80", insist_floating="eh"))
    assert [fault.field for fault in caught.value.faults] == ["kind", "date", "crossing", "insist_floating"]


def test_an_amended_trial_keeps_what_was_left_empty(wb: Workbook) -> None:
    """Only what was filled in changes."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", weather="calm", crew="Ines", timing_limit="0.5"))
    after = amend_trial(wb, view.id, TrialEntry(steering="track", crew="Ines and Bram"))
    assert (after.conditions.steering, after.conditions.timing_limit_s) == (Steering.TRACK_HELD, 0.5)
    assert (after.weather, after.crew) == ("calm", "Ines and Bram")
    with pytest.raises(ManyFaults) as caught:
        amend_trial(wb, view.id, TrialEntry(course="Other", date="2026-05-14"))
    assert [fault.field for fault in caught.value.faults] == ["course", "date"]


def test_a_trial_that_cannot_give_a_factor_says_why_in_the_forms_words(wb: Workbook) -> None:
    """The core's faults come out under the names of the boxes."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    record_run(wb, view.id, run_entry("out", "09:00"))
    with pytest.raises(NotEnoughReadings, match="two runs"):
        trial_result(wb, view.id)
    record_run(wb, view.id, RunEntry(direction="back", elapsed="5:34", started_at="09:10", log_stop="0.70"))
    with pytest.raises(NotEnoughReadings, match=r"runs is missing.*one and the same reading"):
        trial_result(wb, view.id)


def test_a_setting_changed_in_the_middle_is_reduced_to_the_first(wb: Workbook) -> None:
    """Readings of one trial compare even if somebody touched the menu: 7.6 kn under × 1.0 is 7.98 under × 1.05."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    record_setting(wb, None, LogSetting(Convention.MULTIPLIER, 1.05), set_at=MAY + timedelta(minutes=15))
    for number, direction in enumerate(("out", "back", "out", "back")):
        readings = "7.6" if number < 2 else "7.98"
        record_run(wb, view.id, run_entry(direction, f"09:{number * 10:02d}", readings=readings))
    found = trial(wb, view.id)
    assert [run.speed_readings_kn[0] for run in reduced_runs(found)] == pytest.approx([7.6] * 4, abs=1e-9)
    result = trial_result(wb, view.id)
    assert round(result.factor, 3) == 0.851
    assert result.correction.setting == LogSetting(Convention.MULTIPLIER, 1.0)


def test_names_find_without_regard_to_capitals_and_suggest_the_nearest(wb: Workbook) -> None:
    """A slip in a name is told what was meant."""
    assert instrument(wb, "LOG").name == "Log"
    assert instrument(wb, "1").name == "Log"
    with pytest.raises(NotFound, match=r"course is 'Saltgras', .*Did you mean Saltgrass\?"):
        start_trial(wb, TrialEntry(course="Saltgras"))
    with pytest.raises(NotFound, match="no mark of that name"):
        mark(wb, "Tower")
    with pytest.raises(NotFound, match="There are: Saltgrass"):
        course(wb, "qqqqqq")


def test_the_only_one_need_not_be_named_but_one_of_several_must(wb: Workbook) -> None:
    """A boat with one log is the rule."""
    assert instrument(wb).name == "Log"
    add_log(wb, LogEntry(name="Spare log"))
    with pytest.raises(ReadingError, match=r"there are 2: Log, Spare log\. Say which instrument"):
        instrument(wb)
    add_boat(wb, BoatEntry(name="Sanderling"))
    with pytest.raises(ReadingError, match="there are 2"):
        boat(wb)
    assert [item.name for item in instruments(wb, "Dunlin")] == ["Log", "Spare log"]
    assert instruments(wb, "Sanderling") == ()


def test_an_empty_workbook_says_what_to_add(tmp_path: object, clock: Clock) -> None:
    """The first step is named."""
    with (
        Workbook.create(f"{tmp_path}/empty.truemile", clock=clock) as empty,
        pytest.raises(NotFound, match="Add a boat first"),
    ):
        boat(empty)


@pytest.mark.parametrize("word", ["boat", "instrument", "mark", "course"])
def test_a_name_is_given_once(wb: Workbook, word: str) -> None:
    """Two of one name could not be told apart."""
    add_mark(wb, MarkEntry(name="Gannet Pier", position="47°12.000′N 031°03.000′W"))
    again = {
        "boat": lambda: add_boat(wb, BoatEntry(name="dunlin")),
        "instrument": lambda: add_log(wb, LogEntry(name="LOG")),
        "mark": lambda: add_mark(wb, MarkEntry(name="gannet pier", position="47°13.000′N 031°03.000′W")),
        "course": lambda: add_course(wb, CourseEntry(name="saltgrass", distance="0.50")),
    }[word]
    with pytest.raises(ReadingError, match=rf"there is a {word} of that name"):
        again()


def test_all_faults_of_a_boat_and_of_a_log_come_at_once(wb: Workbook) -> None:
    """Each box is named."""
    with pytest.raises(ManyFaults) as caught:
        add_boat(wb, BoatEntry(length_m="0", ship_utc_offset_min="900", demo="perhaps"))
    assert [fault.field for fault in caught.value.faults] == ["name", "length_m", "ship_utc_offset_min", "demo"]
    with pytest.raises(ManyFaults) as caught:
        add_log(wb, LogEntry(speed_resolution="2", convention="guess", setting_step="0"))
    assert [fault.field for fault in caught.value.faults] == ["name", "speed_resolution", "convention", "setting_step"]
    with pytest.raises(ReadingError, match="from -720 to 840"):
        set_ship_time(wb, None, 900)


@pytest.mark.parametrize(
    ("boxes", "words"),
    [
        ({"start": "Gannet Pier"}, "end is missing, but it must be filled in"),
        ({"start": "Gannet Pier", "end": "Gannet Pier"}, "two different marks"),
        ({"start": "Gannet Pier", "end": "Nowhere"}, "end is 'Nowhere'"),
        ({"start": "Gannet Pier", "end": "Far Rock"}, r"end is .*between 0\.05 and 20"),
        ({"start": "Gannet Pier", "end": "Far Rock", "distance": "0.6"}, "worked out from their positions"),
    ],
)
def test_a_course_between_marks_that_cannot_be_is_refused(wb: Workbook, boxes: dict[str, str], words: str) -> None:
    """Identical, unknown, or too far apart."""
    add_mark(wb, MarkEntry(name="Gannet Pier", position="47°12.000′N 031°03.000′W"))
    add_mark(wb, MarkEntry(name="Far Rock", position="48°12.000′N 031°03.000′W"))
    with pytest.raises(NavigationError, match=words):
        add_course(wb, CourseEntry(name="Leg", **boxes))
    assert [item.name for item in courses(wb)] == ["Saltgrass"]


def test_settings_are_noted_with_time_and_found_by_it(wb: Workbook) -> None:
    """Each instant has the setting that stood then; before the first it is unknown."""
    record_setting(wb, None, SettingEntry(value="1.05", set_at="2026-05-20T10:00:00Z", note="after cleaning"))
    assert setting_at(wb, None, datetime(2026, 3, 1, tzinfo=UTC)) is None
    for at, value in ((APRIL, 1.0), (MAY, 1.0), (JUNE, 1.05)):
        found = setting_at(wb, None, at)
        assert found is not None
        assert found.setting.value == value
    assert [item.note for item in settings_of(wb)] == ["", "after cleaning"]
    with pytest.raises(ManyFaults) as caught:
        record_setting(wb, None, SettingEntry(value="high", set_at="2026-05-20T10:00:00"))
    assert [fault.field for fault in caught.value.faults] == ["value", "set_at"]


def test_trials_are_listed_by_instrument_and_kind(wb: Workbook) -> None:
    """Newest first."""
    first, check = trial_of(wb, APRIL), trial_of(wb, MAY, kind="check")
    add_log(wb, LogEntry(name="Spare"))
    assert [view.id for view in trials(wb)] == [check.id, first.id]
    assert [view.id for view in trials(wb, "Log", kind=TrialKind.CHECK)] == [check.id]
    assert trials(wb, "Spare") == ()


def test_ships_time_of_a_boat_is_an_offset(wb: Workbook) -> None:
    """Two hours behind UTC."""
    assert set_ship_time(wb, None, -120).ship_utc_offset == timedelta(hours=-2)
