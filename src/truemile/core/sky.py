"""Where sun, moon and planets stand at an instant, seen from a place at sea level.

The core opens no files: a `Sky` with a loaded ephemeris is handed in, see `truemile.ephemeris`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from truemile.core.angles import wrap_180, wrap_360
from truemile.core.errors import ReadingError
from truemile.core.magnetism import day_text
from truemile.core.numbers import check_range
from truemile.core.position import Position
from truemile.core.times import require_aware

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: To be shown wherever a page asks for a bearing of the sun.
SUN_CAUTION: Final = (
    "Never look at the sun through glass or sight without its shade, and not at a low sun either: it burns the eye"
    " without pain. A shadow does the same work."
)


class Body(StrEnum):
    """A body that the ephemeris holds."""

    SUN = "sun"
    MOON = "moon"
    VENUS = "venus"
    MARS = "mars"
    JUPITER = "jupiter"
    SATURN = "saturn"


#: Names in the ephemeris; the outer planets stand for the centre of mass of planet and moons, which is close enough.
_TARGETS: Final = {
    Body.SUN: "sun",
    Body.MOON: "moon",
    Body.VENUS: "venus",
    Body.MARS: "mars barycenter",
    Body.JUPITER: "jupiter barycenter",
    Body.SATURN: "saturn barycenter",
}
#: Radii in km: sun 696 000 (the almanac's 16.0′ at one astronomical unit), moon 1737.4. From memory.
_RADII_KM: Final = {Body.SUN: 696_000.0, Body.MOON: 1737.4}


#: A day of the ship's clock may reach into the day before or after in universal time.
_GRACE: Final = timedelta(days=1)
_WESTERNMOST, _EASTERNMOST = timedelta(hours=-12), timedelta(hours=14)


@dataclass(frozen=True, slots=True)
class Sky:
    """A loaded ephemeris and a time scale, as skyfield has them, and the days for which they serve.

    Parameters
    ----------
    timescale, kernel
        skyfield's ``Timescale`` and ``SpiceKernel``.
    first, last
        Days, both included; the ephemeris must reach two days further at either end.
    """

    timescale: Any
    kernel: Any
    first: date
    last: date

    def target(self, body: Body) -> Any:  # noqa: ANN401  skyfield carries no type information
        """Return the body as skyfield observes it."""
        return self.kernel[_TARGETS[body]]

    def observer(self, position: Position) -> Any:  # noqa: ANN401  as above
        """Return the place at sea level as skyfield observes from it."""
        from skyfield.api import wgs84

        return self.kernel["earth"] + wgs84.latlon(position.latitude_deg, position.longitude_deg)

    def time(self, at: datetime) -> Any:  # noqa: ANN401  as above
        """Return the instant as skyfield's time.

        Raises
        ------
        ReadingError
            If it has no zone, or the ephemeris does not reach it.
        """
        instant = require_aware(at, "at")
        if not self.first - _GRACE <= instant.date() <= self.last + _GRACE:
            self.check_day("at", instant.date())
        return self.timescale.from_datetime(instant)

    def start_of(self, day: date, utc_offset: timedelta) -> datetime:
        """Return when a day of the ship's clock begins, in universal time.

        Raises
        ------
        ReadingError
            If the ephemeris does not reach it, or the offset is none that clocks have.
        """
        if not _WESTERNMOST <= utc_offset <= _EASTERNMOST:
            raise ReadingError(
                "utc_offset", str(utc_offset), "ship's time is from 12 h behind UTC to 14 h ahead", "Check its sign."
            )
        self.check_day("day", day)
        return datetime.combine(day, time(0), tzinfo=UTC) - utc_offset

    def check_day(self, field: str, day: date) -> None:
        """Refuse a day that the ephemeris does not reach.

        Raises
        ------
        ReadingError
            If it lies outside.
        """
        if not self.first <= day <= self.last:
            raise ReadingError(
                field,
                day.isoformat(),
                f"the ephemeris here runs from {day_text(self.first)} to {day_text(self.last)}",
                "Check the year; for other years take the body's place from a nautical almanac.",
            )


@dataclass(frozen=True, slots=True)
class BodyPlace:
    """Where a body stands.

    Attributes
    ----------
    body, position, at
        What, from where and when (universal time).
    azimuth_true_deg, altitude_deg
        Seen from the place without the air, which raises a body but does not turn it.
    declination_deg, gha_deg
        Seen from the earth's centre, as an almanac lists them: north positive, and westward from Greenwich.
    semidiameter_deg
        Half its width; 0 for a planet.
    """

    body: Body
    position: Position
    at: datetime
    azimuth_true_deg: float
    altitude_deg: float
    declination_deg: float
    gha_deg: float
    semidiameter_deg: float

    @property
    def lha_deg(self) -> float:
        """Local hour angle, westward, 0 to 360."""
        return wrap_360(self.gha_deg + self.position.longitude_deg)

    @property
    def apparent_altitude_deg(self) -> float:
        """Altitude of its centre through air of 1010 hPa and 10 °C, over the sensible horizon."""
        return self.altitude_deg + refraction_deg(self.altitude_deg)

    @property
    def azimuth_rate_deg_per_min(self) -> float:
        """How fast its azimuth turns, clockwise positive."""
        return azimuth_rate_deg_per_min(self.position.latitude_deg, self.altitude_deg, self.azimuth_true_deg)


def place_of(sky: Sky, body: Body, position: Position, at: datetime) -> BodyPlace:
    """Work out where a body stands.

    Raises
    ------
    ReadingError
        If the instant has no zone, or the ephemeris does not reach it.

    Notes
    -----
    Apparent place with light time, aberration and deflection, seen from WGS 84 at sea level; ephemeris [DE421]_.

    Examples
    --------
    >>> from truemile.ephemeris import sky
    >>> sun = place_of(sky(), Body.SUN, Position(50.0, -5.0), datetime(2026, 6, 1, 6, 0, tzinfo=UTC))
    >>> round(sun.azimuth_true_deg, 2), round(sun.altitude_deg, 2)
    (72.21, 13.97)
    """
    moment = sky.time(at)
    target = sky.target(body)
    altitude, azimuth, distance = sky.observer(position).at(moment).observe(target).apparent().altaz()
    ascension, declination, _ = sky.kernel["earth"].at(moment).observe(target).apparent().radec(epoch="date")
    semidiameter = math.degrees(math.asin(_RADII_KM.get(body, 0.0) / float(distance.km)))
    return BodyPlace(
        body=body,
        position=position,
        at=at.astimezone(UTC),
        azimuth_true_deg=wrap_360(float(azimuth.degrees)),
        altitude_deg=float(altitude.degrees),
        declination_deg=float(declination.degrees),
        gha_deg=wrap_360(15.0 * (float(moment.gast) - float(ascension.hours))),
        semidiameter_deg=semidiameter,
    )


def sun_place(sky: Sky, position: Position, at: datetime) -> BodyPlace:
    """Work out where the sun stands; as `place_of`."""
    return place_of(sky, Body.SUN, position, at)


class Track(NamedTuple):
    """A body at many instants: azimuth, altitude without the air, and hour angle from the meridian, west positive."""

    azimuth_true_deg: NDArray[np.float64]
    altitude_deg: NDArray[np.float64]
    hour_angle_deg: NDArray[np.float64]


def track_of(sky: Sky, body: Body, position: Position, instants: Sequence[datetime]) -> Track:
    """Work out where a body stands at many instants.

    Notes
    -----
    Meant for a thousand instants at most, to spare memory; that they have a zone and are within reach is trusted.
    """
    times = sky.timescale.from_datetimes(instants)
    apparent = sky.observer(position).at(times).observe(sky.target(body)).apparent()
    altitude, azimuth, _ = apparent.altaz()
    return Track(azimuth.degrees, altitude.degrees, wrap_180(15.0 * apparent.hadec()[0].hours))


def azimuth_rate_deg_per_min(latitude_deg: float, altitude_deg: float, azimuth_true_deg: float) -> float:
    """How fast the azimuth of a body turns, clockwise positive; nan in the zenith.

    Notes
    -----
    dZ/dt = 15° an hour × (sin φ − cos φ tan h cos Z), from the navigational triangle; the body's own motion, a
    four-hundredth part for the sun, is left out.

    Examples
    --------
    >>> round(azimuth_rate_deg_per_min(50.0, 0.0, 60.0), 3), round(azimuth_rate_deg_per_min(0.0, 0.0, 90.0), 3)
    (0.192, 0.0)
    """
    if abs(altitude_deg) >= 90.0:
        return math.nan
    latitude, altitude, azimuth = (math.radians(each) for each in (latitude_deg, altitude_deg, azimuth_true_deg))
    turn = math.sin(latitude) - math.cos(latitude) * math.tan(altitude) * math.cos(azimuth)
    return 0.25 * turn


def refraction_deg(altitude_deg: float) -> float:
    """How much the air raises a body whose true altitude is given; that of the horizon below it.

    Notes
    -----
    1.02′ / tan(h + 10.3 / (h + 5.11)), Sæmundsson, for 1010 hPa and 10 °C; [Meeus1998]_ 16.4.

    Examples
    --------
    >>> round(60 * refraction_deg(0.0), 1), round(60 * refraction_deg(45.0), 1)
    (29.0, 1.0)
    """
    check_range("altitude_deg", altitude_deg, -90, 90, "degrees")
    held = max(altitude_deg, -1.0)
    return max(1.02 / math.tan(math.radians(held + 10.3 / (held + 5.11))), 0.0) / 60.0


def dip_deg(eye_height_m: float) -> float:
    """How far the visible horizon lies below the level, for a height of eye.

    Raises
    ------
    ReadingError
        If the height is negative or above 100 m.

    Notes
    -----
    1.76′ √(height in m), the formula of the almanacs (from memory).

    Examples
    --------
    >>> round(60 * dip_deg(2.0), 1)
    2.5
    """
    return 1.76 * math.sqrt(check_range("eye_height_m", eye_height_m, 0, 100, "m")) / 60.0
