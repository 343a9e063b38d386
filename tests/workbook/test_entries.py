"""The forms: text as typed in, core values out, every fault at once and named after its box."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from truemile.core.errors import ManyFaults, NavigationError, ReadingError
from truemile.core.log_runs import Conditions, Direction, Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook.entries import (
    CourseEntry,
    MarkEntry,
    RunEntry,
    SettingEntry,
    TrialEntry,
    read_entry,
)
from truemile.workbook.schema import ReadingKind, TrialKind

DAY = date(2026, 5, 14)
SHIP = timedelta(hours=-2)


def fields_of(error: NavigationError) -> list[str]:
    """Return the boxes that are at fault."""
    return [fault.field for fault in error.faults] if isinstance(error, ManyFaults) else [error.field]


def run(**boxes: object) -> RunEntry:
    """Return a run that is in order but for the given boxes."""
    return read_entry(RunEntry, {"direction": "out", "elapsed": "5:34", "readings": "6.3 6.4", **boxes})


def test_a_run_is_read_from_text() -> None:
    """All boxes of the paper, with decimal comma, first letter and ship's clock."""
    read = run(
        direction="B",
        started_at="11:02:10",
        readings="6,3; 6,4 6,3",
        log_start="412,30",
        log_stop="412.94",
        rpm="2200",
        heading_compass="244",
        speed_group="2200 rpm",
        noted_by="Ines",
    ).read(DAY, SHIP)
    assert read.run.direction is Direction.BACK
    assert read.run.elapsed_s == 334.0
    assert read.run.started_at == datetime(2026, 5, 14, 13, 2, 10, tzinfo=UTC)
    assert read.run.speed_readings_kn == (6.3, 6.4, 6.3)
    assert (read.run.log_start_nm, read.run.log_stop_nm) == (412.30, 412.94)
    assert (read.run.engine_rpm, read.run.heading_compass_deg) == (2200, 244)
    assert read.noted_by == "Ines"
    assert [(raw.kind, raw.typed) for raw in read.raw[:2]] == [(ReadingKind.SPEED, "6,3"), (ReadingKind.SPEED, "6,4")]


def test_numbers_and_lists_of_toml_and_json_are_taken_as_text() -> None:
    """A boundary that knows types gives the same run."""
    typed = run(readings="6.3 6.4", log_start="0", log_stop="0.61").read().run
    native = run(readings=[6.3, 6.4], log_start=0, log_stop=0.61).read().run
    assert native == typed
    assert read_entry(CourseEntry, {"transits": True}).transits == "yes"
    assert read_entry(CourseEntry, {"transits": False}).transits == "no"


@pytest.mark.parametrize(
    ("boxes", "elapsed_s", "started"),
    [
        ({"elapsed": "5m34s", "started_at": "13:32:00"}, 334.0, "13:32:00"),
        ({"elapsed": None, "started_at": "13:32:00", "ended_at": "13:37:34"}, 334.0, "13:32:00"),
        ({"elapsed": "5:34.2", "started_at": "13:32:00", "ended_at": "13:37:34"}, 334.2, "13:32:00"),
        ({"elapsed": "5:34", "ended_at": "13:37:34"}, 334.0, "13:32:00"),
        ({"elapsed": "", "started_at": "2026-05-14T15:32:00+02:00", "ended_at": "13:37:34Z"}, 334.0, "13:32:00"),
        ({"elapsed": None, "started_at": "23:58:00", "ended_at": "00:03:34"}, 334.0, "23:58:00"),
    ],
)
def test_any_two_of_elapsed_start_and_stop_give_the_times(
    boxes: dict[str, object], elapsed_s: float, started: str
) -> None:
    """Elapsed, or start and stop, or all three where they agree; also past midnight."""
    found = run(**boxes).read(DAY).run
    assert found.elapsed_s == elapsed_s
    assert found.started_at is not None
    assert f"{found.started_at:%H:%M:%S}" == started


def test_times_that_disagree_are_refused_in_words() -> None:
    """Two seconds may be; a digit that slipped may not."""
    with pytest.raises(ReadingError, match=r"elapsed is '5:34', but start and stop are 394 s apart.*leave out"):
        run(started_at="13:32:00", ended_at="13:38:34").read(DAY)


def test_all_faults_come_at_once_with_the_names_of_the_boxes() -> None:
    """Nothing is asked for twice."""
    entry = run(
        direction="up",
        elapsed="334",
        readings="6.3 x",
        heading_compass="400",
        rpm="-1",
        log_start="5",
        log_stop="4",
        id="7",
        started_at="2026-05-14T13:32:00",
    )
    with pytest.raises(ManyFaults) as caught:
        entry.read(DAY)
    assert sorted(fields_of(caught.value)) == [
        "direction",
        "elapsed",
        "heading_compass",
        "id",
        "log_stop",
        "readings",
        "rpm",
        "started_at",
    ]


@pytest.mark.parametrize(
    ("boxes", "field", "words"),
    [
        ({"direction": ""}, "direction", "out or back"),
        ({"elapsed": ""}, "elapsed", "a run needs its time"),
        ({"elapsed": "0:00"}, "elapsed", "more than 0 s"),
        ({"elapsed": "-5:34"}, "elapsed", "not negative"),
        ({"started_at": "13:32"}, "started_at", "belongs to no day"),
        ({"readings": "nan"}, "readings", "digits"),
        ({"readings": float("nan")}, "readings", "digits"),
        ({"readings": float("inf")}, "readings", "digits"),
        ({"readings": "0"}, "readings", "above 0"),
        ({"readings": "6.3 " * 501}, "readings", "at most"),
        ({"log_start": "5", "log_stop": ""}, "log_stop", "read at the start"),
        ({"remarks": "x" * 4001}, "remarks", "at most 4000"),
        ({"speed_group": "x" * 61}, "speed_group", "at most 60"),
        ({"id": "run 1"}, "id", "UUID"),
    ],
)
def test_a_box_that_cannot_be_is_named(boxes: dict[str, object], field: str, words: str) -> None:
    """Field, value, what is allowed and the remedy."""
    with pytest.raises(NavigationError, match=words) as caught:
        run(**boxes).read()
    assert fields_of(caught.value) == [field]


def test_an_unknown_box_gets_the_nearest_name() -> None:
    """A column header with a slip is told what was meant."""
    with pytest.raises(
        ReadingError, match=r"elasped is '5:34', but there is no column 'elasped'\. Did you mean elapsed"
    ):
        read_entry(RunEntry, {"direction": "out", "elasped": "5:34"})
    with pytest.raises(ReadingError, match="Known are: id, direction"):
        read_entry(RunEntry, {"qqq": "1"})


def test_a_box_holds_neither_table_nor_object() -> None:
    """A nested value is refused with its name."""
    with pytest.raises(ReadingError, match=r"readings is .*must be text or a number"):
        read_entry(RunEntry, {"readings": {"kn": 6.3}})


def test_two_unreadable_boxes_are_both_named() -> None:
    """Also faults of the form itself come together."""
    with pytest.raises(ManyFaults) as caught:
        read_entry(RunEntry, {"foo": "1", "bar": "2"})
    assert fields_of(caught.value) == ["foo", "bar"]


def test_the_same_run_has_the_same_fingerprint_however_it_was_typed() -> None:
    """5:34 and 334 s are one; another reading is another run."""
    first = run(elapsed="5:34", readings="6.3 6.4").read()
    second = run(elapsed="334 s", readings="6,30;6,40").read()
    other = run(readings="6.3 6.5").read()
    assert first.fingerprint == second.fingerprint != other.fingerprint


def test_a_mark_takes_its_precision_or_the_digits_typed() -> None:
    """0.01′ is 18.52 m: its standard uncertainty, 18.52 / √12 = 5.35 m [JCGM 100 F.2.2.1], joins that of a fix, 3 m."""
    rough = MarkEntry(name="Wren Ledge", position="47°11.52′N 031°02.10′W", fixed="no", checked="2026-04-04").read()
    assert rough.mark.u_m == pytest.approx((5.346**2 + 3.0**2) ** 0.5, abs=0.001)
    assert rough.mark.fixed is False
    assert rough.checked_on == date(2026, 4, 4)
    assert rough.understood == "47°11.520′N 031°02.100′W"
    assert MarkEntry(name="A", position="47 11.52 N 31 2.1 W", precision_m="8").read().mark.u_m == 8.0


def test_all_faults_of_a_mark_come_at_once() -> None:
    """Name, position, precision, fixed and date."""
    with pytest.raises(ManyFaults) as caught:
        MarkEntry(position="north", precision_m="0", fixed="perhaps", checked="14 May").read()
    assert fields_of(caught.value) == ["name", "position", "precision_m", "fixed", "checked"]


def test_a_charted_course_takes_its_precision_from_its_digits() -> None:
    """0.60 nm is printed to 0.01 nm, so u = 0.01 / √12 = 0.00289 nm [JCGM 100 F.2.2.1]."""
    course = CourseEntry(name="Saltgrass", distance="0.60", course_true="118", transits="yes").read_charted()
    assert course.u_length_nm == pytest.approx(0.00289, abs=0.000005)
    assert (course.length_nm, course.course_true_deg, course.transits) == (0.60, 118.0, True)
    coarse = CourseEntry(name="Saltgrass", distance="0.60", precision="0.1").read_charted()
    assert coarse.u_length_nm == pytest.approx(0.0289, abs=0.00005)


@pytest.mark.parametrize(
    ("boxes", "field"),
    [
        ({"distance": "0,0"}, "distance"),
        ({"distance": "1111"}, "distance"),
        ({"distance": "1"}, "precision"),
        ({}, "distance"),
        ({"distance": "0.60", "course_true": "361"}, "course_true"),
        ({"distance": "0.60", "name": " "}, "name"),
    ],
)
def test_a_course_that_cannot_be_names_its_box(boxes: dict[str, str], field: str) -> None:
    """Also where the core found it."""
    with pytest.raises(NavigationError) as caught:
        read_entry(CourseEntry, {"name": "Saltgrass", **boxes}).read_charted()
    assert field in fields_of(caught.value)


def test_conditions_left_empty_are_the_usual_ones() -> None:
    """What the log's own display says holds until the paper says otherwise."""
    usual = Conditions(speed_resolution_kn=0.01)
    assert TrialEntry().read_conditions(usual) == usual
    read = TrialEntry(steering="track", crab="4,5", timing_limit="0.5").read_conditions(usual)
    assert (read.steering, read.crab_deg, read.timing_limit_s) == (Steering.TRACK_HELD, 4.5, 0.5)
    assert read.speed_resolution_kn == 0.01
    assert TrialEntry(kind="check").read_kind() is TrialKind.CHECK


def test_conditions_that_cannot_be_name_their_boxes() -> None:
    """The core's own limits come out under the names of the form."""
    with pytest.raises(ManyFaults) as caught:
        TrialEntry(timing_limit="0", crossing="45").read_conditions()
    assert fields_of(caught.value) == ["timing_limit", "crossing"]
    with pytest.raises(ManyFaults) as caught:
        TrialEntry(steering="sideways", crab="much").read_conditions()
    assert fields_of(caught.value) == ["steering", "crab"]


def test_a_setting_is_read_in_its_convention() -> None:
    """The instrument's usual one if none is named."""
    assert SettingEntry(value="1.07").read(Convention.MULTIPLIER) == LogSetting(Convention.MULTIPLIER, 1.07)
    assert SettingEntry(convention="pulses_per_mile", value="20000").read().convention is Convention.PULSES_PER_NM


@pytest.mark.parametrize(
    ("boxes", "fields"),
    [
        ({"value": "1.07"}, ["convention"]),
        ({"convention": "p", "value": ""}, ["convention", "value"]),
        ({"convention": "multiplier", "value": "100"}, ["value"]),
    ],
)
def test_a_setting_that_cannot_be_names_its_box(boxes: dict[str, str], fields: list[str]) -> None:
    """The letter p may be percent or pulses; 100 is no multiplier."""
    with pytest.raises(NavigationError) as caught:
        read_entry(SettingEntry, boxes).read()
    assert fields_of(caught.value) == fields
