"""The run that taps make: whatever the order, however often, whichever clock."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.workbook.cockpit import OFFSET_MS, RUN_A, RUN_B, tap, whole_run
from tests.workbook.season import MAY
from truemile.core.errors import ManyFaults, NavigationError, ReadingError
from truemile.core.log_runs import Direction
from truemile.workbook.kinds import ReadingKind
from truemile.workbook.tap_runs import Tap, TapEntry, TapRun, assemble_run

WHOLE = tuple(entry.read() for entry in whole_run(1, RUN_A, "out", 600.0))


def assembled(*more: TapEntry, without: str = "") -> TapRun:
    """Return the run of the whole taps, with more, or without one kind."""
    return assemble_run([*(item for item in WHOLE if item.kind != without), *(entry.read() for entry in more)])


def words(found: TapRun) -> str:
    """Return all reasons in one."""
    return " | ".join(str(reason) for reason in found.reasons)


def test_whole_taps_make_a_run_with_everything_in_it() -> None:
    """Times from the presses, readings as shown, roles, engine speed and remarks."""
    found = assembled()
    assert found.whole
    assert found.kept
    assert not found.dropped
    assert found.read is not None
    run = found.read.run
    assert run.direction is Direction.OUT
    assert run.elapsed_s == 334.0
    assert run.started_at == MAY + timedelta(seconds=600)
    assert run.speed_readings_kn == (7.5, 7.6, 7.7)
    assert (run.log_start_nm, run.log_stop_nm) == (412.30, 413.00)
    assert (run.engine_rpm, run.heading_compass_deg, run.speed_group) == (2200.0, 64.0, "2200 rpm")
    assert (found.read.helm, found.read.timed_by, found.read.noted_by) == ("Okke", "Bram", "Bram")
    assert found.read.remarks == "Wake of a ferry."


def test_each_reading_keeps_its_text_instant_and_reader() -> None:
    """A decimal comma stays as it was shown, and the reading has the time of its own press."""
    found = assembled(tap(1, RUN_A, "speed", 800.0, "7.8", by="Ines"))
    assert found.read is not None
    speeds = [raw for raw in found.read.raw if raw.kind is ReadingKind.SPEED]
    assert [raw.typed for raw in speeds] == ["7.5", "7,6", "7.8", "7.7"]
    assert [raw.noted_by for raw in speeds] == ["Bram", "Bram", "Ines", "Bram"]
    assert speeds[2].taken_at == MAY + timedelta(seconds=800)


@given(st.permutations(WHOLE), st.lists(st.sampled_from(WHOLE), max_size=6))
def test_order_and_repetition_change_nothing(shuffled: list[Tap], again: list[Tap]) -> None:
    """Any permutation, with any taps sent twice, gives the same run."""
    assert assemble_run([*shuffled, *again]) == assembled()


@pytest.mark.parametrize(
    ("without", "reason"),
    [
        ("start", "start was not pressed"),
        ("stop", "stop was not pressed"),
        ("direction", "which way the run went"),
    ],
)
def test_what_is_missing_is_said(without: str, reason: str) -> None:
    """No run without start, stop and direction; what is known is there for the page."""
    found = assembled(without=without)
    assert not found.whole
    assert found.entry is None
    assert reason in words(found)
    assert found.speeds == ("7.5", "7,6", "7.7")


def test_a_run_that_is_under_way_says_what_is_known() -> None:
    """The page that opens again finds start, direction, engine speed and readings."""
    found = assemble_run([item for item in WHOLE if item.kind not in {"stop", "log_stop", "keep", "remark"}])
    assert (found.direction, found.speed_group) == (Direction.OUT, "2200 rpm")
    assert (found.started_at, found.stopped_at, found.elapsed_s) == (MAY + timedelta(seconds=600), None, None)
    assert not found.kept


def test_a_run_without_readings_is_whole() -> None:
    """Readings may arrive later, from another phone."""
    found = assemble_run([item for item in WHOLE if item.kind in {"direction", "start", "stop", "keep"}])
    assert found.whole
    assert found.kept


def test_a_false_start_does_not_count() -> None:
    """The last start counts, with the first stop after it."""
    found = assembled(tap(1, RUN_A, "start", 580.0), tap(1, RUN_A, "stop", 590.0), tap(1, RUN_A, "stop", 1500.0))
    assert found.elapsed_s == 334.0


def test_a_start_after_the_stop_begins_anew() -> None:
    """Until there is another stop, the run is under way."""
    assert "stop was not pressed" in words(assembled(tap(1, RUN_A, "start", 2000.0)))


def test_what_was_said_last_counts() -> None:
    """A direction, an engine speed and a counter that were mended."""
    found = assembled(
        tap(1, RUN_A, "direction", 700.0, "back"),
        tap(1, RUN_A, "group", 701.0, "2600 rpm"),
        tap(1, RUN_A, "log_stop", 950.0, "413.05"),
        tap(1, RUN_A, "timed_by", 951.0, "Okke"),
        tap(1, RUN_A, "noted_by", 952.0, "Ines"),
    )
    assert found.read is not None
    assert (found.direction, found.speed_group) == (Direction.BACK, "2600 rpm")
    assert found.read.run.log_stop_nm == 413.05
    assert (found.read.timed_by, found.read.noted_by) == ("Okke", "Ines")


def test_a_struck_tap_does_not_count() -> None:
    """A reading tapped by mistake is struck out, and stays among the taps as they came."""
    wrong = tap(1, RUN_A, "speed", 700.0, "76")
    strike = tap(1, RUN_A, "strike", 705.0, str(wrong.id))
    assert assembled(wrong, strike) == assembled()
    assert "at most 60 kn" in words(assembled(wrong))


def test_a_strike_can_be_struck_out() -> None:
    """Striking out by mistake is mended the same way."""
    strike = tap(1, RUN_A, "strike", 960.0, WHOLE[6].id)
    again = tap(1, RUN_A, "strike", 970.0, str(strike.id))
    assert assembled(strike).speeds == ("7,6", "7.7")
    assert assembled(strike, again) == assembled()


def test_keep_and_drop_the_last_one_counts() -> None:
    """A void run can be kept after all, and a kept one dropped."""
    dropped = assembled(tap(1, RUN_A, "drop", 960.0))
    assert (dropped.kept, dropped.dropped) == (False, True)
    kept = assembled(tap(1, RUN_A, "drop", 960.0), tap(1, RUN_A, "keep", 970.0))
    assert (kept.kept, kept.dropped) == (True, False)


@pytest.mark.parametrize("value", ["", "fast", "7.5.1"])
def test_a_reading_that_is_no_number_stands_in_the_way(value: str) -> None:
    """It is not left out in silence: it is struck out, or the run waits."""
    assert "readings" in words(assembled(tap(1, RUN_A, "speed", 700.0, value)))


def test_one_phone_goes_by_its_own_clock() -> None:
    """An offset that was measured a little otherwise meanwhile does not enter the elapsed time."""
    late = tap(1, RUN_A, "stop", 934.0, clock_offset_ms=OFFSET_MS + 180.0)
    found = assembled(late, without="stop")
    assert found.elapsed_s == 334.0
    assert found.read is not None
    assert "clock" not in found.read.remarks


def test_a_clock_that_was_put_right_during_the_run_is_seen() -> None:
    """A phone that set its clock back by 5 s between start and stop shows 5 s too few, and that is told."""
    late = tap(1, RUN_A, "stop", 929.0, clock_offset_ms=OFFSET_MS + 5000.0, id=str(WHOLE[10].id))
    found = assembled(late, without="stop")
    assert found.elapsed_s == pytest.approx(334.0, abs=1e-6)
    assert found.read is not None
    assert "clock was changed by \N{MINUS SIGN}5.0 s" in found.read.remarks


def test_two_phones_are_brought_to_one_clock() -> None:
    """Start on one, stop on the other: each offset is used, and the agreement of the clocks is stated."""
    stop = tap(
        1,
        RUN_A,
        "stop",
        934.0,
        device_id="phone-2",
        clock_offset_ms=700.0,
        clock_offset_u_ms=6.0,
        pressed_at_ms=MAY.timestamp() * 1000.0 + 934_000.0 - 700.0,
    )
    found = assembled(stop, without="stop")
    assert found.elapsed_s == pytest.approx(334.0, abs=1e-6)
    assert found.read is not None
    assert "clocks alike within 0.02 s" in found.read.remarks


def test_two_phones_that_were_never_compared_give_no_time() -> None:
    """A difference of unknown clocks is no elapsed time."""
    stop = tap(1, RUN_A, "stop", 934.0, device_id="phone-2", clock_offset_ms=None, clock_offset_u_ms=None)
    found = assembled(stop, without="stop")
    assert "clocks were never compared" in words(found)


def test_an_offset_found_later_serves_the_taps_before() -> None:
    """A phone that was offline at the start takes the offset of its nearest tap that has one."""
    start = tap(1, RUN_A, "start", 600.0, clock_offset_ms=None, clock_offset_u_ms=None)
    assert assembled(start, without="start").started_at == MAY + timedelta(seconds=600)


def test_a_phone_whose_clock_was_never_compared_is_believed() -> None:
    """Its intervals are right all the same."""
    alone = [
        tap(1, RUN_A, kind, at, value, clock_offset_ms=None, clock_offset_u_ms=None).read()
        for kind, at, value in (("direction", 0.0, "out"), ("start", 10.0, ""), ("stop", 344.0, ""))
    ]
    found = assemble_run(alone)
    assert found.elapsed_s == 334.0
    assert found.started_at == MAY + timedelta(seconds=10, milliseconds=-OFFSET_MS)


def test_taps_of_two_runs_are_not_mixed() -> None:
    """Neither are no taps a run."""
    with pytest.raises(ReadingError, match="of one run"):
        assemble_run([*WHOLE, tap(1, RUN_B, "start", 0.0).read()])
    with pytest.raises(ReadingError, match="of one run"):
        assemble_run([])


@pytest.mark.parametrize(
    ("box", "value", "reason"),
    [
        ("id", None, "must be filled in"),
        ("id", "seven", "UUID"),
        ("run_id", "x", "UUID"),
        ("device_id", None, "must be filled in"),
        ("device_id", "d" * 61, "at most 60"),
        ("trial_id", "x", "number of a trial"),
        ("trial_id", "-1", "number of a trial"),
        ("trial_id", "99999999999", "number of a trial"),
        ("kind", "jump", "one of start, stop"),
        ("value", "v" * 4001, "at most 4000"),
        ("by", "b" * 121, "at most 120"),
        ("pressed_at_ms", "soon", "milliseconds"),
        ("pressed_at_ms", "nan", "milliseconds"),
        ("pressed_at_ms", "-1", "milliseconds"),
        ("pressed_at_ms", "1e300", "milliseconds"),
        ("clock_offset_ms", "-9e12", "milliseconds"),
        ("clock_offset_ms", "-2e12", "milliseconds"),
        ("clock_offset_u_ms", "-1", "milliseconds"),
    ],
)
def test_a_tap_that_cannot_be_kept_is_refused_by_its_box(box: str, value: str | None, reason: str) -> None:
    """Only what would make it unusable for ever: no id, no clock, no kind."""
    with pytest.raises(ReadingError, match=reason) as caught:
        tap(1, RUN_A, "start", 0.0).model_copy(update={box: value}).read()
    assert caught.value.field == box


def test_all_faults_of_a_tap_are_found_at_once() -> None:
    """An empty tap is told everything that it lacks."""
    with pytest.raises(ManyFaults) as caught:
        TapEntry().read()
    faults: tuple[NavigationError, ...] = caught.value.faults
    assert [fault.field for fault in faults] == ["id", "run_id", "device_id", "trial_id", "kind", "pressed_at_ms"]


def test_numbers_of_json_come_through_unchanged() -> None:
    """A fraction of a millisecond, and a tiny offset, survive the way as text."""
    read = tap(1, RUN_A, "start", 0.0, pressed_at_ms=1778749200123.4375, clock_offset_ms=0.00001).read()
    assert (read.pressed_at_ms, read.clock_offset_ms) == (1778749200123.4375, 0.00001)
