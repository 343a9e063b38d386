"""Deviation as a curve over the compass heading: by coefficients A to E, approximate or exact.

With z the compass heading and d the deviation, east positive, the approximate form is::

    d = A + B sin z + C cos z + D sin 2z + E cos 2z          A to E in degrees

and the exact one, with coefficients that are pure numbers::

    sin d = A cos d + B sin z + C cos z + D sin (2z + d) + E cos (2z + d)

The curve belongs to the compass heading of the boat: not to a bearing, and not to the magnetic heading.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import wrap_180, wrap_360
from truemile.core.errors import NavigationError, NoSolution, ReadingError, gather
from truemile.core.numbers import check_finite
from truemile.core.uncertainty import coverage_factor, welch_satterthwaite

Array = NDArray[np.float64]

#: Names of the coefficients, in their order.
LETTERS: Final = ("A", "B", "C", "D", "E")
#: Deviations beyond this are a slip of the pen or a compass that is no use.
MOST_DEVIATION_DEG: Final = 90.0
_ALL_ROUND: Final = np.arange(0.0, 360.0, 0.1)
_ALL_ROUND.setflags(write=False)


class Coefficients(NamedTuple):
    """The five coefficients, in degrees for the approximate form and as pure numbers for the exact one."""

    a: float
    b: float
    c: float
    d: float
    e: float


@dataclass(frozen=True, slots=True)
class SharedErrors:
    """Errors that all headings of a swing share, so that no residual shows them.

    Attributes
    ----------
    u_a_deg
        Standard uncertainty of what adds the same to every deviation: variation, the reference bearing.
    u_bc_deg
        The same for what has the shape of B and C: a stream not quite known, parallax.
    dof
        Degrees of freedom of the two together.
    """

    u_a_deg: float = 0.0
    u_bc_deg: float = 0.0
    dof: float = math.inf

    @property
    def u_deg(self) -> float:
        """What they bring to the deviation on any one heading."""
        return math.hypot(self.u_a_deg, self.u_bc_deg)


class CardRow(NamedTuple):
    """One row of a deviation card; the ± (95 %) is None where it is not known."""

    heading_compass_deg: float
    deviation_deg: float
    heading_magnetic_deg: float
    expanded_deg: float | None


class DeviationCurve(ABC):
    """Deviation for every compass heading, whatever it is made from."""

    __slots__ = ()

    @abstractmethod
    def deviations_deg(self, headings_compass_deg: Array) -> Array:
        """Return the deviations on compass headings, east positive."""

    @abstractmethod
    def slopes(self, headings_compass_deg: Array) -> Array:
        """Return by how many degrees the deviation grows a degree of compass heading."""

    @abstractmethod
    def u_and_dof(self, heading_compass_deg: float) -> tuple[float, float] | None:
        """Return the standard uncertainty of the curve on a heading with its degrees of freedom; None if not known."""

    def deviation_deg(self, heading_compass_deg: float) -> float:
        """Return the deviation on one compass heading."""
        heading = check_finite("heading_compass_deg", heading_compass_deg)
        return float(self.deviations_deg(np.asarray([heading]))[0])

    def slope(self, heading_compass_deg: float) -> float:
        """Return by how many degrees the deviation grows a degree of compass heading, at one heading."""
        return float(self.slopes(np.asarray([heading_compass_deg]))[0])

    def u_deg(self, heading_compass_deg: float) -> float | None:
        """Return the standard uncertainty of the curve on a heading; None if not known."""
        known = self.u_and_dof(heading_compass_deg)
        return None if known is None else known[0]

    def expanded_deg(self, heading_compass_deg: float) -> float | None:
        """Return the 95 % uncertainty of the curve on a heading; None if not known."""
        known = self.u_and_dof(heading_compass_deg)
        return None if known is None else coverage_factor(known[1]) * known[0]

    @property
    def least_one_plus_slope(self) -> float:
        """Least value of 1 + d' all round: a magnetic heading has one compass heading only while this is above 0."""
        return 1.0 + float(self.slopes(_ALL_ROUND).min())

    @property
    def is_unique(self) -> bool:
        """True where every magnetic heading has just one compass heading."""
        return self.least_one_plus_slope > 0.0

    @property
    def largest(self) -> tuple[float, float]:
        """Compass heading with the largest deviation either way, to a tenth of a degree, and that deviation."""
        deviations = self.deviations_deg(_ALL_ROUND)
        at = int(np.abs(deviations).argmax())
        return float(_ALL_ROUND[at]), float(deviations[at])

    def card(self, step_deg: float = 15.0) -> tuple[CardRow, ...]:
        """Return the rows of a deviation card by compass heading, with the magnetic heading alongside.

        Raises
        ------
        ReadingError
            If the step does not go into 360 degrees a whole number of times, 4 to 72.
        """
        count = round(360.0 / step_deg) if step_deg > 0.0 else 0
        if not 4 <= count <= 72 or abs(count * step_deg - 360.0) > 1e-9:
            raise ReadingError(
                "step_deg", step_deg, "a card goes round in 4 to 72 equal steps", "Take 10, 15, 22.5 or 45 degrees."
            )
        headings: Array = step_deg * np.arange(count, dtype=np.float64)
        return tuple(
            CardRow(float(z), float(d), wrap_360(float(z + d)), self.expanded_deg(float(z)))
            for z, d in zip(headings, self.deviations_deg(headings), strict=True)
        )


@dataclass(frozen=True, slots=True)
class HarmonicCurve(DeviationCurve):
    """A curve by five coefficients, with what a swing tells of their uncertainty.

    Parameters
    ----------
    coefficients
        A to E.
    covariance
        Of the coefficients, as the scatter of the swing shows it; None if not known.
    dof
        Degrees of freedom of the covariance.
    scatter_deg
        Standard deviation of one observed deviation about the curve; None if not known.
    shared
        Errors that the scatter does not show.
    """

    coefficients: Coefficients
    covariance: tuple[tuple[float, ...], ...] | None = None
    dof: float = math.inf
    scatter_deg: float | None = None
    shared: SharedErrors = SharedErrors()

    def __post_init__(self) -> None:
        """Refuse coefficients that are no numbers, and a covariance of another size."""
        faults: list[NavigationError] = [
            ReadingError(letter, value, "a coefficient is an ordinary number", "Enter it as the swing gave it.")
            for letter, value in zip(LETTERS, self.coefficients, strict=True)
            if not math.isfinite(value)
        ]
        rows = self.covariance
        if rows is not None and (len(rows) != 5 or any(len(row) != 5 for row in rows)):
            faults.append(
                ReadingError("covariance", rows, "it has five rows of five", "Work the curve out again from the swing.")
            )
        gather(faults)

    @abstractmethod
    def gradients_deg(self, headings_compass_deg: Array) -> Array:
        """Return how the deviation in degrees follows each coefficient, a row for each heading."""

    @property
    @abstractmethod
    def in_degrees(self) -> Coefficients:
        """Coefficients as angles, for a reader."""

    @property
    def u_coefficients(self) -> Coefficients | None:
        """Standard uncertainties, in the unit of the coefficients; None if not known."""
        if self.covariance is None:
            return None
        u_a, u_bc = (x * self._unit_of_shared for x in (self.shared.u_a_deg, self.shared.u_bc_deg))
        own = [math.sqrt(self.covariance[i][i]) for i in range(5)]
        return Coefficients(math.hypot(own[0], u_a), math.hypot(own[1], u_bc), math.hypot(own[2], u_bc), own[3], own[4])

    @property
    def _unit_of_shared(self) -> float:
        return 1.0

    def u_and_dof(self, heading_compass_deg: float) -> tuple[float, float] | None:
        """Return √(g · covariance · g + what is shared) with effective degrees of freedom."""
        if self.covariance is None:
            return None
        row = self.gradients_deg(np.asarray([float(heading_compass_deg)]))[0]
        own = math.sqrt(max(0.0, float(row @ np.asarray(self.covariance) @ row)))
        u = math.hypot(own, self.shared.u_deg)
        if u == 0.0:
            return 0.0, self.dof
        return u, welch_satterthwaite([own, self.shared.u_deg], [self.dof, self.shared.dof])

    def expanded_reading_deg(self, heading_compass_deg: float) -> float | None:
        """Return how far from the curve one more observed deviation may lie (95 %); None if not known."""
        if self.covariance is None or self.scatter_deg is None:
            return None
        row = self.gradients_deg(np.asarray([float(heading_compass_deg)]))[0]
        own = float(row @ np.asarray(self.covariance) @ row)
        return coverage_factor(self.dof) * math.sqrt(max(0.0, own) + self.scatter_deg**2)


@dataclass(frozen=True, slots=True)
class ApproximateCurve(HarmonicCurve):
    """The approximate form, coefficients in degrees: enough for a yacht up to about 7°, and used up to 20°.

    Notes
    -----
    Its own fault grows as the square of the deviation: about 10′ where the largest is 7°, 1° 30′ at 21° [Manual1875]_.

    Examples
    --------
    >>> curve = ApproximateCurve(Coefficients(1.0, 12.0, 8.0, 5.0, 1.5))
    >>> curve.deviation_deg(0.0), curve.deviation_deg(90.0)
    (10.5, 11.5)
    """

    def deviations_deg(self, headings_compass_deg: Array) -> Array:
        """Return A + B sin z + C cos z + D sin 2z + E cos 2z."""
        return np.asarray(harmonics(headings_compass_deg) @ np.asarray(self.coefficients))

    def slopes(self, headings_compass_deg: Array) -> Array:
        """Return the derivative of the form."""
        z = np.radians(headings_compass_deg)
        _, b, c, d, e = np.radians(self.coefficients)
        return np.asarray(b * np.cos(z) - c * np.sin(z) + 2.0 * d * np.cos(2.0 * z) - 2.0 * e * np.sin(2.0 * z))

    def gradients_deg(self, headings_compass_deg: Array) -> Array:
        """Return 1, sin z, cos z, sin 2z, cos 2z."""
        return harmonics(headings_compass_deg)

    @property
    def in_degrees(self) -> Coefficients:
        """The coefficients themselves."""
        return self.coefficients


@dataclass(frozen=True, slots=True)
class ExactCurve(HarmonicCurve):
    """The exact form, coefficients as pure numbers: for deviations beyond about 20°.

    Raises
    ------
    NoSolution
        If on some heading no deviation, or none within 90°, satisfies the form.

    Notes
    -----
    After A. Smith (from memory, [Manual1875]_). With P = 1 - D cos 2z + E sin 2z, Q = A + D sin 2z + E cos 2z and
    R = B sin z + C cos z it reads P sin d - Q cos d = R, so d = atan2(Q, P) + asin(R / √(P² + Q²)).

    Examples
    --------
    >>> curve = ExactCurve(Coefficients(0.0, 0.45, 0.0, 0.12, 0.0))
    >>> round(curve.deviation_deg(90.0), 4)
    23.6899
    """

    def __post_init__(self) -> None:
        """Refuse coefficients for which the form has no answer on some heading."""
        HarmonicCurve.__post_init__(self)
        p, q, r = self._parts(_ALL_ROUND)
        reach = np.hypot(p, q)
        bad = np.flatnonzero((np.abs(r) >= reach) | (p <= 0.0))
        if len(bad):
            raise NoSolution(
                "coefficients",
                tuple(round(x, 4) for x in self.coefficients),
                f"on compass heading {_ALL_ROUND[bad[0]]:03.0f} no deviation answers to them",
                "Check the readings of the swing; such a compass must be moved or adjusted.",
            )

    def deviations_deg(self, headings_compass_deg: Array) -> Array:
        """Return the deviation that satisfies the exact form."""
        return np.asarray(np.degrees(self._deviations_rad(headings_compass_deg)))

    def slopes(self, headings_compass_deg: Array) -> Array:
        """Return the derivative by implicit differentiation."""
        z = np.radians(headings_compass_deg)
        d = self._deviations_rad(headings_compass_deg)
        _, b, c, d2, e2 = self.coefficients
        p_slope = 2.0 * d2 * np.sin(2.0 * z) + 2.0 * e2 * np.cos(2.0 * z)
        q_slope = 2.0 * d2 * np.cos(2.0 * z) - 2.0 * e2 * np.sin(2.0 * z)
        r_slope = b * np.cos(z) - c * np.sin(z)
        return np.asarray((r_slope + q_slope * np.cos(d) - p_slope * np.sin(d)) / self._stiffness(z, d))

    def gradients_deg(self, headings_compass_deg: Array) -> Array:
        """Return cos d, sin z, cos z, sin (2z + d), cos (2z + d), each over P cos d + Q sin d, in degrees."""
        z = np.radians(headings_compass_deg)
        d = self._deviations_rad(headings_compass_deg)
        return np.asarray(np.degrees(exact_columns(z, d) / self._stiffness(z, d)[:, np.newaxis]))

    @property
    def in_degrees(self) -> Coefficients:
        """Each coefficient as the angle that has it for its sine."""
        return Coefficients(*(math.degrees(math.asin(max(-1.0, min(1.0, x)))) for x in self.coefficients))

    def at_magnetic_deg(self, heading_magnetic_deg: float) -> float:
        """Return the deviation on a magnetic heading, in closed form.

        Notes
        -----
        tan d = (A + B sin m + C cos m + D sin 2m + E cos 2m) / (1 + B cos m - C sin m + D cos 2m - E sin 2m) (from
        memory, and checked against the form by compass heading).
        """
        m = math.radians(check_finite("heading_magnetic_deg", heading_magnetic_deg))
        a, b, c, d, e = self.coefficients
        above = a + b * math.sin(m) + c * math.cos(m) + d * math.sin(2 * m) + e * math.cos(2 * m)
        below = 1.0 + b * math.cos(m) - c * math.sin(m) + d * math.cos(2 * m) - e * math.sin(2 * m)
        return math.degrees(math.atan2(above, below))

    @property
    def _unit_of_shared(self) -> float:
        return math.radians(1.0)

    def _parts(self, headings_compass_deg: Array) -> tuple[Array, Array, Array]:
        z = np.radians(headings_compass_deg)
        a, b, c, d, e = self.coefficients
        p = 1.0 - d * np.cos(2.0 * z) + e * np.sin(2.0 * z)
        q = a + d * np.sin(2.0 * z) + e * np.cos(2.0 * z)
        return p, q, b * np.sin(z) + c * np.cos(z)

    def _deviations_rad(self, headings_compass_deg: Array) -> Array:
        p, q, r = self._parts(headings_compass_deg)
        return np.asarray(np.arctan2(q, p) + np.arcsin(r / np.hypot(p, q)))

    def _stiffness(self, z: Array, d: Array) -> Array:
        p, q, _ = self._parts(np.degrees(z))
        return np.asarray(p * np.cos(d) + q * np.sin(d))


def harmonics(headings_compass_deg: Array) -> Array:
    """Return 1, sin z, cos z, sin 2z, cos 2z, a row for each heading.

    Examples
    --------
    >>> harmonics(np.array([90.0])).round(6).tolist()
    [[1.0, 1.0, 0.0, 0.0, -1.0]]
    """
    z = np.radians(np.asarray(headings_compass_deg, dtype=float))
    return np.column_stack([np.ones_like(z), np.sin(z), np.cos(z), np.sin(2.0 * z), np.cos(2.0 * z)])


def exact_columns(heading_rad: Array, deviation_rad: Array) -> Array:
    """Return cos d, sin z, cos z, sin (2z + d), cos (2z + d), a row for each heading; all in radians."""
    z, d = heading_rad, deviation_rad
    return np.column_stack([np.cos(d), np.sin(z), np.cos(z), np.sin(2.0 * z + d), np.cos(2.0 * z + d)])


def exact_from_approximate(approximate_deg: Sequence[float]) -> Coefficients:
    """Return exact coefficients from approximate ones, by the formulas of 1875.

    Notes
    -----
    A′ = sin A; B′ = sin B (1 + sin D / 2 + vers B / 12 - vers C / 4) + sin C sin E / 2;
    C′ = sin C (1 - sin D / 2 - vers B / 4 + vers C / 12) + sin B sin E / 2; D′ = sin D (1 + vers D / 3);
    E′ = sin E - sin A sin D; vers x = 1 - cos x [Manual1875]_. The scan is hard to read, and the fractions were settled
    by numbers: they hold to 0.001 for deviations up to 30°.

    Examples
    --------
    >>> [round(x, 4) for x in exact_from_approximate((0.0, 24.876068, 0.0, 6.8754935, 0.0))]
    [0.0, 0.4491, 0.0, 0.12, 0.0]
    """
    if len(approximate_deg) != 5:
        raise ReadingError(
            "approximate_deg", list(approximate_deg), "there are five coefficients, A to E", "Give 0 for one not known."
        )
    radians = [math.radians(check_finite(x, v)) for x, v in zip(LETTERS, approximate_deg, strict=True)]
    a, b, c, d, e = (math.sin(x) for x in radians)
    _, vers_b, vers_c, vers_d, _ = (1.0 - math.cos(x) for x in radians)
    return Coefficients(
        a,
        b * (1.0 + d / 2.0 + vers_b / 12.0 - vers_c / 4.0) + c * e / 2.0,
        c * (1.0 - d / 2.0 - vers_b / 4.0 + vers_c / 12.0) + b * e / 2.0,
        d * (1.0 + vers_d / 3.0),
        e - a * d,
    )


def deviation_between(magnetic_deg: float, compass_deg: float) -> float:
    """Return the deviation that a magnetic and a compass direction differ by, east positive, in (-180, 180].

    Examples
    --------
    >>> deviation_between(9.0, 358.0)
    11.0
    """
    return wrap_180(check_finite("magnetic_deg", magnetic_deg) - check_finite("compass_deg", compass_deg))
