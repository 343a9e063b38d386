"""True bearings of the sun by hand formulas, and the check of a compass by the sun or by a shadow.

East is positive for error, variation and deviation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from truemile.core.angles import difference, reciprocal, wrap_180, wrap_360
from truemile.core.errors import NoSolution
from truemile.core.magnetism import COVERAGE_FACTOR, east_west
from truemile.core.numbers import check_range
from truemile.core.sky import BodyPlace, dip_deg, refraction_deg

#: Refraction of a body on the horizon [USNO]_.
HORIZON_REFRACTION_DEG: Final = 34.0 / 60.0
#: Semidiameter of the sun where none is given, within 0.3′ all the year.
SUN_SEMIDIAMETER_DEG: Final = 16.0 / 60.0


class Side(StrEnum):
    """Which horizon the sun stands on."""

    RISING = "rising"
    SETTING = "setting"


class LowSun(StrEnum):
    """What the low sun looks like at the moment of the bearing."""

    CENTRE_LEVEL = "centre level"
    UPPER_LIMB_ON_HORIZON = "upper limb on the horizon"
    LOWER_LIMB_ON_HORIZON = "lower limb on the horizon"


@dataclass(frozen=True, slots=True)
class Amplitude:
    """True bearing of a body low over the horizon.

    Attributes
    ----------
    latitude_deg, declination_deg, altitude_deg
        North positive; true altitude of the centre, 0 for the amplitude of the tables.
    side
        Rising or setting.
    amplitude_deg
        From due east or due west, north positive.
    """

    latitude_deg: float
    declination_deg: float
    altitude_deg: float
    side: Side
    amplitude_deg: float

    @property
    def bearing_true_deg(self) -> float:
        """The same as a bearing."""
        rising = self.side is Side.RISING
        return wrap_360(90.0 - self.amplitude_deg if rising else 270.0 + self.amplitude_deg)

    @property
    def words(self) -> str:
        """The amplitude as it is written.

        Examples
        --------
        >>> amplitude(51.0, 19.0, Side.SETTING).words
        'W 31.2° N'
        """
        north = "N" if self.amplitude_deg >= 0 else "S"
        return f"{'E' if self.side is Side.RISING else 'W'} {abs(self.amplitude_deg):.1f}° {north}"


def amplitude(latitude_deg: float, declination_deg: float, side: Side, altitude_deg: float = 0.0) -> Amplitude:
    """Work out the true bearing of a body that rises or sets.

    Parameters
    ----------
    latitude_deg, declination_deg
        North positive.
    side
        Rising or setting.
    altitude_deg
        True altitude of the centre: 0 on the celestial horizon; for the visible one see `altitude_of_low_sun`.

    Raises
    ------
    ReadingError
        If an angle is out of its range.
    NoSolution
        If the body never comes to that altitude, or the place is a pole.

    Notes
    -----
    sin A = sin d / cos φ; off the celestial horizon sin A = (sin d - sin φ sin h) / (cos φ cos h).

    Examples
    --------
    As worked in [NAVEDTRA14220]_:

    >>> round(amplitude(51.0, 19.0, Side.SETTING).bearing_true_deg, 1)
    301.2
    """
    check_range("latitude_deg", latitude_deg, -90, 90, "degrees")
    check_range("declination_deg", declination_deg, -90, 90, "degrees")
    check_range("altitude_deg", altitude_deg, -89, 89, "degrees")
    phi, dec, h = (math.radians(each) for each in (latitude_deg, declination_deg, altitude_deg))
    below = math.cos(phi) * math.cos(h)
    above = math.sin(dec) - math.sin(phi) * math.sin(h)
    if below < 1e-9 or abs(above) > below:
        raise NoSolution(
            "latitude_deg",
            latitude_deg,
            f"a body of declination {east_north(declination_deg)} stays on one side of the altitude {altitude_deg:.1f}°"
            " there all day",
            "Take its azimuth at a noted time instead.",
        )
    return Amplitude(latitude_deg, declination_deg, altitude_deg, side, math.degrees(math.asin(above / below)))


def east_north(angle_deg: float) -> str:
    """Write a declination or latitude with its hemisphere.

    Examples
    --------
    >>> east_north(-23.44), east_north(0.0)
    ('23.4° S', '0.0°')
    """
    return east_west(angle_deg, 1).replace("E", "N").replace("W", "S")


def altitude_of_low_sun(look: LowSun, eye_height_m: float, semidiameter_deg: float = SUN_SEMIDIAMETER_DEG) -> float:
    """Return the true altitude of the sun's centre for what is seen on the sea horizon.

    Raises
    ------
    ReadingError
        If the height of the eye is out of its range.

    Notes
    -----
    The visible horizon lies lower than the level by the dip, and the air raises the sun there by 34′.

    Examples
    --------
    >>> round(60 * altitude_of_low_sun(LowSun.UPPER_LIMB_ON_HORIZON, 2.0), 1)
    -52.5
    """
    on_horizon_deg = -dip_deg(eye_height_m) - HORIZON_REFRACTION_DEG
    if look is LowSun.CENTRE_LEVEL:
        return 0.0
    return on_horizon_deg + (semidiameter_deg if look is LowSun.LOWER_LIMB_ON_HORIZON else -semidiameter_deg)


def lower_limb_when_level(eye_height_m: float, semidiameter_deg: float = SUN_SEMIDIAMETER_DEG) -> float:
    """Return how many of its own diameters the sun's lower limb stands above the sea when its centre is truly level.

    Raises
    ------
    ReadingError
        If the height of the eye is out of its range.

    Notes
    -----
    Refraction at a true altitude of 0 raises it by 29′, and the dip lowers the sea.

    Examples
    --------
    >>> round(lower_limb_when_level(2.0), 2)
    0.48
    """
    lower_limb_deg = refraction_deg(0.0) + dip_deg(eye_height_m) - semidiameter_deg
    return lower_limb_deg / (2.0 * semidiameter_deg)


@dataclass(frozen=True, slots=True)
class SolvedTriangle:
    """The navigational triangle of a body.

    Attributes
    ----------
    latitude_deg, declination_deg, lha_deg
        North positive; hour angle westward, 0 to 360.
    azimuth_true_deg, altitude_deg
        Where the body stands, without air and parallax.
    """

    latitude_deg: float
    declination_deg: float
    lha_deg: float
    azimuth_true_deg: float
    altitude_deg: float

    @property
    def azimuth_angle_deg(self) -> float:
        """Azimuth angle of the tables: from the elevated pole, 0 to 180."""
        from_north = abs(wrap_180(self.azimuth_true_deg))
        return from_north if self.latitude_deg >= 0 else 180.0 - from_north

    @property
    def words(self) -> str:
        """The azimuth angle with prefix and suffix, as the tables give it.

        Examples
        --------
        >>> solve_triangle(33.0, -19.0, 51.0).words
        'N 129.1° W'
        """
        pole = "N" if self.latitude_deg >= 0 else "S"
        return f"{pole} {self.azimuth_angle_deg:.1f}° {'W' if self.lha_deg < 180 else 'E'}"


def solve_triangle(latitude_deg: float, declination_deg: float, lha_deg: float) -> SolvedTriangle:
    """Work out azimuth and altitude from latitude, declination and local hour angle.

    Raises
    ------
    ReadingError
        If an angle is out of its range.
    NoSolution
        If the body is in the zenith, or the place is a pole: there it has no azimuth.

    Notes
    -----
    tan Z = -sin LHA / (cos φ tan d - sin φ cos LHA), the angle taken in its own quadrant; [Meeus1998]_ 13.5 and 13.6.

    Examples
    --------
    >>> round(solve_triangle(33.0, -19.0, 51.0).azimuth_true_deg, 1)
    230.9
    """
    check_range("latitude_deg", latitude_deg, -90, 90, "degrees")
    check_range("declination_deg", declination_deg, -90, 90, "degrees")
    check_range("lha_deg", lha_deg, -360, 360, "degrees")
    phi, dec, lha = (math.radians(each) for each in (latitude_deg, declination_deg, lha_deg))
    east = -math.cos(dec) * math.sin(lha)
    north = math.sin(dec) * math.cos(phi) - math.cos(dec) * math.cos(lha) * math.sin(phi)
    up = math.sin(dec) * math.sin(phi) + math.cos(dec) * math.cos(lha) * math.cos(phi)
    if math.hypot(east, north) < 1e-9 or abs(latitude_deg) > 90.0 - 1e-9:
        raise NoSolution(
            "lha_deg",
            lha_deg,
            "a body in the zenith, and any body seen from a pole, has no azimuth",
            "Wait until the body is lower.",
        )
    azimuth = wrap_360(math.degrees(math.atan2(east, north)))
    altitude = math.degrees(math.atan2(up, math.hypot(east, north)))
    return SolvedTriangle(latitude_deg, declination_deg, wrap_360(lha_deg), azimuth, altitude)


class Sight(StrEnum):
    """What was read on the compass."""

    SUN = "bearing of the sun"
    SHADOW = "shadow of the pin"


@dataclass(frozen=True, slots=True)
class SightQuality:
    """How well a bearing of the sun can be taken.

    Parameters
    ----------
    u_reading_deg, u_tilt_deg, u_time_s
        Standard uncertainties: of reading the card, of how upright pin or sight stand on a moving boat, and of the
        noted time. The defaults are judgements for a yacht in a slight sea (common practice, no source).

    Raises
    ------
    ReadingError
        If one is negative or beyond all use.
    """

    u_reading_deg: float = 0.5
    u_tilt_deg: float = 2.0
    u_time_s: float = 2.0

    def __post_init__(self) -> None:
        """Check the ranges."""
        check_range("u_reading_deg", self.u_reading_deg, 0, 30, "degrees")
        check_range("u_tilt_deg", self.u_tilt_deg, 0, 30, "degrees")
        check_range("u_time_s", self.u_time_s, 0, 3600, "s")

    def parts_deg(self, altitude_deg: float, rate_deg_per_min: float) -> tuple[float, float, float]:
        """Return what reading, tilt and time each do to the bearing of a sun at an altitude that turns at a rate.

        Notes
        -----
        A pin that leans by t across the bearing turns it by t tan h: little for a low sun, much for a high one.
        """
        return (
            self.u_reading_deg,
            self.u_tilt_deg * math.tan(math.radians(abs(altitude_deg))),
            abs(rate_deg_per_min) * self.u_time_s / 60.0,
        )


@dataclass(frozen=True, slots=True)
class SunCheck:
    """What the sun says of a compass.

    Attributes
    ----------
    sight, reading_deg
        What was read, and the reading.
    azimuth_true_deg
        True bearing of the sun at that moment.
    bearing_compass_deg
        Bearing of the sun by compass: the reading, or the opposite of the shadow.
    error_deg, variation_deg, deviation_deg
        Error is the sum of the other two.
    u_parts_deg
        Standard uncertainties from reading, tilt, time and variation.
    """

    sight: Sight
    reading_deg: float
    azimuth_true_deg: float
    bearing_compass_deg: float
    error_deg: float
    variation_deg: float
    deviation_deg: float
    u_parts_deg: tuple[float, float, float, float]

    @property
    def u_deg(self) -> float:
        """Standard uncertainty of the deviation."""
        return math.hypot(*self.u_parts_deg)

    @property
    def expanded_deg(self) -> float:
        """The 95 % uncertainty of the deviation."""
        return COVERAGE_FACTOR * self.u_deg

    @property
    def words(self) -> str:
        """The finding in two sentences."""
        return (
            f"Compass error {east_west(self.error_deg, 1)}, deviation {east_west(self.deviation_deg, 1)}"
            f" ± {self.expanded_deg:.1f}°. It holds for the heading that the boat had at that moment."
        )


def check_by_bearing(
    azimuth_true_deg: float,
    reading_deg: float,
    variation_deg: float,
    *,
    sight: Sight = Sight.SUN,
    u_parts_deg: tuple[float, float, float, float] = (0.5, 0.0, 0.0, 0.0),
) -> SunCheck:
    """Compare a reading with the true bearing of the sun, from a formula or a table.

    Raises
    ------
    ReadingError
        If a value is out of its range.

    Notes
    -----
    Error = true - compass, deviation = error - variation.

    Examples
    --------
    >>> found = check_by_bearing(80.0, 92.0, -10.0)
    >>> found.error_deg, found.deviation_deg
    (-12.0, -2.0)
    """
    check_range("azimuth_true_deg", azimuth_true_deg, 0, 360, "degrees")
    check_range("reading_deg", reading_deg, 0, 360, "degrees")
    check_range("variation_deg", variation_deg, -180, 180, "degrees")
    bearing = reciprocal(reading_deg) if sight is Sight.SHADOW else wrap_360(reading_deg)
    error = difference(azimuth_true_deg, bearing)
    deviation = difference(error, variation_deg)
    return SunCheck(sight, reading_deg, azimuth_true_deg, bearing, error, variation_deg, deviation, u_parts_deg)


def check_by_sun(
    place: BodyPlace,
    reading_deg: float,
    variation_deg: float,
    u_variation_deg: float,
    *,
    sight: Sight = Sight.SUN,
    quality: SightQuality | None = None,
) -> SunCheck:
    """Compare a reading with where the sun stood at the noted time.

    Parameters
    ----------
    place
        Where the sun stood, see `truemile.core.sky.sun_place`.
    reading_deg
        Read on the compass.
    variation_deg, u_variation_deg
        East positive, and its standard uncertainty.
    sight
        Whether the sun or the shadow was read.
    quality
        How well; None for the usual.

    Raises
    ------
    ReadingError
        If a value is out of its range.
    NoSolution
        If the sun was not up.
    """
    if place.altitude_deg < -1.0:
        raise NoSolution(
            "at",
            place.at.isoformat(timespec="seconds"),
            f"the sun then stood {-place.altitude_deg:.0f}° below the horizon",
            "Check the time, its zone and the side of the longitude.",
        )
    parts = (quality or SightQuality()).parts_deg(place.altitude_deg, place.azimuth_rate_deg_per_min)
    check_range("u_variation_deg", u_variation_deg, 0, 180, "degrees")
    return check_by_bearing(
        place.azimuth_true_deg, reading_deg, variation_deg, sight=sight, u_parts_deg=(*parts, u_variation_deg)
    )
