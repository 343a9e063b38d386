"""What the uncertainty of a vector round is made of: each reading of each leg, carried through the fit.

The fit answers a velocity error of a leg in proportion (`GroundFit.follows`), so each input is a pattern of velocity
errors over the legs: a rounded course turns the velocity of one leg, a log that shows one digit on all legs stretches
all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Final

import numpy as np

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.factor_budget import TIDE_H
from truemile.core.ground_fit import Array, Complex, GroundFit, LegColumns
from truemile.core.ground_vectors import Leg, VectorConditions
from truemile.core.uncertainty import Budget, Input, Shape, evaluate, from_limit, from_resolution

#: Length of a leg, in seconds, taken where it was not noted (common practice, no source).
LEG_S: Final = 120.0
#: Turn between two legs, and settling on the new heading (common practice, no source).
TURN_S: Final = 60.0

#: Residuals that chance makes more seldom than this belie what was judged of the legs.
BELIED: Final = 0.1

#: Budget rows that are not readings.
UNEVENNESS: Final = "unevenness of the legs"
TIDE: Final = "stream changing during the round"


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """An input, the velocity error that one unit of it makes on each leg, and whether one leg only feels it."""

    input: Input
    pattern: Complex

    @property
    def own(self) -> bool:
        """True where it belongs to one leg, so that the residuals show it."""
        return int(np.count_nonzero(self.pattern)) == 1


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """A fit with all that makes it uncertain.

    Attributes
    ----------
    sources
        Readings and deviation.
    unevenness_kn, unevenness_dof
        Scatter of one component of a leg's velocity beyond its readings: what was judged, pooled with what the
        residuals show.
    expected_rms_kn
        What the residuals should scatter by if what was judged is right.
    """

    fit: GroundFit
    conditions: VectorConditions
    mid_h: Array
    sources: tuple[Source, ...]
    unevenness_kn: float
    unevenness_dof: float
    expected_rms_kn: float

    def budget(self, weights: Array, scale: float = 1.0) -> Budget:
        """Return the budget of a weighted sum of fitted values, multiplied by a scale (degrees in a radian, say)."""
        value = scale * float(weights @ self.fit.values)
        terms = [(s.input, scale * float(weights @ self.fit.follows(s.pattern))) for s in self.sources]
        uneven = Input(
            UNEVENNESS,
            0.0,
            self.unevenness_kn,
            self.unevenness_dof,
            unit="kn",
            advice="Longer and steadier legs, more of them, in flat water and an even stream.",
        )
        tide = Input(
            TIDE,
            0.0,
            from_limit(self.conditions.tide_amplitude_kn, Shape.ARCSINE),
            shared=True,
            unit="kn",
            shape=Shape.ARCSINE,
            advice="Legs close together, opposite headings one after the other.",
        )
        terms.append((uneven, abs(scale) * self.fit.gain(weights)))
        terms.append((tide, abs(scale) * self._tide_gain(weights)))
        middles = [item.value for item, _ in terms]
        slopes = [slope for _, slope in terms]

        def model(x: Sequence[float]) -> float:
            return value + math.fsum(c * (a - b) for c, a, b in zip(slopes, x, middles, strict=True))

        return evaluate(model, [item for item, _ in terms], shaped=True)

    def _tide_gain(self, weights: Array) -> float:
        """What a tide of unknown phase and direction leaves, per knot of its amplitude over √2.

        Notes
        -----
        C cos(ωt + φ) along a direction θ makes C Σ a (cos(ωt + φ) - cos φ), with a the gains of the legs; averaged over
        φ and θ its mean square is C²/4 (|Σ aN (exp iωt - 1)|² + |Σ aE (exp iωt - 1)|²).
        """
        swing = np.exp(2j * math.pi * self.mid_h / TIDE_H) - 1.0
        left = math.hypot(
            abs(complex((weights @ self.fit.north_gain) @ swing)), abs(complex((weights @ self.fit.east_gain) @ swing))
        )
        return left / math.sqrt(2.0)


def group_of(label: str) -> str:
    """Return the heading under which a budget row is shown: the label without its legs."""
    return label.partition(", leg ")[0]


def columns_of(legs: Sequence[Leg], *, speeds_only: bool) -> tuple[LegColumns, bool]:
    """Return the legs as columns, and whether their times were noted.

    Notes
    -----
    Without the time of each start the legs are taken in the order noted, one after the other.
    """
    courses = [leg.cog_true_deg for leg in legs]
    mids, known = _mid_times(legs)
    return LegColumns(
        heading_rad=np.radians([leg.heading_true_deg for leg in legs]),
        indicated_kn=np.asarray([leg.indicated_kn for leg in legs]),
        sog_kn=np.asarray([leg.sog_kn for leg in legs]),
        cog_rad=None if speeds_only else np.radians(np.asarray(courses, dtype=float)),
        tack_sign=np.asarray([float(leg.tack.leeway_sign) for leg in legs]),
        mid_h=mids - (mids.min() + mids.max()) / 2.0,
    ), known


def weigh(legs: Sequence[Leg], columns: LegColumns, fit: GroundFit, conditions: VectorConditions) -> Evidence:
    """Return a fit with all that makes it uncertain.

    Notes
    -----
    Scatter beyond the readings: judged variance and residuals less what rounding explains of them, pooled with their
    degrees of freedom. Rounding that several legs share does not show in residuals and is not taken off. Residuals
    larger than what was judged makes once in ten show that the judgement was wrong: they then count alone.
    """
    sources = tuple(_reading_sources(legs, columns, fit, conditions) + _deviation_sources(legs, fit, conditions))
    explained = sum(_seen(s, fit, columns) for s in sources if s.own) / len(fit.residuals)
    prior_u, prior_dof = conditions.unevenness_kn, conditions.unevenness_dof
    beyond = max(0.0, fit.squares / fit.dof - explained) if fit.dof > 0 else 0.0
    if _belies(fit, prior_u**2 + explained):
        prior_dof = 0.0
    pooled_dof = prior_dof + fit.dof
    return Evidence(
        fit=fit,
        conditions=conditions,
        mid_h=columns.mid_h,
        sources=sources,
        unevenness_kn=math.sqrt((prior_dof * prior_u**2 + fit.dof * beyond) / pooled_dof),
        unevenness_dof=pooled_dof,
        expected_rms_kn=math.sqrt(prior_u**2 + explained),
    )


def _belies(fit: GroundFit, judged: float) -> bool:
    """True where the residuals are larger than a judged variance would make them once in ten (chi-squared)."""
    if fit.dof <= 0:
        return False
    from scipy.special import chdtrc

    return float(chdtrc(fit.dof, fit.squares / judged)) < BELIED


def _mid_times(legs: Sequence[Leg]) -> tuple[Array, bool]:
    lengths_h = [(LEG_S if leg.duration_s is None else leg.duration_s) / SECONDS_PER_HOUR for leg in legs]
    starts = [leg.started_at for leg in legs if leg.started_at is not None]
    if len(starts) < len(legs):
        step = fmean(lengths_h) + TURN_S / SECONDS_PER_HOUR
        return np.asarray([step * i for i in range(len(legs))]), False
    after_h = [(start - starts[0]).total_seconds() / SECONDS_PER_HOUR for start in starts]
    return np.asarray([a + b / 2.0 for a, b in zip(after_h, lengths_h, strict=True)]), True


def _seen(source: Source, fit: GroundFit, columns: LegColumns) -> float:
    """Square that a source of one leg adds to the residuals."""
    if columns.cog_rad is not None:
        return float(np.sum(np.abs(source.pattern) ** 2)) * source.input.u**2
    along = (np.conj(fit.ground) * source.pattern).real / np.abs(fit.ground)
    return float(along @ along) * source.input.u**2


@dataclass(frozen=True, slots=True, eq=False)
class _Reading:
    """One kind of reading: its value and own uncertainty on each leg, and what an error of one unit does."""

    words: str
    unit: str
    step: float
    values: Sequence[float]
    stated: Sequence[float | None]
    patterns: Complex
    advice: str


def _reading_sources(
    legs: Sequence[Leg], columns: LegColumns, fit: GroundFit, conditions: VectorConditions
) -> list[Source]:
    degree = math.pi / 180.0
    track = fit.ground / np.abs(fit.ground)
    kinds = [
        _Reading(
            "display",
            "kn",
            conditions.speed_resolution_kn,
            [leg.indicated_kn for leg in legs],
            [leg.u_indicated_kn for leg in legs],
            -fit.water / columns.indicated_kn,
            "Legs at speeds that differ by more than the last digit: a steady display hides up to half of it.",
        ),
        _Reading(
            "speed over the ground",
            "kn",
            conditions.sog_resolution_kn,
            [leg.sog_kn for leg in legs],
            [leg.u_sog_kn for leg in legs],
            track if columns.cog_rad is None else columns.ground / columns.sog_kn,
            "Show hundredths of a knot on the receiver, or record it.",
        ),
        _Reading(
            "heading",
            "°",
            conditions.heading_resolution_deg,
            [leg.heading_deg for leg in legs],
            [leg.u_heading_deg for leg in legs],
            -1j * degree * fit.water,
            "Note the mean heading of each leg, or record it.",
        ),
    ]
    if columns.cog_rad is not None:
        kinds.append(
            _Reading(
                "course over the ground",
                "°",
                conditions.cog_resolution_deg,
                [leg.cog_true_deg or 0.0 for leg in legs],
                [leg.u_cog_deg for leg in legs],
                1j * degree * columns.ground,
                "Show tenths of a degree on the receiver, or record it.",
            )
        )
    return [source for kind in kinds for source in _sources_of(kind)]


def _sources_of(kind: _Reading) -> list[Source]:
    """One input for all legs that show the same digit, since all hide the same part; stated ones one a leg."""
    found: list[Source] = []
    groups: dict[int, list[int]] = {}
    for i, (value, stated) in enumerate(zip(kind.values, kind.stated, strict=True)):
        if stated is None:
            groups.setdefault(round(value / kind.step), []).append(i)
        else:
            item = Input(f"mean {kind.words}, leg {i + 1}", value, stated, unit=kind.unit, advice=kind.advice)
            found.append(Source(item, _only(kind.patterns, [i])))
    label, every = f"{kind.words}, {kind.step:g}{_spaced(kind.unit)}", len(kind.values)
    for members in groups.values():
        alike = len(members) == every
        item = Input(
            label if alike else f"{label}, leg {' and '.join(str(i + 1) for i in members)}",
            0.0,
            from_resolution(kind.step),
            shared=alike,
            unit=kind.unit,
            shape=Shape.RECTANGULAR,
            advice=kind.advice,
        )
        found.append(Source(item, _only(kind.patterns, members)))
    return found


def _deviation_sources(legs: Sequence[Leg], fit: GroundFit, conditions: VectorConditions) -> list[Source]:
    """What is left of the deviation, B sin h + C cos h, as the heading by compass has it."""
    if conditions.u_deviation_deg == 0.0:
        return []
    degree = math.pi / 180.0
    headings = np.radians([leg.heading_deg for leg in legs])
    parts: list[tuple[str, Callable[[Array], Array]]] = [("B", np.sin), ("C", np.cos)]
    return [
        Source(
            Input(
                f"deviation left in the headings, coefficient {name}",
                0.0,
                conditions.u_deviation_deg,
                shared=True,
                unit="°",
                advice="Correct the headings by a deviation card, or close the headings all round.",
            ),
            np.asarray(-1j * degree * fit.water * wave(headings)),
        )
        for name, wave in parts
    ]


def _only(patterns: Complex, members: Sequence[int]) -> Complex:
    kept = np.zeros(len(patterns), dtype=complex)
    kept[list(members)] = patterns[list(members)]
    return kept


def _spaced(unit: str) -> str:
    return unit if unit == "°" else f" {unit}"
