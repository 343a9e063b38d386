"""What readings of a display can tell: scatter, steps of the last digit, timing, number of runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, fmean, stdev
from typing import NamedTuple

from truemile.core.coverage import coverage_factor
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.type_b import from_limit

__all__ = [
    "DisplayResolution",
    "MeanReading",
    "RunsNeeded",
    "TimingUncertainty",
    "dither_bias",
    "dither_u",
    "mean_reading",
    "noise_sd_in_last_digit",
    "resolution_uncertainty",
    "runs_needed",
    "timing_uncertainty",
]

_MOST_RUNS = 1_000_000


class MeanReading(NamedTuple):
    """Mean of some readings, the standard uncertainty that their scatter gives it, and its degrees of freedom."""

    mean: float
    u: float
    dof: float


class DisplayResolution(NamedTuple):
    """What a display's steps leave unknown in the mean of its readings, and whether it stood steady.

    ``u`` is a standard uncertainty common to all readings, and to all runs read from that display.
    """

    u: float
    steady: bool


class RunsNeeded(NamedTuple):
    """Number of double runs, with the scatter known beforehand or estimated from the same runs."""

    sd_known: int
    sd_estimated: int


class TimingUncertainty(NamedTuple):
    """What a limit of timing error does to the speed over a course."""

    run_s: float
    limit_relative: float
    u_relative: float
    u_kn: float


def mean_reading(readings: Sequence[float]) -> MeanReading:
    """Mean of repeated readings and its type A standard uncertainty.

    Raises
    ------
    NotEnoughReadings
        No reading at all.
    ReadingError
        A reading that is not a finite number.

    Notes
    -----
    s/√n with n − 1 degrees of freedom, JCGM 100:2008 4.2.3. One reading shows no scatter: its u is 0 with
    infinite degrees of freedom, and how much it can scatter has to be said some other way.

    Examples
    --------
    >>> mean = mean_reading([5.3, 5.4, 5.5, 5.4])
    >>> round(mean.mean, 3), round(mean.u, 3), mean.dof
    (5.4, 0.041, 3)
    """
    if not readings:
        raise NotEnoughReadings("readings", None, "a mean needs at least one reading", "Enter what the display showed.")
    _check_finite(readings)
    if len(readings) == 1:
        return MeanReading(float(readings[0]), 0.0, math.inf)
    return MeanReading(fmean(readings), stdev(readings) / math.sqrt(len(readings)), len(readings) - 1)


def dither_bias(noise_sd_in_last_digit: float) -> float:
    """Worst error of a long mean of rounded readings, in last digits.

    Parameters
    ----------
    noise_sd_in_last_digit
        Scatter of the value behind the display, before it is rounded, in steps of the display.

    Returns
    -------
    float
        From 0.5 for a steady value down to nothing for one that moves by a digit or more.

    Notes
    -----
    Rounding a value with normal noise of sd s leaves a mean error of Σ exp(−2π²n²s²) sin(2πnt)/(πn), where
    t is how far the true value lies from half-way between two digits. It is largest where the density of the
    noise, wrapped round one digit, is 1.

    Examples
    --------
    >>> [round(dither_bias(sd), 4) for sd in (0.0, 0.1, 0.25, 0.5)]
    [0.5, 0.2855, 0.0927, 0.0023]
    """
    sd = _not_negative("noise_sd_in_last_digit", noise_sd_in_last_digit)
    if sd < 1e-9:
        return 0.5
    low, high = 0.0, 0.5
    for _ in range(60):
        middle = 0.5 * (low + high)
        if _wrapped_density_less_one(middle, sd) > 0.0:
            low = middle
        else:
            high = middle
    return _mean_rounding_error(0.5 * (low + high), sd)


def dither_u(noise_sd_in_last_digit: float) -> float:
    """Standard uncertainty of a long mean of rounded readings, in last digits.

    Notes
    -----
    Root mean square of the error of `dither_bias` over all places that the true value may have between two digits:
    u² = Σ exp(−4π²n²s²)/(2π²n²). Without noise this is the 1/√12 of JCGM 100:2008 F.2.2.1.

    Examples
    --------
    >>> [round(dither_u(sd), 4) for sd in (0.0, 0.25, 0.5)]
    [0.2887, 0.0656, 0.0016]
    """
    sd = _not_negative("noise_sd_in_last_digit", noise_sd_in_last_digit)
    if sd < 0.05:
        # The same sum after Poisson's summation formula, which here has one term where the series has hundreds.
        return math.sqrt(max(1.0 / 12.0 - sd / math.sqrt(math.pi) + sd**2, 0.0))
    terms = math.ceil(1.0 / sd) + 1
    variance = math.fsum(
        math.exp(-4.0 * (math.pi * n * sd) ** 2) / (2.0 * (math.pi * n) ** 2) for n in range(1, terms + 1)
    )
    return math.sqrt(variance)


def noise_sd_in_last_digit(readings: Sequence[float], step: float) -> float:
    """Scatter behind a display, in its last digits; 0 when the readings do not show that it moves.

    Parameters
    ----------
    readings
        What the display showed.
    step
        What its last digit counts, in the unit of the readings.

    Raises
    ------
    ReadingError
        A step that is not above 0, or a reading that is not a finite number.

    Notes
    -----
    Readings that show fewer than three different digits could come from a value that stands near the edge between
    two. Otherwise the scatter is s² − step²/12 (Sheppard's correction).

    Examples
    --------
    >>> noise_sd_in_last_digit([5.4, 5.5, 5.4, 5.5], 0.1)
    0.0
    >>> round(noise_sd_in_last_digit([5.2, 5.4, 5.5, 5.6, 5.4], 0.1), 2)
    1.45
    """
    if not 0.0 < step < math.inf:
        raise ReadingError("step", step, "a display's step must be more than 0", "Give what its last digit counts.")
    _check_finite(readings)
    if len(readings) < 3 or round((max(readings) - min(readings)) / step) < 2:
        return 0.0
    return math.sqrt(max((stdev(readings) / step) ** 2 - 1.0 / 12.0, 0.0))


def resolution_uncertainty(readings: Sequence[float], step: float) -> DisplayResolution:
    """What the steps of a display leave unknown in the mean of its readings.

    Parameters
    ----------
    readings
        What the display showed during one run.
    step
        What its last digit counts, in the unit of the readings.

    Returns
    -------
    DisplayResolution
        Standard uncertainty in the unit of the readings, and whether the display counts as steady.

    Notes
    -----
    A steady display keeps step/√12 however often it is read (JCGM 100:2008 F.2.2.1). One that moves has what
    `dither_u` leaves; the scatter itself is a matter of `mean_reading`.

    Examples
    --------
    >>> resolution_uncertainty([5.4] * 10, 0.1).steady
    True
    >>> round(resolution_uncertainty([5.4] * 10, 0.1).u, 4)
    0.0289
    """
    sd = noise_sd_in_last_digit(readings, step)
    return DisplayResolution(u=step * dither_u(sd), steady=sd == 0.0)


def runs_needed(sd_percent: float, target_expanded_percent: float) -> RunsNeeded:
    """Double runs that bring the random part of the uncertainty down to a target.

    Parameters
    ----------
    sd_percent
        Standard deviation of the factor from one double run.
    target_expanded_percent
        Expanded uncertainty (95 %) that is wanted.

    Raises
    ------
    ReadingError
        A negative scatter, or a target that is not above 0 or out of all reach.

    Notes
    -----
    k·sd/√n, with k from the normal distribution when sd is known beforehand and from Student's t with n − 1 degrees
    of freedom when it comes from the same runs. Length of the course and resolution do not shrink with n.

    Examples
    --------
    >>> runs_needed(1.0, 1.0)
    RunsNeeded(sd_known=4, sd_estimated=7)
    """
    sd = _not_negative("sd_percent", sd_percent)
    ratio = sd / target_expanded_percent if target_expanded_percent > 0.0 else math.inf
    normal = NormalDist().inv_cdf(0.975)
    if not (normal * ratio) ** 2 <= _MOST_RUNS:
        raise ReadingError(
            "target_expanded_percent",
            target_expanded_percent,
            "a target must be more than 0 and within reach of a million runs",
            "Ask for what such runs can give, 1 % say.",
        )
    known = max(math.ceil((normal * ratio) ** 2 - 1e-9), 1)
    estimated = max(known, 2)
    while coverage_factor(estimated - 1) * ratio > math.sqrt(estimated):
        estimated += 1
    return RunsNeeded(sd_known=known, sd_estimated=estimated)


def timing_uncertainty(course_nm: float, speed_kn: float, limit_s: float) -> TimingUncertainty:
    """What a limit of timing error does to the speed over a course.

    Parameters
    ----------
    course_nm, speed_kn
        Length of the course and speed over it.
    limit_s
        Limit of error of the whole interval. When start and stop each carry it, multiply u by √2.

    Raises
    ------
    ReadingError
        A course or speed that is not above 0, or a negative limit.

    Notes
    -----
    Rectangular limits, JCGM 100:2008 4.3.7; the speed's relative error is that of the time.

    Examples
    --------
    >>> round(100 * timing_uncertainty(1.0, 5.0, 1.0).limit_relative, 2)
    0.14
    """
    for field, given in (("course_nm", course_nm), ("speed_kn", speed_kn)):
        if not 0.0 < given < math.inf:
            raise ReadingError(field, given, "it must be more than 0, and finite", "Check the unit and the figure.")
    limit = _not_negative("limit_s", limit_s)
    run_s = 3600.0 * course_nm / speed_kn
    relative = limit / run_s
    u_relative = from_limit(relative)
    return TimingUncertainty(run_s, relative, u_relative, u_relative * speed_kn)


def _wrapped_density_less_one(t: float, sd: float) -> float:
    """Density at t of noise wrapped round one digit, less the 1 that even noise would have there."""
    if sd > 0.3:
        terms = range(1, math.ceil(1.5 / sd) + 1)
        return 2.0 * math.fsum(
            math.exp(-2.0 * (math.pi * n * sd) ** 2) * math.cos(2.0 * math.pi * n * t) for n in terms
        )
    noise = NormalDist(0.0, sd)
    return math.fsum(noise.pdf(t + digit) for digit in (-2, -1, 0, 1, 2)) - 1.0


def _mean_rounding_error(t: float, sd: float) -> float:
    if sd > 0.3:
        terms = range(1, math.ceil(1.5 / sd) + 1)
        return math.fsum(
            math.exp(-2.0 * (math.pi * n * sd) ** 2) * math.sin(2.0 * math.pi * n * t) / (math.pi * n) for n in terms
        )
    noise = NormalDist(0.0, sd)
    return (
        math.fsum(noise.cdf(t + digit) - (0.5 if digit == 0 else float(digit > 0)) for digit in (-2, -1, 0, 1, 2)) - t
    )


def _not_negative(field: str, given: float) -> float:
    if not 0.0 <= given < math.inf:
        raise ReadingError(field, given, "it must be 0 or more, and finite", "Give it as a positive number.")
    return float(given)


def _check_finite(readings: Sequence[float]) -> None:
    for i, reading in enumerate(readings):
        if not math.isfinite(reading):
            raise ReadingError(
                f"readings[{i}]", reading, "a reading must be a finite number", "Enter what the display showed."
            )
