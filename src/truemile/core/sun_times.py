"""When on a day the sun stands well for checking a compass: low, and clear of noon."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from truemile.core.angles import wrap_360
from truemile.core.numbers import check_range
from truemile.core.position import Position
from truemile.core.sky import Body, Sky, azimuth_rate_deg_per_min, track_of
from truemile.core.sun_bearing import SightQuality

#: Up to here the lean of a pin matters little: 2° of it turn the bearing by half a degree; common practice, no source.
LOW_DEG: Final = 15.0
#: Nearer to noon the sun turns fastest; common practice, no source.
CLEAR_OF_NOON_H: Final = 2.0
#: The centre's true altitude when the upper limb is on the level horizon [USNO]_.
_LIMB_ON_HORIZON_DEG: Final = -50.0 / 60.0
_STEP_MIN: Final = 2
_STEPS: Final = 24 * 60 // _STEP_MIN


@dataclass(frozen=True, slots=True)
class SunMoment:
    """Where the sun stands at one end of a window."""

    at: datetime
    azimuth_true_deg: float
    altitude_deg: float


@dataclass(frozen=True, slots=True)
class SunWindow:
    """A time in which the sun stands well.

    Attributes
    ----------
    start, end
        Its first and last moment, to two minutes.
    fastest_deg_per_min
        How fast the sun's bearing turns in it at most.
    u_deg
        Standard uncertainty of a bearing at its worse end, for the usual care; see `SightQuality`.
    """

    start: SunMoment
    end: SunMoment
    fastest_deg_per_min: float
    u_deg: float

    @property
    def words(self) -> str:
        """Where the sun stands in it."""
        return (
            f"bearing {self.start.azimuth_true_deg:03.0f}° to {self.end.azimuth_true_deg:03.0f}° true,"
            f" {max(self.start.altitude_deg, 0):.0f}° to {max(self.end.altitude_deg, 0):.0f}° high,"
            f" turning {self.fastest_deg_per_min:.2f}° a minute at most"
        )


@dataclass(frozen=True, slots=True)
class SunTimes:
    """The windows of a day in order, and why there is none if there is none."""

    windows: tuple[SunWindow, ...]
    reason: str


def sun_times(
    sky: Sky,
    position: Position,
    day: date,
    utc_offset: timedelta = timedelta(0),
    *,
    highest_deg: float = LOW_DEG,
    clear_of_noon_h: float = CLEAR_OF_NOON_H,
) -> SunTimes:
    """Find when on a day of the ship's clock the sun stands well for checking a compass.

    Parameters
    ----------
    sky, position, day, utc_offset
        As in `truemile.core.sky_day.sky_day`.
    highest_deg
        How high it may stand.
    clear_of_noon_h
        How many hours of its own turning it must be from the meridian.

    Raises
    ------
    ReadingError
        If the ephemeris does not reach the day, or a limit is out of its range.

    Examples
    --------
    >>> from truemile.ephemeris import sky
    >>> found = sun_times(sky(), Position(50.0, -5.0), date(2026, 6, 1))
    >>> [f"{window.start.at:%H:%M} to {window.end.at:%H:%M} UTC" for window in found.windows]
    ['04:16 to 06:06 UTC', '18:30 to 20:20 UTC']
    """
    check_range("highest_deg", highest_deg, 0, 60, "degrees")
    check_range("clear_of_noon_h", clear_of_noon_h, 0, 6, "h")
    start = sky.start_of(day, utc_offset)
    import numpy as np

    instants = [start + timedelta(minutes=_STEP_MIN * step) for step in range(_STEPS + 1)]
    azimuths, altitudes, angles = track_of(sky, Body.SUN, position, instants)
    up, low = altitudes >= _LIMB_ON_HORIZON_DEG, altitudes <= highest_deg
    clear = np.abs(angles) >= 15.0 * clear_of_noon_h
    good = np.flatnonzero(up & low & clear)
    runs = np.split(good, np.flatnonzero(np.diff(good) > 1) + 1) if good.size else []
    moments = [
        SunMoment(at, wrap_360(float(azimuth)), float(altitude))
        for at, azimuth, altitude in zip(instants, azimuths, altitudes, strict=True)
    ]
    windows = tuple(_window(position, [moments[i] for i in run]) for run in runs)
    return SunTimes(windows, "" if windows else _reason(bool(up.any()), bool((up & low).any()), highest_deg))


def _window(position: Position, moments: list[SunMoment]) -> SunWindow:
    rates = [
        azimuth_rate_deg_per_min(position.latitude_deg, each.altitude_deg, each.azimuth_true_deg) for each in moments
    ]
    usual = SightQuality()
    u_deg = max(
        math.hypot(*usual.parts_deg(each.altitude_deg, rate)) for each, rate in zip(moments, rates, strict=True)
    )
    return SunWindow(moments[0], moments[-1], max(abs(rate) for rate in rates), u_deg)


def _reason(up: bool, low: bool, highest_deg: float) -> str:
    if not up:
        return "The sun does not rise on this day."
    if not low:
        return f"The sun stays higher than {highest_deg:.0f}° all day: use a shadow on a level card, and expect less."
    return "The sun is low only near noon: a shadow serves then too, if the time is noted to the second."
