"""What may be written down in a log trial, and what is refused with which words."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from tests.core.log_strategies import MILE, runs_at
from truemile.core.errors import ManyFaults, NotEnoughReadings, ReadingError
from truemile.core.log_factor import factor_from_runs
from truemile.core.log_runs import (
    Conditions,
    Direction,
    Indication,
    Run,
    Steering,
    check_apart,
    check_run,
    check_runs,
    likely_slip,
    usual_steering,
)

OUT, BACK = Direction.OUT, Direction.BACK


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"elapsed_s": 0.0}, r"elapsed_s is 0\.0, but a run takes more than 0 s.*5m34s"),
        ({"elapsed_s": -334.0}, r"elapsed_s is -334\.0"),
        ({"elapsed_s": math.nan}, r"elapsed_s is nan"),
        ({"speed_readings_kn": (6.0, 0.0)}, r"speed_readings_kn\[1\] is 0\.0.*fouled"),
        ({"speed_readings_kn": (math.inf,)}, r"speed_readings_kn\[0\] is inf"),
        ({"speed_readings_kn": (63.0,)}, r"at most 60 kn"),
        ({"speed_readings_kn": (6.0,) * 501}, r"speed_readings_kn is 501.*at most 500"),
        ({"log_start_nm": 1.0}, r"log_stop_nm is missing, but the counter was read at the start"),
        ({"log_start_nm": 2.0, "log_stop_nm": 1.0}, r"log_stop_nm is 1\.0.*moved on from 2 nm.*swapped"),
        ({"log_stop_nm": math.nan}, r"log_stop_nm is nan"),
        ({"heading_compass_deg": 361.0}, r"heading_compass_deg is 361\.0.*three figures"),
        ({"engine_rpm": -5.0}, r"engine_rpm is -5\.0"),
        ({"started_at": datetime(2026, 5, 14, 12)}, r"started_at is '2026.*zone.*Add Z"),  # noqa: DTZ001  naive on purpose
    ],
)
def test_a_run_refuses_what_cannot_have_been_read(wrong: dict[str, Any], words: str) -> None:
    """Each refusal names field, value, what is allowed and the remedy."""
    good: dict[str, Any] = {"direction": OUT, "elapsed_s": 334.0, "speed_readings_kn": (6.0,)}
    with pytest.raises(ReadingError, match=words):
        Run(**{**good, **wrong})


def test_all_faults_of_a_run_are_told_at_once() -> None:
    """A form can mark every wrong field in one go."""
    with pytest.raises(ManyFaults) as caught:
        Run(OUT, -1.0, speed_readings_kn=(0.0,), engine_rpm=1e6)
    assert [fault.field for fault in caught.value.faults] == ["elapsed_s", "speed_readings_kn[0]", "engine_rpm"]
    assert str(caught.value).count("\n") == 2


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"speed_resolution_kn": 0.0}, "speed_resolution_kn is 0.0.*usually 0.1"),
        ({"timing_limit_s": -1.0}, "timing_limit_s is -1.0"),
        ({"crab_deg": 60.0}, "crab_deg is 60.0.*slacker"),
        ({"stream_irregularity_kn": math.nan}, "stream_irregularity_kn is nan"),
    ],
)
def test_conditions_refuse_what_cannot_be(wrong: dict[str, Any], words: str) -> None:
    """Each refusal names field, value, what is allowed and the remedy."""
    with pytest.raises(ReadingError, match=words):
        Conditions(**wrong)


def test_runs_all_one_way_are_refused() -> None:
    """The stream cancels only between runs both ways."""
    runs = [Run(OUT, 600.0, speed_readings_kn=(6.0,))] * 3
    with pytest.raises(NotEnoughReadings, match=r"runs is '3 out'.*the other way at the same engine speed"):
        check_runs(MILE, runs, Conditions())


def test_one_run_is_refused() -> None:
    """A single run still holds the whole stream."""
    with pytest.raises(NotEnoughReadings, match=r"runs is 1, but a trial needs at least two"):
        check_runs(MILE, [Run(OUT, 600.0, speed_readings_kn=(6.0,))], Conditions())


def test_a_recording_is_no_trial() -> None:
    """A file with a line a second is the wrong file."""
    with pytest.raises(ReadingError, match=r"runs is 201.*one line a run"):
        check_runs(MILE, [Run(OUT, 600.0, speed_readings_kn=(6.0,))] * 201, Conditions())


def test_a_run_without_a_reading_is_named() -> None:
    """The field says which run."""
    runs = [Run(OUT, 600.0, speed_readings_kn=(6.0,)), Run(BACK, 600.0)]
    with pytest.raises(NotEnoughReadings, match=r"runs\[1\].speed_readings_kn is missing"):
        check_runs(MILE, runs, Conditions())


def test_two_runs_at_one_time_are_refused() -> None:
    """A boat makes one run at a time; a file taken in twice would halve the uncertainty for nothing."""
    runs = runs_at([0, 20], [6.2, 5.8], [6.0, 6.0])
    check_apart(runs)
    check_apart([Run(OUT, 600.0, speed_readings_kn=(6.0,))] * 2)
    with pytest.raises(ReadingError, match=r"started_at is .*another run was made from .* one at a time.*kept already"):
        check_apart(runs * 2)


def test_one_run_is_checked_by_itself() -> None:
    """A run that cannot be is refused when it is entered, with the slip that explains it."""
    check_run(MILE, Run(OUT, 600.0, speed_readings_kn=(6.0,)))
    with pytest.raises(ReadingError, match=r"^speed_readings_kn is 6\.1.*hours and minutes"):
        check_run(MILE, Run(OUT, 560.0 * 60, speed_readings_kn=(6.1,)))


def test_transits_decide_how_a_course_is_steered() -> None:
    """On transits by the heading, between single marks by the track."""
    assert usual_steering(MILE) is Steering.TRACK_HELD
    assert usual_steering(replace(MILE, transits=True)) is Steering.HEADING_HELD


def test_a_counter_without_tenths_is_refused() -> None:
    """A distance reading serves only if it shows at least tenths (common practice, no source)."""
    runs = [Run(OUT, 600.0, log_stop_nm=1.0), Run(BACK, 600.0, log_stop_nm=1.0)]
    check_runs(MILE, runs, Conditions(distance_resolution_nm=0.1))
    with pytest.raises(ReadingError, match=r"distance_resolution_nm is 0\.5.*at least tenths"):
        check_runs(MILE, runs, Conditions(distance_resolution_nm=0.5))


@pytest.mark.parametrize(
    ("elapsed_s", "reading_kn", "words"),
    [
        (560.0 * 60, 6.1, "hours and minutes"),
        (640.0 / 60, 6.2, "minutes typed as seconds"),
        (600.0, 59.0, "decimal point"),
    ],
)
def test_a_mistaken_unit_is_guessed(elapsed_s: float, reading_kn: float, words: str) -> None:
    """A factor far outside 0.5 to 2 is refused with the slip that explains it."""
    runs = [Run(OUT, elapsed_s, speed_readings_kn=(reading_kn,)), Run(BACK, 600.0, speed_readings_kn=(6.0,))]
    with pytest.raises(ReadingError, match=rf"runs\[0\].*outside 0.25 to 4.*{words}"):
        check_runs(MILE, runs, Conditions())


def test_a_factor_outside_a_half_to_two_is_refused() -> None:
    """A log so far out is fouled or broken, or a unit was mistaken."""
    with pytest.raises(ReadingError, match=r"runs is 2\.9.*factor would be 2\.05, outside 0\.5 to 2"):
        factor_from_runs(MILE, runs_at([0, 20], [6.2, 5.7], [2.9, 2.9]))


def test_kilometres_an_hour_are_suspected() -> None:
    """A log that shows km/h gives 1/1.852, inside what is allowed: a caution asks."""
    found = factor_from_runs(MILE, runs_at([0, 20], [6.2, 5.8], [6.2 * 1.852, 5.8 * 1.852]))
    assert any(remark.about == "unit" and "km/h" in remark.remedy for remark in found.remarks)
    assert likely_slip(0.93, within=0.03) == ""


def test_a_run_knows_what_was_read() -> None:
    """Speed readings are averaged; a counter is the difference over the time, with one or two roundings."""
    run = Run(OUT, 600.0, speed_readings_kn=(6.0, 6.2), log_start_nm=10.0, log_stop_nm=11.0)
    assert run.indicated_kn(Indication.SPEED) == pytest.approx(6.1)
    assert run.indicated_kn(Indication.DISTANCE) == pytest.approx(6.0)
    assert run.counter_readings == 2
    zeroed = Run(OUT, 600.0, log_stop_nm=1.0)
    assert zeroed.counter_readings == 1
    assert zeroed.indications == {Indication.DISTANCE}
    with pytest.raises(NotEnoughReadings, match="no reading of the speed display"):
        zeroed.indicated_kn(Indication.SPEED)
