"""Linear least squares with covariance, safe on badly scaled columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError

__all__ = ["LinearFit", "fit", "line"]

Array = NDArray[np.float64]

_DEPENDENT = 1e-11


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """Coefficients of a linear model with all that is known about them.

    Parameters
    ----------
    coefficients, names
        Value and name of each.
    covariance
        Of the coefficients; None when there are as many readings as coefficients and the readings came without
        standard uncertainties, so that nothing shows how good they are.
    residuals
        Observed minus fitted, in the unit of y.
    residual_sd
        √(Σ residual² / dof), NaN for dof 0.
    dof
        Readings less coefficients.
    u_dof
        Degrees of freedom of the covariance: ``dof`` when it comes from the residuals, infinite when it comes from
        stated uncertainties.
    chi2
        Σ (residual/u)², NaN without stated uncertainties. About as large as ``dof`` when those are honest.
    """

    coefficients: Array
    covariance: Array | None
    residuals: Array
    residual_sd: float
    dof: int
    u_dof: float
    names: tuple[str, ...]
    chi2: float

    @property
    def u(self) -> Array:
        """Standard uncertainty of each coefficient."""
        return np.sqrt(np.diag(self._known_covariance()))

    def correlation(self, i: int, j: int) -> float:
        """Correlation coefficient of two coefficients."""
        covariance = self._known_covariance()
        return float(covariance[i, j] / math.sqrt(covariance[i, i] * covariance[j, j]))

    def predict(self, row: Sequence[float]) -> tuple[float, float]:
        """Value of the fitted model and its standard uncertainty.

        Parameters
        ----------
        row
            What stands in each column at the wanted place: ``(1, x)`` for a straight line.

        Raises
        ------
        ReadingError
            A row of the wrong length, or with a number that is not finite.
        NotEnoughReadings
            The fit has no covariance.

        Notes
        -----
        u² = row · covariance · row: the covariances count, not the standard uncertainties alone
        (JCGM 100:2008 H.3.4).
        """
        at = np.asarray(row, dtype=float)
        if at.shape != self.coefficients.shape or not np.isfinite(at).all():
            raise ReadingError(
                "row", list(row), f"it must be {len(self.names)} finite numbers", f"Give {', '.join(self.names)}."
            )
        variance = float(at @ self._known_covariance() @ at)
        return float(at @ self.coefficients), math.sqrt(max(variance, 0.0))

    def _known_covariance(self) -> Array:
        if self.covariance is None:
            raise NotEnoughReadings(
                "readings",
                len(self.residuals),
                "as many readings as coefficients leave nothing that shows the scatter",
                "Add a reading, or state the standard uncertainty of each.",
            )
        return self.covariance


def fit(
    columns: ArrayLike, y: ArrayLike, *, u: ArrayLike | None = None, names: Sequence[str] | None = None
) -> LinearFit:
    """Fit y = Σ coefficient · column by least squares.

    Parameters
    ----------
    columns
        One row for each reading, one column for each coefficient. A constant needs a column of ones.
    y
        What was observed.
    u
        Standard uncertainty of each observation, taken as known; without it all count alike and the residuals tell
        how good they are.
    names
        Of the coefficients, for messages and tables.

    Returns
    -------
    LinearFit
        Coefficients, covariance, residuals.

    Raises
    ------
    ReadingError
        Columns, y and u that do not fit together, or numbers that are not finite (or, for u, not above 0).
    NotEnoughReadings
        Fewer readings than coefficients.
    NoSolution
        Columns that depend on each other: the readings cannot tell these coefficients apart.

    Notes
    -----
    Each column is scaled to length 1, then factored as QR; the normal equations, which lose half of the digits, are
    never formed. Covariance (AᵀA)⁻¹, times the residual variance when u is not given.

    Examples
    --------
    >>> result = fit([[1, 0], [1, 1], [1, 2]], [1.0, 3.0, 5.0], names=("start", "rate"))
    >>> [round(float(c), 6) for c in result.coefficients]
    [1.0, 2.0]
    """
    matrix, observed, weights = _checked(columns, y, u)
    count, unknowns = matrix.shape
    labels = _labels(names, unknowns)
    if count < unknowns:
        raise NotEnoughReadings(
            "readings",
            count,
            f"{unknowns} unknowns ({', '.join(labels)}) need at least {unknowns}",
            "Add readings, or ask for a simpler model.",
        )
    weighted = matrix * weights[:, np.newaxis]
    lengths = _column_lengths(weighted, labels)
    q, r = np.linalg.qr(weighted / lengths)
    _check_independent(r, labels)
    target = observed * weights
    coefficients = np.linalg.solve(r, q.T @ target) / lengths
    # One step of refinement: the residuals of the first answer are fitted once more.
    coefficients = coefficients + np.linalg.solve(r, q.T @ (target - weighted @ coefficients)) / lengths
    residuals = observed - matrix @ coefficients
    dof = count - unknowns
    variance = float(residuals @ residuals) / dof if dof > 0 else math.nan
    inverse = np.linalg.solve(r, np.eye(unknowns)) / lengths[:, np.newaxis]
    unscaled = inverse @ inverse.T
    known = u is not None
    covariance = unscaled if known else unscaled * variance if dof > 0 else None
    for array in (coefficients, residuals) if covariance is None else (coefficients, residuals, covariance):
        array.setflags(write=False)
    return LinearFit(
        coefficients=coefficients,
        covariance=covariance,
        residuals=residuals,
        residual_sd=math.sqrt(variance),
        dof=dof,
        u_dof=math.inf if known else float(dof),
        names=labels,
        chi2=float(np.sum((residuals * weights) ** 2)) if known else math.nan,
    )


def line(x: ArrayLike, y: ArrayLike, *, u: ArrayLike | None = None, origin: float = 0.0) -> LinearFit:
    """Fit the straight line y = intercept + slope · (x − origin).

    Examples
    --------
    >>> result = line([4.0, 5.0, 6.0], [4.4, 5.4, 6.4])
    >>> [round(float(c), 6) for c in result.coefficients]
    [0.4, 1.0]
    """
    at = np.asarray(x, dtype=float) - origin
    return fit(np.column_stack([np.ones(at.shape[0] if at.ndim else 1), at]), y, u=u, names=("intercept", "slope"))


def _checked(columns: ArrayLike, y: ArrayLike, u: ArrayLike | None) -> tuple[Array, Array, Array]:
    """Arrays of agreeing shape with finite numbers, and a weight for each reading."""
    matrix = np.asarray(columns, dtype=float)
    observed = np.asarray(y, dtype=float)
    spread = np.ones_like(observed) if u is None else np.asarray(u, dtype=float)
    if matrix.ndim != 2 or observed.shape != matrix.shape[:1] or spread.shape != observed.shape or not matrix.shape[1]:
        raise ReadingError(
            "columns",
            [matrix.shape, observed.shape, spread.shape],
            "columns, y and u need one row for each reading",
            "Give each reading all of its numbers.",
        )
    for field, numbers in (("columns", matrix), ("y", observed), ("u", spread)):
        bad = np.argwhere(~np.isfinite(numbers) | ((numbers <= 0.0) if field == "u" else False))
        if len(bad):
            place = tuple(int(i) for i in bad[0])
            raise ReadingError(
                f"{field}[{', '.join(map(str, place))}]",
                float(numbers[place]),
                "it must be finite, and a standard uncertainty more than 0",
                "Leave this reading out, or enter it again.",
            )
    return matrix, observed, 1.0 / spread


def _labels(names: Sequence[str] | None, unknowns: int) -> tuple[str, ...]:
    labels = tuple(names) if names is not None else tuple(f"b{i}" for i in range(unknowns))
    if len(labels) != unknowns:
        raise ReadingError(
            "names", list(labels), f"the model has {unknowns} coefficients", "Give one name for each column."
        )
    return labels


def _column_lengths(weighted: Array, labels: tuple[str, ...]) -> Array:
    lengths: Array = np.sqrt(np.sum(weighted**2, axis=0))
    for label, length in zip(labels, lengths, strict=True):
        if not 0.0 < length < math.inf:
            raise NoSolution(
                label, 0.0, "no reading says anything about it", "Add readings that do, or leave it out of the model."
            )
    return lengths


def _check_independent(r: Array, labels: tuple[str, ...]) -> None:
    """Refuse columns that depend on each other, and name the ones that do."""
    _, sizes, directions = np.linalg.svd(r)
    if sizes[-1] > _DEPENDENT * sizes[0]:
        return
    direction = np.abs(directions[-1])
    entangled = [label for label, part in zip(labels, direction, strict=True) if part > 0.1 * direction.max()]
    raise NoSolution(
        "readings",
        entangled,
        "the readings cannot tell these apart",
        "Add readings under other conditions, or leave one of them out of the model.",
    )
