"""A swing judged while it goes on: which heading next, what is still missing, and which reading looks wrong."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import difference, wrap_360
from truemile.core.deviation_curve import LETTERS, harmonics
from truemile.core.deviation_fit import HeadingSpread, fit_deviation, heading_spread
from truemile.core.deviation_hand import Observed
from truemile.core.deviation_remarks import BUNCHED
from truemile.core.errors import NavigationError, ReadingError
from truemile.core.factor_remarks import Remark

Array = NDArray[np.float64]

#: Swings of so many equally spaced headings.
PLANS: Final = (8, 12, 16, 24)
#: Readings on one heading that differ by more than this many steps of the card are looked at again.
_REPEAT_STEPS: Final = 3.0
#: Prior weight that lets the first headings be compared before there are five.
_RIDGE: Final = 1e-2
#: Headings that serve about as well as the best; the least turn decides among them.
_ABOUT_AS_GOOD: Final = 1.25


@dataclass(frozen=True, slots=True)
class HeadingToSteer:
    """What to do next; the heading is None when the round is complete."""

    heading_compass_deg: float | None
    words: str


@dataclass(frozen=True, slots=True)
class SwingProgress:
    """How far a swing is.

    Attributes
    ----------
    planned
        Headings of the whole round.
    done, open_headings_deg
        How many of them have a reading; compass headings that have none.
    next
        Which to steer next.
    missing
        Letters of the coefficients that the headings so far do not show.
    ready
        True once a curve can be worked out that may be put in force.
    spread
        Of the headings so far; None before the first.
    checks
        Readings to look at again, as remarks.
    """

    planned: int
    done: int
    open_headings_deg: tuple[float, ...]
    next: HeadingToSteer
    missing: tuple[str, ...]
    ready: bool
    spread: HeadingSpread | None
    checks: tuple[Remark, ...]


def judge_progress(
    observed: Sequence[Observed],
    planned: int = 8,
    *,
    resolution_deg: float = 1.0,
) -> SwingProgress:
    """Return how far a swing is and which heading to steer next.

    Parameters
    ----------
    observed
        Deviations so far, in the order taken. Only their headings matter for what comes next.
    planned
        Headings of the whole round: 8, 12, 16 or 24.
    resolution_deg
        To what the compass was read.

    Raises
    ------
    ReadingError
        If the plan is another number.

    Notes
    -----
    The next heading is among those that lessen the mean variance of the curve all round most, the one that asks for the
    least turn.

    Examples
    --------
    >>> progress = judge_progress([Observed(0.0, 2.0), Observed(46.0, 3.0)])
    >>> progress.done, progress.ready, progress.missing
    (2, False, ('A', 'B', 'C', 'D', 'E'))
    """
    if planned not in PLANS:
        raise ReadingError(
            "planned", planned, f"a round has {', '.join(map(str, PLANS))} headings", "Eight are usual, 16 better."
        )
    headings = [each.heading_compass_deg for each in observed]
    step = 360.0 / planned
    points = [step * i for i in range(planned)]
    left = tuple(p for p in points if all(abs(difference(p, h)) > step / 2.0 for h in headings))
    spread = heading_spread(headings) if headings else None
    missing = spread.invisible if spread is not None and len(headings) >= 5 else LETTERS
    ready = len(headings) > 5 and not missing and spread is not None and max(spread.inflation) <= BUNCHED
    return SwingProgress(
        planned,
        planned - len(left),
        left,
        _next(headings, left, ready=ready),
        missing,
        ready,
        spread,
        (*_repeats(observed, resolution_deg), *_outliers(observed, resolution_deg)),
    )


def mean_variances(headings_compass_deg: Sequence[float], candidates_deg: Sequence[float]) -> Array:
    """Return the mean variance of the curve all round after a reading on each candidate, for a scatter of 1.

    Notes
    -----
    trace((X'X)⁻¹ G) with G = diag(1, 1/2, 1/2, 1/2, 1/2), the mean of the squares of the columns over the circle. A
    small multiple of the unit matrix stands in for readings not yet made.

    Examples
    --------
    >>> after = mean_variances([0, 45, 90, 135, 180, 225, 270], [315.0, 0.0])
    >>> bool(after[0] < after[1])
    True
    """
    rows = harmonics(np.asarray(headings_compass_deg, dtype=float))
    normal = rows.T @ rows + _RIDGE * np.eye(5)
    new = harmonics(np.asarray(candidates_deg, dtype=float))
    after = np.linalg.inv(normal + new[:, :, np.newaxis] * new[:, np.newaxis, :])
    return np.asarray(np.einsum("kii,i->k", after, np.asarray([1.0, 0.5, 0.5, 0.5, 0.5])))


def _next(headings: Sequence[float], left: Sequence[float], *, ready: bool) -> HeadingToSteer:
    if not headings:
        return HeadingToSteer(0.0, "Steer north by compass, steady, and take the first reading.")
    if not left:
        first = wrap_360(headings[0])
        words = f"The round is complete. Steer {first:03.0f} once more: a repeat shows whether anything changed."
        return HeadingToSteer(None, words)
    variances = mean_variances(headings, left)
    best = float(variances.min())
    good = [p for p, v in zip(left, variances, strict=True) if v <= _ABOUT_AS_GOOD * best]
    last = headings[-1]
    chosen = min(good, key=lambda p: (round(abs(difference(p, last)), 6), -difference(p, last)))
    rest = len(left)
    gain = f" {rest} heading{'s' if rest > 1 else ''} to go."
    return HeadingToSteer(
        chosen, f"Steer {chosen:05.1f} by compass next.{gain}" + (" A curve can be drawn already." if ready else "")
    )


def _repeats(observed: Sequence[Observed], resolution_deg: float) -> list[Remark]:
    found = []
    for (i, one), (j, other) in combinations(enumerate(observed, 1), 2):
        near = abs(difference(one.heading_compass_deg, other.heading_compass_deg)) <= 5.0
        apart = abs(one.deviation_deg - other.deviation_deg)
        if near and apart > _REPEAT_STEPS * max(resolution_deg, 0.5):
            found.append(
                Remark(
                    "caution",
                    "repeat",
                    f"Readings {i} and {j}, both near {one.heading_compass_deg:03.0f}, differ by {apart:.1f}°.",
                    "Take that heading once more; something moved, or one is a slip.",
                )
            )
    return found


def _outliers(observed: Sequence[Observed], resolution_deg: float) -> list[Remark]:
    if len(observed) < 7:
        return []
    try:
        fit = fit_deviation(observed, resolution_deg=resolution_deg)
    except NavigationError:
        return []  # the headings do not bear a curve yet
    worst = max(fit.outliers, key=lambda each: abs(each.residual_deg), default=None)
    if worst is None:
        return []
    off = worst.residual_deg if math.isnan(worst.misses_deg) else worst.misses_deg
    return [
        Remark(
            "caution",
            "outlier",
            f"The reading on {worst.observed.heading_compass_deg:03.0f} lies {abs(off):.1f}° from what the others"
            " give for it.",
            "Take that heading once more before the light or the stream changes.",
        )
    ]
