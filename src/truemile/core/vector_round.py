"""The vector round: log factor, heading offset and stream together, from steady legs on several headings."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from truemile.core.angles import difference, wrap_360
from truemile.core.corrections import LogCorrection
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.factor_remarks import Remark
from truemile.core.ground_fit import GroundFit, LegColumns, fit_ground
from truemile.core.ground_vectors import (
    MOST_LEGS,
    Conditioning,
    Leg,
    Tack,
    VectorConditions,
    conditioning,
)
from truemile.core.log_settings import LogSetting
from truemile.core.uncertainty import Budget
from truemile.core.vector_advice import (
    Findings,
    NextHeading,
    next_heading,
    opposite_of,
    refusals_of_round,
    remarks_on_round,
)
from truemile.core.vector_budget import Evidence, columns_of, weigh

#: A change of the stream is taken up only where chance alone would show as much less than once in twenty.
_WORTH_A_CHANGE = 0.95
#: Headings nearer than this count as one where a changing stream is asked for.
_DISTINCT_DEG = 20.0
#: Leeway known less well than this is not told apart.
_VAGUE_LEEWAY_DEG = 5.0
#: Speeds only: headings whose 1, cos h, sin h depend on each other as closely as this leave part of the stream free.
_FLAT_HEADINGS = 0.1


class Method(StrEnum):
    """What is used of the ground."""

    VECTORS = "courses and speeds over the ground"
    SPEEDS = "speeds over the ground only"


@dataclass(frozen=True, slots=True)
class LegResult:
    """What one leg shows against the fit.

    Attributes
    ----------
    number
        From 1, in the order noted.
    fitted_sog_kn, fitted_cog_deg
        Speed and course over the ground that the round as a whole gives for this leg.
    residual_along_kn
        Observed less fitted, along the heading, ahead positive; along the track if only speeds are used.
    residual_across_kn
        The same across it, to starboard positive; None if only speeds are used.
    """

    number: int
    leg: Leg
    fitted_sog_kn: float
    fitted_cog_deg: float
    residual_along_kn: float
    residual_across_kn: float | None

    @property
    def residual_kn(self) -> float:
        """Size of the residual."""
        return math.hypot(self.residual_along_kn, self.residual_across_kn or 0.0)


@dataclass(frozen=True, slots=True)
class VectorRound:
    """What a vector round gives.

    Attributes
    ----------
    conditioning
        What the headings can tell.
    budget
        Factor, with what its uncertainty is made of.
    offset_budget
        Heading offset in degrees: what must be added to the heading for the course through the water. None if only
        speeds are used.
    leeway_budget
        Leeway in degrees; None unless two tacks tell it from the offset.
    stream_set_deg, drift_budget
        The stream in the middle of the round.
    set_expanded_deg
        95 % uncertainty of the set; None where the stream is too weak to have one.
    stream_change_kn_h
        North and east change of the stream in knots an hour; None where it is taken as steady.
    times_known, mid_h
        False where the times of the legs were not noted; the middle of each leg, in hours from that of the round.
    fit
        The least-squares fit itself, with the scatter that the residuals alone show.
    next_heading
        Which heading to add.
    remarks, refusals
        About the evidence; and what keeps it from being put in force.
    """

    method: Method
    conditions: VectorConditions
    legs: tuple[LegResult, ...]
    conditioning: Conditioning
    budget: Budget
    offset_budget: Budget | None
    leeway_budget: Budget | None
    stream_set_deg: float
    drift_budget: Budget
    set_expanded_deg: float | None
    stream_change_kn_h: tuple[float, float] | None
    times_known: bool
    mid_h: tuple[float, ...]
    fit: GroundFit
    next_heading: NextHeading
    remarks: tuple[Remark, ...]
    refusals: tuple[Remark, ...]
    setting: LogSetting | None = None

    @property
    def factor(self) -> float:
        """Log factor, true over indicated."""
        return self.budget.value

    @property
    def u(self) -> float:
        """Standard uncertainty of the factor."""
        return self.budget.u

    @property
    def expanded(self) -> float:
        """95 % uncertainty of the factor."""
        return self.budget.expanded

    @property
    def heading_offset_deg(self) -> float | None:
        """What must be added to the heading for the course through the water, leeway apart."""
        return None if self.offset_budget is None else self.offset_budget.value

    @property
    def leeway_deg(self) -> float | None:
        """Leeway, where two tacks tell it from the offset."""
        return None if self.leeway_budget is None else self.leeway_budget.value

    @property
    def stream_drift_kn(self) -> float:
        """Rate of the stream."""
        return self.drift_budget.value

    @property
    def rms_residual_kn(self) -> float:
        """Scatter of one component of a leg's velocity about the fit; NaN where nothing is left over to show it."""
        return self.fit.rms_residual_kn

    @property
    def dof(self) -> int:
        """Readings less fitted values."""
        return self.fit.dof

    @property
    def u_factor_from_scatter(self) -> float:
        """Standard uncertainty of the factor as the residuals alone show it."""
        return self.rms_residual_kn * self.fit.gain(self.fit.pick(factor=1.0))

    @property
    def u_stream_component_from_scatter_kn(self) -> float:
        """The same for the less certain component of the stream."""
        gains = [self.fit.gain(self.fit.pick(**{name: 1.0})) for name in ("north", "east")]
        return self.rms_residual_kn * max(gains)

    @property
    def lowest_kn(self) -> float:
        """Lowest speed that the log indicated."""
        return min(result.leg.indicated_kn for result in self.legs)

    @property
    def highest_kn(self) -> float:
        """Highest speed that the log indicated."""
        return max(result.leg.indicated_kn for result in self.legs)

    @property
    def correction(self) -> LogCorrection:
        """The correction of the log that the round gives; see `may_be_put_in_force`."""
        return LogCorrection(
            (1,), (self.factor,), ((self.u**2,),), self.budget.dof, self.lowest_kn, self.highest_kn, self.setting
        )

    @property
    def may_be_put_in_force(self) -> bool:
        """False where something speaks against it."""
        return not self.refusals

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it may not be put in force, a sentence each."""
        return tuple(refusal.words for refusal in self.refusals)


def solve_round(
    legs: Sequence[Leg], conditions: VectorConditions | None = None, *, setting: LogSetting | None = None
) -> VectorRound:
    """Return log factor, heading offset and stream from steady legs on two or more headings.

    Parameters
    ----------
    legs
        In the order made. Where one has no course over the ground, only the speeds are used.
    conditions
        How they were read; the usual ones if None.
    setting
        What was set in the log during the round.

    Raises
    ------
    NotEnoughReadings
        If there are fewer than two legs, or three where only speeds are used.
    ReadingError
        If there are too many.
    NoSolution
        If all headings are alike; or if only speeds are used and the headings leave part of the stream free, as two
        opposite ones do.

    Notes
    -----
    Least squares of gE = s (p sin h + q cos h) + cE and gN = s (p cos h - q sin h) + cN, with k = √(p² + q²) and
    b = atan2(q, p). Two equations a leg and four unknowns, so 2 N - 4 degrees of freedom; the scatter that these show
    is pooled with the judged one.

    Examples
    --------
    >>> legs = [Leg(0, 5.0, 6.0, 0.0), Leg(90, 5.0, 5.1, 78.7), Leg(180, 5.0, 4.0, 180.0), Leg(270, 5.0, 5.1, 281.3)]
    >>> found = solve_round(legs)
    >>> round(found.factor, 3), round(found.stream_drift_kn, 2), round(found.stream_set_deg) % 360
    (1.0, 1.0, 0)
    """
    conditions = conditions or VectorConditions()
    speeds_only = any(leg.cog_true_deg is None for leg in legs)
    state = _checked(legs, speeds_only=speeds_only)
    columns, times_known = columns_of(legs, speeds_only=speeds_only)
    fit = _fit(legs, columns, conditions, times_known=times_known)
    evidence = weigh(legs, columns, fit, conditions)
    factor = evidence.budget(fit.pick(factor=1.0))
    found = Findings(tuple(legs), evidence, state, factor, speeds_only, times_known)
    set_deg, drift, set_expanded = _stream(evidence)
    degrees = math.degrees(1.0)
    change = (fit.value("north change"), fit.value("east change")) if "north change" in fit.index else None
    return VectorRound(
        method=Method.SPEEDS if speeds_only else Method.VECTORS,
        conditions=conditions,
        legs=_leg_results(legs, columns, fit),
        conditioning=state,
        budget=factor,
        offset_budget=None if speeds_only else evidence.budget(fit.pick(offset=1.0), degrees),
        leeway_budget=evidence.budget(fit.pick(leeway=1.0), degrees) if "leeway" in fit.index else None,
        stream_set_deg=set_deg,
        drift_budget=drift,
        set_expanded_deg=set_expanded,
        stream_change_kn_h=change,
        times_known=times_known,
        mid_h=tuple(float(t) for t in columns.mid_h),
        fit=fit,
        next_heading=next_heading(columns, fit),
        remarks=remarks_on_round(found),
        refusals=refusals_of_round(found),
        setting=setting,
    )


def _checked(legs: Sequence[Leg], *, speeds_only: bool) -> Conditioning:
    least = 3 if speeds_only else 2
    if len(legs) < least:
        raise NotEnoughReadings(
            "legs",
            len(legs),
            "speeds without courses over the ground need three headings"
            if speeds_only
            else "a round needs two headings at least: on one, the stream passes for an error of the log",
            "Add a leg on another heading, well away from the first.",
        )
    if len(legs) > MOST_LEGS:
        raise ReadingError(
            "legs",
            len(legs),
            f"a round has at most {MOST_LEGS} legs",
            "Check that this is the right file: one line a leg, not one line a second.",
        )
    headings = [leg.heading_true_deg for leg in legs]
    state = conditioning(headings)
    if not state.solvable:
        raise NoSolution(
            "legs",
            f"{len(legs)} legs on about {headings[0]:03.0f}°",
            "on one heading the stream cannot be told from an error of the log",
            f"Steer about {opposite_of(headings):03.0f}° true next.",
        )
    if speeds_only:
        _check_speed_headings(headings)
    return state


def _check_speed_headings(headings: Sequence[float]) -> None:
    radians = np.radians(headings)
    design = np.column_stack([np.ones(len(headings)), np.cos(radians), np.sin(radians)])
    sizes = np.linalg.svd(design, compute_uv=False)
    if sizes[-1] < _FLAT_HEADINGS * sizes[0]:
        raise NoSolution(
            "legs",
            f"{len(headings)} speeds over the ground",
            "without courses, headings on one side or on one line leave the stream across them free",
            "Add a heading square to them, or note the course over the ground.",
        )


def _fit(legs: Sequence[Leg], columns: LegColumns, conditions: VectorConditions, *, times_known: bool) -> GroundFit:
    fit = _with_leeway(legs, columns, conditions) or fit_ground(columns)
    if times_known and _distinct([leg.heading_true_deg for leg in legs]) >= 4:
        return _changing(legs, columns, fit, conditions) or fit
    return fit


def _with_leeway(legs: Sequence[Leg], columns: LegColumns, conditions: VectorConditions) -> GroundFit | None:
    """The fit with leeway apart, or None where the legs do not tell it apart."""
    both = {Tack.PORT, Tack.STARBOARD} <= {leg.tack for leg in legs}
    if not both or columns.cog_rad is None or len(legs) < 3:
        return None
    try:
        fit = fit_ground(columns, leeway=True)
    except NoSolution:
        return None
    u_deg = math.degrees(fit.gain(fit.pick(leeway=1.0)) * conditions.unevenness_kn)
    return fit if u_deg < _VAGUE_LEEWAY_DEG else None


def _changing(
    legs: Sequence[Leg], columns: LegColumns, steady: GroundFit, conditions: VectorConditions
) -> GroundFit | None:
    """The fit with a changing stream, or None where the change is no more than chance makes.

    Notes
    -----
    F = (fall of Σ r² / 2) / s², where s² is what the readings and the legs of the larger model scatter by.
    """
    from scipy.special import fdtri

    try:
        fit = fit_ground(columns, leeway="leeway" in steady.index, changing=True)
    except NoSolution:
        return None
    if fit.dof < 1:
        return None
    seen = weigh(legs, columns, fit, conditions)
    scatter = seen.unevenness_kn**2 + seen.expected_rms_kn**2 - conditions.unevenness_kn**2
    ratio = (steady.squares - fit.squares) / 2.0 / scatter
    return fit if ratio > float(fdtri(2.0, seen.unevenness_dof, _WORTH_A_CHANGE)) else None


def _distinct(headings: Sequence[float]) -> int:
    kept: list[float] = []
    for heading in headings:
        if all(abs(difference(heading, other)) >= _DISTINCT_DEG for other in kept):
            kept.append(heading)
    return len(kept)


def _stream(evidence: Evidence) -> tuple[float, Budget, float | None]:
    """Set, drift with its budget, and the 95 % uncertainty of the set."""
    fit = evidence.fit
    north, east = fit.value("north"), fit.value("east")
    drift = math.hypot(north, east)
    along = (north / drift, east / drift) if drift > 0.0 else (1.0, 0.0)
    budget = evidence.budget(fit.pick(north=along[0], east=along[1]))
    across = evidence.budget(fit.pick(north=-along[1], east=along[0])).expanded
    expanded = math.degrees(math.asin(across / drift)) if across < drift else None
    return wrap_360(math.degrees(math.atan2(east, north))), budget, expanded


def _leg_results(legs: Sequence[Leg], columns: LegColumns, fit: GroundFit) -> tuple[LegResult, ...]:
    n = len(legs)
    results: list[LegResult] = []
    for i, leg in enumerate(legs):
        track = complex(fit.ground[i])
        if columns.cog_rad is None:
            along, across = float(fit.residuals[i]), None
        else:
            left = complex(fit.residuals[i], fit.residuals[n + i]) * cmath.exp(-1j * columns.heading_rad[i])
            along, across = left.real, left.imag
        course = wrap_360(math.degrees(math.atan2(track.imag, track.real)))
        results.append(LegResult(i + 1, leg, abs(track), course, along, across))
    return tuple(results)
