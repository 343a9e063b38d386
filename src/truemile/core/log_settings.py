"""What is set in the log itself: the three conventions, and the change that a factor asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from truemile.core.errors import ReadingError


class Convention(StrEnum):
    """How an instrument lets its speed be adjusted (common practice, no source)."""

    MULTIPLIER = "multiplier"
    PERCENT = "percent"
    PULSES_PER_NM = "pulses per mile"


#: Smallest and largest value that each convention can sensibly hold.
_LIMITS = {
    Convention.MULTIPLIER: (0.1, 10.0),
    Convention.PERCENT: (-90.0, 900.0),
    Convention.PULSES_PER_NM: (100.0, 1_000_000.0),
}


@dataclass(frozen=True, slots=True)
class LogSetting:
    """The calibration that stands in the log.

    Parameters
    ----------
    convention
        Which of the three ways the instrument uses.
    value
        The multiplier; or the percentage added to the unadjusted reading; or the number of paddle pulses counted
        as one nautical mile.
    """

    convention: Convention
    value: float

    def __post_init__(self) -> None:
        """Refuse a setting that no log can hold."""
        low, high = _LIMITS[self.convention]
        if not (math.isfinite(self.value) and low <= self.value <= high):
            raise ReadingError(
                "setting",
                self.value,
                f"a setting in {self.convention.value} lies between {low:g} and {high:g}",
                "Read it again in the instrument's own menu, and check which convention it uses.",
            )

    @property
    def scale(self) -> float:
        """What the paddle's own count is multiplied by; only ratios within one convention have a meaning."""
        match self.convention:
            case Convention.MULTIPLIER:
                return self.value
            case Convention.PERCENT:
                return 1.0 + self.value / 100.0
            case Convention.PULSES_PER_NM:
                return 1.0 / self.value

    def __str__(self) -> str:
        """As a skipper reads it in the menu."""
        match self.convention:
            case Convention.MULTIPLIER:
                return f"× {self.value:.3f}"
            case Convention.PERCENT:
                return f"{self.value:+.1f} %"
            case Convention.PULSES_PER_NM:
                return f"{self.value:.0f} pulses per mile"


@dataclass(frozen=True, slots=True)
class NewSetting:
    """The value to enter in the instrument, and what rounding it leaves over."""

    setting: LogSetting
    exact: float
    leftover_factor: float


#: The step in which each convention is usually entered (common practice, no source).
USUAL_STEP = {Convention.MULTIPLIER: 0.01, Convention.PERCENT: 1.0, Convention.PULSES_PER_NM: 1.0}


def setting_for(factor: float, current: LogSetting, *, step: float | None = None) -> NewSetting:
    """Return the setting that makes the log read true.

    Parameters
    ----------
    factor
        Log factor true / indicated, measured with `current` in the instrument.
    current
        What was set during the trial.
    step
        The step in which the instrument takes the value; the usual one for its convention if None.

    Raises
    ------
    ReadingError
        If the new value lies outside what an instrument can hold, or the step is not above 0.

    Notes
    -----
    Multiplier m′ = m k. Percent 1 + p′/100 = (1 + p/100) k. Pulses per mile N′ = N / k, because fewer pulses to the
    mile make the log read more.

    Examples
    --------
    >>> new = setting_for(0.934, LogSetting(Convention.PULSES_PER_NM, 20000))
    >>> new.setting.value, round(new.leftover_factor, 5)
    (21413.0, 0.99999)
    """
    width = USUAL_STEP[current.convention] if step is None else step
    if not (math.isfinite(width) and width > 0):
        raise ReadingError(
            "step", step, "the step of a setting is above 0", "Give the smallest change the menu allows."
        )
    scale = current.scale * factor
    exact = {
        Convention.MULTIPLIER: scale,
        Convention.PERCENT: (scale - 1.0) * 100.0,
        Convention.PULSES_PER_NM: 1.0 / scale,
    }[current.convention]
    entered = LogSetting(current.convention, round(round(exact / width) * width, 10))
    return NewSetting(entered, exact, leftover_factor=scale / entered.scale)


def reading_under(reading: float, was: LogSetting | None, wanted: LogSetting | None) -> float:
    """Return what the log would have shown with another setting, so that nothing is corrected twice.

    Parameters
    ----------
    reading
        Speed or distance as shown.
    was
        What was set when it was shown.
    wanted
        What was set when the factor was measured.

    Raises
    ------
    ReadingError
        If one of the two is unknown, or they use different conventions.

    Examples
    --------
    >>> reading_under(6.0, LogSetting(Convention.MULTIPLIER, 1.2), LogSetting(Convention.MULTIPLIER, 1.0))
    5.0
    """
    if was == wanted:
        return reading
    if was is None or wanted is None or was.convention is not wanted.convention:
        raise ReadingError(
            "setting",
            None if was is None else str(was),
            "a reading and the factor applied to it must be comparable"
            f" and the factor was measured with {'no setting noted' if wanted is None else str(wanted)}",
            "Note what was set in the log during the trial, with a date before it, and put the trial in force again."
            if wanted is None
            else "Note what was set in the log at the time of the reading, in the same convention.",
        )
    return reading * wanted.scale / was.scale
