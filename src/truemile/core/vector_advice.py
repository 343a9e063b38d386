"""What to do next in a vector round, what to beware of, and what keeps it from being put in force."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from truemile.core.angles import difference, wrap_360
from truemile.core.factor_remarks import Remark
from truemile.core.ground_fit import Array, GroundFit, LegColumns
from truemile.core.ground_vectors import Conditioning, Leg, Tack
from truemile.core.log_runs import FACTOR_RANGE, likely_slip
from truemile.core.uncertainty import Budget
from truemile.core.vector_budget import Evidence

#: A leg should be steady for about a minute or more (common practice, no source).
SHORT_LEG_S = 60.0
#: A yacht turns no faster than this, and headings nearer than this need no turn (judgement, no source).
FASTEST_TURN_DEG_S, SAME_HEADING_DEG = 10.0, 5.0
#: Light wind, in which its push on the hull matters little (judgement, no source).
LIGHT_WIND_KN = 10.0
#: Below this N (1 - R²), that of two headings 60° apart, a round is not put in force: uneven legs alone then make its
#: 95 % uncertainty about 5 %.
TOO_WEAK = 0.5
#: A factor known less well than this, in parts of itself, mends no log (judgement, no source).
TOO_UNCERTAIN = 0.10
#: Residuals this many times what the readings explain are remarked on; and are too many to be put in force.
RATHER_UNEVEN, TOO_UNEVEN = 2.0, 3.0

_GRID_DEG = 5


@dataclass(frozen=True, slots=True)
class NextHeading:
    """The heading to steer next.

    Attributes
    ----------
    heading_true_deg
        On a grid of five degrees.
    takes_off
        By how much, in parts of itself, it lessens what uneven legs leave in the factor.
    words
        One sentence.
    """

    heading_true_deg: float
    takes_off: float
    words: str


@dataclass(frozen=True, slots=True)
class Findings:
    """What remarks and refusals look at."""

    legs: tuple[Leg, ...]
    evidence: Evidence
    conditioning: Conditioning
    factor: Budget
    speeds_only: bool
    times_known: bool

    @property
    def fit(self) -> GroundFit:
        """The fit."""
        return self.evidence.fit

    @property
    def uneven(self) -> float:
        """Residuals in units of what the readings explain; 0 where none are left over."""
        return self.fit.rms_residual_kn / self.evidence.expected_rms_kn if self.fit.dof > 0 else 0.0


def next_heading(columns: LegColumns, fit: GroundFit) -> NextHeading:
    """Return the heading whose leg would lessen the uncertainty of the factor most.

    Notes
    -----
    A row for the new leg is added to the normal matrix of the fit for every fifth degree. Among headings that serve
    about as well, the one furthest from those steered is taken.
    """
    normal = fit.jacobian.T @ fit.jacobian
    now = float(np.linalg.inv(normal)[0, 0])
    grid = np.arange(0.0, 360.0, _GRID_DEG)
    rows = _rows(np.radians(grid), columns, fit)
    after = np.linalg.inv(normal + rows.transpose(0, 2, 1) @ rows)[:, 0, 0]
    good = after <= after.min() * 1.005
    apart = np.abs(np.angle(np.exp(1j * (np.radians(grid)[:, np.newaxis] - columns.heading_rad)))).min(axis=1)
    best = int(np.argmax(np.where(good, apart, -1.0)))
    takes_off = 1.0 - math.sqrt(float(after[best]) / now)
    heading = float(grid[best])
    return NextHeading(
        heading,
        takes_off,
        f"Steer about {heading:03.0f}° true next: it lessens what uneven legs leave in the factor"
        f" by {100 * takes_off:.0f} %.",
    )


def remarks_on_round(found: Findings) -> tuple[Remark, ...]:
    """Return the remarks on a round, cautions first."""
    remarks = [
        *_heading_remarks(found),
        *_residual_remarks(found),
        *_sail_remarks(found),
        *_time_remarks(found),
        *_reading_remarks(found),
    ]
    return tuple(sorted(remarks, key=lambda remark: remark.level != "caution"))


def refusals_of_round(found: Findings) -> tuple[Remark, ...]:
    """Return what keeps a round from being put in force; nothing for a good one."""
    refusals: list[Remark] = []
    turning = [i + 1 for i, leg in enumerate(found.legs) if leg.turning]
    if turning:
        refusals.append(_turning(turning))
    if found.conditioning.strength < TOO_WEAK * (1.0 - 1e-9) and not found.speeds_only:
        refusals.append(
            _caution(
                "headings",
                f"The headings lie bunched on one side: R is {found.conditioning.mean_resultant_length:.2f}, and"
                " factor and stream along them can hardly be told apart.",
                "Add a leg on about the opposite heading.",
            )
        )
    if found.uneven > TOO_UNEVEN:
        refusals.append(
            _caution(
                "residuals",
                f"The legs disagree by {found.fit.rms_residual_kn:.2f} kn rms, {found.uneven:.1f} times what their"
                " readings explain.",
                f"Look at leg {_worst(found.fit, found.speeds_only)} first: a turn, another stream, or a slip in"
                " writing.",
            )
        )
    k = found.factor.value
    if not FACTOR_RANGE[0] <= k <= FACTOR_RANGE[1]:
        refusals.append(
            _caution(
                "factor",
                f"A factor of {k:.3g} lies outside {FACTOR_RANGE[0]:g} to {FACTOR_RANGE[1]:g}.",
                likely_slip(k) or "Check speeds and headings, and whether the log is fouled.",
            )
        )
    if found.factor.expanded > TOO_UNCERTAIN * k:
        refusals.append(
            _caution(
                "uncertainty",
                f"The factor is known to ± {100 * found.factor.expanded / k:.0f} % only, which mends no log.",
                "Add legs, spread all round.",
            )
        )
    return tuple(refusals)


def _turning(numbers: Sequence[int]) -> Remark:
    which = f"Leg {numbers[0]} was a turn" if len(numbers) == 1 else f"Legs {_listed(numbers)} were turns"
    return _caution(
        "turn",
        f"{which}, not steady: in a turn the boat drifts outwards, so that log and compass point off her track, and"
        " the receiver's smoothed course and speed trail her by seconds. Both pass for a factor and a heading offset"
        " that the log does not have.",
        "Steer straight for a minute or more on each heading, and let course and speed settle first.",
    )


def _rows(headings_rad: Array, columns: LegColumns, fit: GroundFit) -> Array:
    """Rows of the Jacobian for one more leg on each heading, at the mean log speed, in the middle of the round."""
    per_factor = float(columns.indicated_kn.mean()) * np.exp(1j * (headings_rad + fit.value("offset")))
    water = fit.value("factor") * per_factor
    one = np.ones(len(headings_rad), dtype=complex)
    slopes = {"factor": per_factor, "offset": 1j * water, "north": one, "east": 1j * one}
    table = np.stack([slopes.get(name, 0.0 * one) for name in fit.names], axis=-1)
    if columns.cog_rad is not None:
        return np.stack([table.real, table.imag], axis=1)
    track = water + fit.value("north") + 1j * fit.value("east")
    along = track / np.maximum(np.abs(track), 1e-12)
    return np.asarray((np.conj(along)[:, np.newaxis] * table).real)[:, np.newaxis, :]


def _heading_remarks(found: Findings) -> list[Remark]:
    remarks: list[Remark] = []
    state = found.conditioning
    if state.weak and not found.speeds_only:
        remarks.append(
            _caution(
                "headings",
                f"The headings lie much on one side: N (1 - R²) is {state.strength:.2f}, less than 1.",
                "Add a leg on the heading advised; headings that close all round serve best.",
            )
        )
    if found.fit.dof <= 0:
        remarks.append(
            _caution(
                "legs",
                f"{'Speeds on three' if found.speeds_only else 'Two'} headings fit exactly whatever was read, so"
                " nothing shows a slip.",
                "Add one heading more: the legs then check each other.",
            )
        )
    return remarks


def _residual_remarks(found: Findings) -> list[Remark]:
    if not RATHER_UNEVEN < found.uneven <= TOO_UNEVEN:
        return []
    return [
        _caution(
            "residuals",
            f"The legs disagree by {found.fit.rms_residual_kn:.2f} kn rms, more than their readings explain; leg"
            f" {_worst(found.fit, found.speeds_only)} most.",
            "Look for a slip in that leg, or make it again.",
        )
    ]


def _sail_remarks(found: Findings) -> list[Remark]:
    tacks = {leg.tack for leg in found.legs}
    sailed = tacks - {Tack.POWER}
    remarks: list[Remark] = []
    if sailed and Tack.POWER in tacks:
        remarks.append(
            _caution(
                "leeway",
                "Some legs were sailed and some motored, with leeway on the first only.",
                "Make all legs under power, or all under sail.",
            )
        )
    if len(sailed) == 1 and not found.speeds_only:
        remarks.append(
            _caution(
                "leeway",
                f"All sailed legs were on {next(iter(sailed))} tack: the heading offset holds the leeway, and the two"
                " cannot be told apart.",
                "Sail legs on the other tack as well, or motor the round.",
            )
        )
    elif len(sailed) == 2 and "leeway" not in found.fit.index and not found.speeds_only:
        remarks.append(
            _caution(
                "leeway",
                "Too few headings on either tack to tell leeway from heading offset.",
                "Sail two headings on each tack.",
            )
        )
    wind = found.evidence.conditions.wind_kn
    if wind is not None and wind > LIGHT_WIND_KN:
        remarks.append(
            _caution(
                "wind",
                f"In {wind:.0f} kn of wind the hull is pushed differently on each heading, which no stream does.",
                "Make the round under power in light wind.",
            )
        )
    elif wind is None and not sailed:
        remarks.append(
            Remark(
                "note",
                "wind",
                "The stream found also holds what the wind pushes the hull.",
                "Make the round under power in light wind, and note the wind.",
            )
        )
    return remarks


def _time_remarks(found: Findings) -> list[Remark]:
    remarks: list[Remark] = []
    hurried = _hurried(found.legs)
    if hurried:
        first, second = hurried
        remarks.append(
            _caution(
                "turn",
                f"Between leg {first} and leg {second} there was no time to turn from one heading to the other.",
                "Note when each leg began and how long it was; leave out the turn and what follows until log and"
                " receiver have settled.",
            )
        )
    short = [i + 1 for i, leg in enumerate(found.legs) if leg.duration_s is not None and leg.duration_s < SHORT_LEG_S]
    if short:
        remarks.append(
            _caution(
                "legs",
                f"{'Leg' if len(short) == 1 else 'Legs'} {_listed(short)} took less than a minute.",
                "A minute or more on each heading lets log and receiver settle.",
            )
        )
    if not found.times_known:
        remarks.append(
            Remark(
                "note",
                "stream",
                "Not every leg has its time, so the stream is taken not to have changed.",
                "Note when each leg began, and steer the first heading once more at the end.",
            )
        )
    if "north change" in found.fit.index:
        remarks.append(
            Remark(
                "note",
                "stream",
                "The stream changed during the round by more than chance allows, and its change is taken out.",
                "Legs close together leave less of it to take out.",
            )
        )
    return remarks


def _hurried(legs: Sequence[Leg]) -> tuple[int, int] | None:
    """Numbers of the first two legs on end with no time for the turn between them."""
    timed = sorted(
        ((leg.started_at, leg.duration_s, i) for i, leg in enumerate(legs) if leg.started_at and leg.duration_s),
        key=lambda row: row[0],
    )
    for (start, length_s, i), (after, _, j) in pairwise(timed):
        gap_s = (after - start).total_seconds() - length_s
        turned = abs(difference(legs[j].heading_true_deg, legs[i].heading_true_deg))
        if turned > SAME_HEADING_DEG and gap_s < turned / FASTEST_TURN_DEG_S:
            return i + 1, j + 1
    return None


def _reading_remarks(found: Findings) -> list[Remark]:
    remarks: list[Remark] = []
    if found.speeds_only:
        remarks.append(
            Remark(
                "note",
                "speeds",
                "Not every leg has a course over the ground, so only speeds are used and no heading offset comes out.",
                "Note the course over the ground as well.",
            )
        )
    budget = found.factor
    if 0.05 * budget.value < budget.expanded <= TOO_UNCERTAIN * budget.value:
        remarks.append(
            _caution(
                "uncertainty",
                f"The factor is known to ± {100 * budget.expanded / budget.value:.0f} % only.",
                "Do first what the margin names first.",
            )
        )
    slip = likely_slip(budget.value, within=0.03)
    if slip and FACTOR_RANGE[0] <= budget.value <= FACTOR_RANGE[1]:
        remarks.append(_caution("unit", f"A factor of {budget.value:.2f} is what a mistaken unit gives.", slip))
    speeds = [leg.indicated_kn for leg in found.legs]
    if max(speeds) - min(speeds) > 1.0:
        remarks.append(
            Remark(
                "note",
                "speed",
                f"One factor is taken for log speeds from {min(speeds):.1f} to {max(speeds):.1f} kn.",
                "Make a round at each speed to see whether the factor changes with it.",
            )
        )
    return remarks


def _worst(fit: GroundFit, speeds_only: bool) -> int:
    """Number of the leg with the largest residual."""
    if speeds_only:
        return int(np.argmax(np.abs(fit.residuals))) + 1
    n = len(fit.ground)
    return int(np.argmax(np.hypot(fit.residuals[:n], fit.residuals[n:]))) + 1


def opposite_of(headings_deg: Sequence[float]) -> float:
    """Return the heading opposite the mean of headings that lie on one side, to the nearest ten degrees."""
    north = math.fsum(math.cos(math.radians(h)) for h in headings_deg)
    east = math.fsum(math.sin(math.radians(h)) for h in headings_deg)
    return wrap_360(10.0 * round((math.degrees(math.atan2(east, north)) + 180.0) / 10.0))


def _caution(about: str, words: str, remedy: str) -> Remark:
    return Remark("caution", about, words, remedy)


def _listed(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return str(numbers[0])
    if len(numbers) > 3 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
