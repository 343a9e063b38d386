"""Elapsed times and clock times as written on deck."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truemile.core.errors import ReadingError
from truemile.core.times import elapsed_between, format_elapsed, parse_clock, parse_elapsed, require_aware

DAY = date(2026, 5, 3)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("5:34", 334),
        ("05:34", 334),
        ("5:34.2", 334.2),
        ("5:34,2", 334.2),
        ("75:30", 4530),
        ("1:05:34", 3934),
        ("5m34s", 334),
        ("5 min 34 s", 334),
        ("5min 34sec", 334),
        ("5 minutes 34 seconds", 334),
        ("5'34\"", 334),
        ("5′34″", 334),
        ("5'34''", 334),
        ("5′ 34.2″", 334.2),
        ("334 s", 334),
        ("334s", 334),
        ("334.25 s", 334.25),
        ("5.5 min", 330),
        ("90 min", 5400),
        ("1h 05m 34s", 3934),
        ("1 h 5 min", 3900),
        ("0.5 h", 1800),
        (" 5:34 ", 334),
    ],
)
def test_an_elapsed_time_is_read_as_written(text: str, seconds: float) -> None:
    """Colons, units and primes give the same seconds."""
    assert parse_elapsed(text) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "an elapsed time is needed"),
        ("334", "may be minutes or seconds"),
        ("5.34", "may be minutes or seconds"),
        ("5,34", "may be minutes or seconds"),
        ("-5:34", "not negative"),
        ("\N{MINUS SIGN}5:34", "not negative"),
        ("0:00", "more than 0 s"),
        ("0 s", "more than 0 s"),
        ("5:60", "its seconds are 60"),
        ("5m74s", "its seconds are 74"),
        ("1:75:00", "its minutes are 75"),
        ("5.5 min 3 s", "its minutes have decimals, and seconds follow"),
        ("five minutes", "has minutes and seconds"),
        ("5:3:4:5", "has minutes and seconds"),
        ("5:345", "has minutes and seconds"),
        ("5'34", "has minutes and seconds"),
        ("5" * 41, "an elapsed time has at most 40 characters"),
        ("nan s", "has minutes and seconds"),
    ],
)
def test_what_is_no_elapsed_time_is_refused_in_words(text: str, words: str) -> None:
    """The error says what is wrong and how to write it, under the name of the entry."""
    with pytest.raises(ReadingError, match=words) as caught:
        parse_elapsed(text, "runs[1].elapsed_s")
    assert caught.value.field == "runs[1].elapsed_s"
    assert caught.value.given == text
    assert caught.value.remedy.endswith(".")


@pytest.mark.parametrize(
    ("seconds", "decimals", "text"),
    [
        (334, None, "5:34"),
        (334.2, None, "5:34.2"),
        (45, None, "0:45"),
        (3934, None, "1:05:34"),
        (3599.97, None, "1:00:00"),
        (59.96, None, "1:00"),
        (334.04, None, "5:34"),
        (334.256, 2, "5:34.26"),
        (334.2, 0, "5:34"),
        (7, 1, "0:07.0"),
    ],
)
def test_an_elapsed_time_is_written_with_its_carries(seconds: float, decimals: int | None, text: str) -> None:
    """Sixty seconds become a minute, and hours appear from one hour on."""
    assert format_elapsed(seconds, decimals) == text


@pytest.mark.parametrize("seconds", [0, -1, math.nan])
def test_only_a_time_that_passed_is_written(seconds: float) -> None:
    """Zero, negative times and nan are refused."""
    with pytest.raises(ReadingError, match="elapsed_s"):
        format_elapsed(seconds)


@given(st.integers(1, 10**7), st.integers(0, 4))
def test_a_written_elapsed_time_is_read_back(units: int, decimals: int) -> None:
    """Reading what was written gives the same time to the last digit."""
    seconds = units / 10**decimals
    assert parse_elapsed(format_elapsed(seconds, decimals)) == pytest.approx(seconds, abs=1e-9)


@given(st.text(alphabet="0123456789:.,hms'\"′″ -in", max_size=20))
def test_any_text_is_a_time_above_zero_or_refused(text: str) -> None:
    """Nothing typed gives a time that is not a finite number above zero."""
    try:
        seconds = parse_elapsed(text)
    except ReadingError:
        return
    assert 0 < seconds < math.inf


@pytest.mark.parametrize(
    ("text", "offset_h", "instant"),
    [
        ("14:32:10", 0, datetime(2026, 5, 3, 14, 32, 10, tzinfo=UTC)),
        ("14:32", 0, datetime(2026, 5, 3, 14, 32, tzinfo=UTC)),
        ("9:05", 0, datetime(2026, 5, 3, 9, 5, tzinfo=UTC)),
        ("1432", 0, datetime(2026, 5, 3, 14, 32, tzinfo=UTC)),
        ("143210", 0, datetime(2026, 5, 3, 14, 32, 10, tzinfo=UTC)),
        ("143210.25", 0, datetime(2026, 5, 3, 14, 32, 10, 250_000, tzinfo=UTC)),
        ("14:32:10,5", 0, datetime(2026, 5, 3, 14, 32, 10, 500_000, tzinfo=UTC)),
        ("1432", -2, datetime(2026, 5, 3, 16, 32, tzinfo=UTC)),
        ("0130", 2, datetime(2026, 5, 2, 23, 30, tzinfo=UTC)),
        ("143210Z", -2, datetime(2026, 5, 3, 14, 32, 10, tzinfo=UTC)),
        ("1432 UTC", 5.5, datetime(2026, 5, 3, 14, 32, tzinfo=UTC)),
    ],
)
def test_a_clock_time_becomes_an_instant(text: str, offset_h: float, instant: datetime) -> None:
    """Ship's time less its offset is UTC; a time that says Z is UTC already."""
    got = parse_clock(text, DAY, timedelta(hours=offset_h))
    assert got == instant
    assert got.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has hours and minutes"),
        ("Z", "has hours and minutes"),
        ("932", "has hours and minutes"),
        ("half past two", "has hours and minutes"),
        ("14:32:1", "has hours and minutes"),
        ("1" + " " * 40 + "Z", "a clock time has at most 40 characters"),
        ("24:00", "a day has 24 hours"),
        ("1460", "a day has 24 hours"),
        ("14:32:60", "a day has 24 hours"),
    ],
)
def test_what_is_no_clock_time_is_refused_in_words(text: str, words: str) -> None:
    """The error says what a clock time looks like."""
    with pytest.raises(ReadingError, match=words) as caught:
        parse_clock(text, DAY, field="start")
    assert caught.value.field == "start"


@pytest.mark.parametrize("offset_h", [-13, 15])
def test_an_offset_that_no_ship_keeps_is_refused(offset_h: int) -> None:
    """Ship's time lies between 12 h behind UTC and 14 h ahead."""
    with pytest.raises(ReadingError, match="utc_offset"):
        parse_clock("1432", DAY, timedelta(hours=offset_h))


@pytest.mark.parametrize(
    ("start", "stop", "seconds"),
    [
        ("14:26:36", "14:32:10", 334),
        ("23:58:00", "00:03:34", 334),
        ("18:00", "06:00", 43200),
        ("00:00", "23:59", 86340),
    ],
)
def test_a_run_may_go_past_midnight(start: str, stop: str, seconds: float) -> None:
    """A stop that reads earlier is on the next day, up to 12 h on."""
    assert elapsed_between(parse_clock(start, DAY), parse_clock(stop, DAY)) == seconds


@pytest.mark.parametrize(("start", "stop"), [("14:32:10", "14:26:36"), ("18:00", "06:01")])
def test_a_stop_long_before_the_start_is_refused(start: str, stop: str) -> None:
    """Start and stop exchanged do not make a run of 23 h."""
    with pytest.raises(ReadingError, match="over 12 h later"):
        elapsed_between(parse_clock(start, DAY), parse_clock(stop, DAY))


def test_a_stop_days_before_the_start_is_refused() -> None:
    """Only the clock may wrap, not the calendar."""
    with pytest.raises(ReadingError, match="before the start"):
        elapsed_between(datetime(2026, 5, 3, 1, tzinfo=UTC), datetime(2026, 5, 1, 3, tzinfo=UTC))


def test_a_run_of_no_time_is_refused() -> None:
    """Start and stop at one instant are one reading entered twice."""
    with pytest.raises(ReadingError, match="same instant"):
        elapsed_between(parse_clock("1432", DAY), parse_clock("1432", DAY))


def test_a_naive_time_is_refused_with_the_remedy() -> None:
    """A time without zone is not guessed at."""
    naive = datetime(2026, 5, 3, 14, 32)  # noqa: DTZ001  the fault that is tested
    with pytest.raises(ReadingError, match="Give the time with its zone") as caught:
        require_aware(naive, "taken_at")
    assert caught.value.field == "taken_at"
    with pytest.raises(ReadingError, match="in which zone"):
        elapsed_between(naive, naive)


def test_an_aware_time_comes_back_in_utc() -> None:
    """The zone is used and then put away."""
    ship = datetime(2026, 5, 3, 14, 32, tzinfo=timezone(timedelta(hours=-2)))
    got = require_aware(ship, "taken_at")
    assert got == ship
    assert got.tzinfo is UTC
