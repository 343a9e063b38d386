"""A swing as a whole: the curve with electrics off and with electrics on, and what there is to say about it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from truemile.core.deviation_curve import HarmonicCurve, SharedErrors
from truemile.core.deviation_fit import DeviationFit, Form, fit_deviation
from truemile.core.deviation_remarks import refusals_of_fit, remarks_on_fit
from truemile.core.errors import NavigationError, NotEnoughReadings
from truemile.core.factor_remarks import Remark
from truemile.core.swing_ground import GroundHeadings
from truemile.core.swing_readings import (
    U_LOST_A_DEG,
    Electrics,
    SwingConditions,
    SwingDeviations,
    SwingMethod,
    SwingReading,
    deviations_of,
)

#: Two curves are called different where chance alone would part them so far less than once in twenty.
_WORTH_TWO_CURVES: Final = 0.95
#: Velocities that end further from the circle than this were no steady legs (judged, no source).
UNEVEN_KN: Final = 0.15
#: More heel than this makes a heeling error that the curve of the upright boat does not have (judged, no source).
HEELED_DEG: Final = 5.0
#: Parallax larger than this is remarked on: what a compass is read to.
LARGE_PARALLAX_DEG: Final = 0.5
#: The sun's bearing moves by about a degree in four minutes, more when it is high (common practice, no source).
SUN_STANDS_STILL_S: Final = 240.0


@dataclass(frozen=True, slots=True)
class SwingCurve:
    """The curve of one state of the electrics.

    Attributes
    ----------
    electrics
        Off, on, or not noted.
    numbers
        Which readings it is made from, counted from 1.
    fit
        Curve, residuals and what the headings can tell.
    remarks, refusals
        About it; and what keeps it from being put in force.
    """

    electrics: Electrics
    numbers: tuple[int, ...]
    fit: DeviationFit
    remarks: tuple[Remark, ...]
    refusals: tuple[Remark, ...]

    @property
    def may_be_put_in_force(self) -> bool:
        """False where something speaks against it."""
        return not self.refusals


@dataclass(frozen=True, slots=True)
class ElectricsEffect:
    """What the electrics change.

    Attributes
    ----------
    heading_compass_deg, difference_deg
        Where deviation on less deviation off is largest, and how large.
    shows
        True where the scatter alone would hardly part the two curves so far; None if their scatter is not known.
    """

    heading_compass_deg: float
    difference_deg: float
    shows: bool | None


@dataclass(frozen=True, slots=True)
class SwingResult:
    """What a swing gives.

    Attributes
    ----------
    deviations
        One a reading, and what they share.
    curves
        One for each state of the electrics; those with too few readings are left out, with a remark.
    effect
        What the electrics change, where there are two curves.
    remarks
        About the swing as a whole, cautions first.
    """

    method: SwingMethod
    conditions: SwingConditions
    readings: tuple[SwingReading, ...]
    deviations: SwingDeviations
    curves: tuple[SwingCurve, ...]
    effect: ElectricsEffect | None
    remarks: tuple[Remark, ...]

    @property
    def ground(self) -> GroundHeadings | None:
        """The stream, by courses and speeds over the ground."""
        return self.deviations.ground

    def curve(self, electrics: Electrics) -> SwingCurve | None:
        """Return the curve of one state of the electrics, if there is one."""
        return next((each for each in self.curves if each.electrics is electrics), None)


def analyse_swing(
    readings: Sequence[SwingReading],
    method: SwingMethod,
    conditions: SwingConditions | None = None,
    *,
    form: Form | None = None,
) -> SwingResult:
    """Return the deviation curve, or the two curves, that a swing gives.

    Parameters
    ----------
    readings
        In the order taken.
    method
        How the deviation was found.
    conditions
        What held for all readings.
    form
        Approximate or exact; None for the exact one where a deviation is beyond 20°.

    Raises
    ------
    ReadingError
        If a reading lacks what the method needs, or cannot be right.
    NotEnoughReadings
        If no state of the electrics has five headings.
    NoSolution
        If the headings do not show one of the coefficients, or the ground does not show the stream.

    Examples
    --------
    >>> taken = [320.2, 315.7, 313.6, 313.5, 314.2, 317.1, 321.6, 323.3]
    >>> swing = [SwingReading(45.0 * i, bearing_compass_deg=b) for i, b in enumerate(taken)]
    >>> found = analyse_swing(swing, SwingMethod.KNOWN_BEARING, SwingConditions(-6.0, bearing_true_deg=312.0))
    >>> [round(x, 2) for x in found.curves[0].fit.coefficients]
    [0.6, 3.98, -2.98, 1.0, 0.2]
    """
    conditions = conditions or SwingConditions()
    deviations = deviations_of(readings, method, conditions)
    groups = {state: [i for i, r in enumerate(readings) if r.electrics is state] for state in Electrics}
    curves, faults = [], []
    for state, members in groups.items():
        if not members:
            continue
        try:
            curves.append(_curve(state, members, deviations, method, conditions, form))
        except NavigationError as fault:
            faults.append((state, fault))
    if not curves:
        if faults:
            raise faults[0][1]
        raise NotEnoughReadings("readings", 0, "a swing needs readings", "Steer a first heading and take one.")
    remarks = [_left_out(state, fault) for state, fault in faults] + remarks_on_swing(
        readings, method, conditions, deviations
    )
    return SwingResult(
        method,
        conditions,
        tuple(readings),
        deviations,
        tuple(curves),
        _effect(curves),
        tuple(sorted(remarks, key=lambda remark: remark.level != "caution")),
    )


def _curve(
    state: Electrics,
    members: Sequence[int],
    deviations: SwingDeviations,
    method: SwingMethod,
    conditions: SwingConditions,
    form: Form | None,
) -> SwingCurve:
    resolution = conditions.resolution_deg
    if method is SwingMethod.RECIPROCAL:
        resolution *= math.sqrt(2.0)  # two compasses are read
    fit = fit_deviation(
        [deviations.observed[i] for i in members],
        form=form,
        resolution_deg=resolution,
        shared=deviations.shared,
        a_lost=not method.shows_a,
    )
    numbers = tuple(i + 1 for i in members)
    return SwingCurve(state, numbers, fit, remarks_on_fit(fit), refusals_of_fit(fit))


def _left_out(state: Electrics, fault: NavigationError) -> Remark:
    what = f"with electrics {state.value}" if state.value else "for the readings without a note on the electrics"
    return Remark("caution", "electrics", f"There is no curve {what}: {fault.allowed}.", fault.remedy)


def _effect(curves: Sequence[SwingCurve]) -> ElectricsEffect | None:
    states = {each.electrics: each.fit.curve for each in curves}
    if not {Electrics.OFF, Electrics.ON} <= states.keys():
        return None
    return compare_curves(states[Electrics.OFF], states[Electrics.ON])


def compare_curves(before: HarmonicCurve, after: HarmonicCurve) -> ElectricsEffect:
    """Return where two curves differ most, by how much, and whether that is more than scatter.

    Notes
    -----
    What both swings share drops out. The scatter is judged by F = δ·(V₁ + V₂)⁻¹·δ / n over the differences δ on n = 5
    headings, equally spaced; with the degrees of freedom of both.

    Examples
    --------
    >>> from truemile.core.deviation_curve import ApproximateCurve, Coefficients
    >>> off, on = (ApproximateCurve(Coefficients(0.0, b, 0.0, 0.0, 0.0)) for b in (2.0, 5.0))
    >>> compare_curves(off, on)
    ElectricsEffect(heading_compass_deg=90.0, difference_deg=3.0, shows=None)
    """
    headings = np.arange(0.0, 360.0, 0.5)
    change = after.deviations_deg(headings) - before.deviations_deg(headings)
    at = int(np.abs(change).argmax())
    return ElectricsEffect(float(headings[at]), float(change[at]), _shows(before, after))


def _shows(before: HarmonicCurve, after: HarmonicCurve) -> bool | None:
    from scipy.stats import f

    points = np.arange(0.0, 360.0, 72.0)
    delta = after.deviations_deg(points) - before.deviations_deg(points)
    together = np.zeros((5, 5))
    for curve in (before, after):
        if curve.covariance is None:
            return None
        bare = replace(curve, shared=SharedErrors())
        rows = bare.gradients_deg(points)
        together += rows @ np.asarray(curve.covariance) @ rows.T
    sizes, axes = np.linalg.eigh(together)
    real = sizes > 1e-9 * sizes[-1]  # without A, one direction is empty
    along = axes.T[real] @ delta
    statistic = float(np.sum(along**2 / sizes[real])) / int(real.sum())
    dof = min(before.dof + after.dof, 1e6)
    return bool(statistic > f.ppf(_WORTH_TWO_CURVES, int(real.sum()), dof))


# ---------------------------------------------------------------- remarks


def remarks_on_swing(
    readings: Sequence[SwingReading],
    method: SwingMethod,
    conditions: SwingConditions,
    deviations: SwingDeviations,
) -> list[Remark]:
    """Return the remarks on a swing as a whole: method, conditions, stream."""
    found = [
        *_method_remarks(method, conditions),
        *_condition_remarks(readings),
        *_ground_remarks(deviations.ground),
    ]
    if method is SwingMethod.SUN:
        found += _sun_remarks(readings)
    return found


def _method_remarks(method: SwingMethod, conditions: SwingConditions) -> list[Remark]:
    found = []
    if not method.shows_a:
        found.append(
            _caution(
                "A",
                "With an object of unknown bearing coefficient A is lost: it is taken as 0, and the ± allows"
                f" {U_LOST_A_DEG:g}° (standard) for it.",
                "Take one bearing that is known, on any heading, to find A.",
            )
        )
    parallax = conditions.parallax_deg
    if parallax > LARGE_PARALLAX_DEG:
        found.append(
            _caution(
                "parallax",
                f"The bearing of the mark itself changes by up to {parallax:.1f}° over the circle.",
                "Take a mark further off, or pass through one and the same place on each heading.",
            )
        )
    if method is SwingMethod.GROUND_VECTORS:
        found.append(
            Remark(
                "note",
                "leeway",
                "Leeway counts as deviation here, and so does an antenna of a heading sensor set askew.",
                "Swing under power in little wind, each heading steady for a minute or more.",
            )
        )
    return found


def _condition_remarks(readings: Sequence[SwingReading]) -> list[Remark]:
    found = []
    heeled = [i + 1 for i, each in enumerate(readings) if abs(each.heel_deg or 0.0) > HEELED_DEG]
    if heeled:
        found.append(
            _caution(
                "heel",
                f"The boat was heeled more than {HEELED_DEG:g}° at {_numbers(heeled)}: heeling error is in them.",
                "Swing upright; note the heel of a check under sail for itself.",
            )
        )
    running = {each.engine_running for each in readings} - {None}
    if len(running) > 1:
        found.append(
            _caution(
                "engine",
                "The engine ran at some readings and not at others; its alternator may change the deviation.",
                "Make a swing of its own for each, or note the engine with the electrics.",
            )
        )
    if all(each.electrics is Electrics.NOT_NOTED for each in readings):
        found.append(
            Remark(
                "note",
                "electrics",
                "It was not noted whether the electrics were on.",
                "Swing once with them off and once on, as at sea by night: rules for ships ask for both [HK369C]_.",
            )
        )
    return found


def _ground_remarks(ground: GroundHeadings | None) -> list[Remark]:
    if ground is None:
        return []
    found = []
    if ground.rms_residual_kn > UNEVEN_KN:
        worst = int(np.abs(np.asarray(ground.residuals_kn)).argmax()) + 1
        found.append(
            _caution(
                "stream",
                f"The velocities end {ground.rms_residual_kn:.2f} kn rms off one circle: engine speed or stream"
                " changed.",
                f"Look at reading {worst} first; keep the engine speed, or note the log on each heading.",
            )
        )
    if ground.false_deviation_deg > 1.0:
        words = (
            f"A stream of {ground.stream_drift_kn:.1f} kn was solved for; the courses over the ground alone would have"
            f" made up {ground.false_deviation_deg:.1f}° of deviation."
        )
        found.append(Remark("note", "stream", words, "Keep noting the speed with every course."))
    return found


def _sun_remarks(readings: Sequence[SwingReading]) -> list[Remark]:
    found = [_caution("sun", "Never look at the sun without a proper filter.", "Use the shadow of a pin.")]
    timed = [(i + 1, r.taken_at, r.reference_deg) for i, r in enumerate(readings) if r.taken_at is not None]
    for (i, first, one), (j, second, other) in combinations(timed, 2):
        if one == other and abs((second - first).total_seconds()) > SUN_STANDS_STILL_S:
            found.append(
                _caution(
                    "sun",
                    f"Readings {i} and {j} have one bearing of the sun, minutes apart.",
                    "Work out its bearing for the time of each.",
                )
            )
            break
    return found


def _numbers(numbers: Sequence[int]) -> str:
    words = ", ".join(str(n) for n in numbers)
    return f"reading{'s' if len(numbers) > 1 else ''} {words}"


def _caution(about: str, words: str, remedy: str) -> Remark:
    return Remark("caution", about, words, remedy)
