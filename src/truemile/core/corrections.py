"""A correction of the log: what is put in force, and how it is applied when a reading is used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truemile.core.errors import NavigationError, NoSolution, ReadingError, gather
from truemile.core.log_runs import FASTEST_KN
from truemile.core.log_settings import LogSetting, reading_under
from truemile.core.uncertainty import coverage_factor, from_resolution


@dataclass(frozen=True, slots=True)
class LogCorrection:
    """True speed as a curve of the indicated one: V = Σ θ_j L^p_j.

    Parameters
    ----------
    powers
        ``(1,)`` for one factor, ``(0, 1)`` for a line, ``(0, 1, 2)`` for a curve.
    coefficients
        θ, one a power, for V and L in knots.
    covariance
        Of the coefficients.
    dof
        Effective degrees of freedom.
    lowest_kn, highest_kn
        Indicated speeds between which it was measured.
    setting
        What was set in the log when it was measured, or None if not noted.
    """

    powers: tuple[int, ...]
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    dof: float
    lowest_kn: float
    highest_kn: float
    setting: LogSetting | None = None

    def __post_init__(self) -> None:
        """Refuse a correction whose parts do not fit together."""
        size = len(self.powers)
        square = len(self.covariance) == size and all(len(row) == size for row in self.covariance)
        if self.powers not in {(1,), (0, 1), (0, 1, 2)} or len(self.coefficients) != size or not square:
            raise ReadingError(
                "powers",
                self.powers,
                "a correction is a factor, a line or a curve with a coefficient and a variance for each power",
                "Work it out again from the trial.",
            )

    @property
    def is_factor(self) -> bool:
        """True where one factor serves at every speed."""
        return self.powers == (1,)

    def row(self, indicated_kn: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the powers of an indicated speed, one a coefficient; a row for each speed of an array."""
        speed = np.asarray(indicated_kn, dtype=float)
        return np.stack([speed**p for p in self.powers], axis=-1)

    def true_kn(self, indicated_kn: float) -> float:
        """Return the true speed, in knots, for an indicated one."""
        return float(self.row(indicated_kn) @ np.asarray(self.coefficients))

    def u_true_kn(self, indicated_kn: float) -> float:
        """Return the standard uncertainty of the true speed, without the reading's own rounding."""
        row = self.row(indicated_kn)
        return float(np.sqrt(max(0.0, row @ np.asarray(self.covariance) @ row)))

    def factor(self, indicated_kn: float) -> float:
        """Return the log factor true / indicated at an indicated speed."""
        return self.true_kn(indicated_kn) / indicated_kn

    def u_factor(self, indicated_kn: float) -> float:
        """Return the standard uncertainty of the factor at an indicated speed."""
        return self.u_true_kn(indicated_kn) / indicated_kn

    @property
    def middle_kn(self) -> float:
        """Middle of the speeds it was measured at, where it is quoted."""
        return (self.lowest_kn + self.highest_kn) / 2.0

    def covers(self, indicated_kn: float) -> bool:
        """True where the indicated speed lies within those it was measured at."""
        slack = 1e-9
        return self.lowest_kn - slack <= indicated_kn <= self.highest_kn + slack

    def without_cross_terms(self) -> LogCorrection:
        """Return the same curve with only the variances: what must not be used, kept to show the difference."""
        diagonal = np.diag(np.diag(np.asarray(self.covariance)))
        return LogCorrection(
            self.powers,
            self.coefficients,
            tuple(tuple(float(x) for x in row) for row in diagonal),
            self.dof,
            self.lowest_kn,
            self.highest_kn,
            self.setting,
        )


@dataclass(frozen=True, slots=True)
class Corrected:
    """A corrected speed or distance with its uncertainty.

    Attributes
    ----------
    read
        As shown by the log.
    reduced
        As the log would have shown it with the setting that the factor was measured with.
    value, u, expanded
        Corrected value, its standard and its 95 % uncertainty.
    factor
        value / reduced.
    inside
        False where the speed lies outside those that were measured, or is not known.
    """

    read: float
    reduced: float
    value: float
    u: float
    expanded: float
    factor: float
    inside: bool


def corrected_speed(
    correction: LogCorrection,
    indicated_kn: float,
    *,
    resolution_kn: float = 0.1,
    setting: LogSetting | None = None,
    field: str = "indicated_kn",
) -> Corrected:
    """Return the true speed for what the log shows.

    Parameters
    ----------
    correction
        In force.
    indicated_kn
        As read.
    resolution_kn
        Last digit of the display.
    setting
        What is set in the log at this reading; the correction's own if None.

    Raises
    ------
    ReadingError
        If the reading cannot be right, or its setting cannot be compared with the correction's.

    Examples
    --------
    >>> k = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4)
    >>> fixed = corrected_speed(k, 6.3)
    >>> round(fixed.value, 2), round(fixed.expanded, 2), fixed.inside
    (5.88, 0.09, True)
    """
    _check_speed(field, indicated_kn)
    reduced = reading_under(indicated_kn, setting, correction.setting) if setting is not None else indicated_kn
    slope = _slope(correction, reduced) * reduced / indicated_kn
    u = math.hypot(correction.u_true_kn(reduced), slope * from_resolution(resolution_kn))
    value = correction.true_kn(reduced)
    return Corrected(
        read=indicated_kn,
        reduced=reduced,
        value=value,
        u=u,
        expanded=coverage_factor(correction.dof) * u,
        factor=value / reduced,
        inside=correction.covers(reduced),
    )


def corrected_distance(
    correction: LogCorrection,
    logged_nm: float,
    *,
    elapsed_h: float | None = None,
    resolution_nm: float = 0.01,
    setting: LogSetting | None = None,
    field: str = "logged_nm",
) -> Corrected:
    """Return the true distance through the water for a logged one.

    Parameters
    ----------
    correction
        In force.
    logged_nm
        Difference of two counter readings, or one from a zeroed counter.
    elapsed_h
        Time it took; needed where the factor changes with speed.
    resolution_nm
        Last digit of the counter.
    setting
        What is set in the log at this reading; the correction's own if None.

    Raises
    ------
    ReadingError
        If the distance or time cannot be right, or a time is needed and missing.

    Notes
    -----
    One sensor feeds both displays, so the factor of distance is that of speed (common practice, no source).
    """
    _check_distance(field, logged_nm, elapsed_h, needs_time=not correction.is_factor)
    reduced = reading_under(logged_nm, setting, correction.setting) if setting is not None else logged_nm
    speed_kn = correction.middle_kn if elapsed_h is None else reduced / elapsed_h
    factor = correction.factor(speed_kn)
    u = math.hypot(
        correction.u_factor(speed_kn) * reduced, factor * reduced / logged_nm * from_resolution(resolution_nm)
    )
    return Corrected(
        read=logged_nm,
        reduced=reduced,
        value=factor * reduced,
        u=u,
        expanded=coverage_factor(correction.dof) * u,
        factor=factor,
        inside=elapsed_h is not None and correction.covers(speed_kn),
    )


def indicated_for(correction: LogCorrection, true_kn: float, *, field: str = "true_kn") -> float:
    """Return what the log must show, in knots, for a wanted true speed.

    Raises
    ------
    ReadingError
        If the speed cannot be right.
    NoSolution
        If no reading, or more than one, belongs to that speed.

    Examples
    --------
    >>> k = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4)
    >>> round(indicated_for(k, 6.0), 2)
    6.42
    """
    _check_speed(field, true_kn)
    coefficients = np.zeros(max(correction.powers) + 1)
    coefficients[list(correction.powers)] = correction.coefficients
    coefficients[0] -= true_kn
    roots = np.roots(coefficients[::-1])
    real = [float(r.real) for r in roots if abs(r.imag) < 1e-9 and 0 < r.real <= 2 * FASTEST_KN]
    near = [r for r in real if _slope(correction, r) > 0]
    if len(near) != 1:
        raise NoSolution(
            field,
            true_kn,
            "no single reading of the log belongs to that speed on the curve in force",
            f"Stay near the speeds that were measured, {correction.lowest_kn:.1f} to {correction.highest_kn:.1f} kn.",
        )
    return near[0]


def corrected_speeds(
    correction: LogCorrection, indicated_kn: Sequence[float] | NDArray[np.float64], *, resolution_kn: float = 0.1
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return true speeds, their 95 % uncertainties and whether each is inside the range, for a whole column.

    Raises
    ------
    ReadingError
        If a reading is not a speed; the field says which row.
    """
    speeds = np.asarray(indicated_kn, dtype=float)
    bad = np.flatnonzero(~(np.isfinite(speeds) & (speeds >= 0) & (speeds <= FASTEST_KN)))
    if bad.size:
        row = int(bad[0])
        raise ReadingError(
            f"rows[{row}].indicated_kn",
            float(speeds[row]),
            f"an indicated speed is 0 to {FASTEST_KN:g} kn",
            f"Mend or take out this row; {bad.size} of {speeds.size} rows are so.",
        )
    rows = correction.row(speeds)
    true = np.where(speeds > 0, rows @ np.asarray(correction.coefficients), 0.0)
    variance = np.einsum("ij,jk,ik->i", rows, np.asarray(correction.covariance), rows)
    slope = sum(
        c * p * speeds ** max(p - 1, 0) for c, p in zip(correction.coefficients, correction.powers, strict=True)
    )
    u = np.sqrt(np.maximum(variance, 0.0) + (slope * from_resolution(resolution_kn)) ** 2)
    inside = (speeds >= correction.lowest_kn - 1e-9) & (speeds <= correction.highest_kn + 1e-9)
    return true, coverage_factor(correction.dof) * u, inside


def factor_from_percent_error(percent_too_much: float, field: str = "percent_too_much") -> float:
    """Return the log factor of a log that reads a percentage too much (negative: too little).

    Raises
    ------
    ReadingError
        If it would leave nothing: the log cannot read 100 % too little.

    Notes
    -----
    Indicated = true (1 + p/100), so k = 1 / (1 + p/100), not 1 - p/100.

    Examples
    --------
    >>> round(factor_from_percent_error(10.0), 4)
    0.9091
    """
    if not (math.isfinite(percent_too_much) and percent_too_much > -100):
        raise ReadingError(field, percent_too_much, "it must be above -100 %", "Give the percentage of the true speed.")
    return 1.0 / (1.0 + percent_too_much / 100.0)


def _slope(correction: LogCorrection, indicated_kn: float) -> float:
    return sum(
        c * p * indicated_kn ** max(p - 1, 0) for c, p in zip(correction.coefficients, correction.powers, strict=True)
    )


def _check_speed(field: str, speed_kn: float) -> None:
    if not (math.isfinite(speed_kn) and 0 < speed_kn <= FASTEST_KN):
        raise ReadingError(
            field,
            speed_kn,
            f"a speed is above 0 and at most {FASTEST_KN:g} kn",
            "Give the speed in knots; a boat at rest needs no correction.",
        )


def _check_distance(field: str, logged_nm: float, elapsed_h: float | None, *, needs_time: bool) -> None:
    faults: list[NavigationError] = []
    if not (math.isfinite(logged_nm) and 0 < logged_nm <= 10_000):
        faults.append(
            ReadingError(
                field,
                logged_nm,
                "a logged distance is above 0 and at most 10000 nm",
                "Give the difference of the two counter readings.",
            )
        )
    if elapsed_h is None and needs_time:
        faults.append(
            ReadingError(
                "elapsed",
                None,
                "the factor in force changes with speed",
                "Give the time the distance took, so that the speed is known.",
            )
        )
    elif elapsed_h is not None and not (math.isfinite(elapsed_h) and elapsed_h > 0):
        faults.append(ReadingError("elapsed", elapsed_h, "a time is above 0", "Write it as 1h20m or 34m."))
    gather(faults)
