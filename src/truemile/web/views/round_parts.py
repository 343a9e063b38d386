"""Parts of a vector round's sheet: the answer, the legs, and what the legs still lack."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.core.errors import NavigationError
from truemile.core.uncertainty import Budget
from truemile.core.vector_round import LegResult, VectorRound
from truemile.web.formats import pair, percent_off, with_unit
from truemile.web.views.trial_parts import Missing, missing_of
from truemile.workbook.vector_rounds import LegView, RoundView


@dataclass(frozen=True, slots=True)
class RoundAnswer:
    """What a round gives."""

    number: Annotated[str, "The factor."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    says: Annotated[str, "How much the log reads too much or too little."]
    offset: Annotated[str, "Heading offset with its ±; empty where no courses were noted."]
    leeway: Annotated[str, "Leeway with its ±; empty where it cannot be told apart."]
    stream: Annotated[str, "Rate of the stream with its ±."]
    set: Annotated[str, "Where it sets, with its ±; empty where it is too weak."]
    change: Annotated[str, "How it changed in an hour; empty where it is taken as steady."]


@dataclass(frozen=True, slots=True)
class LegRow:
    """One leg."""

    id: Annotated[str, "Its own id."]
    number: Annotated[int, "From 1; 0 for a withdrawn one."]
    heading: Annotated[str, "Heading, true."]
    indicated: Annotated[str, "What the log showed."]
    sog: Annotated[str, "Speed over the ground."]
    cog: Annotated[str, "Course over the ground."]
    ahead: Annotated[str, "How far it is off the fit, ahead; empty without a result."]
    abeam: Annotated[str, "The same to starboard; empty where only speeds are used."]
    about: Annotated[str, "Tack, or that it was a turn."]


def answer_of(result: VectorRound) -> RoundAnswer:
    """Return what a round gives."""
    number, margin = pair(result.factor, result.expanded)
    set_known = result.set_expanded_deg is not None
    return RoundAnswer(
        number=number,
        plus_minus=margin,
        says=percent_off(result.factor),
        offset="" if result.offset_budget is None else _with_margin(result.offset_budget, "°"),
        leeway="" if result.leeway_budget is None else _with_margin(result.leeway_budget, "°"),
        stream=_with_margin(result.drift_budget, " kn"),
        set=f"{result.stream_set_deg:03.0f}° ± {result.set_expanded_deg:.0f}°" if set_known else "",
        change=_change(result),
    )


def _with_margin(budget: Budget, unit: str) -> str:
    number, margin = pair(budget.value, budget.expanded)
    return f"{number} ± {margin}{unit}"


def _change(result: VectorRound) -> str:
    if result.stream_change_kn_h is None:
        return ""
    north, east = result.stream_change_kn_h
    return f"{with_unit(north, 1)} kn north and {with_unit(east, 1)} kn east in an hour"


def leg_rows(view: RoundView, result: VectorRound | None) -> tuple[LegRow, ...]:
    """Return the legs in use, with how far each is off the fit."""
    found = {} if result is None else {each.number: each for each in result.legs}
    return tuple(leg_row(leg, found.get(leg.number)) for leg in view.legs)


def leg_row(view: LegView, result: LegResult | None = None) -> LegRow:
    """Return one leg."""
    leg = view.leg
    across = None if result is None else result.residual_across_kn
    return LegRow(
        id=view.id,
        number=view.number,
        heading=f"{leg.heading_true_deg:03.0f}°",
        indicated=f"{leg.indicated_kn:.2f}",
        sog=f"{leg.sog_kn:.2f}",
        cog="" if leg.cog_true_deg is None else f"{leg.cog_true_deg:03.0f}°",
        ahead="" if result is None else _signed(result.residual_along_kn),
        abeam="" if across is None else _signed(across),
        about="a turn" if leg.turning else f"{leg.tack.value} tack" if leg.tack.value else "",
    )


def _signed(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}".replace("-", "−")


def missing_legs(view: RoundView, error: NavigationError) -> tuple[Missing, ...]:
    """Return what the legs lack, as guidance; before the first one there is nothing to say."""
    return missing_of(error) if view.legs else ()


def conditioning_words(result: VectorRound) -> str:
    """Say what the headings are worth."""
    state = result.conditioning
    worth = f"{state.legs} headings, worth {state.strength:.1f}"
    scatter = f" The legs are {result.rms_residual_kn:.2f} kn rms off the fit." if result.dof > 0 else ""
    return f"{worth} where 1 and more is good.{scatter}"
