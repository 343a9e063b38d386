"""Degrees of freedom, and the factor from a standard to an expanded uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

from truemile.core.errors import ReadingError


def welch_satterthwaite(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Effective degrees of freedom of a sum of independent parts.

    Parameters
    ----------
    contributions
        Standard uncertainty that each part brings to the result, in the unit of the result.
    dofs
        Degrees of freedom of each.

    Returns
    -------
    float
        Infinite when no part with finite degrees of freedom brings anything.

    Notes
    -----
    ν = u⁴ / Σ(uᵢ⁴/νᵢ), JCGM 100:2008 eq. (G.2b).

    Examples
    --------
    >>> round(welch_satterthwaite([0.25, 0.57, 0.82], [9, 4, 14]), 1)
    19.0
    """
    largest = max((abs(part) for part in contributions), default=0.0)
    if largest == 0.0:
        return math.inf
    scaled = [part / largest for part in contributions]
    total = math.fsum(part**2 for part in scaled)
    spread = math.fsum(part**4 / dof for part, dof in zip(scaled, dofs, strict=True))
    return total**2 / spread if spread > 0.0 else math.inf


def truncated_dof(dof: float) -> float:
    """Degrees of freedom as they enter the t table: cut to a whole number, never rounded up.

    Notes
    -----
    JCGM 100:2008 G.4.1. A number that misses the whole one above it only by the rounding of the
    arithmetic counts as that whole number; below 1 nothing is cut.

    Examples
    --------
    >>> truncated_dof(16.75)
    16.0
    """
    if math.isinf(dof) or dof < 1.0:
        return dof
    return float(math.floor(dof * (1.0 + 1e-9)))


def coverage_factor(dof: float, coverage: float = 0.95) -> float:
    """Factor that turns a standard uncertainty into an expanded one.

    Parameters
    ----------
    dof
        Effective degrees of freedom; cut to a whole number here.
    coverage
        Probability that the expanded uncertainty stands for.

    Raises
    ------
    ReadingError
        Degrees of freedom of 0 or less, or a coverage that is not between 0 and 1.

    Notes
    -----
    Two-sided Student t, JCGM 100:2008 G.3 and table G.2.

    Examples
    --------
    >>> round(coverage_factor(2), 2), round(coverage_factor(math.inf), 2)
    (4.3, 1.96)
    """
    if not dof > 0.0:
        raise ReadingError(
            "dof",
            dof,
            "degrees of freedom must be more than 0",
            "Take at least two readings, or state the uncertainty as known.",
        )
    if not 0.0 < coverage < 1.0:
        raise ReadingError(
            "coverage",
            coverage,
            "a coverage must be between 0 and 1",
            "Give 0.95 for the usual 95 %.",
        )
    upper = 0.5 + 0.5 * coverage
    whole = truncated_dof(dof)
    if math.isinf(whole):
        return NormalDist().inv_cdf(upper)
    from scipy.special import stdtrit  # the normal case must not wait for scipy

    return float(stdtrit(whole, upper))


def coverage_factor_with_rectangle(share: float, rest_dof: float, coverage: float = 0.95) -> float:
    """Factor where one rectangular part dominates: smaller than Student's, since a rectangle has no tails.

    Parameters
    ----------
    share
        Part of the variance that belongs to the rectangular input, 0 to 1.
    rest_dof
        Effective degrees of freedom of all the rest.
    coverage
        Probability that the expanded uncertainty stands for.

    Raises
    ------
    ReadingError
        A share that is not between 0 and 1, or what `coverage_factor` refuses.

    Notes
    -----
    The interval that holds the sum of a rectangle and a scaled Student t, worked out exactly: the probability,
    averaged over the rectangle by Gauss-Legendre points, is solved for k by bisection. A rectangle alone gives
    √3 · 0.95 = 1.65, as in JCGM 100:2008 G.2.2 (convolution) and table G.1.

    Examples
    --------
    >>> round(coverage_factor_with_rectangle(1.0, math.inf), 3), round(coverage_factor_with_rectangle(0.0, 9.0), 2)
    (1.645, 2.26)
    """
    student = coverage_factor(rest_dof, coverage)
    if not 0.0 <= share <= 1.0:
        raise ReadingError("share", share, "a share lies between 0 and 1", "Give the part of the variance.")
    if share < 1e-12:
        return student
    half_width = math.sqrt(3.0 * share)
    if share > 1.0 - 1e-12:
        return coverage * half_width
    import numpy as np
    from scipy.special import ndtr, stdtr

    scale, whole = math.sqrt(1.0 - share), truncated_dof(rest_dof)
    nodes, weights = np.polynomial.legendre.leggauss(48)

    def held(k: float) -> float:
        above, below = (k - half_width * nodes) / scale, (-k - half_width * nodes) / scale
        inside = ndtr(above) - ndtr(below) if math.isinf(whole) else stdtr(whole, above) - stdtr(whole, below)
        return float(weights @ inside) / 2.0

    low, high = 0.0, student * scale + half_width
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if held(middle) < coverage else (low, middle)
    return high
