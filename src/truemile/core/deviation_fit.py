"""Coefficients A to E from the deviations of a swing by least squares, with what speaks against them.

On N equally spaced headings the columns of the model are orthogonal, u(A) = s/√N and u(B … E) = s √(2/N). How much
worse than that the headings of a swing are is the yardstick for bunched headings and missing harmonics.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from truemile.core import least_squares
from truemile.core.angles import wrap_360
from truemile.core.deviation_curve import (
    LETTERS,
    ApproximateCurve,
    Coefficients,
    ExactCurve,
    HarmonicCurve,
    SharedErrors,
    exact_columns,
    exact_from_approximate,
    harmonics,
)
from truemile.core.deviation_hand import HandCoefficients, Observed, hand_coefficients, hand_rule_for
from truemile.core.errors import NoSolution, NotEnoughReadings
from truemile.core.numbers import check_range
from truemile.core.uncertainty import coverage_factor, from_resolution

Array = NDArray[np.float64]

#: Beyond this the exact form is used [Manual1875]_.
EXACT_BEYOND_DEG: Final = 20.0
#: A coefficient this many times less certain than on equally spaced headings is not known at all.
_INVISIBLE: Final = 30.0
_MOST_STEPS: Final = 50


class Form(StrEnum):
    """Which form of the curve is fitted."""

    APPROXIMATE = "approximate"
    EXACT = "exact"


@dataclass(frozen=True, slots=True)
class HeadingSpread:
    """How well the headings of a swing are spread.

    Attributes
    ----------
    count
        Headings, each reading counted.
    largest_gap_deg, gap_from_deg, gap_to_deg
        Widest arc without a heading.
    u_factors
        Standard uncertainty of each coefficient for a scatter of 1; infinite where the headings do not show it.
    inflation
        The same, in units of what as many equally spaced headings give: 1 for a good swing.
    condition_number
        Of the columns of the approximate form.
    """

    count: int
    largest_gap_deg: float
    gap_from_deg: float
    gap_to_deg: float
    u_factors: Coefficients
    inflation: Coefficients
    condition_number: float

    @property
    def invisible(self) -> tuple[str, ...]:
        """Letters of the coefficients that the headings cannot show."""
        return tuple(x for x, value in zip(LETTERS, self.inflation, strict=True) if value > _INVISIBLE)


@dataclass(frozen=True, slots=True)
class Residual:
    """What one observed deviation differs from the curve by.

    Attributes
    ----------
    residual_deg
        Observed less fitted.
    over_two_s
        True beyond twice the residual standard deviation: the common rule.
    stands_out
        True where the other readings, without this one, would not have let it be expected: once in twenty swings by
        chance. With few headings one bad reading drags the curve and the scatter with it, and only this shows it.
    misses_deg
        Observed less what the other readings give for its heading; NaN where they do not.
    """

    observed: Observed
    fitted_deg: float
    residual_deg: float
    over_two_s: bool
    stands_out: bool
    misses_deg: float


@dataclass(frozen=True, slots=True)
class DeviationFit:
    """A fitted curve with all that is known about it.

    Attributes
    ----------
    form
        Approximate or exact.
    curve
        With coefficients, covariance and what the headings share.
    residuals
        One a reading.
    residual_sd_deg
        √(Σ r² / dof); NaN for five readings.
    dof
        Readings less five.
    spread
        Of the headings.
    hand
        The same by the hand rules, where the headings are the points that those are for.
    resolution_deg
        Last digit of the readings.
    """

    form: Form
    curve: HarmonicCurve
    residuals: tuple[Residual, ...]
    residual_sd_deg: float
    dof: int
    spread: HeadingSpread
    hand: HandCoefficients | None
    resolution_deg: float

    @property
    def coefficients(self) -> Coefficients:
        """A to E, in degrees for the approximate form."""
        return self.curve.coefficients

    @property
    def u(self) -> Coefficients:
        """Standard uncertainty of each, in the same unit."""
        known = self.curve.u_coefficients
        if known is None:
            raise NotEnoughReadings(
                "readings",
                len(self.residuals),
                "five readings leave nothing that shows the scatter",
                "Take three more headings, or state how well one reading is known.",
            )
        return known

    @property
    def outliers(self) -> tuple[Residual, ...]:
        """Readings that stand out, or lie beyond 2 s."""
        return tuple(each for each in self.residuals if each.stands_out or each.over_two_s)


def heading_spread(headings_compass_deg: Sequence[float]) -> HeadingSpread:
    """Return how well headings are spread for the five coefficients.

    Raises
    ------
    NotEnoughReadings
        If there is none.

    Examples
    --------
    >>> spread = heading_spread([0, 90, 180, 270, 0, 90])
    >>> spread.largest_gap_deg, spread.invisible
    (90.0, ('D',))
    """
    if not len(headings_compass_deg):
        raise NotEnoughReadings("headings", 0, "a swing needs headings", "Steer a first one and take a reading.")
    headings = np.sort(np.asarray([wrap_360(float(h)) for h in headings_compass_deg]))
    gaps = np.diff(np.append(headings, headings[0] + 360.0))
    widest = int(gaps.argmax())
    design = harmonics(headings)
    sizes = np.linalg.svd(design, compute_uv=False)
    factors = _u_factors(design)
    count = len(headings)
    ideal = np.sqrt(np.asarray([1.0, 2.0, 2.0, 2.0, 2.0]) / count)
    condition = float(sizes[0] / sizes[-1]) if count >= 5 and sizes[-1] > 1e-12 else math.inf
    return HeadingSpread(
        count,
        float(gaps[widest]),
        float(headings[widest]),
        wrap_360(float(headings[widest] + gaps[widest])),
        Coefficients(*(float(x) for x in factors)),
        Coefficients(*(float(x) for x in factors / ideal)),
        condition,
    )


def fit_deviation(
    observed: Sequence[Observed],
    *,
    form: Form | None = None,
    u_reading_deg: float | None = None,
    resolution_deg: float = 1.0,
    shared: SharedErrors | None = None,
    a_lost: bool = False,
) -> DeviationFit:
    """Fit coefficients A to E to the deviations of a swing.

    Parameters
    ----------
    observed
        Deviations by compass heading.
    form
        Approximate or exact; None for the exact one where a deviation is beyond 20°.
    u_reading_deg
        Standard uncertainty of one deviation where it is known; the scatter about the curve counts if that is larger.
    resolution_deg
        Last digit that was read, for what a scatter cannot be less than.
    shared
        Errors that the scatter does not show.
    a_lost
        True where the bearing of the object was not known: A is then taken as 0, and ``shared`` should say how large it
        may be.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than five readings.
    NoSolution
        If the headings do not show one of the coefficients, as cardinals do not show D; or no exact form fits.

    Notes
    -----
    The exact form is fitted to the deviations themselves, by Gauss and Newton from the exact coefficients of the
    approximate fit.

    Examples
    --------
    >>> truth = ApproximateCurve(Coefficients(1.0, 6.0, 4.0, 2.0, 0.5))
    >>> swing = [Observed(h, round(truth.deviation_deg(h), 1)) for h in range(0, 360, 45)]
    >>> fit = fit_deviation(swing, resolution_deg=0.1)
    >>> [round(x, 1) for x in fit.coefficients], round(fit.residual_sd_deg, 2)
    ([1.0, 6.0, 4.0, 2.0, 0.5], 0.02)
    """
    spread = _checked(observed)
    if u_reading_deg is not None:
        check_range("u_reading_deg", u_reading_deg, 1e-9, 45.0, "degrees")
    headings = np.asarray([each.heading_compass_deg for each in observed], dtype=float)
    deviations = np.asarray([each.deviation_deg for each in observed], dtype=float)
    if form is None:
        form = Form.EXACT if np.abs(deviations).max() > EXACT_BEYOND_DEG else Form.APPROXIMATE
    fit = least_squares.fit(harmonics(headings), deviations, names=LETTERS)
    coefficients, design, residuals = fit.coefficients, harmonics(headings), fit.residuals
    if form is Form.EXACT:
        coefficients, design, residuals = _fit_exact(headings, deviations, fit.coefficients)
    dof = len(observed) - 5
    sd = math.sqrt(float(residuals @ residuals) / dof) if dof else math.nan
    curve = _curve(form, coefficients, design, _Scatter(sd, dof, u_reading_deg, resolution_deg), shared, a_lost)
    rule = hand_rule_for([each.heading_compass_deg for each in observed])
    return DeviationFit(
        form=form,
        curve=curve,
        residuals=_residuals(observed, residuals, design, resolution_deg),
        residual_sd_deg=sd,
        dof=dof,
        spread=spread,
        hand=hand_coefficients(observed) if rule is not None else None,
        resolution_deg=resolution_deg,
    )


@dataclass(frozen=True, slots=True)
class _Scatter:
    sd_deg: float
    dof: int
    stated_deg: float | None
    resolution_deg: float

    def u_and_dof(self) -> tuple[float, float] | None:
        """Of one reading: as stated, if it does not scatter more; else as seen, but no less than rounding makes it."""
        if self.stated_deg is not None and not self.sd_deg > self.stated_deg:
            return self.stated_deg, math.inf
        return (max(self.sd_deg, from_resolution(self.resolution_deg)), float(self.dof)) if self.dof else None


def _checked(observed: Sequence[Observed]) -> HeadingSpread:
    if len(observed) < 5:
        raise NotEnoughReadings(
            "readings",
            len(observed),
            "five coefficients need five headings at least",
            "Swing on eight or more, equally spaced all round.",
        )
    spread = heading_spread([each.heading_compass_deg for each in observed])
    if spread.invisible:
        advice = {"D": "Add intercardinals: NE, SE, SW, NW.", "E": "Add cardinals: N, E, S, W."}
        only = spread.invisible[0] if len(spread.invisible) == 1 else ""
        raise NoSolution(
            "headings",
            ", ".join(spread.invisible),
            f"these headings do not show {' and '.join(spread.invisible)}",
            advice.get(only, "Add headings all round: the eight points are a good set."),
        )
    return spread


def _u_factors(design: Array) -> Array:
    """√ diag (X'X)⁻¹, infinite for a coefficient that lies in what the columns leave free."""
    left, sizes, right = np.linalg.svd(design, full_matrices=True)
    del left
    full = np.zeros(5)
    full[: len(sizes)] = sizes
    free = full <= 1e-9 * full[0]
    shown = np.sum((right[~free] / full[~free, np.newaxis]) ** 2, axis=0)
    hidden = np.sum(right[free] ** 2, axis=0) > 1e-12
    return np.asarray(np.where(hidden, np.inf, np.sqrt(shown)))


def _fit_exact(headings: Array, deviations: Array, approximate_deg: Array) -> tuple[Array, Array, Array]:
    """Coefficients, Jacobian in degrees and residuals in degrees of the exact form."""
    z, d = np.radians(headings), np.radians(deviations)
    coefficients = np.asarray(exact_from_approximate([float(x) for x in approximate_deg]))
    if not _settles(coefficients):
        coefficients = least_squares.fit(exact_columns(z, d), np.sin(d), names=LETTERS).coefficients
    for _ in range(_MOST_STEPS):
        curve = ExactCurve(Coefficients(*(float(x) for x in coefficients)))
        residuals, design = deviations - curve.deviations_deg(headings), curve.gradients_deg(headings)
        step = least_squares.fit(design, residuals, names=LETTERS).coefficients
        if np.abs(step).max() < 1e-12:
            return coefficients, design, residuals
        coefficients = coefficients + step
    raise NoSolution(
        "readings",
        len(headings),
        "no exact coefficients come near these deviations",
        "Look for a slip in the largest of them; such a compass must be moved or adjusted.",
    )


def _settles(coefficients: Array) -> bool:
    try:
        ExactCurve(Coefficients(*(float(x) for x in coefficients)))
    except NoSolution:
        return False
    return True


def _curve(
    form: Form, coefficients: Array, design: Array, scatter: _Scatter, shared: SharedErrors | None, a_lost: bool
) -> HarmonicCurve:
    values = [float(x) for x in coefficients]
    known = scatter.u_and_dof()
    covariance = None
    if known is not None:
        inverse = np.linalg.inv(design.T @ design) * known[0] ** 2
        if a_lost:
            inverse[0, :] = inverse[:, 0] = 0.0
        covariance = tuple(tuple(float(x) for x in row) for row in inverse)
    if a_lost:
        values[0] = 0.0
    make = ExactCurve if form is Form.EXACT else ApproximateCurve
    u, dof = known if known is not None else (None, math.inf)
    return make(Coefficients(*values), covariance, dof, u, shared or SharedErrors())


def _residuals(
    observed: Sequence[Observed], residuals: Array, design: Array, resolution_deg: float
) -> tuple[Residual, ...]:
    """Residuals with the common 2 s rule and the one that leaves each reading out in turn."""
    count, dof = design.shape[0], design.shape[0] - 5
    leverage = np.einsum("ij,jk,ik->i", design, np.linalg.inv(design.T @ design), design)
    squares = float(residuals @ residuals)
    sd = math.sqrt(squares / dof) if dof else math.nan
    found = []
    for i, each in enumerate(observed):
        r, left = float(residuals[i]), 1.0 - float(leverage[i])
        misses = r / left if dof and left > 1e-6 else math.nan
        over, out = dof > 0 and abs(r) > max(2.0 * sd, resolution_deg / 2.0), False
        if dof > 1 and abs(misses) > resolution_deg:
            without = math.sqrt(max(squares - r * misses, 0.0) / (dof - 1))
            without = max(without, from_resolution(resolution_deg))
            out = abs(r) / math.sqrt(left) > without * coverage_factor(dof - 1, 1.0 - 0.05 / count)
        found.append(Residual(each, each.deviation_deg - r, r, over, out, misses))
    return tuple(found)
