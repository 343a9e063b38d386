"""Control charts, trend and due date of a series of factors: numbers only, whatever they were measured with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import fmean, median
from typing import Final

from truemile.core.consistency import Ewma, ewma, next_due
from truemile.core.constants import SECONDS_PER_DAY
from truemile.core.coverage import coverage_factor
from truemile.core.least_squares import line

#: Mean moving range of two over this is the standard deviation: d₂ of NIST/SEMATECH e-Handbook 6.3.2.2.
D2: Final = 1.128
#: From so many points on the chart's limits come from the points themselves (common practice, no source).
ENOUGH: Final = 8
#: How far the factor may be from the last one, its uncertainty included, before it is measured again.
ALLOWED: Final = 0.02
#: Without any drift an instrument is measured once a season all the same (judgement, no source).
LONGEST: Final = timedelta(days=365)
DAYS_PER_MONTH: Final = 365.25 / 12
WEIGHT: Final = 0.3


@dataclass(frozen=True, slots=True)
class Dated:
    """A factor, when it was measured, and its standard uncertainty."""

    at: datetime
    factor: float
    u: float


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A chart of individual values: centre, limits, and the places (from 0) of those outside.

    Attributes
    ----------
    sd
        Standard deviation of one value: from moving ranges, or from the stated uncertainties.
    from_ranges
        Which of the two.
    """

    centre: float
    low: float
    high: float
    sd: float
    from_ranges: bool
    outside: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Trend:
    """The straight line through the factors since the instrument was last reset.

    Attributes
    ----------
    since
        The first of them.
    per_month, expanded_per_month
        Slope with its 95 % uncertainty, as a part of the factor.
    first, last
        The line at the first and at the last of them.
    change, expanded_change
        From first to last, as a part of the first.
    """

    since: datetime
    until: datetime
    count: int
    per_month: float
    expanded_per_month: float
    first: float
    last: float
    change: float
    expanded_change: float

    @property
    def significant(self) -> bool:
        """True where the slope is larger than its 95 % uncertainty."""
        return abs(self.per_month) > self.expanded_per_month


def control_chart(points: Sequence[Dated]) -> ControlChart | None:
    """Return the chart of individual values, or None for fewer than two.

    Notes
    -----
    Mean ± 3 s, with s = mean moving range / 1.128 from eight values on (NIST/SEMATECH e-Handbook of Statistical Methods
    6.3.2.2). Before that s is the root mean square of the stated standard uncertainties, and the median stands for the
    mean, which among so few one odd trial would draw to itself.
    """
    if len(points) < 2:
        return None
    values = [point.factor for point in points]
    ranges = [abs(b - a) for a, b in pairwise(values)]
    from_ranges = len(values) >= ENOUGH and any(ranges)
    sd = fmean(ranges) / D2 if from_ranges else math.sqrt(fmean([point.u**2 for point in points]))
    centre = fmean(values) if from_ranges else median(values)
    low, high = centre - 3.0 * sd, centre + 3.0 * sd
    outside = tuple(place for place, value in enumerate(values) if not low <= value <= high)
    return ControlChart(centre, low, high, sd, from_ranges, outside)


def weighted_chart(points: Sequence[Dated], chart: ControlChart | None) -> Ewma | None:
    """Return the exponentially weighted chart about the same centre, or None where there is no chart."""
    if chart is None:
        return None
    return ewma([point.factor for point in points], chart.centre, chart.sd, WEIGHT)


def trend(points: Sequence[Dated]) -> Trend | None:
    """Return the straight line through the points, or None where there are no two of different times.

    Notes
    -----
    Least squares weighted by 1/u². Where the points scatter more than their uncertainties say, these are enlarged to
    agree, and the coverage factor is that of the degrees of freedom left.
    """
    if len(points) < 2 or points[0].at == points[-1].at:
        return None
    months = [_days(points[0].at, point.at) / DAYS_PER_MONTH for point in points]
    fitted = line(months, [point.factor for point in points], u=[point.u for point in points])
    stretch = math.sqrt(fitted.chi2 / fitted.dof) if fitted.dof else 0.0
    k = coverage_factor(float(fitted.dof)) * stretch if stretch > 1.0 else coverage_factor(math.inf)
    first, slope = (float(value) for value in fitted.coefficients)
    expanded = max(k, coverage_factor(math.inf)) * float(fitted.u[1])
    span = months[-1]
    return Trend(
        since=points[0].at,
        until=points[-1].at,
        count=len(points),
        per_month=slope / first,
        expanded_per_month=expanded / first,
        first=first,
        last=first + slope * span,
        change=slope * span / first,
        expanded_change=expanded * span / first,
    )


def due(points: Sequence[Dated], allowed: float | None = None) -> datetime | None:
    """Return when the factor may have moved by more than is allowed, or None where two points of one time tell nothing.

    Parameters
    ----------
    allowed
        How far it may be off, its uncertainty included; 2 % of the last factor if None.

    Notes
    -----
    `truemile.core.consistency.next_due`, at most a year after the last.
    """
    if len(points) < 2 or points[0].at == points[-1].at:
        return None
    times: list[float] = []
    for point in points:
        days = _days(points[0].at, point.at)
        # Trials of one instant are taken a second apart: the line needs times that grow.
        times.append(days if not times or days > times[-1] else times[-1] + 1.0 / SECONDS_PER_DAY)
    u_each = math.sqrt(fmean([point.u**2 for point in points]))
    room = ALLOWED * points[-1].factor if allowed is None else allowed
    found = next_due(times, [point.factor for point in points], u_each, room)
    return min(points[0].at + timedelta(days=found.due), points[-1].at + LONGEST)


def _days(since: datetime, at: datetime) -> float:
    return (at - since).total_seconds() / SECONDS_PER_DAY
