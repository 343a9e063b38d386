"""The hand lines behind the use of a correction: speed, distance, what the log must show, and the new setting."""

from __future__ import annotations

from typing import Final

from truemile.core.corrections import Corrected, LogCorrection, indicated_for
from truemile.core.log_settings import Convention, LogSetting, NewSetting, reading_under
from truemile.core.numbers import decimals_of
from truemile.core.uncertainty import coverage_factor, rounded
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working
from truemile.working.log_trial import curve_formula, write_coefficients
from truemile.working.minutes import elapsed_text, in_minutes

#: Symbol, words and decimals of a setting.
_SETTING: Final = {
    Convention.MULTIPLIER: ("m", "multiplier", 3, ""),
    Convention.PERCENT: ("p", "percentage", 1, "%"),
    Convention.PULSES_PER_NM: ("N", "pulses per mile", 0, ""),
}


def explain_speed(
    correction: LogCorrection,
    corrected: Corrected,
    *,
    resolution_kn: float = 0.1,
    setting: LogSetting | None = None,
) -> Working:
    """Return the lines from the speed shown to the true speed, with its ±.

    Parameters
    ----------
    correction, resolution_kn, setting
        As given to `truemile.core.corrections.corrected_speed`.
    corrected
        What it returned.
    """

    def write(carried: Carried) -> Hand:
        hand = Hand("Corrected speed", carried)
        write_coefficients(hand, correction.powers, correction.coefficients, "in force")
        shown = _write_reading(hand, corrected.read, "L", "speed shown by the log", "kn", correction, setting)
        text, around = rounded(corrected.value, corrected.expanded)
        places = max(2, decimals_of(text))
        formula = curve_formula(correction.powers, shown)
        hand.line("W", "true speed", formula, places, "kn", core=corrected.value, kind=Kind.ANSWER, plus_minus=around)
        slope = " + ".join(_SLOPES[power].format(shown) for power in correction.powers if power)
        pulled = f"({slope})" if "+" in slope else slope
        if shown != "L":
            pulled += f" * {shown} / L"
        curve_u = correction.u_true_kn(corrected.reduced)
        _write_plus_minus(hand, corrected, correction, resolution_kn, curve_u, pulled, "kn")
        _note_range(hand, corrected, correction)
        return hand

    return settle(write).working()


def explain_distance(
    correction: LogCorrection,
    corrected: Corrected,
    *,
    elapsed_h: float | None = None,
    resolution_nm: float = 0.01,
    setting: LogSetting | None = None,
) -> Working:
    """Return the lines from the logged distance to the true one, with its ±.

    Parameters
    ----------
    correction, elapsed_h, resolution_nm, setting
        As given to `truemile.core.corrections.corrected_distance`.
    corrected
        What it returned.
    """

    def write(carried: Carried) -> Hand:
        hand = Hand("Corrected distance", carried)
        write_coefficients(hand, correction.powers, correction.coefficients, "in force")
        shown = _write_reading(hand, corrected.read, "d", "distance by the log", "nm", correction, setting)
        factor = "b"
        if not correction.is_factor and elapsed_h is not None:
            minutes = elapsed_h * 60.0
            hand.line(
                "t", f"time {elapsed_text(elapsed_h * 3600.0)}", in_minutes(elapsed_h * 3600.0), 3, "min", core=minutes
            )
            speed = corrected.reduced / elapsed_h
            hand.line("L", "speed that this means", f"60 * {shown} / t", 2, "kn", core=speed)
            curve = curve_formula(correction.powers, "L")
            hand.line("k", "factor at that speed", f"({curve}) / L", 4, core=corrected.factor)
            factor = "k"
        text, around = rounded(corrected.value, corrected.expanded)
        places = max(2, decimals_of(text))
        formula = f"{factor} * {shown}"
        core = corrected.value
        hand.line("D", "true distance", formula, places, "nm", core=core, kind=Kind.ANSWER, plus_minus=around)
        speed_kn = correction.middle_kn if elapsed_h is None else corrected.reduced / elapsed_h
        factor_u = correction.u_factor(speed_kn) * corrected.reduced
        pulled = factor if shown == "d" else f"{factor} * {shown} / d"
        _write_plus_minus(hand, corrected, correction, resolution_nm, factor_u, pulled, "nm")
        _note_range(hand, corrected, correction, speed_known=elapsed_h is not None)
        return hand

    return settle(write).working()


def explain_indicated(correction: LogCorrection, true_kn: float, *, setting: LogSetting | None = None) -> Working:
    """Return the lines from a wanted true speed back to what the log must show.

    Parameters
    ----------
    correction
        What is in force.
    true_kn
        Speed wanted.
    setting
        What is set in the log now; None for what was set when the factor was measured.

    Raises
    ------
    ReadingError
        If the speed cannot be right.
    NoSolution
        If no reading, or more than one, belongs to that speed.
    """
    indicated = indicated_for(correction, true_kn)
    formula = {
        (1,): "W / b",
        (0, 1): "(W - p) / b",
        (0, 1, 2): "(sqrt(b**2 + 4 * g * (W - p)) - b) / (2 * g)",
    }[correction.powers]

    def write(carried: Carried) -> Hand:
        hand = Hand("What the log must show", carried)
        write_coefficients(hand, correction.powers, correction.coefficients, "in force")
        hand.given("W", "true speed wanted", true_kn, 2, "kn")
        measured = correction.setting
        if setting is None or measured is None or setting == measured:
            hand.line("L", "speed on the log", formula, 2, "kn", core=indicated, kind=Kind.ANSWER)
            return hand
        hand.line("L", "speed on the log as it was set then", formula, 2, "kn", core=indicated)
        scaled = _write_settings(hand, measured, setting, "L", back=True)
        now = reading_under(indicated, measured, setting)
        hand.line("L_n", "speed on the log as it is set now", scaled, 2, "kn", core=now, kind=Kind.ANSWER)
        return hand

    return settle(write).working()


def explain_setting(factor: float, current: LogSetting, new: NewSetting) -> Working:
    """Return the lines from the factor and the present setting to the one to enter, and what rounding leaves over.

    Parameters
    ----------
    factor, current
        As given to `truemile.core.log_settings.setting_for`.
    new
        What it returned.
    """
    letter, words, places, unit = _SETTING[current.convention]
    now, exact, entered = f"{letter}_n", f"{letter}_x", f"{letter}_s"
    to_exact, leftover = {
        Convention.MULTIPLIER: (f"{now} * k", f"{now} * k / {entered}"),
        Convention.PERCENT: (f"(100 + {now}) * k - 100", f"(100 + {now}) * k / (100 + {entered})"),
        Convention.PULSES_PER_NM: (f"{now} / k", f"k * {entered} / {now}"),
    }[current.convention]

    def write(carried: Carried) -> Hand:
        hand = Hand(f"New setting, {words}", carried)
        hand.given("k", "log factor, true over indicated", factor, 4)
        hand.given(now, f"{words} set now", current.value, max(places, _typed(current.value)), unit)
        hand.line(exact, f"{words} wanted", to_exact, places, unit, core=new.exact)
        steps = max(places, _typed(new.setting.value))
        hand.given(entered, f"{words} to enter, the nearest step", new.setting.value, steps, unit)
        words_left = "factor that is left over"
        hand.line("k_x", words_left, leftover, 4, core=new.leftover_factor, kind=Kind.ANSWER)
        return hand

    return settle(write).working()


_SLOPES: Final = {1: "b", 2: "2 * g * {}"}


def _typed(value: float) -> int:
    return min(6, decimals_of(f"{value:.8f}".rstrip("0")))


def _write_reading(
    hand: Hand,
    read: float,
    symbol: str,
    words: str,
    unit: str,
    correction: LogCorrection,
    setting: LogSetting | None,
) -> str:
    """Write the reading, brought to the setting that the factor was measured with; return its symbol."""
    hand.given(symbol, words, read, max(1 if unit == "kn" else 2, _typed(read)), unit)
    wanted = correction.setting
    if setting is None or wanted is None or setting == wanted:
        return symbol
    formula = _write_settings(hand, wanted, setting, symbol)
    reduced = f"{symbol}_m"
    core = reading_under(read, setting, wanted)
    hand.line(reduced, "what it would have shown then", formula, 2, unit, core=core)
    return reduced


def _write_settings(hand: Hand, measured: LogSetting, now: LogSetting, symbol: str, *, back: bool = False) -> str:
    """Write both settings; return the formula from a reading of now to one of then, or back."""
    letter, name, places, unit = _SETTING[measured.convention]
    hand.given(f"{letter}_n", f"{name} set now", now.value, max(places, _typed(now.value)), unit)
    was = f"{name} set when the factor was measured"
    hand.given(f"{letter}_m", was, measured.value, max(places, _typed(measured.value)), unit)
    of, by = ("n", "m") if back else ("m", "n")
    return {
        Convention.MULTIPLIER: f"{symbol} * m_{of} / m_{by}",
        Convention.PERCENT: f"{symbol} * (100 + p_{of}) / (100 + p_{by})",
        Convention.PULSES_PER_NM: f"{symbol} * N_{by} / N_{of}",
    }[measured.convention]


def _write_plus_minus(
    hand: Hand, corrected: Corrected, correction: LogCorrection, step: float, of_curve: float, pulled: str, unit: str
) -> None:
    """The doubt is the root of two squares: the correction's own doubt, and the last digit of the reading."""
    places = max(2, decimals_of(rounded(corrected.value, corrected.expanded)[1]))
    hand.given("u_k", "standard uncertainty from the correction", of_curve, places + 2, unit)
    hand.given("r", "last digit of the reading", step, max(1, _typed(step)), unit)
    digit = abs(corrected.u**2 - of_curve**2) ** 0.5
    hand.line("u_r", "standard uncertainty from that digit", f"{pulled} * r / sqrt(12)", places + 2, unit, core=digit)
    hand.line("u", "both together", "hypot(u_k, u_r)", places + 1, unit, core=corrected.u)
    hand.given("c", "coverage factor to 95 %", coverage_factor(correction.dof), 2)
    hand.line("U", "uncertainty that is printed", "c * u", places, unit, core=corrected.expanded, kind=Kind.SHOWN)


def _note_range(hand: Hand, corrected: Corrected, correction: LogCorrection, *, speed_known: bool = True) -> None:
    if not corrected.inside and speed_known:
        low, high = correction.lowest_kn, correction.highest_kn
        hand.note(f"Outside the speeds that were measured, {low:.1f} to {high:.1f} kn on the log: take it with care.")
    elif not speed_known:
        hand.note("The speed is not known, so whether it lies within those measured is not known either.")
