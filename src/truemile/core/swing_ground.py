"""True headings out of courses and speeds over the ground, with the stream solved for.

A course over the ground is no heading. Under a steady stream c the two differ by about (c/V) sin(set - heading), which
has exactly the shape of coefficients B and C: half a knot at 5 kn is 5.7° of deviation that is not there, and the fit
looks excellent. The speeds betray the stream. Drawn from one point, the velocities over the ground end on a circle
about it, and the heading is the direction from its centre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import wrap_180, wrap_360
from truemile.core.deviation_curve import MOST_DEVIATION_DEG
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.ground_circle import circle_through
from truemile.core.log_runs import FASTEST_KN
from truemile.core.numbers import check_positive, check_range

Array = NDArray[np.float64]

_MOST_STEPS: Final = 100
_FLAT: Final = 1e-3


@dataclass(frozen=True, slots=True)
class GroundHeadings:
    """True headings and the stream, from velocities over the ground.

    Attributes
    ----------
    headings_true_deg
        Direction of each velocity from the stream: the heading, if there was no leeway.
    speed_kn
        Speed through the water; the mean where log readings were used.
    factor
        Log factor, if log readings were used.
    stream_set_deg, stream_drift_kn
        The stream.
    u_stream_kn
        Standard uncertainty of its less certain component.
    residuals_kn
        How far each velocity ends outside the circle.
    dof
        Velocities less what was fitted.
    """

    headings_true_deg: tuple[float, ...]
    speed_kn: float
    factor: float | None
    stream_set_deg: float
    stream_drift_kn: float
    u_stream_kn: float
    residuals_kn: tuple[float, ...]
    dof: int

    @property
    def u_bc_deg(self) -> float:
        """What an error of the stream brings to the deviations, in the shape of B and C."""
        return math.degrees(self.u_stream_kn / self.speed_kn)

    @property
    def false_deviation_deg(self) -> float:
        """Largest deviation that the courses over the ground alone would have made up."""
        return math.degrees(math.asin(min(1.0, self.stream_drift_kn / self.speed_kn)))

    @property
    def rms_residual_kn(self) -> float:
        """√(Σ residual² / dof)."""
        return math.sqrt(math.fsum(r * r for r in self.residuals_kn) / self.dof) if self.dof else math.nan


def ground_headings(
    sog_kn: Sequence[float], cog_true_deg: Sequence[float], indicated_kn: Sequence[float] | None = None
) -> GroundHeadings:
    """Return the true headings behind courses and speeds over the ground.

    Parameters
    ----------
    sog_kn, cog_true_deg
        Speed and course over the ground on each heading, held for a minute or so under power in little wind.
    indicated_kn
        What the log showed on each; None where the speed through the water was kept the same by the engine.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than four headings, five with log readings.
    ReadingError
        If a speed or course cannot be right.
    NoSolution
        If the headings lie on so short an arc that the stream does not show.

    Notes
    -----
    Least squares of the distances from a circle about the stream, of one radius or of radii in proportion to the log.

    Examples
    --------
    >>> found = ground_headings([6.0, 5.0990195, 4.0, 5.0990195], [0.0, 78.690068, 180.0, 281.309932])
    >>> [round(h) % 360 for h in found.headings_true_deg], round(found.stream_drift_kn, 3)
    ([0, 90, 180, 270], 1.0)
    """
    if indicated_kn is not None:
        return _with_log(sog_kn, cog_true_deg, indicated_kn)
    circle = circle_through(sog_kn, cog_true_deg)
    return GroundHeadings(
        circle.headings_true_deg,
        circle.speed_kn,
        None,
        circle.stream_set_deg,
        circle.stream_drift_kn,
        circle.u_stream_kn,
        circle.residuals_kn,
        circle.dof,
    )


def false_deviations_deg(
    headings_true_deg: Sequence[float], speed_kn: float, stream_set_deg: float, stream_drift_kn: float
) -> tuple[float, ...]:
    """Return the deviations that a swing by courses over the ground alone would make up: course less heading.

    Parameters
    ----------
    headings_true_deg
        Steered.
    speed_kn
        Through the water.
    stream_set_deg, stream_drift_kn
        The stream that was left out.

    Raises
    ------
    ReadingError
        If the speed is not above 0 or the drift below 0.

    Notes
    -----
    To first order (c/V) sin(set - heading): B = -(c/V) cos(set), C = (c/V) sin(set).

    Examples
    --------
    >>> [round(d, 1) for d in false_deviations_deg([0.0, 150.0], 5.0, 60.0, 0.5)]
    [4.7, -5.7]
    """
    check_positive("speed_kn", speed_kn, "kn")
    check_range("stream_drift_kn", stream_drift_kn, 0.0, FASTEST_KN, "kn")
    h, s = np.radians(np.asarray(headings_true_deg, dtype=float)), math.radians(stream_set_deg)
    ahead = speed_kn + stream_drift_kn * np.cos(s - h)
    across = stream_drift_kn * np.sin(s - h)
    return tuple(float(x) for x in np.degrees(np.arctan2(across, ahead)))


def parallax_deg(swing_radius_m: float, distance_nm: float) -> float:
    """Return by how much the bearing of an object changes at most while the boat goes round her circle.

    Raises
    ------
    ReadingError
        If a number is not above 0.
    NoSolution
        If the object lies within the circle.

    Examples
    --------
    >>> round(parallax_deg(50.0, 3.0), 2)
    0.52
    """
    check_positive("swing_radius_m", swing_radius_m, "m")
    distance_m = check_positive("distance_nm", distance_nm, "nm") * 1852.0
    if swing_radius_m >= distance_m:
        raise NoSolution(
            "distance_nm", distance_nm, "the object must lie outside the circle", "Take an object miles away."
        )
    return math.degrees(math.asin(swing_radius_m / distance_m))


def _with_log(sog_kn: Sequence[float], cog_true_deg: Sequence[float], indicated_kn: Sequence[float]) -> GroundHeadings:
    """|g - c| = k s by Gauss and Newton, from the circle of equal speeds."""
    count = len(sog_kn)
    if len(indicated_kn) != count or count < 5:
        raise NotEnoughReadings(
            "indicated_kn",
            len(indicated_kn),
            "five headings are needed, each with its log reading",
            "Add the missing ones, or leave the log out and keep the engine speed the same.",
        )
    for i, reading in enumerate(indicated_kn):
        if not 0.0 < reading <= FASTEST_KN:
            raise ReadingError(
                f"indicated_kn[{i}]", reading, f"it is above 0 and at most {FASTEST_KN:g} kn", "Leave that one out."
            )
    circle = circle_through(sog_kn, cog_true_deg)
    log, course = np.asarray(indicated_kn, dtype=float), np.radians(np.asarray(cog_true_deg, dtype=float))
    ground = np.column_stack([np.cos(course), np.sin(course)]) * np.asarray(sog_kn, dtype=float)[:, np.newaxis]
    set_rad = math.radians(circle.stream_set_deg)
    values = np.asarray(
        [
            circle.stream_drift_kn * math.cos(set_rad),
            circle.stream_drift_kn * math.sin(set_rad),
            circle.speed_kn / float(log.mean()),
        ]
    )
    for _ in range(_MOST_STEPS):
        design, off = _slopes(ground, log, values)
        step = np.linalg.lstsq(design, off, rcond=None)[0]
        values = values + step
        if np.abs(step).max() < 1e-12:
            break
    design, off = _slopes(ground, log, values)
    covariance = _covariance(design, off)
    away = ground - values[:2]
    return GroundHeadings(
        tuple(wrap_360(float(x)) for x in np.degrees(np.arctan2(away[:, 1], away[:, 0]))),
        float(values[2] * log.mean()),
        float(values[2]),
        wrap_360(math.degrees(math.atan2(values[1], values[0]))),
        math.hypot(values[0], values[1]),
        float(np.sqrt(np.linalg.eigvalsh(covariance[:2, :2])[-1])),
        tuple(float(x) for x in off),
        count - 3,
    )


def _slopes(ground: Array, log: Array, values: Array) -> tuple[Array, Array]:
    away = ground - values[:2]
    size = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-12)
    return np.column_stack([away / size[:, np.newaxis], log]), size - values[2] * log


def _covariance(design: Array, off: Array) -> Array:
    count = len(off)
    sizes = np.linalg.svd(design / np.linalg.norm(design, axis=0), compute_uv=False)
    if not np.isfinite(off).all() or sizes[-1] ** 2 < _FLAT:
        raise NoSolution(
            "cog_true_deg",
            f"{count} velocities",
            "they do not show the stream",
            "Steer headings spread all round.",
        )
    return np.asarray(np.linalg.inv(design.T @ design) * float(off @ off) / (count - 3))


def deviations_from_true_headings(
    headings_true_deg: Sequence[float], headings_compass_deg: Sequence[float], variation_deg: float
) -> tuple[float, ...]:
    """Return deviations (true - variation) - compass, the short way round.

    Raises
    ------
    ReadingError
        If one is beyond 90°: the compass and the ground do not belong to one leg.

    Examples
    --------
    >>> deviations_from_true_headings([2.0, 183.0], [358.0, 176.5], -7.0)
    (11.0, 13.5)
    """
    found = []
    for i, (true, compass) in enumerate(zip(headings_true_deg, headings_compass_deg, strict=True)):
        deviation = wrap_180(true - variation_deg - compass)
        if abs(deviation) > MOST_DEVIATION_DEG:
            raise ReadingError(
                f"readings[{i}].heading_compass_deg",
                compass,
                f"it lies {abs(deviation):.0f} degrees from the heading {wrap_360(true):03.0f} true",
                "Check heading and variation of that reading.",
            )
        found.append(float(deviation))
    return tuple(found)
