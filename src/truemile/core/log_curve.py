"""One factor, a line or a curve: only as much as several engine speeds support."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from truemile.core.corrections import LogCorrection
from truemile.core.least_squares import LinearFit, fit
from truemile.core.log_factor import LogFactor
from truemile.core.uncertainty import welch_satterthwaite

#: Fall in chi-squared, for one coefficient more, that chance exceeds once in twenty (chi-squared, 1 degree of freedom).
WORTH_A_COEFFICIENT = 3.841
#: Budget rows whose one error enters every engine speed, so that more speeds do not average it down.
COMMON_ROWS = ("length of the course", "crab angle", "crab angle, not noted", "stream changing between the runs")

#: The stated uncertainties count as so many degrees of freedom where the scatter about the curve is pooled with them.
STATED_DOF = 8.0

_SHAPES = {(1,): "one factor for all speeds", (0, 1): "a straight line", (0, 1, 2): "a curve"}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A shape that was tried: its powers of the indicated speed, how ill it fits, and whether it was taken."""

    words: str
    powers: tuple[int, ...]
    chi2: float
    dof: int
    taken: bool


@dataclass(frozen=True, slots=True)
class FactorCurve:
    """The correction that the trial gives, and the shapes it was chosen from."""

    correction: LogCorrection
    words: str
    candidates: tuple[Candidate, ...]


def curve_through(factors: Sequence[LogFactor]) -> FactorCurve:
    """Return the correction through the factors of one or more engine speeds.

    Parameters
    ----------
    factors
        One an engine speed.

    Notes
    -----
    True speed V against indicated L, weighted by what is independent between the speeds. A coefficient more is taken
    only where it lowers chi-squared by more than chance does once in twenty, and a curve only where it leaves a degree
    of freedom. What is common to all speeds, such as the length of the course, the crab and one tide running through
    the trial, is added afterwards: it moves the whole curve and more speeds do not reduce it (the pattern of
    JCGM 100 H.3.6).
    """
    lowest, highest = min(f.lowest_kn for f in factors), max(f.highest_kn for f in factors)
    if len(factors) == 1:
        only = factors[0]
        correction = LogCorrection((1,), (only.factor,), ((only.u**2,),), only.budget.dof, lowest, highest)
        return FactorCurve(
            correction, "one engine speed gives one factor", (Candidate(_SHAPES[1,], (1,), 0.0, 0, True),)
        )
    fits = _fits(factors)
    powers = _choose(fits)
    chosen = fits[powers]
    covariance = _total_covariance(factors, chosen, powers)
    correction = LogCorrection(
        powers,
        tuple(float(c) for c in chosen.coefficients),
        covariance,
        _dof(factors, chosen, covariance, powers),
        lowest,
        highest,
    )
    candidates = tuple(Candidate(_SHAPES[p], p, float(f.chi2), f.dof, p == powers) for p, f in fits.items())
    return FactorCurve(correction, _because(candidates), candidates)


def _fits(factors: Sequence[LogFactor]) -> dict[tuple[int, ...], LinearFit]:
    distinct = len({round(factor.mean_indicated_kn, 2) for factor in factors})
    shapes: list[tuple[int, ...]] = [(1,)]
    if distinct > 1:
        shapes.append((0, 1))
    if distinct > 3:
        shapes.append((0, 1, 2))
    found = {}
    for powers in shapes:
        columns, true_kn, u = _points(factors, powers)
        found[powers] = fit(columns, true_kn, u=u)
    return found


def _points(
    factors: Sequence[LogFactor], powers: tuple[int, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Columns of the fit, true speeds, and what of their uncertainty is independent between the engine speeds."""
    indicated = np.asarray([factor.mean_indicated_kn for factor in factors])
    columns = np.column_stack([indicated**p for p in powers])
    return columns, np.asarray([f.water_kn for f in factors]), np.asarray([_u_independent_kn(f) for f in factors])


def _choose(fits: dict[tuple[int, ...], LinearFit]) -> tuple[int, ...]:
    taken: tuple[int, ...] = (1,)
    for powers, candidate in fits.items():
        spare = len(powers) - len(taken)
        if spare > 0 and fits[taken].chi2 - candidate.chi2 > WORTH_A_COEFFICIENT * spare:
            taken = powers
    return taken


def _because(candidates: Sequence[Candidate]) -> str:
    taken = next(c for c in candidates if c.taken)
    tried = [c.words for c in candidates if not c.taken]
    if not tried:
        return f"{taken.words}: the log read the same at every engine speed"
    if len(taken.powers) == 1:
        return f"{taken.words}: {' and '.join(tried)} would fit no better than chance allows"
    return f"{taken.words}: the factor changes with speed by more than chance allows"


def _common_kn(factor: LogFactor, label: str) -> float:
    """What a common error does to the true speed of one engine speed, in knots."""
    return math.fsum(row.contribution for row in factor.budget.rows if row.label == label) * factor.mean_indicated_kn


def _u_independent_kn(factor: LogFactor) -> float:
    common = math.fsum(_common_kn(factor, label) ** 2 for label in COMMON_ROWS)
    return math.sqrt(max((factor.u * factor.mean_indicated_kn) ** 2 - common, 1e-12))


def _total_covariance(
    factors: Sequence[LogFactor], chosen: LinearFit, powers: tuple[int, ...]
) -> tuple[tuple[float, ...], ...]:
    """Covariance of the fit, and of what each common error, entered at all speeds at once, would make of it."""
    columns, _, u = _points(factors, powers)
    scale = (STATED_DOF + chosen.chi2) / (STATED_DOF + chosen.dof) if chosen.dof > 0 else 1.0
    total: NDArray[np.float64] = scale * np.asarray(chosen.covariance)
    for label in COMMON_ROWS:
        moved = fit(columns, [_common_kn(factor, label) for factor in factors], u=u).coefficients
        total = total + np.outer(moved, moved)
    return tuple(tuple(float(x) for x in row) for row in total)


def _dof(
    factors: Sequence[LogFactor], chosen: LinearFit, covariance: tuple[tuple[float, ...], ...], powers: tuple[int, ...]
) -> float:
    """Effective degrees of freedom in the middle of the speeds: what is common is known, the rest pooled over them."""
    middle = fmean(factor.mean_indicated_kn for factor in factors)
    row = np.asarray([middle**p for p in powers])
    own = float(row @ np.asarray(chosen.covariance) @ row)
    whole = float(row @ np.asarray(covariance) @ row)
    pooled = math.fsum(factor.budget.dof for factor in factors)
    return welch_satterthwaite([math.sqrt(own), math.sqrt(max(whole - own, 0.0))], [pooled, math.inf])
