"""The hand lines behind the verdict of a check trial."""

from __future__ import annotations

from truemile.core.check_trial import BAR_KN, BAR_RELATIVE, CheckVerdict
from truemile.core.numbers import decimals_of
from truemile.core.uncertainty import rounded
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working


def explain_check(verdict: CheckVerdict) -> Working:
    """Return the lines that compare the factor found with 1.00 and the error with what is allowed."""
    return settle(lambda carried: _write(verdict, carried)).working()


def _write(verdict: CheckVerdict, carried: Carried) -> Hand:
    hand = Hand("Check trial", carried)
    shown, around = rounded(verdict.factor, verdict.expanded)
    places = decimals_of(shown)
    hand.section("Against its own ±")
    hand.given("k", "factor found by the check", verdict.factor, places, plus_minus=around)
    hand.given("U", "its 95 % uncertainty", verdict.expanded, places)
    if verdict.expanded_in_force:
        hand.given("F", "95 % uncertainty of the factor in force", verdict.expanded_in_force, places)
        hand.line("T", "the two together", "sqrt(U ** 2 + F ** 2)", places, core=verdict.expanded_together)
    hand.line("d", "how far it lies from 1", "abs(k - 1)", places, core=abs(verdict.factor - 1.0))
    which = "both ± together" if verdict.expanded_in_force else "the ±"
    hand.note(f"1.00 lies {'within' if verdict.agrees else 'outside'} {which}: {'pass' if verdict.agrees else 'fail'}.")
    hand.section(f"Against {100 * BAR_RELATIVE:.0f} % or {BAR_KN:g} kn, whichever is more")
    hand.given("W", "true speed during the check", verdict.speed_kn, 2, "kn")
    hand.line("x", "error of the log", "abs(W / k - W)", 2, "kn", core=verdict.error_kn, kind=Kind.ANSWER)
    if BAR_RELATIVE * verdict.speed_kn > BAR_KN:
        hand.line("y", "allowed", f"{BAR_RELATIVE:g} * W", 2, "kn", core=verdict.bar_kn, kind=Kind.SHOWN)
    else:
        hand.given("y", "allowed, more than 2 % of the speed", BAR_KN, 2, "kn")
    word = "no more" if verdict.within_bar else "more"
    hand.note(f"The error is {word} than what is allowed: {'pass' if verdict.within_bar else 'fail'}.")
    return hand
