"""Variation from the rose of a chart, brought up to date and set against the model; east is positive."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final

from truemile.core.angles import wrap_180
from truemile.core.errors import ReadingError
from truemile.core.magnetism import COVERAGE_FACTOR, Variation, east_west
from truemile.core.numbers import check_range

#: A rose older than two issues of the model is said to be old; common practice, no source.
_OLD_YEARS: Final = 10


@dataclass(frozen=True, slots=True)
class ChartRose:
    """Variation as a chart's rose prints it.

    Parameters
    ----------
    variation_deg, year, annual_change_deg
        East positive; the printed year; the change in one year.
    resolution_deg, change_resolution_deg
        Size of one unit of the last figure printed: 5′ and 1′ are usual (common practice, no source).

    Raises
    ------
    ReadingError
        If a value is no variation, no year or no resolution.
    """

    variation_deg: float
    year: int
    annual_change_deg: float
    resolution_deg: float = 5 / 60
    change_resolution_deg: float = 1 / 60

    def __post_init__(self) -> None:
        """Check the ranges."""
        check_range("variation_deg", self.variation_deg, -180, 180, "degrees")
        check_range("year", self.year, 1800, 2200)
        check_range("annual_change_deg", self.annual_change_deg, -5, 5, "degrees")
        check_range("resolution_deg", self.resolution_deg, 0, 5, "degrees")
        check_range("change_resolution_deg", self.change_resolution_deg, 0, 1, "degrees")


@dataclass(frozen=True, slots=True)
class RoseVariation:
    """A rose brought up to date.

    Attributes
    ----------
    rose, on
        What was printed, and the date it was brought up to.
    years
        Whole years between, as they are counted by hand; below 0 before the rose's year.
    variation_deg
        East positive.
    u_deg
        Standard uncertainty of reading and reckoning: the last figures printed, and the part of a year that whole
        years leave out. What the chart's own survey did not know is not in it.
    """

    rose: ChartRose
    on: date
    years: int
    variation_deg: float
    u_deg: float

    @property
    def expanded_deg(self) -> float:
        """The 95 % uncertainty of reading and reckoning."""
        return COVERAGE_FACTOR * self.u_deg

    @property
    def remarks(self) -> tuple[str, ...]:
        """What to bear in mind with it, a sentence each."""
        if abs(self.years) <= _OLD_YEARS:
            return ()
        away = f"The rose is {abs(self.years)} years from that date, and the annual change has itself changed since."
        return (f"{away} Prefer the model, or a newer chart.",)


def rose_variation(rose: ChartRose, on: date) -> RoseVariation:
    """Bring the rose of a chart up to a date.

    Notes
    -----
    Printed value and whole years times the annual change, each with its sign (common practice, no source).

    Examples
    --------
    >>> rose = ChartRose(-(4 + 15 / 60), 2016, 10 / 60)
    >>> found = rose_variation(rose, date(2026, 6, 1))
    >>> found.years, round(found.variation_deg, 2)
    (10, -2.58)
    """
    years = on.year - rose.year
    parts = (
        rose.resolution_deg / math.sqrt(12.0),
        years * rose.change_resolution_deg / math.sqrt(12.0),
        rose.annual_change_deg / math.sqrt(12.0),
    )
    brought = wrap_180(rose.variation_deg + years * rose.annual_change_deg)
    return RoseVariation(rose, on, years, brought, math.hypot(*parts))


@dataclass(frozen=True, slots=True)
class RoseComparison:
    """A rose against the model.

    Attributes
    ----------
    difference_deg
        Rose less model, the short way round.
    allowed_deg
        What their uncertainties together allow, 95 %.
    """

    rose: RoseVariation
    model: Variation
    difference_deg: float
    allowed_deg: float

    @property
    def agrees(self) -> bool:
        """True where the two differ by no more than they may."""
        return abs(self.difference_deg) <= self.allowed_deg

    @property
    def words(self) -> str:
        """The verdict, and what to do."""
        rose, model = east_west(self.rose.variation_deg, 1), east_west(self.model.variation_deg, 1)
        shown = f"The rose gives {rose}, the model {model}"
        apart = f"{abs(self.difference_deg):.1f}° apart, {self.allowed_deg:.1f}° allowed"
        if self.agrees:
            return f"{shown}: {apart}. They agree."
        return (
            f"{shown}: {apart}. Check the sign and the year of the rose, and look on the chart for a note of a local"
            " magnetic anomaly."
        )


def compare(rose: RoseVariation, model: Variation) -> RoseComparison:
    """Set a rose that was brought up to date against the model.

    Raises
    ------
    ReadingError
        If the two are for different dates.

    Notes
    -----
    The bar is 1.96 √(u² + u²) of rose and model.

    Examples
    --------
    >>> from truemile.core.magnetism import variation
    >>> from truemile.core.position import Position
    >>> on = date(2026, 6, 1)
    >>> rose = rose_variation(ChartRose(-(2 + 35 / 60), 2014, 10 / 60), on)
    >>> compare(rose, variation(Position(50.0, -5.0), on)).words
    'The rose gives 0.6° W, the model 0.3° W: 0.2° apart, 0.7° allowed. They agree.'
    """
    if rose.on != model.on:
        raise ReadingError(
            "on", rose.on.isoformat(), "rose and model must be for one date", f"Use {model.on.isoformat()} for both."
        )
    apart = wrap_180(rose.variation_deg - model.variation_deg)
    return RoseComparison(rose, model, apart, COVERAGE_FACTOR * math.hypot(rose.u_deg, model.u_deg))
