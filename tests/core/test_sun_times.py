"""When the sun stands well for checking a compass."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from truemile.core.errors import ReadingError
from truemile.core.position import Position
from truemile.core.sky import sun_place
from truemile.core.sky_day import EventKind, sky_day
from truemile.core.sun_times import sun_times
from truemile.ephemeris import sky

SUMMER, WINTER = date(2026, 6, 21), date(2026, 12, 21)


@pytest.mark.parametrize("latitude", [-45.0, 0.0, 20.0, 50.0, 60.0])
@pytest.mark.parametrize("day", [SUMMER, WINTER])
def test_low_and_clear_of_noon(latitude: float, day: date) -> None:
    """At both ends of each window and two minutes outside, the sun is where the limits say."""
    place, step = Position(latitude, 12.0), timedelta(minutes=2)
    found = sun_times(sky(), place, day, timedelta(hours=1))
    assert len(found.windows) == 2
    assert found.reason == ""

    def well(at) -> bool:  # noqa: ANN001  an instant
        sun = sun_place(sky(), place, at)
        from_noon = min(sun.lha_deg, 360.0 - sun.lha_deg)
        return -50 / 60 <= sun.altitude_deg <= 15.0 and from_noon >= 30.0

    for window in found.windows:
        assert [well(at) for at in (window.start.at - step, window.start.at, window.end.at, window.end.at + step)] == [
            False, True, True, False,
        ]  # fmt: skip


def test_windows_begin_with_sunrise() -> None:
    """The first window begins within two minutes of sunrise and the last ends within two of sunset."""
    place = Position(50.0, -5.0)
    found, day = sun_times(sky(), place, SUMMER), sky_day(sky(), place, SUMMER)
    rise, down = day.first(EventKind.SUNRISE), day.first(EventKind.SUNSET)
    assert rise is not None
    assert down is not None
    assert timedelta(0) <= found.windows[0].start.at - rise.at <= timedelta(minutes=2)
    assert timedelta(0) <= down.at - found.windows[-1].end.at <= timedelta(minutes=2)


def test_words() -> None:
    """A window says where the sun stands in it and how fast it turns."""
    words = sun_times(sky(), Position(50.0, -5.0), SUMMER).windows[0].words
    assert words.startswith("bearing 051° to 071° true, 0° to 15° high, turning 0.19° a minute")


def test_how_well() -> None:
    """The uncertainty of a window is that of its worse end: half a degree of reading and 2 degrees of lean at 15."""
    window = sun_times(sky(), Position(50.0, -5.0), SUMMER).windows[0]
    assert 0.72 < window.u_deg < 0.74
    assert 0.15 < window.fastest_deg_per_min < 0.3


@pytest.mark.parametrize(
    ("latitude", "day", "reason"),
    [
        (75.0, WINTER, "does not rise"),
        (82.0, SUMMER, "higher than 15° all day"),
        (66.0, WINTER, "low only near noon"),
    ],
)
def test_why_there_is_none(latitude: float, day: date, reason: str) -> None:
    """Where the sun never stands well the reason is said."""
    found = sun_times(sky(), Position(latitude, 0.0), day)
    assert found.windows == ()
    assert reason in found.reason


def test_other_limits() -> None:
    """A higher limit and a shorter time from noon make the windows longer."""
    place = Position(50.0, 0.0)
    usual, wide = sun_times(sky(), place, WINTER), sun_times(sky(), place, WINTER, highest_deg=30, clear_of_noon_h=0.5)
    assert wide.windows[0].end.at > usual.windows[0].end.at


@pytest.mark.parametrize(("field", "value"), [("highest_deg", 61.0), ("clear_of_noon_h", -1.0)])
def test_no_limits(field: str, value: float) -> None:
    """A limit out of its range is refused by its name."""
    with pytest.raises(ReadingError, match=f"^{field} is"):
        sun_times(sky(), Position(50.0, 0.0), WINTER, **{field: value})


def test_a_day_out_of_reach() -> None:
    """A day that the ephemeris does not reach is refused."""
    with pytest.raises(ReadingError, match="day is '2051-06-21'"):
        sun_times(sky(), Position(50.0, 0.0), date(2051, 6, 21))
