"""Standard uncertainties from limits, resolutions and certificates: the ones no readings give.

JCGM 100:2008 calls them type B.
"""

from __future__ import annotations

import math
from enum import StrEnum
from statistics import NormalDist

from truemile.core.errors import ReadingError


class Shape(StrEnum):
    """How the possible values of an input lie about its value."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "arcsine"
    CURVILINEAR_TRAPEZOID = "curvilinear trapezoid"


def from_limit(half_width: float, shape: Shape = Shape.RECTANGULAR) -> float:
    """Standard uncertainty from a limit of error, ``± half_width``.

    Notes
    -----
    JCGM 100:2008 4.3.7 (rectangular, √3) and 4.3.9 (triangular, √6); an error that swings to and
    fro like a sine has √2. For the normal shape the limit is taken as the 95 % one.

    Raises
    ------
    ReadingError
        A negative limit, or the curvilinear trapezoid, which needs two numbers.

    Examples
    --------
    >>> round(from_limit(1.0), 3)
    0.577
    """
    _not_negative("half_width", half_width)
    if shape is Shape.CURVILINEAR_TRAPEZOID:
        raise ReadingError(
            "shape",
            str(shape),
            "one limit does not describe it",
            "Use from_inexact_limit with the limit and its own inexactness.",
        )
    divisors = {
        Shape.NORMAL: NormalDist().inv_cdf(0.975),
        Shape.RECTANGULAR: math.sqrt(3.0),
        Shape.TRIANGULAR: math.sqrt(6.0),
        Shape.ARCSINE: math.sqrt(2.0),
    }
    return half_width / divisors[shape]


def from_inexact_limit(half_width: float, inexactness: float) -> float:
    """Standard uncertainty from a limit of error that is itself known only to ``± inexactness``.

    Notes
    -----
    Curvilinear trapezoid, JCGM 101:2008 6.4.3: u² = half_width²/3 + inexactness²/9.

    Raises
    ------
    ReadingError
        A negative limit or inexactness.

    Examples
    --------
    >>> round(from_inexact_limit(0.05, 0.025), 4)
    0.03
    """
    _not_negative("half_width", half_width)
    _not_negative("inexactness", inexactness)
    return math.sqrt(half_width**2 / 3.0 + inexactness**2 / 9.0)


def from_resolution(step: float) -> float:
    """Standard uncertainty of a reading on a display that changes by ``step``.

    Notes
    -----
    step/√12, JCGM 100:2008 F.2.2.1. It belongs to every reading of a steady display alike, and
    does not shrink with their number.

    Examples
    --------
    >>> round(from_resolution(0.1), 4)
    0.0289
    """
    _not_negative("step", step)
    return step / math.sqrt(12.0)


def from_expanded(expanded: float, k: float = 2.0) -> float:
    """Standard uncertainty from an expanded one and its coverage factor, as a certificate has it.

    Notes
    -----
    JCGM 100:2008 4.3.3.

    Raises
    ------
    ReadingError
        A negative uncertainty, or a factor of 0 or less.

    Examples
    --------
    >>> from_expanded(0.010, k=2)
    0.005
    """
    _not_negative("expanded", expanded)
    if not 0.0 < k < math.inf:
        raise ReadingError("k", k, "a coverage factor must be more than 0", "It is 2 unless the paper says else.")
    return expanded / k


def _not_negative(field: str, given: float) -> None:
    if not 0.0 <= given < math.inf:
        raise ReadingError(field, given, "it must be 0 or more, and finite", "Give it as a positive number.")
