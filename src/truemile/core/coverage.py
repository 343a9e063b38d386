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
