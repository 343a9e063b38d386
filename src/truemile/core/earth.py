"""Distances and courses along geodesics of the WGS84 ellipsoid.

The algorithm is that of Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55, as built into PROJ and
reached through pyproj: a nanometre at any distance, near the antipode too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from truemile.core.angles import reciprocal, wrap_360
from truemile.core.constants import METRES_PER_NM
from truemile.core.errors import ReadingError
from truemile.core.numbers import check_finite
from truemile.core.position import Position

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray
    from pyproj import Geod

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GeodesicLine:
    """The shortest line between two positions.

    Parameters
    ----------
    distance_m
        Length in metres.
    courses_true_deg
        True course at the start and at the end, or None if the two positions are one.
    """

    distance_m: float
    courses_true_deg: tuple[float, float] | None

    @property
    def distance_nm(self) -> float:
        """Length in nautical miles."""
        return self.distance_m / METRES_PER_NM

    @property
    def course_true_deg(self) -> float:
        """True course on leaving the first position; ReadingError if the two positions are one."""
        return self._courses()[0]

    @property
    def final_course_true_deg(self) -> float:
        """True course on reaching the second position; ReadingError if the two positions are one."""
        return self._courses()[1]

    def _courses(self) -> tuple[float, float]:
        if self.courses_true_deg is None:
            raise ReadingError(
                "course_true_deg",
                "a course between identical positions",
                "two positions must differ before there is a course between them",
                "Check that the two ends were not entered alike.",
            )
        return self.courses_true_deg


class GeodesicArrays(NamedTuple):
    """Many geodesics at once; the courses of a line of no length are nan."""

    distance_nm: FloatArray
    distance_m: FloatArray
    course_true_deg: FloatArray
    final_course_true_deg: FloatArray


def geodesic(start: Position, end: Position) -> GeodesicLine:
    """Give the shortest line between two positions.

    Examples
    --------
    >>> line = geodesic(Position(47.0, -31.0), Position(47.0, -30.0))
    >>> round(line.distance_nm, 3), round(line.course_true_deg, 2)
    (41.067, 89.63)
    """
    azimuth, back_azimuth, distance_m = _wgs84().inv(
        start.longitude_deg, start.latitude_deg, end.longitude_deg, end.latitude_deg
    )
    if distance_m == 0:
        return GeodesicLine(0.0, None)
    return GeodesicLine(distance_m, (wrap_360(azimuth), reciprocal(back_azimuth)))


def destination(start: Position, course_true_deg: float, distance_nm: float) -> Position:
    """Give the position reached from another along the geodesic that leaves on a course.

    Raises
    ------
    ReadingError
        If the course is no ordinary number, or the distance is negative.

    Examples
    --------
    >>> round(destination(Position(47.0, -31.0), 0.0, 60.0).latitude_deg, 4)
    47.9995
    """
    check_finite("course_true_deg", course_true_deg)
    check_finite("distance_nm", distance_nm)
    if distance_nm < 0:
        raise ReadingError(
            "distance_nm",
            distance_nm,
            "a distance is not negative",
            "Use the reciprocal course to go the other way.",
        )
    longitude, latitude, _ = _wgs84().fwd(
        start.longitude_deg, start.latitude_deg, course_true_deg, distance_nm * METRES_PER_NM
    )
    return Position(latitude, longitude)


def geodesic_arrays(
    start_latitude_deg: ArrayLike,
    start_longitude_deg: ArrayLike,
    end_latitude_deg: ArrayLike,
    end_longitude_deg: ArrayLike,
) -> GeodesicArrays:
    """Give many shortest lines at once; the inputs are broadcast against each other.

    Notes
    -----
    Meant for recordings: the inputs are trusted, and a nan among them gives nan.

    Examples
    --------
    >>> lines = geodesic_arrays(47.0, -31.0, [47.0, 48.0], [-30.0, -31.0])
    >>> lines.distance_nm.round(3).tolist()
    [41.067, 60.033]
    """
    import numpy as np

    lat1, lon1, lat2, lon2 = (
        np.ascontiguousarray(each, dtype=np.float64)
        for each in np.broadcast_arrays(start_latitude_deg, start_longitude_deg, end_latitude_deg, end_longitude_deg)
    )
    azimuth, back_azimuth, distance_m = (
        np.asarray(each, dtype=np.float64) for each in _wgs84().inv(lon1, lat1, lon2, lat2)
    )
    somewhere = distance_m > 0
    course = np.where(somewhere, wrap_360(azimuth), np.nan)
    final_course = np.where(somewhere, reciprocal(back_azimuth), np.nan)
    return GeodesicArrays(distance_m / METRES_PER_NM, distance_m, course, final_course)


@cache
def _wgs84() -> Geod:
    from pyproj import Geod

    return Geod(ellps="WGS84")
