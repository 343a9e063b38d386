"""Propagate distributions instead of uncertainties, by drawing many possible values of each input.

The method is the one of JCGM 101:2008. It sees what the budget cannot: curved models, one input of
rectangular shape that outweighs the rest, and few degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truemile.core.errors import NoSolution, ReadingError
from truemile.core.uncertainty import Input, Shape

__all__ = ["MonteCarloResult", "propagate"]

Draws = NDArray[np.float64]
VectorModel = Callable[[Sequence[Draws]], Draws]

_BLOCK = 100_000
_FEWEST = 1_000


@dataclass(frozen=True, slots=True)
class MonteCarloResult:
    """What the drawn values of a result look like.

    ``low`` and ``high`` leave the same probability out on either side; ``shortest_low`` and
    ``shortest_high`` bound the shortest interval of the same coverage. ``u`` grows without settling
    when an input has 2 degrees of freedom or fewer, the interval does not.
    """

    mean: float
    u: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float
    coverage: float
    draws: int
    seed: int


def propagate(
    model: VectorModel,
    inputs: Sequence[Input],
    *,
    draws: int = 200_000,
    seed: int = 101,
    coverage: float = 0.95,
) -> MonteCarloResult:
    """Draw possible values of every input and work the result out for each.

    Parameters
    ----------
    model
        Function of one array of drawn values for each input, in their order.
    inputs
        Independent inputs with their shapes.
    draws
        How many times, at least 1000; 200 000 gives the ends of the interval to about 1 % of u.
    seed
        Start of the drawing: the same seed gives the same result.
    coverage
        Probability of the intervals.

    Returns
    -------
    MonteCarloResult
        Mean, standard uncertainty and intervals.

    Raises
    ------
    ReadingError
        Too few draws, or a coverage that is not between 0 and 1.
    NoSolution
        Some drawn values give no finite result.

    Notes
    -----
    JCGM 101:2008, section 7. A normal input with finite degrees of freedom is drawn from a scaled and
    shifted Student t (6.4.9). The other shapes keep their own form whatever the degrees of freedom.

    Examples
    --------
    >>> result = propagate(lambda x: x[0] + x[1], [Input("a", 1.0, 0.3), Input("b", 2.0, 0.4)])
    >>> round(result.mean, 2), round(result.u, 2)
    (3.0, 0.5)
    """
    _check(draws, coverage)
    generator = np.random.default_rng(seed)
    results = np.empty(draws)
    for start in range(0, draws, _BLOCK):
        size = min(_BLOCK, draws - start)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            results[start : start + size] = model([draw(item, generator, size) for item in inputs])
    bad = int(np.count_nonzero(~np.isfinite(results)))
    if bad:
        raise NoSolution(
            "draws",
            bad,
            f"each of the {draws} drawn sets must give a finite result",
            "Make the uncertainties smaller, or look for a division by a value near 0.",
        )
    results.sort()
    shortest_low, shortest_high = _shortest(results, coverage)
    low, high = np.quantile(results, [0.5 - 0.5 * coverage, 0.5 + 0.5 * coverage])
    return MonteCarloResult(
        mean=float(np.mean(results)),
        u=float(np.std(results, ddof=1)),
        low=float(low),
        high=float(high),
        shortest_low=shortest_low,
        shortest_high=shortest_high,
        coverage=coverage,
        draws=draws,
        seed=seed,
    )


def draw(item: Input, generator: np.random.Generator, size: int) -> Draws:
    """Possible values of one input.

    Notes
    -----
    JCGM 101:2008 6.4.2 (rectangular), 6.4.3 (curvilinear trapezoid), 6.4.5 (triangular), 6.4.6 (arcsine),
    6.4.7 (normal), 6.4.9 (Student t).
    """
    if item.u == 0.0:
        return np.full(size, item.value)
    deviates = {
        Shape.NORMAL: _normal_or_t,
        Shape.RECTANGULAR: _rectangular,
        Shape.TRIANGULAR: _triangular,
        Shape.ARCSINE: _arcsine,
        Shape.CURVILINEAR_TRAPEZOID: _curvilinear,
    }[item.shape](item, generator, size)
    return item.value + deviates


def _normal_or_t(item: Input, generator: np.random.Generator, size: int) -> Draws:
    if math.isinf(item.dof):
        return item.u * generator.standard_normal(size)
    return item.u * generator.standard_t(item.dof, size)


def _rectangular(item: Input, generator: np.random.Generator, size: int) -> Draws:
    half_width = math.sqrt(3.0) * item.u
    return generator.uniform(-half_width, half_width, size)


def _triangular(item: Input, generator: np.random.Generator, size: int) -> Draws:
    half_width = math.sqrt(6.0) * item.u
    return half_width * (generator.random(size) - generator.random(size))


def _arcsine(item: Input, generator: np.random.Generator, size: int) -> Draws:
    half_width = math.sqrt(2.0) * item.u
    return half_width * np.sin(2.0 * math.pi * generator.random(size))


def _curvilinear(item: Input, generator: np.random.Generator, size: int) -> Draws:
    """Rectangular, each time with limits drawn from a rectangle of their own."""
    half_width = math.sqrt(max(3.0 * item.u**2 - item.inexactness**2 / 3.0, 0.0))
    limits = half_width + generator.uniform(-item.inexactness, item.inexactness, size)
    return limits * generator.uniform(-1.0, 1.0, size)


def _shortest(ordered: Draws, coverage: float) -> tuple[float, float]:
    """Ends of the shortest interval that holds this part of the ordered values."""
    inside = min(round(coverage * len(ordered)), len(ordered) - 1)
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + inside])


def _check(draws: int, coverage: float) -> None:
    if draws < _FEWEST:
        raise ReadingError("draws", draws, f"fewer than {_FEWEST} draws say nothing", "Leave it at 200 000.")
    if not 0.0 < coverage < 1.0:
        raise ReadingError("coverage", coverage, "a coverage must be between 0 and 1", "Give 0.95 for the usual 95 %.")
