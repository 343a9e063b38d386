"""Least squares through the legs of a vector round: factor, heading offset and stream at once.

Velocities are complex numbers here, north + i east, so that turning by an angle a clockwise multiplies by exp(ia), and
the model of `truemile.core.ground_vectors` is a straight line g = z x + c with z = k exp(ib) and x = s exp(ih). In
components, with p = k cos b and q = k sin b::

    gE = s (p sin h + q cos h) + cE        gN = s (p cos h - q sin h) + cN
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from truemile.core.errors import NoSolution

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_MOST_STEPS: Final = 60
_MOST_HALVINGS: Final = 8
#: Columns of the Jacobian, scaled to one length, that depend on each other more closely than this tell nothing apart.
_DEPENDENT: Final = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class LegColumns:
    """The legs as columns of numbers.

    Attributes
    ----------
    heading_rad, indicated_kn, sog_kn
        Of each leg.
    cog_rad
        None where only speeds over the ground are used.
    tack_sign
        Sign with which leeway enters.
    mid_h
        Middle of each leg, in hours from the middle of the round.
    """

    heading_rad: Array
    indicated_kn: Array
    sog_kn: Array
    cog_rad: Array | None
    tack_sign: Array
    mid_h: Array

    @property
    def logged(self) -> Complex:
        """Velocity as log and compass have it."""
        return np.asarray(self.indicated_kn * np.exp(1j * self.heading_rad))

    @property
    def ground(self) -> Complex:
        """Velocity over the ground."""
        if self.cog_rad is None:
            raise NoSolution(
                "cog_true_deg", None, "a speed without its course is no velocity", "Add the course over the ground."
            )
        return np.asarray(self.sog_kn * np.exp(1j * self.cog_rad))


@dataclass(frozen=True, slots=True, eq=False)
class GroundFit:
    """What least squares gives.

    Attributes
    ----------
    names
        "factor", "offset", "leeway", "north", "east", "north change", "east change": those that were fitted.
    values
        Of these, angles in radians, changes in knots an hour.
    ground
        Velocity over the ground of each leg by the model.
    water
        The part of it through the water.
    residuals
        Observed less fitted, in knots: north components, then east; or speeds.
    jacobian
        How `ground` changes with the values, rows as the residuals.
    north_gain, east_gain
        How the values follow a north or east error in the velocity of each leg.
    """

    names: tuple[str, ...]
    values: Array
    ground: Complex
    water: Complex
    residuals: Array
    jacobian: Array
    north_gain: Array
    east_gain: Array
    index: dict[str, int] = field(default_factory=dict)

    def value(self, name: str) -> float:
        """One value, 0 for what was not fitted."""
        return float(self.values[self.index[name]]) if name in self.index else 0.0

    def pick(self, **parts: float) -> Array:
        """Return the weights of a sum of values, ``pick(north=0.6, east=0.8)``; spaces of names as ``_``."""
        weights = np.zeros(len(self.names))
        for name, part in parts.items():
            weights[self.index[name.replace("_", " ")]] = part
        return weights

    def follows(self, pattern: Complex) -> Array:
        """Return how the values follow velocity errors of this pattern over the legs."""
        return np.asarray(self.north_gain @ pattern.real + self.east_gain @ pattern.imag)

    @property
    def dof(self) -> int:
        """Readings less values."""
        return len(self.residuals) - len(self.values)

    @property
    def squares(self) -> float:
        """Sum of the squared residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def rms_residual_kn(self) -> float:
        """Scatter of one component, √(Σ r² / dof); NaN where nothing is left over to show it."""
        return math.sqrt(self.squares / self.dof) if self.dof > 0 else math.nan

    def gain(self, weights: Array) -> float:
        """Standard uncertainty of a sum of values for a scatter of 1 kn in each component."""
        return float(np.hypot(np.linalg.norm(weights @ self.north_gain), np.linalg.norm(weights @ self.east_gain)))


def line_through(logged: Complex, ground: Complex) -> tuple[complex, complex]:
    """Return z and c of g = z x + c by least squares, in closed form.

    Notes
    -----
    With x and g counted from their means, z = Σ x* g / Σ |x|²: p = Σ (xN gN + xE gE) / S, q = Σ (xN gE - xE gN) / S.

    Examples
    --------
    >>> z, c = line_through(np.array([5, -5j]), np.array([6, 1 - 5j]))
    >>> complex(z), complex(c)
    ((1+0j), (1+0j))
    """
    x, g = logged - logged.mean(), ground - ground.mean()
    z = complex(np.vdot(x, g) / np.vdot(x, x).real)
    return z, complex(ground.mean() - z * logged.mean())


def fit_ground(legs: LegColumns, *, leeway: bool = False, changing: bool = False) -> GroundFit:
    """Fit the model to the legs.

    Parameters
    ----------
    legs
        With courses over the ground, or with speeds only: the heading offset is then taken as 0.
    leeway
        True to fit the leeway apart from the heading offset, from two tacks.
    changing
        True to let the stream change steadily in time.

    Raises
    ------
    NoSolution
        If the legs cannot tell the values apart, or no values come near them.

    Notes
    -----
    Newton's method for least squares from a closed-form start; with courses and without leeway one step is exact.
    """
    angles = () if legs.cog_rad is None else ("offset", "leeway") if leeway else ("offset",)
    changes = ("north change", "east change") if changing else ()
    names = ("factor", *angles, "north", "east", *changes)
    values = np.zeros(len(names))
    index = {name: i for i, name in enumerate(names)}
    for name, start in _start(legs).items():
        if name in index:
            values[index[name]] = start
    found = _at(legs, names, index, values)
    settled = False
    for _ in range(_MOST_STEPS):
        step = _least_squares(found.jacobian, names) @ found.residuals
        settled = bool(np.abs(step).max() < 1e-11 * max(1.0, float(np.abs(found.values).max())))
        if settled:
            break
        found = _downhill(legs, found, step)
    if not (settled and found.values[0] > 0.0):
        raise NoSolution(
            "legs",
            len(legs.sog_kn),
            "no factor and stream come near these speeds",
            "Check the speeds and headings of each leg, and add the courses over the ground.",
        )
    return found


def _downhill(legs: LegColumns, found: GroundFit, step: Array) -> GroundFit:
    """Take the step, or as much of it as lessens the residuals."""
    trial = found
    for halvings in range(_MOST_HALVINGS):
        trial = _at(legs, found.names, found.index, found.values + step / 2.0**halvings)
        if trial.squares <= found.squares:
            break
    return trial


def _start(legs: LegColumns) -> dict[str, float]:
    if legs.cog_rad is not None:
        z, c = line_through(legs.logged, legs.ground)
        return {"factor": abs(z), "offset": math.atan2(z.imag, z.real), "north": c.real, "east": c.imag}
    return _start_from_speeds(legs)


def _start_from_speeds(legs: LegColumns) -> dict[str, float]:
    """Squares of speeds are linear: v² = (k² s² + c²) + 2 k s (cN cos h + cE sin h); of two roots the faster boat."""
    logged, mean = legs.logged, float(legs.indicated_kn.mean())
    design = np.column_stack([np.ones(len(logged)), 2.0 * logged.real, 2.0 * logged.imag])
    total, north, east = np.linalg.lstsq(design, legs.sog_kn**2, rcond=None)[0]
    product = math.hypot(north, east) * mean
    root = math.sqrt(max(total**2 / 4.0 - product**2, 0.0))
    k = math.sqrt(max(total / 2.0 + root, 1e-6)) / mean
    return {"factor": k, "north": float(north) / k, "east": float(east) / k}


def _at(legs: LegColumns, names: tuple[str, ...], index: dict[str, int], values: Array) -> GroundFit:
    """The model at given values, with its derivatives and gains."""

    def value(name: str) -> float:
        return float(values[index[name]]) if name in index else 0.0

    turn = np.exp(1j * (value("offset") + value("leeway") * legs.tack_sign))
    per_factor = legs.logged * turn
    water = value("factor") * per_factor
    stream = value("north") + 1j * value("east")
    change = value("north change") + 1j * value("east change")
    ground = water + stream + change * legs.mid_h
    one = np.ones(len(ground), dtype=complex)
    columns = {
        "factor": per_factor,
        "offset": 1j * water,
        "leeway": 1j * legs.tack_sign * water,
        "north": one,
        "east": 1j * one,
        "north change": legs.mid_h * one,
        "east change": 1j * legs.mid_h,
    }
    slopes = np.column_stack([columns[name] for name in names])
    if legs.cog_rad is None:
        along = ground / np.abs(ground)
        jacobian = (np.conj(along)[:, np.newaxis] * slopes).real
        residuals = legs.sog_kn - np.abs(ground)
        inverse = _least_squares(jacobian, names)
        north, east = inverse * along.real, inverse * along.imag
    else:
        jacobian = np.concatenate([slopes.real, slopes.imag])
        left = legs.ground - ground
        residuals = np.concatenate([left.real, left.imag])
        inverse = _least_squares(jacobian, names)
        north, east = inverse[:, : len(ground)], inverse[:, len(ground) :]
    return GroundFit(names, values, ground, water, residuals, jacobian, north, east, index)


def _least_squares(jacobian: Array, names: tuple[str, ...]) -> Array:
    """Pseudo-inverse, refused where two columns cannot be told apart."""
    lengths = np.linalg.norm(jacobian, axis=0)
    if not (np.isfinite(lengths).all() and lengths.min() > 0.0):
        raise NoSolution("legs", list(names), "the legs say nothing of one of these", "Check the speeds and headings.")
    left, sizes, right = np.linalg.svd(jacobian / lengths, full_matrices=False)
    if len(sizes) < len(names) or jacobian.shape[0] < len(names) or sizes[-1] < _DEPENDENT * sizes[0]:
        raise NoSolution(
            "legs",
            list(names),
            "the legs cannot tell these apart",
            "Add a leg on another heading, well away from those steered.",
        )
    return np.asarray((right.T / sizes) @ left.T / lengths[:, np.newaxis])
