"""The triangle of boat and water: what a stream does to course and speed over the ground.

Directions are true. A stream is given by its set, the direction it flows towards, and its drift.
Plane trigonometry: the sides are speeds in knots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from truemile.core.angles import wrap_360
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.numbers import check_finite, check_positive


class GroundVelocity(NamedTuple):
    """Course and speed over the ground."""

    course_over_ground_true_deg: float
    speed_over_ground_kn: float


class StreamParts(NamedTuple):
    """Stream along a course, ahead positive, and across it, to starboard positive."""

    along_kn: float
    across_kn: float


@dataclass(frozen=True, slots=True)
class PairMeans:
    """Mean of a run each way at one speed through the water, for three ways of running.

    Parameters
    ----------
    speed_kn
        Speed through the water.
    along_kn, across_kn
        Stream along the course and across it.

    Raises
    ------
    NoSolution
        If the stream is too strong to make both runs in all three ways.
    """

    speed_kn: float
    along_kn: float
    across_kn: float

    def __post_init__(self) -> None:
        """Refuse a stream that the boat cannot stem."""
        crab_angle_deg(self.speed_kn, self.across_kn)
        check_finite("along_kn", self.along_kn)
        if math.hypot(self.along_kn, self.across_kn) >= self.speed_kn:
            raise NoSolution(
                "along_kn",
                self.along_kn,
                f"a boat at {self.speed_kn:g} kn makes no way against this stream",
                "Go faster or wait for a weaker stream.",
            )

    @property
    def heading_held_transits_kn(self) -> float:
        """Heading held square to parallel transits, drift left alone: the speed through the water."""
        return ((self.speed_kn + self.along_kn) + (self.speed_kn - self.along_kn)) / 2

    @property
    def track_held_kn(self) -> float:
        """Track held from mark to mark by crabbing: low."""
        return math.sqrt(self.speed_kn**2 - self.across_kn**2)

    @property
    def heading_held_satellite_kn(self) -> float:
        """Heading held and satellite speed over the ground used as a plain number: high."""
        ahead = math.hypot(self.speed_kn + self.along_kn, self.across_kn)
        astern = math.hypot(self.speed_kn - self.along_kn, self.across_kn)
        return (ahead + astern) / 2

    @property
    def heading_held_transits_bias(self) -> float:
        """Relative error of the first way."""
        return self.heading_held_transits_kn / self.speed_kn - 1

    @property
    def track_held_bias(self) -> float:
        """Relative error of the second way; dividing by the cosine of the crab angle removes it."""
        return self.track_held_kn / self.speed_kn - 1

    @property
    def heading_held_satellite_bias(self) -> float:
        """Relative error of the third way."""
        return self.heading_held_satellite_kn / self.speed_kn - 1

    @property
    def crab_angle_deg(self) -> float:
        """Angle between track and heading on the second way, positive for a stream to starboard."""
        return crab_angle_deg(self.speed_kn, self.across_kn)


def ground_velocity(
    heading_true_deg: float, speed_kn: float, stream_set_deg: float, stream_drift_kn: float
) -> GroundVelocity:
    """Add the stream to the boat's motion through the water.

    Raises
    ------
    ReadingError
        If a speed is negative or no ordinary number.
    NoSolution
        If the boat lies still over the ground, so that there is no course.

    Examples
    --------
    >>> course, speed = ground_velocity(0.0, 5.0, 90.0, 1.0)
    >>> round(course, 1), round(speed, 2)
    (11.3, 5.1)
    """
    check_finite("heading_true_deg", heading_true_deg)
    check_finite("stream_set_deg", stream_set_deg)
    _check_speed("speed_kn", speed_kn)
    _check_speed("stream_drift_kn", stream_drift_kn)
    heading, stream_set = math.radians(heading_true_deg), math.radians(stream_set_deg)
    north = speed_kn * math.cos(heading) + stream_drift_kn * math.cos(stream_set)
    east = speed_kn * math.sin(heading) + stream_drift_kn * math.sin(stream_set)
    speed_over_ground = math.hypot(north, east)
    if speed_over_ground <= 1e-12 * max(speed_kn, stream_drift_kn):
        raise NoSolution(
            "speed_over_ground_kn",
            0.0,
            "a boat that lies still over the ground has no course over it",
            "Change speed or heading.",
        )
    return GroundVelocity(wrap_360(math.degrees(math.atan2(east, north))), speed_over_ground)


def along_across(stream_set_deg: float, drift_kn: float, course_true_deg: float) -> StreamParts:
    """Split a stream along a course and across it.

    Examples
    --------
    >>> along, across = along_across(120.0, 1.0, 90.0)
    >>> round(along, 3), round(across, 3)
    (0.866, 0.5)
    """
    check_finite("stream_set_deg", stream_set_deg)
    check_finite("course_true_deg", course_true_deg)
    _check_speed("drift_kn", drift_kn)
    angle = math.radians(stream_set_deg - course_true_deg)
    return StreamParts(drift_kn * math.cos(angle), drift_kn * math.sin(angle))


def crab_angle_deg(speed_kn: float, across_kn: float) -> float:
    """Angle to head up against a stream across the course, so that the track is held.

    Parameters
    ----------
    speed_kn
        Speed through the water.
    across_kn
        Stream across the course, to starboard positive.

    Returns
    -------
    float
        Course minus heading to steer: positive, head to port of the course, for a stream to starboard.

    Raises
    ------
    NoSolution
        If the stream across is as strong as the boat.

    Notes
    -----
    sin(angle) = across / speed, the law of sines in the triangle of speeds.

    Examples
    --------
    >>> round(crab_angle_deg(5.0, 1.0), 2)
    11.54
    """
    check_positive("speed_kn", speed_kn, "kn")
    check_finite("across_kn", across_kn)
    if abs(across_kn) >= speed_kn:
        raise NoSolution(
            "across_kn",
            across_kn,
            f"a boat at {speed_kn:g} kn cannot hold a track across it",
            "Go faster, wait for a weaker stream, or choose a course along the stream.",
        )
    return math.degrees(math.asin(across_kn / speed_kn))


def pair_means_in_stream(speed_kn: float, along_kn: float, across_kn: float) -> PairMeans:
    """Say what the mean of a run each way gives, for three ways of running the course.

    Raises
    ------
    NoSolution
        If the stream is too strong to make both runs in all three ways.

    Examples
    --------
    >>> means = pair_means_in_stream(5.0, along_kn=0.5, across_kn=1.0)
    >>> round(means.track_held_kn, 3), round(means.heading_held_satellite_kn, 3)
    (4.899, 5.1)
    """
    return PairMeans(speed_kn, along_kn, across_kn)


def oblique_distance_nm(course_nm: float, angle_off_normal_deg: float) -> float:
    """Length of a run between parallel transit lines that are crossed at an angle.

    Parameters
    ----------
    course_nm
        Distance between the lines.
    angle_off_normal_deg
        Angle between the track and the square crossing, less than 90 either way.

    Raises
    ------
    ReadingError
        If the track does not cross the lines.

    Notes
    -----
    Distance divided by the cosine of the angle.

    Examples
    --------
    >>> round(oblique_distance_nm(1.0, 5.0), 5)
    1.00382
    """
    check_positive("course_nm", course_nm, "nm")
    check_finite("angle_off_normal_deg", angle_off_normal_deg)
    if not -90 < angle_off_normal_deg < 90:
        raise ReadingError(
            "angle_off_normal_deg",
            angle_off_normal_deg,
            "a track that crosses the lines is less than 90 degrees off the square",
            "Give the angle between the track and the square crossing.",
        )
    return course_nm / math.cos(math.radians(angle_off_normal_deg))


def _check_speed(field: str, speed_kn: float) -> None:
    check_finite(field, speed_kn)
    if speed_kn < 0:
        raise ReadingError(field, speed_kn, "a speed is not negative", "Give the size, and turn the direction round.")
