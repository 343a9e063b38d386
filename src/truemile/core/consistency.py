"""Whether results of different days agree, wander or drift, and when to calibrate again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.least_squares import LinearFit, line

__all__ = ["Ewma", "NextDue", "ewma", "next_due", "normalised_error"]


@dataclass(frozen=True, slots=True)
class Ewma:
    """A control chart of weighted means: its values, its limits, and which values (from 0) lie outside them."""

    values: tuple[float, ...]
    low: float
    high: float

    @property
    def outside(self) -> tuple[int, ...]:
        """Places of the values beyond either limit."""
        return tuple(i for i, value in enumerate(self.values) if not self.low <= value <= self.high)


@dataclass(frozen=True, slots=True, eq=False)
class NextDue:
    """When an instrument that drifts is due again, in the unit of the times given, and the line behind it."""

    due: float
    drift_per_unit: float
    fit: LinearFit


def normalised_error(x1: float, expanded1: float, x2: float, expanded2: float) -> float:
    """Difference of two results against what their uncertainties allow; up to 1 they agree.

    Raises
    ------
    ReadingError
        A value that is not finite, a negative uncertainty, or none at all.

    Notes
    -----
    Eₙ = |x₁ − x₂| / √(U₁² + U₂²), ISO/IEC 17043 and ISO 13528, with expanded (95 %) uncertainties of independent
    results.

    Examples
    --------
    >>> round(normalised_error(1.062, 0.012, 1.081, 0.010), 2)
    1.22
    """
    for field, given in (("x1", x1), ("x2", x2)):
        _finite(field, given)
    for field, given in (("expanded1", expanded1), ("expanded2", expanded2)):
        if not 0.0 <= given < math.inf:
            raise ReadingError(
                field, given, "an uncertainty must be 0 or more, and finite", "Take it from the result's budget."
            )
    both = math.hypot(expanded1, expanded2)
    if both == 0.0:
        raise ReadingError(
            "expanded1", expanded1, "two exact results cannot be compared", "State the uncertainty of at least one."
        )
    return abs(x1 - x2) / both


def ewma(values: Sequence[float], target: float, s: float, lam: float = 0.3, k: float = 3.0) -> Ewma:
    """Exponentially weighted moving average of successive results, with control limits.

    Parameters
    ----------
    values
        Results in the order of their dates.
    target
        Where they should lie; the average starts there.
    s
        Standard deviation of a single result.
    lam
        Weight of the newest result.
    k
        Width of the limits in standard deviations.

    Raises
    ------
    ReadingError
        A value that is not finite, a weight outside 0 to 1, or a width or deviation that is not above 0.

    Notes
    -----
    zᵢ = λxᵢ + (1 − λ)zᵢ₋₁ and limits target ± k·s·√(λ/(2 − λ)), NIST/SEMATECH e-Handbook of Statistical Methods
    6.3.2.4.

    Examples
    --------
    >>> chart = ewma([1.05, 1.06, 1.09], target=1.05, s=0.005)
    >>> chart.outside
    (2,)
    """
    for i, value in enumerate(values):
        _finite(f"values[{i}]", value)
    _finite("target", target)
    for field, given in (("s", s), ("k", k)):
        if not 0.0 < given < math.inf:
            raise ReadingError(
                field, given, "it must be more than 0, and finite", "Take s from earlier results, k = 3."
            )
    if not 0.0 < lam <= 1.0:
        raise ReadingError("lam", lam, "a weight must be above 0 and at most 1", "Between 0.2 and 0.3 is usual.")
    averages: list[float] = []
    level = target
    for value in values:
        level = lam * value + (1.0 - lam) * level
        averages.append(level)
    reach = k * s * math.sqrt(lam / (2.0 - lam))
    return Ewma(tuple(averages), target - reach, target + reach)


def next_due(
    times: Sequence[float], values: Sequence[float], u_each: float, allowed: float, *, k: float = 1.96
) -> NextDue:
    """Time at which drift since the last result, with its uncertainty, uses up an allowance.

    Parameters
    ----------
    times, values
        When each result was got and what it was, in the order of time.
    u_each
        Standard uncertainty of each result.
    allowed
        How far the value may be from the last one, uncertainty included.
    k
        Coverage factor of the prediction.

    Returns
    -------
    NextDue
        ``due`` is the last time itself when the allowance is used up already.

    Raises
    ------
    ReadingError
        Times that do not grow, numbers that are not finite, or an uncertainty or allowance that is not above 0.
    NotEnoughReadings
        Fewer than two results.

    Notes
    -----
    |slope|·(t − last) + k·u(line at t) = allowed, with a straight line through all results. A control-chart rule in
    the sense of ILAC-G24:2022 / OIML D 10:2022; hauling out, a cleaned transducer or new wiring make the instrument
    due at once, whatever the line says.

    Examples
    --------
    >>> round(next_due([0, 1, 2, 3], [1.050, 1.056, 1.061, 1.068], u_each=0.004, allowed=0.02).due, 1)
    4.5
    """
    _check_drift(times, values, u_each, allowed, k)
    fitted = line(times, values, u=[u_each] * len(times))
    slope = float(fitted.coefficients[1])
    last = float(times[-1])

    def room(time: float) -> float:
        return allowed - abs(slope) * (time - last) - k * fitted.predict((1.0, time))[1]

    if room(last) <= 0.0:
        return NextDue(last, slope, fitted)
    low, span = last, float(times[-1] - times[0])
    while room(low + span) > 0.0:
        low, span = low + span, 2.0 * span
    high = low + span
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if room(middle) > 0.0 else (low, middle)
    return NextDue(0.5 * (low + high), slope, fitted)


def _finite(field: str, given: float) -> None:
    if not math.isfinite(given):
        raise ReadingError(field, given, "a result must be a finite number", "Leave it out, or enter it again.")


def _check_drift(times: Sequence[float], values: Sequence[float], u_each: float, allowed: float, k: float) -> None:
    if len(times) != len(values):
        raise ReadingError(
            "values", len(values), f"there are {len(times)} times", "Give each result the time when it was got."
        )
    if len(times) < 2:
        raise NotEnoughReadings("times", len(times), "drift needs at least two results", "Calibrate once more first.")
    for name, series in (("times", times), ("values", values)):
        for i, number in enumerate(series):
            _finite(f"{name}[{i}]", number)
    for i in range(1, len(times)):
        if times[i] <= times[i - 1]:
            raise ReadingError(
                f"times[{i}]", times[i], "each result must be later than the one before", "Sort them by date."
            )
    for field, given in (("u_each", u_each), ("allowed", allowed), ("k", k)):
        if not 0.0 < given < math.inf:
            raise ReadingError(field, given, "it must be more than 0, and finite", "Take it from the results' budget.")
