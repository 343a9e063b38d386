"""Corrections: put in force, found by validity, and never applied twice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.workbook.season import APRIL, JUNE, LAUNCHED, MAY, Clock, run_entry, trial_of
from truemile.core.errors import NotEnoughReadings, NotFound, ReadingError
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import correction_rows, journal, measured
from truemile.workbook.check_trials import check_result
from truemile.workbook.entries import LogEntry, RunEntry, TrialEntry
from truemile.workbook.instruments import add_log, instrument, record_setting
from truemile.workbook.log_corrections import (
    correct_column,
    correct_distance,
    correct_speed,
    correction,
    corrections,
    in_force,
    indicated_speed,
    put_in_force,
)
from truemile.workbook.log_trials import record_run, start_trial, trial, trial_result, withdraw_trial
from truemile.workbook.slate import STALE_DAYS, slate
from truemile.workbook.store import Workbook

#: 0.6 nm in 5 min 34 s, in knots.
TRUE_KN = 0.6 / 334 * 3600
#: The factor of the trade fact, 0.851 to three figures (common practice, no source).
FACTOR = TRUE_KN / 7.6
DAY = timedelta(days=1)


def multiplier(value: float) -> LogSetting:
    """Return a multiplier as it stands in the log."""
    return LogSetting(Convention.MULTIPLIER, value)


def test_what_is_put_in_force_corrects_from_the_trial_on(wb: Workbook) -> None:
    """The correction is the trial's, and is kept with where it came from."""
    view = trial_of(wb, MAY)
    kept = put_in_force(wb, view.id, author="Bram")
    result = trial_result(wb, view.id)
    assert kept.correction == result.correction
    assert (kept.how, kept.author, kept.valid_from, kept.valid_until) == ("applied", "Bram", MAY, None)
    assert kept.put_at == JUNE
    assert kept.hand_factor == pytest.approx(FACTOR, abs=1e-9)
    runs = trial(wb, view.id).runs
    assert kept.provenance["run_ids"] == [item.id for item in runs]
    assert kept.provenance["reading_ids"] == [reading.id for item in runs for reading in item.readings]
    assert kept.provenance["groups"][0]["indication"] == "speed display"
    assert trial(wb, view.id).correction_ids == (kept.id,)
    assert correction(wb, kept.id) == in_force(wb) == kept
    assert correct_speed(wb, None, 7.6).corrected.value == pytest.approx(TRUE_KN, abs=1e-9)
    newest = journal.entries(wb, limit=1)[0]
    assert newest.summary == "Log: factor 0.851 at 7.6 kn from trial 1, for readings from 2026-05-14 09:00 UTC"


def test_before_any_correction_there_is_none(wb: Workbook) -> None:
    """The reading is refused with what to do, and not passed through as if it were true."""
    assert in_force(wb) is None
    assert corrections(wb) == ()
    with pytest.raises(NotFound, match=r"no correction is in force for that time\. Make a trial"):
        correct_speed(wb, None, 6.0)
    put_in_force(wb, trial_of(wb, MAY).id)
    with pytest.raises(NotFound, match="Log at 2026-05-13"):
        correct_speed(wb, None, 6.0, at=MAY - DAY)


def test_a_better_factor_in_may_improves_aprils_readings(wb: Workbook) -> None:
    """Readings are kept as read, so what was logged in April is corrected anew."""
    put_in_force(wb, trial_of(wb, APRIL).id, at=APRIL)
    before = correct_speed(wb, None, 6.0, at=APRIL + DAY).corrected.value
    assert before == pytest.approx(6.0 * FACTOR, abs=1e-9)
    put_in_force(wb, trial_of(wb, MAY, readings="7.4 7.4").id, at=MAY, valid_from=LAUNCHED)
    after = correct_speed(wb, None, 6.0, at=APRIL + DAY).corrected.value
    assert after == pytest.approx(6.0 * TRUE_KN / 7.4, abs=1e-9)


def test_validity_decides_and_of_overlapping_ones_the_last_put_in_force(wb: Workbook) -> None:
    """A span in the middle is corrected by its own, and outside it the older one counts."""
    long = put_in_force(wb, trial_of(wb, APRIL).id, valid_from=LAUNCHED)
    short = put_in_force(wb, trial_of(wb, MAY, readings="7.4 7.4").id, valid_from=MAY, valid_until=MAY + 7 * DAY)
    found = {
        LAUNCHED - timedelta(seconds=1): None,
        LAUNCHED: long,
        MAY - timedelta(seconds=1): long,
        MAY: short,
        MAY + 7 * DAY - timedelta(seconds=1): short,
        MAY + 7 * DAY: long,
        JUNE: long,
    }
    assert {at: in_force(wb, None, at) for at in found} == found
    assert short.valid_at(MAY)
    assert not short.valid_at(MAY + 7 * DAY)
    assert corrections(wb) == (short, long)


def test_a_later_trial_without_earlier_validity_leaves_the_past_alone(wb: Workbook) -> None:
    """What fouled in summer says nothing about spring."""
    april = put_in_force(wb, trial_of(wb, APRIL).id)
    put_in_force(wb, trial_of(wb, MAY, readings="7.4 7.4").id)
    assert in_force(wb, None, APRIL + DAY) == april


def test_a_factor_entered_in_the_log_is_not_multiplied_again(wb: Workbook) -> None:
    """Set to × 0.85, the log shows 6.46 kn at the speed where it showed 7.6; once more times 0.851 would be 5.50."""
    kept = put_in_force(wb, trial_of(wb, MAY).id, "set", at=MAY + timedelta(hours=2))
    assert kept.new_setting == multiplier(0.85)
    assert kept.leftover_factor == pytest.approx(FACTOR / 0.85, abs=1e-12)
    after = correct_speed(wb, None, 6.46, at=MAY + DAY)
    assert after.setting == multiplier(0.85)
    assert after.corrected.reduced == pytest.approx(7.6, abs=1e-9)
    assert after.corrected.value == pytest.approx(TRUE_KN, abs=1e-9)
    assert abs(after.corrected.value - 6.46 * FACTOR) > 0.9
    # And before it was entered, the log still showed 7.6.
    before = correct_speed(wb, None, 7.6, at=MAY + timedelta(hours=1))
    assert before.corrected.value == pytest.approx(TRUE_KN, abs=1e-9)
    # The counter would show 0.6 nm × 0.85 / 0.851.
    distance = correct_distance(wb, None, 0.6 * 0.85 / FACTOR, at=MAY + DAY, elapsed_h=334 / 3600)
    assert distance.corrected.value == pytest.approx(0.6, abs=1e-9)


def test_what_the_log_must_show_follows_the_setting(wb: Workbook) -> None:
    """Corrected and asked back, the reading returns."""
    put_in_force(wb, trial_of(wb, MAY).id, "set", at=MAY)
    shown = indicated_speed(wb, None, TRUE_KN)
    assert shown.indicated_kn == pytest.approx(6.46, abs=1e-9)
    assert correct_speed(wb, None, shown.indicated_kn).corrected.value == pytest.approx(TRUE_KN, abs=1e-9)


def test_a_new_trial_after_setting_finds_the_leftover_only(wb: Workbook) -> None:
    """Its factor is near 1, and putting it in force multiplies nothing twice."""
    put_in_force(wb, trial_of(wb, APRIL).id, "set", at=APRIL + timedelta(hours=3))
    second = trial_of(wb, MAY, readings="6.4 6.5")
    assert trial_result(wb, second.id).factor == pytest.approx(TRUE_KN / 6.45, abs=1e-9)
    put_in_force(wb, second.id)
    assert correct_speed(wb, None, 6.45, at=MAY).corrected.value == pytest.approx(TRUE_KN, abs=1e-9)


@pytest.mark.parametrize(
    ("entered", "words"),
    [
        (multiplier(1.18), "should be set to × 0.850"),
        (multiplier(0.72), "a factor is entered once"),
        (LogSetting(Convention.PERCENT, -15.0), "should be set to × 0.850"),
    ],
)
def test_a_setting_that_does_not_follow_from_the_factor_is_refused(
    wb: Workbook, entered: LogSetting, words: str
) -> None:
    """Turned over, entered twice, or of another convention."""
    view = trial_of(wb, MAY)
    with pytest.raises(ReadingError, match=words):
        put_in_force(wb, view.id, "set", new_setting=entered)
    assert corrections(wb, withdrawn=True) == ()


def test_a_setting_a_step_beside_the_computed_one_is_taken_as_entered(wb: Workbook) -> None:
    """The menu has its own steps; what was entered counts."""
    kept = put_in_force(wb, trial_of(wb, MAY).id, "set", new_setting=multiplier(0.86))
    assert kept.leftover_factor == pytest.approx(FACTOR / 0.86, abs=1e-12)


def test_what_cannot_be_put_in_force_is_refused(wb: Workbook) -> None:
    """An unknown way, a validity that ends before it begins, a setting that is not to be set, a naive time."""
    view = trial_of(wb, MAY)
    with pytest.raises(ReadingError, match="applied or set"):
        put_in_force(wb, view.id, "guessed")
    with pytest.raises(ReadingError, match="must end after it begins"):
        put_in_force(wb, view.id, valid_until=MAY)
    with pytest.raises(ReadingError, match="applied, not set"):
        put_in_force(wb, view.id, new_setting=multiplier(0.85))
    with pytest.raises(ReadingError, match="zone"):
        put_in_force(wb, view.id, at=datetime(2026, 5, 14, 9, 0))  # noqa: DTZ001
    with pytest.raises(NotFound, match="no trial of that number"):
        put_in_force(wb, 99)
    with pytest.raises(NotEnoughReadings):
        put_in_force(wb, start_trial(wb, TrialEntry(course="Saltgrass")).id)
    withdraw_trial(wb, view.id)
    with pytest.raises(NotFound, match="was withdrawn"):
        put_in_force(wb, view.id)
    with pytest.raises(NotFound, match="none of that number"):
        correction(wb, 1)


def test_without_a_known_setting_nothing_can_be_set(wb: Workbook) -> None:
    """A new setting would have nothing to stand on; applying it is still possible."""
    add_log(wb, LogEntry(name="Spare"))
    view = start_trial(wb, TrialEntry(instrument="Spare", course="Saltgrass", date=MAY.isoformat()))
    for number, direction in enumerate(("out", "back")):
        record_run(wb, view.id, run_entry(direction, f"09:{number}0"))
    with pytest.raises(ReadingError, match="not noted what was set in the log during the trial"):
        put_in_force(wb, view.id, "set", new_setting=multiplier(0.85))
    put_in_force(wb, view.id)
    assert correct_speed(wb, "Spare", 7.6).corrected.value == pytest.approx(TRUE_KN, abs=1e-9)
    # Once a setting is noted, readings under it can no longer be compared with the trial.
    record_setting(wb, "Spare", multiplier(0.85), set_at=MAY + DAY)
    with pytest.raises(ReadingError, match="must be comparable"):
        correct_speed(wb, "Spare", 6.46)


def test_a_reading_from_before_any_known_setting_is_refused(wb: Workbook) -> None:
    """What stood in the log then might have been anything."""
    put_in_force(wb, trial_of(wb, MAY).id, valid_from=LAUNCHED - 30 * DAY)
    with pytest.raises(ReadingError, match=r"setting is missing.*Note what was set"):
        correct_speed(wb, None, 6.0, at=LAUNCHED - DAY)


def test_a_column_is_corrected_row_by_row_as_its_own_times_ask(wb: Workbook) -> None:
    """Two corrections and two settings in one column give what single readings give."""
    put_in_force(wb, trial_of(wb, APRIL).id)
    put_in_force(wb, trial_of(wb, MAY, readings="7.4 7.4").id, "set", at=MAY + timedelta(hours=2))
    times = [APRIL, MAY + DAY, MAY + timedelta(hours=1), APRIL + DAY]
    shown = [6.0, 5.5, 6.3, 7.6]
    column = correct_column(wb, None, shown, at=times)
    single = [correct_speed(wb, None, kn, at=at).corrected for kn, at in zip(shown, times, strict=True)]
    assert column.true_kn == pytest.approx([item.value for item in single], abs=1e-12)
    assert column.expanded_kn == pytest.approx([item.expanded for item in single], abs=1e-12)
    assert list(column.inside) == [item.inside for item in single]
    assert {item.id for item in column.corrections} == {1, 2}


def test_a_long_column_takes_one_look(wb: Workbook) -> None:
    """A day of readings, one a second, at one instant's correction."""
    put_in_force(wb, trial_of(wb, MAY).id)
    ticks = iter(JUNE + timedelta(seconds=n) for n in range(1000))
    wb.clock = lambda: next(ticks)
    column = correct_column(wb, None, np.full(86_400, 7.6))
    np.testing.assert_allclose(column.true_kn, TRUE_KN, rtol=1e-12)
    assert next(ticks) <= JUNE + timedelta(seconds=5)
    assert correct_column(wb, None, []).true_kn.size == 0


def test_a_column_with_a_fault_names_its_row(wb: Workbook) -> None:
    """Also among rows of several corrections."""
    put_in_force(wb, trial_of(wb, MAY).id)
    with pytest.raises(ReadingError, match=r"rows\[2\]\.indicated_kn is nan"):
        correct_column(wb, None, [6.0, 6.1, float("nan")])
    with pytest.raises(ReadingError, match="there are 2 readings"):
        correct_column(wb, None, [6.0, 6.1], at=[MAY])


def test_a_check_of_the_factor_applied_finds_one(wb: Workbook) -> None:
    """The same log, the same speed: raw it is 0.851, corrected 1.00, by display and by counter."""
    put_in_force(wb, trial_of(wb, MAY).id, valid_from=LAUNCHED)
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=JUNE.isoformat(), kind="check"))
    for number, direction in enumerate(("out", "back", "out", "back")):
        entry = run_entry(direction, f"09:{number}0").model_copy(update={"log_start": "4.10", "log_stop": "4.81"})
        record_run(wb, view.id, entry)
    found = check_result(wb, view.id)
    assert round(found.raw.factor, 3) in {0.845, 0.851}
    assert found.corrected.factor == pytest.approx(1.0, abs=0.01)
    assert found.verdict.agrees
    assert found.verdict.within_bar
    by_display = [
        group.best if group.best.indication == "speed display" else group.other for group in found.corrected.groups
    ]
    assert by_display[0] is not None
    assert by_display[0].factor == pytest.approx(1.0, abs=1e-9)


def test_a_check_of_the_factor_set_finds_one(wb: Workbook) -> None:
    """The log itself reads true now, but for the leftover that is applied."""
    put_in_force(wb, trial_of(wb, MAY).id, "set", at=MAY + timedelta(hours=3))
    found = check_result(wb, trial_of(wb, JUNE - DAY, readings="6.46 6.46", kind="check").id)
    assert found.raw.factor == pytest.approx(FACTOR / 0.85, abs=1e-9)
    assert found.corrected.factor == pytest.approx(1.0, abs=1e-9)


def test_a_check_with_a_log_that_is_out_fails(wb: Workbook) -> None:
    """Six per cent is more than 2 % and more than 0.2 kn."""
    put_in_force(wb, trial_of(wb, MAY).id)
    found = check_result(wb, trial_of(wb, JUNE - DAY, readings="7.1 7.1 7.2 7.2", kind="check").id)
    assert not found.verdict.agrees
    assert not found.verdict.within_bar


def test_a_check_judges_what_was_in_force_and_not_itself(wb: Workbook) -> None:
    """Put in force afterwards, the check's own factor would always agree with itself."""
    first = put_in_force(wb, trial_of(wb, MAY).id)
    view = trial_of(wb, JUNE - DAY, readings="7.1 7.1", kind="check")
    put_in_force(wb, view.id)
    assert check_result(wb, view.id).correction.id == first.id


def test_a_check_of_nothing_is_refused(wb: Workbook) -> None:
    """There must be something to check."""
    with pytest.raises(NotFound, match="nothing was in force that this trial could check"):
        check_result(wb, trial_of(wb, MAY, kind="check").id)


def test_the_slate_shows_what_is_in_force_with_its_age(wb: Workbook, clock: Clock) -> None:
    """Boat, both times, factor with ±, whole days since it was measured."""
    kept = put_in_force(wb, trial_of(wb, MAY).id)
    shown = slate(wb, JUNE)
    item = shown.items[0]
    assert (shown.boat.name, shown.utc, shown.ship_time.utcoffset()) == ("Dunlin", JUNE, timedelta(0))
    assert (item.text, item.age_days, item.stale) == ("factor 0.851", 37, False)
    assert item.plus_minus == pytest.approx(kept.provenance["expanded"], rel=1e-9)
    assert slate(wb, MAY + (STALE_DAYS + 1) * DAY).items[0].stale


def test_the_slate_shows_the_factor_of_todays_setting(wb: Workbook) -> None:
    """With the factor entered in the log, 1.001 is left; nobody should multiply by 0.851 once more."""
    put_in_force(wb, trial_of(wb, MAY).id, "set", at=MAY)
    assert slate(wb, JUNE).items[0].text == "factor 1.001"


def test_the_slate_keeps_the_measured_factor_where_the_conventions_differ(wb: Workbook) -> None:
    """A percentage cannot be compared with a multiplier; using the reading will say so."""
    put_in_force(wb, trial_of(wb, MAY).id)
    record_setting(wb, None, LogSetting(Convention.PERCENT, -15.0), set_at=MAY + DAY)
    assert slate(wb, JUNE).items[0].text == "factor 0.851"


def test_the_program_version_is_kept_also_when_nothing_is_installed(
    wb: Workbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run from a bare source tree, the provenance says so."""

    def missing(_: str) -> str:
        raise measured.PackageNotFoundError

    monkeypatch.setattr(measured, "version", missing)
    assert put_in_force(wb, trial_of(wb, MAY).id).provenance["program_version"] == "not installed"


def test_the_slate_says_what_was_never_measured(wb: Workbook) -> None:
    """An instrument without a correction is not left out."""
    item = slate(wb).items[0]
    assert (item.instrument, item.text, item.plus_minus, item.stale) == (instrument(wb), "not measured", None, False)


def test_several_speeds_are_kept_as_a_curve(wb: Workbook) -> None:
    """Powers, coefficients and covariance come back to the last digit."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    minute = 0
    for group, elapsed, reading in (("slow", "9:00", "4.2"), ("middle", "7:00", "5.6"), ("fast", "5:00", "9.2")):
        for direction in ("out", "back") * 2:
            entry = run_entry(direction, f"{9 + minute // 60:02d}:{minute % 60:02d}", elapsed=elapsed, readings=reading)
            record_run(wb, view.id, entry.model_copy(update={"speed_group": group}))
            minute += 12
    measured = trial_result(wb, view.id).correction
    assert measured.powers == (0, 1)
    assert put_in_force(wb, view.id).correction == measured


def test_corrections_without_end_of_freedom_come_back_so(wb: Workbook) -> None:
    """Infinite degrees of freedom have no place in a database column, and are infinite again when read."""
    kept = put_in_force(wb, trial_of(wb, MAY).id)
    with wb.reading() as session:
        row = session.get_one(correction_rows.Correction, kept.id)
        session.expunge(row)
    row.dof = None
    assert correction_rows.correction_of(row).dof == float("inf")


def test_a_trial_of_runs_without_times_takes_the_setting_of_its_day(wb: Workbook) -> None:
    """Runs that were only timed by the watch belong to the trial's own instant."""
    record_setting(wb, None, multiplier(1.1), set_at=MAY - DAY)
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    for direction in ("out", "back"):
        record_run(wb, view.id, RunEntry(direction=direction, elapsed="5:34", readings="7.6"))
    assert trial(wb, view.id).setting == multiplier(1.1)
    assert datetime(2026, 5, 14, 9, 0, tzinfo=UTC) == trial(wb, view.id).runs[0].readings[0].taken_at
