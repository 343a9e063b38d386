"""How values are written on a page; templates have no arithmetic of their own."""

from __future__ import annotations

from datetime import datetime, timedelta

from truemile.core.angles import format_bearing
from truemile.core.plus_minus import rounded


def with_unit(value: float, decimals: int, unit: str = "") -> str:
    """Write a number with its unit, minus as it is printed.

    Examples
    --------
    >>> with_unit(-0.2213, 2, "kn")
    '−0.22 kn'
    """
    text = f"{value:.{decimals}f}".replace("-", "−")
    return f"{text} {unit}" if unit else text


def pair(value: float, expanded: float) -> tuple[str, str]:
    """Write a value and its expanded uncertainty to the figures the uncertainty allows.

    Examples
    --------
    >>> pair(0.93412, 0.01149)
    ('0.934', '0.011')
    """
    number, margin = rounded(value, expanded)
    return number.replace("-", "−"), margin


def day_of(at: datetime, offset: timedelta = timedelta(0)) -> str:
    """Write a date of ship's time.

    Examples
    --------
    >>> from datetime import UTC
    >>> day_of(datetime(2026, 5, 3, 23, 30, tzinfo=UTC), timedelta(hours=1))
    '4 May 2026'
    """
    local = at + offset
    return f"{local.day} {local:%B %Y}"


def clock_of(at: datetime, offset: timedelta = timedelta(0)) -> str:
    """Write a time of day.

    Examples
    --------
    >>> from datetime import UTC
    >>> clock_of(datetime(2026, 5, 3, 9, 5, tzinfo=UTC))
    '09:05'
    """
    return f"{at + offset:%H:%M}"


def age(days: float) -> str:
    """Say an age in days, and in months from the fourth on.

    Examples
    --------
    >>> age(0.3), age(1.0), age(12.4), age(200)
    ('today', '1 day', '12 days', '7 months')
    """
    whole = int(days)
    if whole < 1:
        return "today"
    if whole < 120:
        return f"{whole} day{'s' if whole > 1 else ''}"
    return f"{round(whole / 30.44)} months"


def percent_off(factor: float) -> str:
    """Say what a factor means for the reading.

    Examples
    --------
    >>> percent_off(0.934), percent_off(1.05), percent_off(1.0004)
    ('7.1 % high', '4.8 % low', 'true')
    """
    error = (1.0 / factor - 1.0) * 100.0
    if abs(error) < 0.05:
        return "true"
    return f"{abs(error):.1f} % {'high' if error > 0 else 'low'}"


def bearing(angle_deg: float | None) -> str:
    """Write a true course to a tenth, or say that there is none."""
    return "course not noted" if angle_deg is None else format_bearing(angle_deg, "T", 1)
