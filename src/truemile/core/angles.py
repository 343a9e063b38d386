"""Angles in degrees clockwise: wrapping, differences, means, and bearings as they are written.

Every function without "parse" or "format" in its name takes a number or a numpy array and answers in kind.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple, overload

from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.numbers import check_finite, check_length, parse_number

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

#: What a bearing is counted from: true north, magnetic north or the north of the steering compass.
BearingReference = Literal["T", "M", "C"]

_REFERENCE_WORDS: Final[dict[str, BearingReference]] = {
    "t": "T",
    "true": "T",
    "m": "M",
    "mag": "M",
    "magnetic": "M",
    "c": "C",
    "compass": "C",
}
_BEARING = re.compile(r"(?P<number>[^°a-z]*?)\s*(?:°|deg(?:rees?)?\b)?\s*(?P<reference>[a-z]*)\.?")
_NO_MEAN = 1e-9


class CircularMean(NamedTuple):
    """Mean direction, and how closely the directions agree: 1 all alike, 0 spread all round."""

    mean_deg: float
    resultant_length: float


@overload
def wrap_360(angle_deg: float) -> float: ...
@overload
def wrap_360(angle_deg: FloatArray) -> FloatArray: ...
def wrap_360(angle_deg: float | FloatArray) -> float | FloatArray:
    """Bring an angle into [0, 360).

    Examples
    --------
    >>> wrap_360(-7.5)
    352.5
    """
    signed = _within_one_turn(angle_deg)
    turned = signed + 360.0 * (signed < 0)
    wrapped: float | FloatArray = turned - 360.0 * (turned >= 360.0)
    return wrapped


@overload
def wrap_180(angle_deg: float) -> float: ...
@overload
def wrap_180(angle_deg: FloatArray) -> FloatArray: ...
def wrap_180(angle_deg: float | FloatArray) -> float | FloatArray:
    """Bring an angle into (-180, 180].

    Examples
    --------
    >>> wrap_180(352.5), wrap_180(-180.0)
    (-7.5, 180.0)
    """
    signed = _within_one_turn(angle_deg)
    wrapped: float | FloatArray = signed - 360.0 * (signed > 180.0) + 360.0 * (signed <= -180.0)
    return wrapped


@overload
def difference(angle_deg: float, from_deg: float) -> float: ...
@overload
def difference(angle_deg: FloatArray, from_deg: FloatArray | float) -> FloatArray: ...
@overload
def difference(angle_deg: float, from_deg: FloatArray) -> FloatArray: ...
def difference(angle_deg: float | FloatArray, from_deg: float | FloatArray) -> float | FloatArray:
    """Angle minus another, the short way round, in (-180, 180]; positive when the first lies clockwise.

    Examples
    --------
    >>> difference(3.0, 358.0)
    5.0
    """
    return wrap_180(angle_deg - from_deg)


@overload
def reciprocal(angle_deg: float) -> float: ...
@overload
def reciprocal(angle_deg: FloatArray) -> FloatArray: ...
def reciprocal(angle_deg: float | FloatArray) -> float | FloatArray:
    """Give the opposite direction, in [0, 360).

    Examples
    --------
    >>> reciprocal(276.0)
    96.0
    """
    return wrap_360(angle_deg + 180.0)


def circular_mean(angles_deg: Iterable[float]) -> CircularMean:
    """Mean direction of several, right across north.

    Parameters
    ----------
    angles_deg
        Directions in degrees.

    Returns
    -------
    CircularMean
        The mean in [0, 360) and the resultant length from 0 to 1.

    Raises
    ------
    NotEnoughReadings
        If there is none.
    NoSolution
        If they cancel, as 090 and 270 do.

    Notes
    -----
    Direction and length of the mean of the unit vectors; Mardia and Jupp, Directional Statistics (2000),
    section 2.2 (from memory).

    Examples
    --------
    >>> mean, length = circular_mean([358, 1, 3, 359, 2])
    >>> round(mean, 3), round(length, 5)
    (0.6, 0.99948)
    """
    radians = [math.radians(check_finite("angles_deg", angle)) for angle in angles_deg]
    if not radians:
        raise NotEnoughReadings(
            "angles_deg", "no angle", "a mean needs at least one", "Enter the bearings that were read."
        )
    north = math.fsum(math.cos(a) for a in radians) / len(radians)
    east = math.fsum(math.sin(a) for a in radians) / len(radians)
    length = math.hypot(north, east)
    if length < _NO_MEAN:
        raise NoSolution(
            "angles_deg",
            f"{len(radians)} angles that cancel",
            "directions spread evenly all round have no mean",
            "Take the mean of readings made on one heading only.",
        )
    return CircularMean(wrap_360(math.degrees(math.atan2(east, north))), min(length, 1.0))


def format_bearing(bearing_deg: float, reference: BearingReference | None, decimals: int = 0) -> str:
    """Write a bearing with three figures before the decimal mark and the letter of its reference.

    Raises
    ------
    ReadingError
        If the bearing is no ordinary number.

    Examples
    --------
    >>> format_bearing(276.2, "T"), format_bearing(7.5, "C", decimals=1), format_bearing(359.96, "M", 1)
    ('276°T', '007.5°C', '000.0°M')
    """
    check_finite("bearing_deg", bearing_deg)
    width = 3 + (decimals + 1 if decimals else 0)
    text = f"{wrap_360(bearing_deg):0{width}.{decimals}f}"
    if text.startswith("360"):
        text = f"{0:0{width}.{decimals}f}"
    return f"{text}°{reference or ''}"


def parse_bearing(text: str, field: str = "bearing") -> tuple[float, BearingReference | None]:
    """Read a bearing from 0 to 360 with or without its reference.

    Parameters
    ----------
    text
        Such as ``276°T``, ``7,5 C``, ``276 true`` or ``096``.
    field
        Name of the entry, for the error.

    Returns
    -------
    tuple
        Degrees in [0, 360), and ``T``, ``M``, ``C`` or None when none was written.

    Raises
    ------
    ReadingError
        If the text is no bearing, lies outside 0 to 360, or names a reference that is not known.

    Examples
    --------
    >>> parse_bearing("276°T")
    (276.0, 'T')
    """
    plain = check_length(field, text, what="a bearing")
    match = _BEARING.fullmatch(plain.replace("º", "°").replace("˚", "°").lower())
    if match is None:
        raise ReadingError(
            field, text, "a bearing is one number of degrees and a letter", "Write it as 276°T, 276°M or 276°C."
        )
    word = match["reference"]
    if word and word not in _REFERENCE_WORDS:
        raise ReadingError(field, text, "a bearing is true, magnetic or compass", "End it with T, M or C: 276°T.")
    degrees = parse_number(match["number"], field)
    if not 0 <= degrees <= 360:
        raise ReadingError(
            field, text, "a bearing runs from 0 to 360 degrees", "Enter it clockwise from north, 000 to 360."
        )
    return wrap_360(degrees), _REFERENCE_WORDS.get(word)


def _within_one_turn(angle_deg: Any) -> Any:  # noqa: ANN401  numbers and arrays alike
    """Take off whole turns without rounding and keep the sign."""
    return (abs(angle_deg) % 360.0) * ((angle_deg >= 0) * 2 - 1)
