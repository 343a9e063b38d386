"""From compass to true and back, for courses and for bearings.

East variation and deviation are positive::

    true = compass + deviation + variation        magnetic = compass + deviation = true - variation

Deviation is that of the boat's compass heading, for a bearing as for a course. On the way back the compass heading c is
the root of c + d(c) = magnetic. It is bracketed, and it is the only one if 1 + d' is above 0 all round; else the
conversion is refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import BearingReference, wrap_360
from truemile.core.deviation_curve import MOST_DEVIATION_DEG, DeviationCurve
from truemile.core.errors import NavigationError, NoSolution, ReadingError, gather
from truemile.core.numbers import check_range
from truemile.core.uncertainty import coverage_factor, welch_satterthwaite

Array = NDArray[np.float64]

#: Variation is given up to this; nearer the magnetic poles a compass is no use.
MOST_VARIATION_DEG: Final = 180.0
#: Bisection halves a bracket of 360° at most; so many steps leave less than 1e-12 of a degree.
_HALVINGS: Final = 55
#: Standard uncertainty and degrees of freedom, or None if not known.
_Part = tuple[float, float] | None
_REFERENCES: Final = ("T", "M", "C")


class Around(NamedTuple):
    """Standard uncertainty and 95 % uncertainty of a direction."""

    u_deg: float
    expanded_deg: float


@dataclass(frozen=True, slots=True)
class Conversion:
    """One direction from all three norths.

    Attributes
    ----------
    given
        "T", "M" or "C": which of the three was given.
    true_deg, magnetic_deg, compass_deg
        In [0, 360).
    variation_deg, deviation_deg
        East positive.
    heading_compass_deg
        The boat's compass heading that the deviation belongs to; None for a deviation given as a number.
    is_bearing
        True for a bearing, False for a course.
    around_true, around_compass
        What the conversion leaves uncertain of the true and of the compass direction; the reading's own part is not in
        it. None if that of the deviation is not known.
    hand_bearing
        True for a compass held in the hand, whose deviation is not that of the steering compass.
    """

    given: BearingReference
    true_deg: float
    magnetic_deg: float
    compass_deg: float
    variation_deg: float
    deviation_deg: float
    heading_compass_deg: float | None
    around_true: Around | None = None
    around_compass: Around | None = None
    is_bearing: bool = False
    hand_bearing: bool = False

    @property
    def around(self) -> Around | None:
        """Uncertainty of the answer: of the true direction if compass was given, of the compass one otherwise."""
        return self.around_true if self.given == "C" else self.around_compass

    @property
    def error_deg(self) -> float:
        """Compass error: variation and deviation together, east positive."""
        return self.variation_deg + self.deviation_deg


def compass_heading(curve: DeviationCurve, heading_magnetic_deg: float) -> float:
    """Return the compass heading for a magnetic one.

    Parameters
    ----------
    curve
        Deviation by compass heading.
    heading_magnetic_deg
        From 0 to 360.

    Raises
    ------
    ReadingError
        If the heading is not from 0 to 360.
    NoSolution
        If some magnetic heading has more than one compass heading: the compass needs adjusting.

    Examples
    --------
    >>> from truemile.core.deviation_curve import ApproximateCurve, Coefficients
    >>> curve = ApproximateCurve(Coefficients(1.0, 12.0, 8.0, 5.0, 1.5))
    >>> round(compass_heading(curve, 0.0), 3), round(curve.deviation_deg(352.486), 2)
    (352.486, 7.51)
    """
    return float(compass_headings(curve, [heading_magnetic_deg])[0])


def compass_headings(curve: DeviationCurve, headings_magnetic_deg: Sequence[float] | Array) -> Array:
    """Return the compass headings for a column of magnetic ones.

    Raises
    ------
    ReadingError
        If a heading is not from 0 to 360; the field says which row.
    NoSolution
        If some magnetic heading has more than one compass heading.

    Notes
    -----
    Bisection of c + d(c) - m, which grows all the way if 1 + d' > 0. Trying d(m), d(m - d), … instead settles only
    where the slope is less than 1 either way.
    """
    magnetic = np.asarray(
        [
            check_range(_row("heading_magnetic_deg", i), float(m), 0.0, 360.0, "degrees")
            for i, m in _rows(headings_magnetic_deg)
        ]
    )
    refuse_ambiguous(curve)
    low, high = magnetic - MOST_DEVIATION_DEG - 1.0, magnetic + MOST_DEVIATION_DEG + 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        beyond = middle + curve.deviations_deg(middle) > magnetic
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return np.asarray(wrap_360((low + high) / 2.0))


def refuse_ambiguous(curve: DeviationCurve) -> None:
    """Refuse a curve on which one magnetic heading has several compass headings.

    Raises
    ------
    NoSolution
        With the heading where the curve falls most steeply.
    """
    if curve.is_unique:
        return
    headings = np.arange(0.0, 360.0, 0.5)
    worst = float(headings[int(curve.slopes(headings).argmin())])
    raise NoSolution(
        "deviation",
        f"1 + d' = {curve.least_one_plus_slope:.2f} on compass heading {worst:03.0f}",
        "a magnetic heading near there has more than one compass heading",
        "Have the compass adjusted, or moved away from what disturbs it; no table can mend this.",
    )


def convert_course(
    course_deg: float,
    reference: BearingReference,
    variation_deg: float,
    deviation: DeviationCurve | float,
    *,
    u_variation_deg: float = 0.0,
    field: str = "course_deg",
) -> Conversion:
    """Return a course or heading from all three norths.

    Parameters
    ----------
    course_deg
        From 0 to 360.
    reference
        "T", "M" or "C": what it is counted from.
    variation_deg
        East positive.
    deviation
        The curve in force; or a number, for a deviation taken from a card by hand.
    u_variation_deg
        Standard uncertainty of the variation.
    field
        Name of the entry, for an error.

    Raises
    ------
    ReadingError
        If a number cannot be right.
    NoSolution
        If the curve has more than one compass heading for some magnetic ones.

    Examples
    --------
    >>> found = convert_course(276.0, "T", -12.0, 3.0)
    >>> found.magnetic_deg, found.compass_deg
    (288.0, 285.0)
    """
    return convert_courses(
        [course_deg], reference, variation_deg, deviation, u_variation_deg=u_variation_deg, field=lambda _: field
    )[0]


def convert_courses(
    courses_deg: Sequence[float] | Array,
    reference: BearingReference,
    variation_deg: float,
    deviation: DeviationCurve | float,
    *,
    u_variation_deg: float = 0.0,
    field: Callable[[int], str] = lambda i: f"rows[{i}].course_deg",
) -> tuple[Conversion, ...]:
    """Return a list of courses from all three norths.

    Raises
    ------
    ReadingError
        If a number cannot be right; `ManyFaults` if several are, each with its row.
    NoSolution
        If the curve has more than one compass heading for some magnetic ones.

    Examples
    --------
    >>> [c.true_deg for c in convert_courses([285.0, 5.0], "C", -12.0, 3.0)]
    [276.0, 356.0]
    """
    _check(reference, variation_deg, deviation, u_variation_deg)
    _check_directions(courses_deg, field)
    given = np.asarray(courses_deg, dtype=float)
    if isinstance(deviation, DeviationCurve):
        compass = given if reference == "C" else _to_compass(given, reference, variation_deg, deviation)
        deviations = deviation.deviations_deg(compass)
        steep = np.ones_like(compass) if reference == "C" else 1.0 + deviation.slopes(compass)
    else:
        deviations = np.full(given.shape, float(deviation))
        compass = given - _error(reference, variation_deg, deviations)
        steep = np.ones_like(compass)
    frame = _Frame(reference, variation_deg, u_variation_deg)
    return tuple(
        frame.conversion(
            float(g), float(c), float(d), _known(deviation, float(c)), float(s), heading=_heading(deviation, c)
        )
        for c, d, s, g in zip(compass, deviations, steep, given, strict=True)
    )


def convert_bearing(
    bearing_deg: float,
    reference: BearingReference,
    variation_deg: float,
    deviation: DeviationCurve | float,
    *,
    heading_compass_deg: float | None = None,
    u_variation_deg: float = 0.0,
    field: str = "bearing_deg",
) -> Conversion:
    """Return a bearing taken over the steering compass from all three norths.

    Parameters
    ----------
    bearing_deg, reference, variation_deg, u_variation_deg, field
        As for `convert_course`.
    deviation
        The curve in force, entered with ``heading_compass_deg``; or a number.
    heading_compass_deg
        Where the boat headed by compass when the bearing was taken. Needed with a curve.

    Raises
    ------
    ReadingError
        If a number cannot be right, or the boat's heading is missing.

    Notes
    -----
    Entering the curve with the bearing instead of the heading is the classic slip.

    Examples
    --------
    >>> from truemile.core.deviation_curve import ApproximateCurve, Coefficients
    >>> curve = ApproximateCurve(Coefficients(0.0, -5.0, 0.0, 0.0, 0.0))
    >>> found = convert_bearing(70.0, "C", -9.0, curve, heading_compass_deg=270.0)
    >>> found.deviation_deg, found.true_deg
    (5.0, 66.0)
    """
    return convert_bearings(
        [bearing_deg],
        reference,
        variation_deg,
        deviation,
        heading_compass_deg=heading_compass_deg,
        u_variation_deg=u_variation_deg,
        field=lambda _: field,
    )[0]


def convert_bearings(
    bearings_deg: Sequence[float] | Array,
    reference: BearingReference,
    variation_deg: float,
    deviation: DeviationCurve | float,
    *,
    heading_compass_deg: float | None = None,
    u_variation_deg: float = 0.0,
    field: Callable[[int], str] = lambda i: f"rows[{i}].bearing_deg",
) -> tuple[Conversion, ...]:
    """Return bearings taken on one heading of the boat from all three norths.

    Raises
    ------
    ReadingError
        If a number cannot be right, or the boat's heading is missing.

    Examples
    --------
    >>> [b.true_deg for b in convert_bearings([70.0, 84.0, 318.0], "C", -9.0, 5.0)]
    [66.0, 80.0, 314.0]
    """
    _check(reference, variation_deg, deviation, u_variation_deg)
    _check_directions(bearings_deg, field)
    value, heading = _deviation_on(deviation, heading_compass_deg)
    frame = _Frame(reference, variation_deg, u_variation_deg, is_bearing=True)
    known = None if heading is None else _known(deviation, heading)
    off = _error(reference, variation_deg, value)
    return tuple(
        frame.conversion(float(b), float(b - off), value, known, heading=heading) for b in np.asarray(bearings_deg)
    )


def convert_hand_bearing(
    bearing_deg: float,
    reference: BearingReference,
    variation_deg: float,
    *,
    deviation_deg: float = 0.0,
    u_variation_deg: float = 0.0,
    u_deviation_deg: float | None = None,
    field: str = "bearing_deg",
) -> Conversion:
    """Return a bearing by a hand-bearing compass from all three norths.

    Parameters
    ----------
    bearing_deg, reference, variation_deg, u_variation_deg, field
        As for `convert_course`.
    deviation_deg
        Its own, where it is held: 0 well away from iron. The card of the steering compass does not serve.
    u_deviation_deg
        How well that is known; None if not at all.

    Raises
    ------
    ReadingError
        If a number cannot be right.

    Examples
    --------
    >>> convert_hand_bearing(70.0, "C", -9.0).true_deg
    61.0
    """
    _check(reference, variation_deg, deviation_deg, u_variation_deg)
    _check_directions([bearing_deg], lambda _: field)
    known = None
    if u_deviation_deg is not None:
        known = (check_range("u_deviation_deg", u_deviation_deg, 0.0, 45.0, "degrees"), math.inf)
    frame = _Frame(reference, variation_deg, u_variation_deg, is_bearing=True, hand_bearing=True)
    compass = float(bearing_deg - _error(reference, variation_deg, deviation_deg))
    return frame.conversion(float(bearing_deg), compass, deviation_deg, known)


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the conversions of one list have in common."""

    given: BearingReference
    variation_deg: float
    u_variation_deg: float
    is_bearing: bool = False
    hand_bearing: bool = False

    def conversion(
        self,
        exactly: float,
        compass_deg: float,
        deviation_deg: float,
        known: _Part,
        steep: float = 1.0,
        *,
        heading: float | None = None,
    ) -> Conversion:
        """Put the three together; the one that was given comes back as it was."""
        magnetic = compass_deg + deviation_deg
        directions = {"T": magnetic + self.variation_deg, "M": magnetic, "C": compass_deg} | {self.given: exactly}
        variation = (self.u_variation_deg, math.inf)
        to_true: dict[str, list[_Part]] = {"T": [], "M": [variation], "C": [known, variation]}
        to_compass: dict[str, list[_Part]] = {"C": [], "M": [known], "T": [known, variation]}
        return Conversion(
            given=self.given,
            true_deg=wrap_360(directions["T"]),
            magnetic_deg=wrap_360(directions["M"]),
            compass_deg=wrap_360(directions["C"]),
            variation_deg=self.variation_deg,
            deviation_deg=deviation_deg,
            heading_compass_deg=heading,
            around_true=_together(to_true[self.given], 1.0),
            around_compass=_together(to_compass[self.given], steep),
            is_bearing=self.is_bearing,
            hand_bearing=self.hand_bearing,
        )


def _together(parts: Sequence[_Part], steep: float) -> Around | None:
    """Uncertainties with their degrees of freedom, put together; None if one is not known."""
    known = [part for part in parts if part is not None]
    if len(known) < len(parts):
        return None
    u = math.hypot(*(part[0] for part in known)) / steep
    if u == 0.0:
        return Around(0.0, 0.0)
    dof = welch_satterthwaite([part[0] for part in known], [part[1] for part in known])
    return Around(u, coverage_factor(dof) * u)


def _to_compass(given: Array, reference: str, variation_deg: float, curve: DeviationCurve) -> Array:
    magnetic = np.asarray(wrap_360(given - (variation_deg if reference == "T" else 0.0)))
    return compass_headings(curve, magnetic)


def _error(reference: str, variation_deg: float, deviation_deg: float | Array) -> float | Array:
    """What is taken off the given direction to come to the compass."""
    if reference == "C":
        return 0.0 * deviation_deg
    return deviation_deg + (variation_deg if reference == "T" else 0.0)


def _deviation_on(deviation: DeviationCurve | float, heading_compass_deg: float | None) -> tuple[float, float | None]:
    if heading_compass_deg is not None:
        check_range("heading_compass_deg", heading_compass_deg, 0.0, 360.0, "degrees")
    if not isinstance(deviation, DeviationCurve):
        return float(deviation), heading_compass_deg
    if heading_compass_deg is None:
        raise ReadingError(
            "heading_compass_deg",
            None,
            "the deviation of a bearing is that of the boat's heading",
            "Enter what the steering compass showed when the bearing was taken.",
        )
    return deviation.deviation_deg(heading_compass_deg), heading_compass_deg


def _known(deviation: DeviationCurve | float, heading_compass_deg: float) -> _Part:
    return deviation.u_and_dof(heading_compass_deg) if isinstance(deviation, DeviationCurve) else None


def _heading(deviation: DeviationCurve | float, compass_deg: float) -> float | None:
    return wrap_360(float(compass_deg)) if isinstance(deviation, DeviationCurve) else None


def _check(reference: str, variation_deg: float, deviation: DeviationCurve | float, u_variation_deg: float) -> None:
    if reference not in _REFERENCES:
        raise ReadingError(
            "reference", reference, "a direction is true, magnetic or compass", "Write T, M or C behind it."
        )
    check_range("variation_deg", variation_deg, -MOST_VARIATION_DEG, MOST_VARIATION_DEG, "degrees")
    check_range("u_variation_deg", u_variation_deg, 0.0, 45.0, "degrees")
    if not isinstance(deviation, DeviationCurve):
        check_range("deviation_deg", deviation, -MOST_DEVIATION_DEG, MOST_DEVIATION_DEG, "degrees")


def _check_directions(directions_deg: Sequence[float] | Array, field: Callable[[int], str]) -> None:
    faults: list[NavigationError] = []
    for i, value in _rows(directions_deg):
        try:
            check_range(field(i), float(value), 0.0, 360.0, "degrees")
        except ReadingError as fault:
            faults.append(fault)
    gather(faults)


def _rows(values: Sequence[float] | Array) -> list[tuple[int, float]]:
    return [(i, float(value)) for i, value in enumerate(values)]


def _row(name: str, i: int) -> str:
    return f"rows[{i}].{name}"
