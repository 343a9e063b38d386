"""The hand lines behind variation: the model's uncertainty, a chart's rose brought up to date, and the two compared."""

from __future__ import annotations

from truemile.core.chart_rose import RoseComparison, RoseVariation
from truemile.core.magnetism import COVERAGE_FACTOR, Variation, day_text
from truemile.core.position import format_position
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working

_SIDES = "east +, west \N{MINUS SIGN}"


def explain_variation(found: Variation) -> Working:
    """Return the lines of variation from the model: its value as given, and its uncertainty worked out."""
    return settle(lambda carried: _write_variation(found, carried)).working()


def explain_rose(found: RoseVariation) -> Working:
    """Return the lines that bring a chart's rose up to date: printed value and years times the annual change."""
    return settle(lambda carried: _write_rose(found, carried)).working()


def explain_comparison(found: RoseComparison) -> Working:
    """Return the lines that set a rose against the model."""
    return settle(lambda carried: _write_comparison(found, carried)).working()


def _write_variation(found: Variation, carried: Carried) -> Hand:
    hand = Hand(f"Variation, {day_text(found.on)}", carried)
    model = found.model
    hand.section(f"{model.name} at {format_position(found.position)}")
    around = f"{found.expanded_deg:.1f}"
    hand.given("V", f"variation, {_SIDES}", found.variation_deg, 1, "°", source="by the program", plus_minus=around)
    hand.given("a", f"its change in a year, {_SIDES}", found.annual_change_deg, 2, "°", source="by the program")
    hand.section("How well the model knows it")
    hand.given("H", "horizontal field", found.horizontal_nt, 0, "nT", source="by the program")
    whose = model.borrowed_from or model.name
    if found.u_deg < 180.0:
        formula = f"sqrt({model.u_floor_deg:.2f}**2 + ({model.u_field:.0f} / H)**2)"
        hand.line("u", f"standard uncertainty, {whose}", formula, 2, "°", core=found.u_deg)
    else:
        hand.given("u", "standard uncertainty: any direction", found.u_deg, 0, "°")
    hand.line("U", "± at 95 %", f"{COVERAGE_FACTOR} * u", 1, "°", core=found.expanded_deg, kind=Kind.ANSWER)
    for remark in found.remarks:
        hand.note(remark)
    return hand


def _give_rose(hand: Hand, found: RoseVariation) -> None:
    rose = found.rose
    hand.section(f"The rose of {rose.year}")
    hand.given("R", f"variation printed, {_SIDES}", rose.variation_deg * 60.0, 0, "′", source="from the chart")
    hand.given("a", f"annual change printed, {_SIDES}", rose.annual_change_deg * 60.0, 0, "′", source="from the chart")
    hand.line("n", "years since", f"{found.on.year} - {rose.year}", 0, "")


def _write_rose(found: RoseVariation, carried: Carried) -> Hand:
    hand = Hand(f"Variation from the chart, {day_text(found.on)}", carried)
    _give_rose(hand, found)
    hand.line("M", "variation now, in minutes", f"R + n * a{_turn(found)}", 0, "′", core=60.0 * found.variation_deg)
    now, around = found.variation_deg, f"{found.expanded_deg:.1f}"
    hand.line("V", f"variation now, {_SIDES}", "M / 60", 1, "°", core=now, kind=Kind.ANSWER, plus_minus=around)
    for remark in found.remarks:
        hand.note(remark)
    return hand


def _turn(found: RoseVariation) -> str:
    """Return what brings a variation past the half turn back within it."""
    whole = found.rose.variation_deg + found.years * found.rose.annual_change_deg
    return "" if abs(whole - found.variation_deg) < 1.0 else " - 21600" if whole > 0 else " + 21600"


def _write_comparison(found: RoseComparison, carried: Carried) -> Hand:
    hand = Hand("Rose and model", carried)
    rose, model = found.rose, found.model
    hand.given("R", f"variation by the rose, {_SIDES}", rose.variation_deg, 2, "°")
    hand.given("M", f"variation by {model.model.name}, {_SIDES}", model.variation_deg, 2, "°")
    whole = rose.variation_deg - model.variation_deg
    turn = "" if abs(whole - found.difference_deg) < 1.0 else " - 360" if whole > 0 else " + 360"
    hand.line("d", "apart", f"R - M{turn}", 1, "°", core=found.difference_deg, kind=Kind.ANSWER)
    hand.given("u_1", "standard uncertainty of the rose", rose.u_deg, 2, "°")
    hand.given("u_2", f"standard uncertainty of {model.model.name}", model.u_deg, 2, "°")
    hand.line("B", "allowed", f"{COVERAGE_FACTOR} * hypot(u_1, u_2)", 1, "°", core=found.allowed_deg, kind=Kind.SHOWN)
    hand.note(found.words)
    return hand
