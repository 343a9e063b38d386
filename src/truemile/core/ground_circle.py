"""Speed through the water and stream from ground speeds alone, at one steady engine speed: without log or compass.

Drawn from one point, the velocities over the ground of a boat that keeps her speed through the water end on a circle.
Its centre is the stream, its radius the speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import wrap_360
from truemile.core.errors import NavigationError, NoSolution, NotEnoughReadings, ReadingError, gather
from truemile.core.numbers import check_finite

Array = NDArray[np.float64]

_MOST_STEPS: Final = 200
#: Points that lie on an arc shorter than about 20° of the circle do not show its centre.
_FLAT: Final = 1e-3


@dataclass(frozen=True, slots=True)
class GroundCircle:
    """The circle on which the velocities over the ground end.

    Attributes
    ----------
    speed_kn
        Radius: speed through the water.
    stream_set_deg, stream_drift_kn
        Centre.
    headings_true_deg
        Direction of each velocity from the centre: the course through the water, and the heading where there is no
        leeway.
    residuals_kn
        How far each velocity ends outside the circle.
    dof
        Velocities less three.
    u_speed_kn, u_stream_kn
        Standard uncertainties of the radius, and of the centre in the direction in which it is least certain, as the
        scatter shows it or as was stated.
    """

    speed_kn: float
    stream_set_deg: float
    stream_drift_kn: float
    headings_true_deg: tuple[float, ...]
    residuals_kn: tuple[float, ...]
    dof: int
    u_speed_kn: float
    u_stream_kn: float

    @property
    def rms_residual_kn(self) -> float:
        """√(Σ residual² / dof), NaN for three velocities, which any circle fits."""
        return math.sqrt(math.fsum(r * r for r in self.residuals_kn) / self.dof) if self.dof else math.nan


class SpeedAndStream(NamedTuple):
    """Speed through the water, and the stream's drift and set."""

    speed_kn: float
    stream_drift_kn: float
    stream_set_deg: float


def circle_through(
    sog_kn: Sequence[float], cog_true_deg: Sequence[float], *, unevenness_kn: float | None = None
) -> GroundCircle:
    """Return the least-squares circle through velocities over the ground at one speed through the water.

    Parameters
    ----------
    sog_kn, cog_true_deg
        Speed and course over the ground, on three headings or more.
    unevenness_kn
        Standard uncertainty of one component of each velocity; None to take it from the scatter about the circle.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than three; or just three and nothing is stated about their scatter.
    ReadingError
        If a speed or course cannot be right.
    NoSolution
        If the velocities end on so short an arc that the centre does not show.

    Notes
    -----
    Three ground vectors after D. Gray (1998); with more, the distances from the circle are made least by Newton's
    method from the algebraic circle (a straight line in x, y and x² + y²).

    Examples
    --------
    >>> found = circle_through([6.0, 5.0990195, 4.0], [0.0, 78.690068, 180.0], unevenness_kn=0.08)
    >>> round(found.speed_kn, 3), round(found.stream_drift_kn, 3), [round(h) for h in found.headings_true_deg]
    (5.0, 1.0, [0, 90, 180])
    """
    speed, course = _checked(sog_kn, cog_true_deg)
    north, east = speed * np.cos(course), speed * np.sin(course)
    centre_n, centre_e, radius = _algebraic(north, east)
    for _ in range(_MOST_STEPS):
        design, off = _slopes(north, east, centre_n, centre_e, radius)
        step = np.linalg.lstsq(design, off, rcond=None)[0]
        centre_n, centre_e, radius = centre_n + step[0], centre_e + step[1], radius + step[2]
        if np.abs(step).max() < 1e-12 * radius:
            break
    design, off = _slopes(north, east, centre_n, centre_e, radius)
    sizes = np.linalg.svd(design, compute_uv=False)
    if not (np.isfinite(off).all() and sizes[-1] ** 2 > _FLAT * len(speed)):
        raise _too_short(len(speed))
    dof = len(speed) - 3
    scatter = _scatter(off, dof, unevenness_kn)
    covariance = scatter**2 * np.linalg.inv(design.T @ design)
    return GroundCircle(
        speed_kn=float(radius),
        stream_set_deg=wrap_360(math.degrees(math.atan2(centre_e, centre_n))),
        stream_drift_kn=math.hypot(centre_n, centre_e),
        headings_true_deg=tuple(
            wrap_360(math.degrees(math.atan2(e - centre_e, n - centre_n))) for n, e in zip(north, east, strict=True)
        ),
        residuals_kn=tuple(float(r) for r in off),
        dof=dof,
        u_speed_kn=float(np.sqrt(covariance[2, 2])),
        u_stream_kn=float(np.sqrt(np.linalg.eigvalsh(covariance[:2, :2])[-1])),
    )


def three_headings_120(headings_true_deg: Sequence[float], sog_kn: Sequence[float]) -> SpeedAndStream:
    """Return speed through the water and stream from three ground speeds on headings 120° apart.

    Parameters
    ----------
    headings_true_deg
        120° apart, in any order.
    sog_kn
        Speed over the ground on each; the speed through the water must be the same on all three.

    Raises
    ------
    NotEnoughReadings
        If there are not three of each.
    ReadingError
        If the headings are not 120° apart to a tenth of a degree, or a speed is not above 0.
    NoSolution
        If no speed and stream give these three.

    Notes
    -----
    Closed form after E. Williams: with m the mean of v², µ = Σ (v²/m - 1)² / 6 and b = 1/2 + √(1/4 - µ), the speed is
    √(m b) and the drift √(m µ/b). The set is the direction of Σ v² u(h). Of the two roots the faster boat is taken.

    Examples
    --------
    >>> found = three_headings_120([0, 120, 240], [6.0, 4.5825757, 4.5825757])
    >>> round(found.speed_kn, 3), round(found.stream_drift_kn, 3), round(found.stream_set_deg)
    (5.0, 1.0, 0)
    """
    speed, heading = _checked(sog_kn, headings_true_deg, "headings_true_deg", most=3)
    north = float(speed**2 @ np.cos(heading))
    east = float(speed**2 @ np.sin(heading))
    if abs(np.exp(1j * heading).sum()) > 3e-3:
        raise ReadingError(
            "headings_true_deg",
            list(headings_true_deg),
            "the closed form holds for headings 120 degrees apart",
            "Give three such headings, or solve the legs as a round.",
        )
    mean = float(np.mean(speed**2))
    mu = float(np.sum((speed**2 / mean - 1.0) ** 2)) / 6.0
    if mu > 0.25 * (1.0 + 1e-12):
        raise NoSolution("sog_kn", list(sog_kn), "no speed and stream give these three", "Check the three speeds.")
    b = 0.5 + math.sqrt(max(0.25 - mu, 0.0))
    return SpeedAndStream(
        math.sqrt(mean * b), math.sqrt(mean * mu / b), wrap_360(math.degrees(math.atan2(east, north)))
    )


def _checked(
    sog_kn: Sequence[float], angles_deg: Sequence[float], name: str = "cog_true_deg", *, most: int | None = None
) -> tuple[Array, Array]:
    if len(sog_kn) != len(angles_deg) or len(sog_kn) < 3 or (most is not None and len(sog_kn) > most):
        raise NotEnoughReadings(
            "sog_kn",
            len(sog_kn),
            f"three speeds {'or more ' if most is None else ''}are needed, each with its {name}",
            "Add the missing ones.",
        )
    faults: list[NavigationError] = [
        ReadingError(f"sog_kn[{i}]", v, "a speed over the ground is above 0", "Leave that one out.")
        for i, v in enumerate(sog_kn)
        if not (math.isfinite(v) and v > 0)
    ]
    gather(faults)
    angles = [math.radians(check_finite(f"{name}[{i}]", float(a))) for i, a in enumerate(angles_deg)]
    return np.asarray(sog_kn, dtype=float), np.asarray(angles)


def _algebraic(north: Array, east: Array) -> tuple[float, float, float]:
    """x² + y² = 2 a x + 2 b y + (r² - a² - b²), linear in the centre a, b."""
    design = np.column_stack([2.0 * north, 2.0 * east, np.ones(len(north))])
    if np.linalg.cond(design) > 1e8:
        raise _too_short(len(north))
    a, b, rest = (float(x) for x in np.linalg.lstsq(design, north**2 + east**2, rcond=None)[0])
    return a, b, math.sqrt(max(rest + a * a + b * b, 1e-12))


def _slopes(north: Array, east: Array, a: float, b: float, radius: float) -> tuple[Array, Array]:
    away = np.maximum(np.hypot(north - a, east - b), 1e-12)
    return np.column_stack([(north - a) / away, (east - b) / away, np.ones(len(north))]), away - radius


def _scatter(off: Array, dof: int, unevenness_kn: float | None) -> float:
    if unevenness_kn is not None:
        return unevenness_kn
    if dof == 0:
        raise NotEnoughReadings(
            "sog_kn",
            3,
            "a circle fits any three velocities, so nothing shows their scatter",
            "Add a fourth heading, or state how uneven the velocities are.",
        )
    return math.sqrt(float(off @ off) / dof)


def _too_short(count: int) -> NoSolution:
    return NoSolution(
        "cog_true_deg",
        f"{count} velocities",
        "they end on so short an arc that its centre, the stream, does not show",
        "Steer headings spread all round, 120° apart say.",
    )
