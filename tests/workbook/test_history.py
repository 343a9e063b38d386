"""The history of a log: one setting for all, agreement, drift, and when to measure again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.workbook.cockpit import FACTOR, two_legs
from tests.workbook.season import APRIL, JUNE, MAY, Clock, run_entry, trial_of
from truemile.core.consistency import normalised_error
from truemile.core.errors import NotFound
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import journal
from truemile.workbook.entries import TrialEntry
from truemile.workbook.events import EventKind, record_event
from truemile.workbook.history import HistoryState, LogHistory, log_history
from truemile.workbook.instruments import record_setting
from truemile.workbook.log_corrections import put_in_force
from truemile.workbook.log_trials import record_run, start_trial, trial, trial_result, withdraw_trial
from truemile.workbook.round_recordings import take_recording
from truemile.workbook.schema import How, TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import RoundEntry, round_result, start_round

FIRST = datetime(2026, 4, 5, 9, 0, tzinfo=UTC)
#: Finely read speeds that belong to a factor of 0.851 and to a log that reads 1 % less each time.
READINGS = ("7.600 7.600", "7.525 7.525", "7.450 7.450", "7.376 7.376", "7.303 7.303", "7.230 7.230")


def drifted(wb: Workbook, clock: Clock, count: int = 6, *, step_days: int = 25) -> LogHistory:
    """Return the history after trials in which the log reads less and less."""
    clock.at = FIRST + timedelta(days=step_days * (count - 1), hours=6)
    for number in range(count):
        trial_of(wb, FIRST + timedelta(days=step_days * number), readings=READINGS[number])
    return log_history(wb)


def test_a_log_that_was_never_measured_says_so(wb: Workbook) -> None:
    """No points, no chart, no date; one sentence."""
    history = log_history(wb)
    assert (history.points, history.chart, history.ewma, history.trend, history.next_due) == (
        (),
        None,
        None,
        None,
        None,
    )
    assert history.state is HistoryState.NOTHING
    assert history.words == ("It has not been measured yet.",)


def test_one_trial_is_one_point(wb: Workbook) -> None:
    """Its factor and ± as the trial gives them; a second one is asked for."""
    view = trial_of(wb, MAY)
    history = log_history(wb, "Log")
    result = trial_result(wb, view.id)
    (point,) = history.points
    assert (point.trial_id, point.at, point.kind) == (view.id, MAY, TrialKind.CALIBRATION)
    assert (point.factor, point.expanded) == (result.factor, result.expanded)
    assert point.speed_kn == pytest.approx(7.6)
    assert (point.agrees, point.how) == (None, None)
    assert history.state is HistoryState.ONE
    assert history.words[-1] == "One trial shows no drift; a second one tells when it is due."


def test_trials_are_held_against_the_one_before(wb: Workbook) -> None:
    """Eₙ as ISO/IEC 17043 has it, of the two results with their own ±."""
    first, second = trial_of(wb, APRIL), trial_of(wb, MAY, readings="7.2 7.2")
    a, b = trial_result(wb, first.id), trial_result(wb, second.id)
    point = log_history(wb).points[1]
    assert point.normalised_error == pytest.approx(normalised_error(a.factor, a.expanded, b.factor, b.expanded))
    assert point.same_setting is True


def test_trials_that_differ_are_told(wb: Workbook) -> None:
    """Eight per cent apart, each known to two: something has changed."""
    trial_of(wb, APRIL)
    trial_of(wb, MAY, readings="8.3 8.3")
    history = log_history(wb)
    assert history.points[1].agrees is False
    assert any("do not agree" in words for words in history.words)


def test_a_new_setting_does_not_pass_for_drift(wb: Workbook) -> None:
    """The same paddle, once at × 1.00 and once at × 1.10: reduced to what is set now, both factors are one."""
    first = trial_of(wb, APRIL)
    record_setting(wb, "Log", LogSetting(Convention.MULTIPLIER, 1.10), set_at=MAY - timedelta(days=1))
    trial_of(wb, MAY, readings="8.36 8.36")
    history = log_history(wb)
    a, b = history.points
    assert history.setting == LogSetting(Convention.MULTIPLIER, 1.10)
    assert a.factor == pytest.approx(b.factor, rel=1e-9)
    assert a.factor == pytest.approx(trial_result(wb, first.id).factor / 1.10)
    assert a.speed_kn == pytest.approx(b.speed_kn)
    assert (b.same_setting, b.normalised_error) == (False, pytest.approx(0.0, abs=1e-9))
    assert a.measured_factor == trial_result(wb, first.id).factor
    assert [event.kind for event in history.events] == [EventKind.SETTING]


def test_a_setting_that_does_not_compare_leaves_its_trial_out(wb: Workbook) -> None:
    """Pulses per mile beside a multiplier: the trial is named, with the reason."""
    first = trial_of(wb, APRIL)
    record_setting(wb, "Log", LogSetting(Convention.PULSES_PER_NM, 20000), set_at=MAY - timedelta(days=1))
    second = trial_of(wb, MAY)
    history = log_history(wb)
    assert [point.trial_id for point in history.points] == [second.id]
    assert [(item.trial_id, item.reason.field) for item in history.skipped] == [(first.id, "setting")]


def test_a_trial_that_gives_no_factor_is_left_out(wb: Workbook) -> None:
    """An empty one is named with its reason, a withdrawn one is not there at all."""
    empty = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    withdraw_trial(wb, trial_of(wb, MAY).id)
    history = log_history(wb)
    assert history.points == ()
    assert [(item.trial_id, item.reason.field) for item in history.skipped] == [(empty.id, "runs")]


def test_check_trials_count_with_their_raw_factor(wb: Workbook) -> None:
    """What the log showed is what is compared, whatever was in force."""
    first = trial_of(wb, APRIL)
    put_in_force(wb, first.id, how=How.APPLIED)
    trial_of(wb, MAY, kind="check")
    a, b = log_history(wb).points
    assert b.kind is TrialKind.CHECK
    assert (a.factor, a.how, b.how) == (b.factor, How.APPLIED, None)


def test_a_vector_round_is_a_point_like_any_other(wb: Workbook) -> None:
    """Without marks, and with its own ±."""
    view = start_round(wb, RoundEntry(date=MAY.isoformat()))
    take_recording(wb, view.id, two_legs(), "round.csv")
    result = round_result(wb, view.id)
    (point,) = log_history(wb).points
    assert (point.kind, point.factor, point.expanded) == (TrialKind.VECTOR_ROUND, result.factor, result.expanded)
    assert abs(point.factor - FACTOR) < point.expanded


def test_a_round_that_is_refused_is_no_point(wb: Workbook) -> None:
    """Headings close together: it is named with the reason."""
    view = start_round(wb, RoundEntry(date=MAY.isoformat()))
    take_recording(wb, view.id, two_legs((10.0, 30.0)), "round.csv")
    history = log_history(wb)
    assert history.points == ()
    assert [item.trial_id for item in history.skipped] == [view.id]


def test_trials_at_several_speeds_are_compared_at_one(wb: Workbook) -> None:
    """A curve is read off at the usual speed, so that its own middle makes no difference."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat(), speed_resolution="0.01"))
    number = 0
    for label, shown, elapsed in (("slow", "4.00", "10:00"), ("middle", "6.00", "6:24"), ("fast", "9.00", "4:05")):
        for direction in ("out", "back", "out", "back"):
            entry = run_entry(
                direction, f"{9 + number // 5:02d}:{number % 5 * 12:02d}", readings=shown, elapsed=elapsed
            )
            record_run(wb, view.id, entry.model_copy(update={"speed_group": label}))
            number += 1
    for day in (APRIL, JUNE):
        trial_of(wb, day, readings="7.50 7.50", kind="check")
    curve = trial_result(wb, trial(wb, view.id).id).correction
    assert not curve.is_factor
    point = next(found for found in log_history(wb).points if found.trial_id == view.id)
    assert point.speed_kn == pytest.approx(7.5)
    assert point.factor == pytest.approx(curve.factor(7.5))
    assert point.factor != pytest.approx(point.measured_factor, rel=1e-4)


def test_a_drift_is_found_and_said(wb: Workbook, clock: Clock) -> None:
    """One per cent in 25 days, over half a season: how much, since when, which way, and that it is due."""
    history = drifted(wb, clock)
    assert history.trend is not None
    assert history.trend.significant
    assert history.trend.per_month == pytest.approx(0.012, rel=0.05)
    assert history.state in {HistoryState.DUE, HistoryState.DRIFTING}
    assert history.words[0].startswith("The factor has drifted up by ")
    assert "since the first trial" in history.words[0]
    assert history.words[0].endswith("the log reads less than it did.")


def test_a_day_that_has_passed_is_not_spoken_of_as_to_come(wb: Workbook, clock: Clock) -> None:
    """Due by its drift: before that day the words name it, after it they say that the 2 % are used up."""
    history = drifted(wb, clock, 4)
    assert history.next_due is not None
    assert history.next_due > history.points[-1].at
    before = log_history(wb, at=history.next_due - timedelta(hours=1))
    assert before.words[-1] == (
        f"Measure again by {history.next_due:%Y-%m-%d}. "
        "By then drift and uncertainty may use up the 2 % that the factor may be off."
    )
    clock.at = history.next_due + timedelta(days=30)
    after = log_history(wb)
    assert after.due_now
    assert after.words[-1] == (
        "Measure again now: drift and uncertainty already use up the 2 % that the factor may be off."
    )


def test_trials_too_rough_to_show_a_drift_say_so(wb: Workbook, clock: Clock) -> None:
    """Where ± alone is more than 2 %, it is due at once and for that reason."""
    clock.at = FIRST + timedelta(days=20)
    for number in range(2):
        trial_of(wb, FIRST + timedelta(days=10 * number), readings="6.6 8.6")
    history = log_history(wb)
    assert history.due_now
    assert history.words[-1] == (
        "Measure again now. The uncertainty of the trials already uses up the 2 % that the factor may be off."
    )


def test_a_trial_that_jumps_out_is_named(wb: Workbook, clock: Clock) -> None:
    """Five alike and one that is 20 % off: its number is told."""
    clock.at = FIRST + timedelta(days=100)
    for number, shown in enumerate(("7.6 7.6", "7.6 7.6", "7.6 7.6", "7.6 7.6", "6.3 6.3", "7.6 7.6")):
        trial_of(wb, FIRST + timedelta(days=10 * number), readings=shown)
    assert "Outside the limits of the chart: trial 5." in log_history(wb).words


def test_the_trend_begins_anew_after_a_haul_out(wb: Workbook, clock: Clock) -> None:
    """What was before does not count any more; the event is named."""
    record_event(wb, "Log", EventKind.HAUL_OUT, FIRST + timedelta(days=60))
    history = drifted(wb, clock)
    assert history.reset is not None
    assert history.trend is not None
    assert (history.trend.count, history.trend.since) == (3, FIRST + timedelta(days=75))
    assert "since the haul-out on 2026-06-04" in history.words[0]
    assert len(history.points) == 6


def test_a_collision_does_not_begin_the_trend_anew(wb: Workbook, clock: Clock) -> None:
    """It makes the log due, no more."""
    record_event(wb, "Log", EventKind.COLLISION, FIRST + timedelta(days=60))
    history = drifted(wb, clock)
    assert history.trend is not None
    assert history.trend.count == 6


@pytest.mark.parametrize("kind", [EventKind.CLEANING, EventKind.HAUL_OUT, EventKind.COLLISION, EventKind.NEW_PADDLE])
def test_after_such_an_event_it_is_due_at_once(wb: Workbook, kind: EventKind) -> None:
    """ILAC-G24:2022 asks for it whatever the line says; the event is named."""
    trial_of(wb, APRIL)
    trial_of(wb, MAY)
    happened = MAY + timedelta(days=7)
    record_event(wb, "Log", kind, happened)
    history = log_history(wb)
    assert history.next_due == happened
    assert history.state is HistoryState.DUE
    assert history.due_now
    assert history.words[-1] == (f"Measure again now. It has not been measured since the {kind.value} on 2026-05-21.")


def test_a_remark_or_a_setting_does_not_make_it_due(wb: Workbook) -> None:
    """A new number in the menu changes nothing in the water."""
    trial_of(wb, APRIL)
    trial_of(wb, MAY)
    before = log_history(wb)
    record_event(wb, "Log", EventKind.OTHER, MAY + timedelta(days=7), "painted")
    record_setting(wb, "Log", LogSetting(Convention.MULTIPLIER, 1.10), set_at=MAY + timedelta(days=8))
    assert log_history(wb).next_due == before.next_due


def test_an_event_before_the_last_trial_does_not_make_it_due(wb: Workbook) -> None:
    """It was measured since; one trial after it shows no drift yet."""
    trial_of(wb, APRIL)
    record_event(wb, "Log", EventKind.CLEANING, MAY - timedelta(days=1))
    trial_of(wb, MAY)
    history = log_history(wb)
    assert history.next_due is None
    assert history.trend is None
    assert "One trial since the cleaning on 2026-05-13 shows no drift" in history.words[-1]


def test_a_steady_log_is_called_steady(wb: Workbook, clock: Clock) -> None:
    """No drift, two that agree, and a date."""
    clock.at = FIRST + timedelta(days=121)
    for number in range(5):
        trial_of(wb, FIRST + timedelta(days=30 * number))
    history = log_history(wb)
    assert history.words[0].startswith("Steady: no drift shows since the first trial (+0.00 ± ")
    assert history.words[1] == "The last two trials agree (Eₙ 0.00)."
    assert history.next_due is not None
    assert f"{history.next_due:%Y-%m-%d}" in history.words[-1] or history.due_now


def test_the_history_can_be_asked_as_of_a_day(wb: Workbook) -> None:
    """What came later is not looked at."""
    trial_of(wb, APRIL)
    trial_of(wb, MAY)
    record_event(wb, "Log", EventKind.CLEANING, MAY + timedelta(days=2))
    history = log_history(wb, at=APRIL + timedelta(days=3))
    assert len(history.points) == 1
    assert history.events == ()


def test_speeds_far_apart_are_remarked_on(wb: Workbook) -> None:
    """Part of a difference may be of the speed and not of the years."""
    trial_of(wb, APRIL)
    trial_of(wb, MAY, readings="9.0 9.0")
    assert any("between 7.6 and 9.0 kn indicated" in words for words in log_history(wb).words)


def test_without_a_setting_noted_the_factors_compare_as_they_are(wb: Workbook) -> None:
    """A log whose menu nobody ever wrote down is taken to have stayed as it was."""
    setting = next(entry for entry in journal.entries(wb) if entry.subject == "settings")
    journal.undo(wb, setting.id)
    trial_of(wb, APRIL)
    trial_of(wb, MAY)
    history = log_history(wb)
    assert history.setting is None
    assert len(history.points) == 2


def test_an_unknown_instrument_is_refused(wb: Workbook) -> None:
    """With the nearest name."""
    with pytest.raises(NotFound, match="Did you mean Log"):
        log_history(wb, "Logg")
