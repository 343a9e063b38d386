"""Means over one leg: heading as a direction, log as a number, velocity over the ground as a vector."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from truemile.core.angles import circular_mean, wrap_360
from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.earth import geodesic
from truemile.core.errors import NotEnoughReadings
from truemile.core.ground_vectors import TURNING_DEG_S, Leg, Tack
from truemile.core.position import Position

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from truemile.recordings.recording import HeadingReference, Recording

    FloatArray = NDArray[np.float64]

#: Where the velocity over the ground is taken from: positions at both ends, or speed and course over the ground.
GroundFrom = Literal["position", "sog_cog"]
#: Scatter is judged between this many parts of a leg, because neighbouring seconds are alike.
BLOCKS = 6


class GroundVelocity(NamedTuple):
    """Velocity over the ground with standard uncertainties from the scatter within the leg."""

    cog_true_deg: float
    sog_kn: float
    u_cog_deg: float | None
    u_sog_kn: float | None


@dataclass(frozen=True, slots=True)
class FoundLeg:
    """One steady straight leg of a recording, or a piece of a turn.

    Parameters
    ----------
    start_s, stop_s
        Seconds of the recording.
    started_at
        UTC instant of the start, if the recording has a date.
    heading_deg, heading_reference
        Mean heading, as a direction.
    heading_sd_deg
        Standard deviation of the heading.
    indicated_kn, indicated_sd_kn
        Mean speed that the log indicated, and its standard deviation.
    by_position, by_sog_cog
        Velocity over the ground from the positions at both ends, and as the mean vector of speed and course over the
        ground; None where the recording has none.
    turn_rate_deg_s
        Mean change of heading, to starboard positive.
    variation_deg
        Mean variation, or None.
    readings
        Seconds with a log reading.
    u_heading_deg, u_indicated_kn
        Standard uncertainties of the means from the scatter within the leg, or None where it is too short.
    """

    start_s: float
    stop_s: float
    started_at: datetime | None
    heading_deg: float
    heading_reference: HeadingReference
    heading_sd_deg: float
    indicated_kn: float
    indicated_sd_kn: float
    by_position: GroundVelocity | None
    by_sog_cog: GroundVelocity | None
    turn_rate_deg_s: float
    variation_deg: float | None
    readings: int
    u_heading_deg: float | None
    u_indicated_kn: float | None

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.stop_s - self.start_s

    @property
    def turning(self) -> bool:
        """True if the heading changes too fast for a leg."""
        return abs(self.turn_rate_deg_s) > TURNING_DEG_S

    def to_leg(
        self, ground: GroundFrom = "position", *, tack: Tack = Tack.POWER, variation_deg: float | None = None
    ) -> Leg:
        """Give it as a leg of a vector round.

        Parameters
        ----------
        ground
            Which of the two velocities over the ground; the other is taken where this one is missing.
        tack
            Tack under sail, which no recording tells.
        variation_deg
            Variation for a magnetic or compass heading, where the recording has none or it is to be replaced.

        Raises
        ------
        NotEnoughReadings
            If the heading is not true and no variation is known.
        """
        velocity = self.ground(ground)
        return Leg(
            self.heading_deg,
            self.indicated_kn,
            velocity.sog_kn,
            velocity.cog_true_deg,
            variation_deg=self._variation(variation_deg),
            duration_s=self.duration_s,
            started_at=self.started_at,
            tack=tack,
            turn_rate_deg_s=self.turn_rate_deg_s,
            u_indicated_kn=self.u_indicated_kn,
            u_sog_kn=velocity.u_sog_kn,
            u_cog_deg=velocity.u_cog_deg,
            u_heading_deg=self.u_heading_deg,
        )

    def ground(self, wanted: GroundFrom = "position") -> GroundVelocity:
        """Give one velocity over the ground, the other where the wanted one is missing.

        Raises
        ------
        NotEnoughReadings
            If it has neither.
        """
        both = (self.by_position, self.by_sog_cog)
        velocity = (both[0] or both[1]) if wanted == "position" else (both[1] or both[0])
        if velocity is None:
            raise NotEnoughReadings(
                "ground",
                "a leg with neither positions nor course over the ground",
                "a leg needs one",
                "Record RMC too.",
            )
        return velocity

    def _variation(self, given: float | None) -> float:
        if self.heading_reference == "true":
            return 0.0
        known = given if given is not None else self.variation_deg
        if known is None:
            raise NotEnoughReadings(
                "variation_deg",
                None,
                f"the headings of this recording are {self.heading_reference}",
                "Enter the variation of the place, east positive.",
            )
        return known


def leg_between(recording: Recording, start_s: float, stop_s: float) -> FoundLeg | None:
    """Take the means between two times; None if log, heading or ground is missing there."""
    import numpy as np

    inside = (recording.t_s >= start_s) & (recording.t_s <= stop_s)
    t_s = recording.t_s[inside]
    heading, log = recording.heading_deg[inside], recording.stw_kn[inside]
    steered, logged = np.isfinite(heading), np.isfinite(log)
    reference = recording.heading_reference
    if reference is None or steered.sum() < 3 or logged.sum() < 3:
        return None
    by_position = _by_position(t_s, recording.lat[inside], recording.lon[inside])
    by_sog_cog = _by_sog_cog(recording.sog_kn[inside], recording.cog_true_deg[inside])
    if by_position is None and by_sog_cog is None:
        return None
    unwrapped = np.degrees(np.unwrap(np.radians(heading[steered])))
    slope = float(np.polynomial.polynomial.polyfit(t_s[steered] - t_s[0], unwrapped, 1)[1])
    variation = recording.variation_deg[inside]
    started_at = None if recording.started_at is None else recording.started_at + timedelta(seconds=start_s)
    return FoundLeg(
        start_s,
        stop_s,
        started_at,
        circular_mean(heading[steered].tolist()).mean_deg,
        reference,
        float(np.std(unwrapped, ddof=1)),
        float(np.mean(log[logged])),
        float(np.std(log[logged], ddof=1)),
        by_position,
        by_sog_cog,
        slope,
        float(np.nanmean(variation)) if np.isfinite(variation).any() else None,
        int(logged.sum()),
        _u_mean(unwrapped),
        _u_mean(log[logged]),
    )


def _by_position(t_s: FloatArray, lat: FloatArray, lon: FloatArray) -> GroundVelocity | None:
    """Give distance and course from the first position to the last, over the time between them."""
    import numpy as np

    fixed = np.flatnonzero(np.isfinite(lat))
    if fixed.size < 2 or t_s[fixed[-1]] <= t_s[fixed[0]]:
        return None
    east, north, sog, cog = _made_good(t_s, lat, lon, fixed[0], fixed[-1])
    if cog is None:
        return None
    if fixed.size < 2 * BLOCKS:
        return GroundVelocity(cog, sog, None, None)
    ends = fixed[np.linspace(0, fixed.size - 1, BLOCKS + 1).astype(int)]
    parts = [_made_good(t_s, lat, lon, first, last)[:2] for first, last in pairwise(ends)]
    u_cog, u_sog = _u_vector(np.array(parts), east, north)
    return GroundVelocity(cog, sog, u_cog, u_sog)


def _made_good(
    t_s: FloatArray, lat: FloatArray, lon: FloatArray, first: int, last: int
) -> tuple[float, float, float, float | None]:
    """Give east and north components, speed and course between two positions; no course if they are one."""
    line = geodesic(Position(float(lat[first]), float(lon[first])), Position(float(lat[last]), float(lon[last])))
    sog = line.distance_nm / float(t_s[last] - t_s[first]) * SECONDS_PER_HOUR
    if line.courses_true_deg is None:
        return 0.0, 0.0, 0.0, None
    cog = line.course_true_deg
    return sog * math.sin(math.radians(cog)), sog * math.cos(math.radians(cog)), sog, cog


def _by_sog_cog(sog: FloatArray, cog: FloatArray) -> GroundVelocity | None:
    """Give the mean vector."""
    import numpy as np

    there = np.isfinite(sog + cog)
    if there.sum() < 2:
        return None
    radians = np.radians(cog[there])
    vectors = np.c_[sog[there] * np.sin(radians), sog[there] * np.cos(radians)]
    east, north = (float(part) for part in vectors.mean(axis=0))
    speed = math.hypot(east, north)
    if speed == 0:
        return None
    course = wrap_360(math.degrees(math.atan2(east, north)))
    if len(vectors) < 2 * BLOCKS:
        return GroundVelocity(course, speed, None, None)
    parts = np.array([part.mean(axis=0) for part in np.array_split(vectors, BLOCKS)])
    u_cog, u_sog = _u_vector(parts, east, north)
    return GroundVelocity(course, speed, u_cog, u_sog)


def _u_vector(parts: FloatArray, east: float, north: float) -> tuple[float | None, float | None]:
    """Give the standard uncertainty of direction (degrees) and length of a mean vector from its parts."""
    import numpy as np

    speed = math.hypot(east, north)
    along = parts @ np.array([east, north]) / speed
    across = parts @ np.array([north, -east]) / speed
    u_along, u_across = (float(np.std(part, ddof=1)) / math.sqrt(len(parts)) for part in (along, across))
    return math.degrees(math.atan2(u_across, speed)) or None, u_along or None


def _u_mean(values: FloatArray) -> float | None:
    """Give the standard uncertainty of a mean of neighbouring readings, from the scatter between parts of it.

    Readings that never move tell nothing about theirs: None, and the last digit of the display counts instead.
    """
    import numpy as np

    if values.size < 2 * BLOCKS:
        return None
    means = [float(part.mean()) for part in np.array_split(values, BLOCKS)]
    return float(np.std(means, ddof=1)) / math.sqrt(BLOCKS) or None
