"""The sky of one day at a place: rising and setting, twilights and noon, and the moon's phase."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Any, Final

from truemile.core.angles import wrap_360
from truemile.core.position import Position
from truemile.core.sky import Body, Sky, place_of, track_of

_DAY: Final = timedelta(days=1)


class EventKind(StrEnum):
    """What happens in the sky."""

    ASTRONOMICAL_DAWN = "astronomical dawn"
    NAUTICAL_DAWN = "nautical dawn"
    CIVIL_DAWN = "civil dawn"
    SUNRISE = "sunrise"
    SUN_TRANSIT = "sun on the meridian"
    SUNSET = "sunset"
    CIVIL_DUSK = "civil dusk"
    NAUTICAL_DUSK = "nautical dusk"
    ASTRONOMICAL_DUSK = "astronomical dusk"
    MOONRISE = "moonrise"
    MOON_TRANSIT = "moon on the meridian"
    MOONSET = "moonset"


#: Altitude of the sun's centre at each dawn and dusk [USNO]_.
_TWILIGHTS: Final = (
    (-6.0, EventKind.CIVIL_DAWN, EventKind.CIVIL_DUSK),
    (-12.0, EventKind.NAUTICAL_DAWN, EventKind.NAUTICAL_DUSK),
    (-18.0, EventKind.ASTRONOMICAL_DAWN, EventKind.ASTRONOMICAL_DUSK),
)


@dataclass(frozen=True, slots=True)
class SkyEvent:
    """One event.

    Attributes
    ----------
    kind, body
        What happens, and to which body.
    at
        Universal time.
    azimuth_true_deg, altitude_deg
        Where the body's centre then stands, without the air.
    """

    kind: EventKind
    body: Body
    at: datetime
    azimuth_true_deg: float
    altitude_deg: float


@dataclass(frozen=True, slots=True)
class MoonPhase:
    """How the moon looks.

    Attributes
    ----------
    elongation_deg
        Ecliptic longitude of the moon less that of the sun: 0 new, 90 first quarter, 180 full, 270 last quarter.
    illuminated
        Lit part of the disc, 0 to 1.
    """

    elongation_deg: float
    illuminated: float

    @property
    def name(self) -> str:
        """One of the eight names; the four quarters are named within half a day of their instant.

        Examples
        --------
        >>> MoonPhase(3.0, 0.0).name, MoonPhase(120.0, 0.75).name, MoonPhase(265.0, 0.5).name
        ('new moon', 'waxing gibbous', 'last quarter')
        """
        quarter, beyond = divmod(self.elongation_deg + _HALF_DAY_DEG, 90.0)
        names = _QUARTERS if beyond <= 2.0 * _HALF_DAY_DEG else _BETWEEN
        return names[int(quarter) % 4]


#: The moon gains 360° on the sun in 29.53 days, so 6.1° in half a day.
_HALF_DAY_DEG: Final = 360.0 / 29.53 / 2.0
_QUARTERS: Final = ("new moon", "first quarter", "full moon", "last quarter")
_BETWEEN: Final = ("waxing crescent", "waxing gibbous", "waning gibbous", "waning crescent")


@dataclass(frozen=True, slots=True)
class SkyDay:
    """The events of a day at a place, in order.

    Attributes
    ----------
    position, day, utc_offset
        Where and when: a day of the clock that is ahead of universal time by the offset.
    events
        In order of time. One that does not happen on this day is missing.
    sun_stays
        ``up`` or ``down`` where it neither rises nor sets all day, else empty.
    moon
        Its phase in the middle of the day.
    """

    position: Position
    day: date
    utc_offset: timedelta
    events: tuple[SkyEvent, ...]
    sun_stays: str
    moon: MoonPhase

    def first(self, kind: EventKind) -> SkyEvent | None:
        """Return the first event of a kind on this day, if there is one."""
        return next((event for event in self.events if event.kind is kind), None)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the list of events does not say by itself, a sentence each."""
        said = [f"The sun stays {self.sun_stays} all day."] if self.sun_stays else []
        said += [f"No {kind.value} on this day." for kind in _MOON_EVENTS if self.first(kind) is None]
        return tuple(said)


_MOON_EVENTS: Final = (EventKind.MOONRISE, EventKind.MOONSET)


def sky_day(sky: Sky, position: Position, day: date, utc_offset: timedelta = timedelta(0)) -> SkyDay:
    """Find what rises and sets on a day of the ship's clock.

    Raises
    ------
    ReadingError
        If the ephemeris does not reach the day, or the offset is none that clocks have.

    Notes
    -----
    Rising and setting: upper limb on the level sea horizon with 34′ of refraction; twilights: centre of the sun 6°, 12°
    and 18° below [USNO]_. The height of the eye lets the sun rise earlier and set later, at 2 m by some 20 s in middle
    latitudes.

    Examples
    --------
    >>> from truemile.ephemeris import sky
    >>> found = sky_day(sky(), Position(50.0, -5.0), date(2026, 6, 1), timedelta(hours=1))
    >>> [f"{event.kind.value} {event.at + timedelta(hours=1):%H:%M}" for event in found.events[:4]]
    ['moon on the meridian 01:47', 'nautical dawn 03:32', 'civil dawn 04:33', 'sunrise 05:15']
    """
    start = sky.start_of(day, utc_offset)
    found = [*_of_the_sun(sky, position, start), *_of_the_moon(sky, position, start)]
    events = tuple(sorted(found, key=lambda event: event.at))
    kinds = {event.kind for event in events}
    stays = "" if kinds & {EventKind.SUNRISE, EventKind.SUNSET} else _stays(sky, position, start)
    return SkyDay(position, day, utc_offset, events, stays, moon_phase(sky, start + _DAY / 2))


def moon_phase(sky: Sky, at: datetime) -> MoonPhase:
    """Return the moon's phase at an instant.

    Raises
    ------
    ReadingError
        If it has no zone, or the ephemeris does not reach it.
    """
    from skyfield import almanac

    moment = sky.time(at)
    lit = sky.kernel["earth"].at(moment).observe(sky.target(Body.MOON)).apparent()
    return MoonPhase(
        float(almanac.moon_phase(sky.kernel, moment).degrees),
        float(lit.fraction_illuminated(sky.target(Body.SUN))),
    )


def _of_the_sun(sky: Sky, position: Position, start: datetime) -> list[SkyEvent]:
    search = _Search(sky, position, start, Body.SUN)
    found = search.crossings(None, EventKind.SUNRISE, EventKind.SUNSET)
    for horizon_deg, dawn, dusk in _TWILIGHTS:
        found += search.crossings(horizon_deg, dawn, dusk)
    return search.events(found + search.transits(EventKind.SUN_TRANSIT))


def _of_the_moon(sky: Sky, position: Position, start: datetime) -> list[SkyEvent]:
    search = _Search(sky, position, start, Body.MOON)
    found = search.crossings(None, EventKind.MOONRISE, EventKind.MOONSET)
    return search.events(found + search.transits(EventKind.MOON_TRANSIT))


def _stays(sky: Sky, position: Position, start: datetime) -> str:
    noon = place_of(sky, Body.SUN, position, start + _DAY / 2)
    return "up" if noon.altitude_deg > -50.0 / 60.0 else "down"


@dataclass(frozen=True, slots=True)
class _Search:
    """A search through one day, begun and ended a little outside so that nothing at its edges is missed."""

    sky: Sky
    position: Position
    start: datetime
    body: Body

    def crossings(self, horizon_deg: float | None, up: EventKind, down: EventKind) -> list[tuple[EventKind, datetime]]:
        from skyfield import almanac

        found = []
        for find, kind in ((almanac.find_risings, up), (almanac.find_settings, down)):
            times, real = find(*self._what, *self._span, horizon_deg)
            found += [(kind, each) for each, crosses in zip(times.utc_datetime(), real, strict=True) if crosses]
        return found

    def transits(self, kind: EventKind) -> list[tuple[EventKind, datetime]]:
        from skyfield import almanac

        return [(kind, each) for each in almanac.find_transits(*self._what, *self._span).utc_datetime()]

    def events(self, found: list[tuple[EventKind, datetime]]) -> list[SkyEvent]:
        """Keep those of the day, each with where the body then stands."""
        today = [each for each in found if self.start <= each[1] < self.start + _DAY]
        if not today:
            return []
        azimuths, altitudes, _ = track_of(self.sky, self.body, self.position, [at for _, at in today])
        return [
            SkyEvent(kind, self.body, at.astimezone(UTC), wrap_360(float(azimuth)), float(altitude))
            for (kind, at), azimuth, altitude in zip(today, azimuths, altitudes, strict=True)
        ]

    @property
    def _what(self) -> tuple[Any, Any]:
        return self.sky.observer(self.position), self.sky.target(self.body)

    @property
    def _span(self) -> tuple[Any, Any]:
        scale = self.sky.timescale
        return scale.from_datetime(self.start - _DAY), scale.from_datetime(self.start + 2 * _DAY)
