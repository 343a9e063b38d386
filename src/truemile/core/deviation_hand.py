"""Coefficients by the hand rules, from deviations on the four cardinals, the four intercardinals, or all eight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from truemile.core.angles import difference, wrap_360
from truemile.core.deviation_curve import MOST_DEVIATION_DEG, Coefficients
from truemile.core.errors import NavigationError, ReadingError, gather

#: A heading this near one of the eight points counts as that point: half of the last degree that is read.
NEAR_POINT_DEG: Final = 0.5
#: The eight points in order.
POINTS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


class Rule(StrEnum):
    """Which headings a hand rule is for."""

    EIGHT = "eight points"
    CARDINALS = "four cardinals"
    INTERCARDINALS = "four intercardinals"


@dataclass(frozen=True, slots=True)
class Observed:
    """A deviation, and the compass heading on which it was found.

    Parameters
    ----------
    heading_compass_deg
        Where the steering compass pointed: the boat's heading, not the bearing of what was sighted.
    deviation_deg
        East positive.
    label
        What to call it, ``reading 3``; empty for its place in the row.
    """

    heading_compass_deg: float
    deviation_deg: float
    label: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot have been observed."""
        faults: list[NavigationError] = []
        if not 0.0 <= self.heading_compass_deg <= 360.0:
            faults.append(
                ReadingError(
                    "heading_compass_deg",
                    self.heading_compass_deg,
                    "a heading is 0 to 360 degrees",
                    "Enter what the steering compass showed, in three figures.",
                )
            )
        if not -MOST_DEVIATION_DEG <= self.deviation_deg <= MOST_DEVIATION_DEG:
            faults.append(
                ReadingError(
                    "deviation_deg",
                    self.deviation_deg,
                    f"a deviation beyond {MOST_DEVIATION_DEG:g} degrees is a slip",
                    "Check the bearing, the variation and its sign.",
                )
            )
        gather(faults)


@dataclass(frozen=True, slots=True)
class HandCoefficients:
    """What a hand rule gives, in degrees; None for the coefficient that its headings cannot show."""

    rule: Rule
    a: float
    b: float
    c: float
    d: float | None
    e: float | None

    @property
    def lost(self) -> str:
        """Letter of the coefficient that cannot be had from these headings, or empty."""
        return "D" if self.d is None else "E" if self.e is None else ""

    @property
    def coefficients(self) -> Coefficients:
        """All five, with 0 for the one that is lost."""
        return Coefficients(self.a, self.b, self.c, self.d or 0.0, self.e or 0.0)


def hand_rule_for(headings_compass_deg: Sequence[float]) -> Rule | None:
    """Return the hand rule that fits these headings, or None: the rules hold for equally spaced points only.

    Examples
    --------
    >>> hand_rule_for([0, 90, 180, 270]).value, hand_rule_for([10, 100, 190, 280])
    ('four cardinals', None)
    """
    points = [round(wrap_360(heading) / 45.0) % 8 for heading in headings_compass_deg]
    off = [abs(difference(h, 45.0 * p)) for h, p in zip(headings_compass_deg, points, strict=True)]
    if len(set(points)) != len(points) or max(off, default=0.0) > NEAR_POINT_DEG:
        return None
    return {
        frozenset(range(8)): Rule.EIGHT,
        frozenset({0, 2, 4, 6}): Rule.CARDINALS,
        frozenset({1, 3, 5, 7}): Rule.INTERCARDINALS,
    }.get(frozenset(points))


def hand_coefficients(observed: Sequence[Observed]) -> HandCoefficients:
    """Return the coefficients by the hand rule that fits the headings.

    Raises
    ------
    ReadingError
        If the headings are not the eight points, the four cardinals or the four intercardinals.

    Notes
    -----
    A is the mean; B = (dE - dW)/2; C = (dN - dS)/2; D = {(NE + SW) - (SE + NW)}/4; E = {(N + S) - (E + W)}/4
    [HoMCA]_ art. 501. From intercardinals alone B = {(NE + SE) - (SW + NW)}/(4 sin 45°) and
    C = {(NE + NW) - (SE + SW)}/(4 sin 45°); E cannot be had from them, nor D from the cardinals [Manual1875]_.

    Examples
    --------
    >>> found = hand_coefficients([Observed(h, d) for h, d in ((0, 4.0), (90, 3.0), (180, -2.0), (270, -1.0))])
    >>> found.a, found.b, found.c, found.lost, found.e
    (1.0, 2.0, 3.0, 'D', 0.0)
    """
    rule = hand_rule_for([each.heading_compass_deg for each in observed])
    if rule is None:
        raise ReadingError(
            "headings",
            [each.heading_compass_deg for each in observed],
            "the hand rules hold for the eight points, or for four of them 90 degrees apart",
            "Fit these headings by least squares.",
        )
    at = {POINTS[round(each.heading_compass_deg / 45.0) % 8]: each.deviation_deg for each in observed}
    mean = math.fsum(at.values()) / len(at)
    d = e = None
    if rule is not Rule.CARDINALS:
        d = ((at["NE"] + at["SW"]) - (at["SE"] + at["NW"])) / 4.0
    if rule is Rule.INTERCARDINALS:
        by_45 = 4.0 * math.sin(math.radians(45.0))
        b = ((at["NE"] + at["SE"]) - (at["SW"] + at["NW"])) / by_45
        c = ((at["NE"] + at["NW"]) - (at["SE"] + at["SW"])) / by_45
        return HandCoefficients(rule, mean, b, c, d, None)
    e = ((at["N"] + at["S"]) - (at["E"] + at["W"])) / 4.0
    return HandCoefficients(rule, mean, (at["E"] - at["W"]) / 2.0, (at["N"] - at["S"]) / 2.0, d, e)
