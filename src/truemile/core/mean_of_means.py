"""Weights over runs made with and against a stream that free their mean from that stream.

Run i over the ground goes at V_i = V + s_i c(t_i), with s_i = +1 out and -1 back, and c(t) the stream along the course,
a polynomial in time. Weights w with Σ w_i = 1 and Σ w_i s_i t_i^j = 0 up to its degree give V = Σ w_i V_i whatever the
stream. For runs made alternately at equal intervals these are the binomial weights of the mean of means
[Tupper]_ pp. 243-245; for unequal intervals, the divided differences; for more runs than that takes, least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truemile.core.errors import NotEnoughReadings, ReadingError

#: A stream changes no faster than quadratically over a trial; higher degrees only cost noise.
HIGHEST_DEGREE = 2
#: Weights that gain more noise than this cost more than they mend: take a lower degree.
MOST_GAIN = 1.5


@dataclass(frozen=True, slots=True)
class RunWeights:
    """Weights of the runs in the mean, and what they cost.

    Attributes
    ----------
    weights
        One a run, adding up to 1.
    degree
        Degree of the polynomial stream that they remove.
    noise_gain
        √Σw²: the noise of one run is multiplied by this.
    least_squares
        True where there are more runs than the degree needs.
    """

    weights: tuple[float, ...]
    degree: int
    noise_gain: float
    least_squares: bool

    @property
    def worth_in_runs(self) -> float:
        """How many plain runs would average the noise as well."""
        return 1.0 / self.noise_gain**2


def binomial_weights(n_runs: int) -> tuple[int, ...]:
    """Return the numerators of the mean of means for equal intervals; the denominator is their sum.

    Raises
    ------
    ReadingError
        If there are fewer than two runs.

    Examples
    --------
    >>> binomial_weights(4)
    (1, 3, 3, 1)
    """
    if n_runs < 2:
        raise ReadingError("n_runs", n_runs, "a mean of means takes two runs or more", "Add a run the other way.")
    return tuple(math.comb(n_runs - 1, i) for i in range(n_runs))


def leading_residual(n_runs: int) -> float:
    """Return the bias of the mean of means for a stream a·t^(n-1), in units of a·h^(n-1), h the interval.

    Examples
    --------
    >>> leading_residual(4)
    0.75
    """
    return math.factorial(n_runs - 1) / 2.0 ** (n_runs - 1)


def worst_tidal_bias(n_runs: int, amplitude_kn: float, interval_h: float, period_h: float = 12.4206) -> float:
    """Return the largest bias, in knots, that a sinusoidal stream can leave in the mean of means.

    Notes
    -----
    C sin(πh/T)^(n-1). The default period is the principal lunar semidiurnal one.

    Examples
    --------
    >>> round(worst_tidal_bias(2, 1.5, 20 / 60), 3)
    0.126
    """
    return amplitude_kn * math.sin(math.pi * interval_h / period_h) ** (n_runs - 1)


def divided_difference_weights(mid_times: Sequence[float]) -> tuple[float, ...]:
    """Return the weights for runs made alternately at unequal intervals.

    Parameters
    ----------
    mid_times
        Times of the middle of each run, in any one unit, increasing.

    Notes
    -----
    w_i proportional to 1 / |Π_{j≠i} (t_i - t_j)|; equal steps give the binomial weights.

    Examples
    --------
    >>> [round(w, 4) for w in divided_difference_weights([0, 20, 45, 62])]
    [0.1276, 0.3391, 0.3724, 0.1609]
    """
    raw = [1.0 / abs(math.prod(t - u for j, u in enumerate(mid_times) if j != i)) for i, t in enumerate(mid_times)]
    total = math.fsum(raw)
    return tuple(w / total for w in raw)


def run_weights(signs: Sequence[int], mid_times: Sequence[float], *, degree: int | None = None) -> RunWeights:
    """Return the weights that free the mean of these runs from the stream.

    Parameters
    ----------
    signs
        +1 for a run out, -1 for a run back.
    mid_times
        Times of the middle of each run, in any one unit.
    degree
        Degree of the stream to remove; None for the highest, up to 2, that the runs bear without gaining noise.

    Raises
    ------
    NotEnoughReadings
        If the runs do not determine a stream of that degree, as when all go one way.
    """
    highest = min(HIGHEST_DEGREE, len(signs) - 2)
    wanted = range(highest, -1, -1) if degree is None else (degree,)
    for candidate in wanted:
        weights = _solve(signs, mid_times, candidate)
        if weights is not None and (degree is not None or _gain(weights) <= MOST_GAIN):
            return RunWeights(
                weights=tuple(float(w) for w in weights),
                degree=candidate,
                noise_gain=_gain(weights),
                least_squares=len(signs) > candidate + 2,
            )
    raise NotEnoughReadings(
        "runs",
        len(signs),
        "the runs must go both ways, alternately, for the stream to cancel",
        "Add a run the other way at the same engine speed.",
    )


def _gain(weights: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.sum(weights**2)))


def _solve(signs: Sequence[int], mid_times: Sequence[float], degree: int) -> NDArray[np.float64] | None:
    """First row of the pseudo-inverse of [1, s, s t, s t², ...], or None where that does not determine V."""
    if len(signs) < degree + 2:
        return None
    times = np.asarray(mid_times, dtype=float)
    span = float(np.ptp(times)) or 1.0
    scaled = (times - times.mean()) / span
    sign = np.asarray(signs, dtype=float)
    design = np.column_stack([np.ones_like(sign), *(sign * scaled**j for j in range(degree + 1))])
    if np.linalg.matrix_rank(design, tol=1e-9) < degree + 2:
        return None
    q, r = np.linalg.qr(design)
    row = np.linalg.solve(r.T, np.eye(degree + 2)[:, 0])
    weights: NDArray[np.float64] = q @ row
    return weights
