"""Rising, setting, twilights, transits and the moon's phase against the US Naval Observatory and a second library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import ephem
import pytest

from tests.core.skies import published, rows, utc, whole_sky
from truemile.core.angles import difference
from truemile.core.errors import ReadingError
from truemile.core.position import Position
from truemile.core.sky_day import EventKind, MoonPhase, moon_phase, sky_day
from truemile.ephemeris import sky

NAMES = {
    "sunrise": EventKind.SUNRISE,
    "sunset": EventKind.SUNSET,
    "civil dawn": EventKind.CIVIL_DAWN,
    "civil dusk": EventKind.CIVIL_DUSK,
    "nautical dusk": EventKind.NAUTICAL_DUSK,
    "astronomical dawn": EventKind.ASTRONOMICAL_DAWN,
    "sun transit": EventKind.SUN_TRANSIT,
    "moonrise": EventKind.MOONRISE,
    "moon transit": EventKind.MOON_TRANSIT,
}
OF_A_BODY = {
    ("sun", "rise"): EventKind.SUNRISE,
    ("sun", "set"): EventKind.SUNSET,
    ("moon", "rise"): EventKind.MOONRISE,
    ("moon", "set"): EventKind.MOONSET,
}


def _seconds_off(place: Position, kind: EventKind, at: datetime) -> float:
    """How far the nearest event of the kind, on that day in universal time or next to it, lies from an instant."""
    days = [sky_day(whole_sky(), place, (at + timedelta(hours=hours)).date()) for hours in (-12, 12)]
    return min(abs((event.at - at).total_seconds()) for day in days for event in day.events if event.kind is kind)


@pytest.mark.parametrize("row", rows("usno_riseset_events"), ids=lambda row: f"{row['body']}-{row['utc']}")
def test_rise_and_set(row: dict) -> None:
    """Rising and setting are those of the US Naval Observatory, to the half minute of print and 5 s."""
    kind = OF_A_BODY[row["body"], row["event"]]
    off = _seconds_off(Position(row["lat_deg"], row["lon_deg"]), kind, utc(row["utc"]))
    assert off <= published("usno_riseset_events")["tol_s"]


@pytest.mark.parametrize("row", rows("usno_twilight_and_transit"), ids=lambda row: f"{row['place']} {row['event']}")
def test_twilight_and_transit(row: dict) -> None:
    """Twilights and transits are those of the US Naval Observatory, to the half minute of print and 5 s."""
    off = _seconds_off(Position(row["lat_deg"], row["lon_deg"]), NAMES[row["event"]], utc(row["utc"]))
    assert off <= published("usno_twilight_and_transit")["tol_s"]


@pytest.mark.parametrize("body", ["sun", "moon"])
@pytest.mark.parametrize("row_number", range(8))
def test_a_local_day(body: str, row_number: int) -> None:
    """A day of a clock seven hours behind has the rise and set that its own table gives it."""
    table = published(f"usno_{body}_fredonia_2023")
    row = rows(f"usno_{body}_fredonia_2023")[row_number]
    behind, day = timedelta(hours=table["utc_offset_h"]), date.fromisoformat(row["local_date"])
    found = sky_day(whole_sky(), Position(table["lat_deg"], table["lon_deg"]), day, behind)
    for event in ("rise", "set"):
        here = found.first(OF_A_BODY[body, event])
        assert here is not None
        off = (here.at + behind).replace(tzinfo=None) - datetime.fromisoformat(f"{row['local_date']}T{row[event]}")
        assert abs(off.total_seconds()) <= table["tol_s"]


@pytest.mark.parametrize("row", rows("nrel_spa_riseset"), ids=lambda row: row["date_utc"])
def test_to_the_second(row: dict) -> None:
    """Sunrise, noon and sunset are those of the NREL algorithm within its 2 s."""
    place, tolerance = Position(row["lat_deg"], row["lon_deg"]), published("nrel_spa_riseset")["tol_s"]
    names = {"sunrise": EventKind.SUNRISE, "transit": EventKind.SUN_TRANSIT, "sunset": EventKind.SUNSET}
    for column, kind in names.items():
        assert _seconds_off(place, kind, utc(f"{row['date_utc']}T{row[column]}")) <= tolerance


@pytest.mark.parametrize("latitude", [-55.0, -20.0, 0.0, 35.0, 62.0])
@pytest.mark.parametrize("day", [date(2021, 3, 3), date(2024, 8, 19), date(2025, 12, 21)])
def test_moon_by_a_second_library(latitude: float, day: date) -> None:
    """A second library [ephem] has the moon rise and set within 20 s, and on the same bearing."""
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.pressure, observer.horizon = str(latitude), "20", 0, "-0:34"
    for event in sky_day(sky(), Position(latitude, 20.0), day).events:
        if event.kind in {EventKind.MOONRISE, EventKind.MOONSET}:
            observer.date = event.at - timedelta(hours=1)
            find = observer.next_rising if event.kind is EventKind.MOONRISE else observer.next_setting
            other = find(ephem.Moon()).datetime().replace(tzinfo=UTC)
            assert abs((event.at - other).total_seconds()) <= 20


def test_azimuths_of_the_events() -> None:
    """At the equinox the sun rises in the east and sets in the west, and at noon it stands in the meridian."""
    found = sky_day(sky(), Position(40.0, 0.0), date(2026, 3, 20))
    wanted = {EventKind.SUNRISE: 90.0, EventKind.SUN_TRANSIT: 180.0, EventKind.SUNSET: 270.0}
    for kind, azimuth in wanted.items():
        event = found.first(kind)
        assert event is not None
        assert abs(difference(event.azimuth_true_deg, azimuth)) <= 1.2
    assert [event.at for event in found.events] == sorted(event.at for event in found.events)


@pytest.mark.parametrize(
    ("latitude", "month", "stays"),
    [(75.0, 6, "up"), (75.0, 12, "down"), (-75.0, 6, "down"), (-75.0, 12, "up"), (90.0, 6, "up"), (50.0, 6, "")],
)
def test_sun_that_stays(latitude: float, month: int, stays: str) -> None:
    """Near the poles the sun stays up or down all day, and a sentence says so."""
    found = sky_day(sky(), Position(latitude, 10.0), date(2026, month, 21))
    assert found.sun_stays == stays
    assert (f"The sun stays {stays} all day." in found.remarks) == bool(stays)
    assert (found.first(EventKind.SUNRISE) is None) == bool(stays)


def test_a_day_without_moonset() -> None:
    """Once a month the moon sets on no day, and a sentence says so."""
    found = sky_day(sky(), Position(50.0, -5.0), date(2026, 6, 21))
    assert found.remarks == ("No moonset on this day.",)


def test_no_event_is_lost_between_days() -> None:
    """Thirty days after one another hold what the sun and moon do in thirty days, each once."""
    place, start = Position(-30.0, 175.0), date(2026, 4, 1)
    days = [sky_day(sky(), place, start + timedelta(days=n), timedelta(hours=12)) for n in range(30)]
    times = [event.at for day in days for event in day.events if event.kind is EventKind.SUNRISE]
    moons = [event.at for day in days for event in day.events if event.kind is EventKind.MOONRISE]
    assert len(times) == 30
    day = timedelta(days=1)
    assert all(abs(after - before - day) < timedelta(minutes=5) for before, after in pairwise(times))
    assert all(
        timedelta(minutes=20) < after - before - day < timedelta(minutes=90) for before, after in pairwise(moons)
    )


@pytest.mark.parametrize(
    ("find", "elongation", "name"),
    [
        (ephem.next_new_moon, 0.0, "new moon"),
        (ephem.next_first_quarter_moon, 90.0, "first quarter"),
        (ephem.next_full_moon, 180.0, "full moon"),
        (ephem.next_last_quarter_moon, 270.0, "last quarter"),
    ],
)
def test_phase(find, elongation: float, name: str) -> None:  # noqa: ANN001  a function without type information
    """At the instants that a second library [ephem] has for the quarters, the elongation is that of the quarter."""
    at = find(ephem.Date("2025/6/1")).datetime().replace(tzinfo=UTC)
    found = moon_phase(sky(), at)
    assert abs(difference(found.elongation_deg, elongation)) <= 0.02
    assert found.name == name
    assert found.illuminated == pytest.approx({0.0: 0.0, 180.0: 1.0}.get(elongation, 0.5), abs=0.005)


def test_the_eight_names() -> None:
    """Round the circle the names come in their order."""
    names = [MoonPhase(45.0 * n, 0.0).name for n in range(8)]
    assert names == [
        "new moon", "waxing crescent", "first quarter", "waxing gibbous",
        "full moon", "waning gibbous", "last quarter", "waning crescent",
    ]  # fmt: skip
    assert MoonPhase(359.9, 0.0).name == "new moon"


def test_a_day_out_of_reach() -> None:
    """A day before the ephemeris begins is refused by the name of the day."""
    with pytest.raises(ReadingError, match=r"day is '2019-12-31'.*from 3 January 2020"):
        sky_day(sky(), Position(0.0, 0.0), date(2019, 12, 31))


def test_the_first_and_last_day() -> None:
    """The first and the last day are whole, on clocks of either side."""
    for day, hours in ((sky().first, 14), (sky().last, -12)):
        found = sky_day(sky(), Position(40.0, 0.0), day, timedelta(hours=hours))
        assert found.first(EventKind.SUNRISE) is not None
        assert found.first(EventKind.SUNSET) is not None
