"""The lines of a swing: hand rules, least squares and deviations, each what a calculator gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.swings import EIGHT, NOON, TRUTH, over_ground
from tests.core.test_deviation_curve import exact_of
from tests.core.test_deviation_fit import observed, swung
from tests.core.vector_legs import direction
from tests.reference_cases import case
from tests.working.trials import check_every_line
from truemile.core.angles import wrap_360
from truemile.core.deviation_curve import LETTERS
from truemile.core.deviation_fit import fit_deviation
from truemile.core.deviation_hand import Observed
from truemile.core.swing import analyse_swing
from truemile.core.swing_readings import Electrics, SwingConditions, SwingMethod, SwingReading
from truemile.working.deviation import explain_fit, explain_swing
from truemile.working.lines import Kind


def test_the_handbook_by_hand_and_by_least_squares() -> None:
    """Pub. 226 art. 501 [HoMCA]_: 1, 12, 8, 5, 1.5 by hand; 11.94 and 7.96 by least squares, in one working."""
    fit = fit_deviation(observed(case("pub226-501-lsq")), resolution_deg=0.1)
    working = explain_fit(fit)
    check_every_line(working)
    by_hand = [working.line(f"{letter}_h").number_text for letter in LETTERS]
    assert by_hand == ["1.00", "12.00", "8.00", "5.00", "1.50"]
    assert [working.line(x).number_text for x in LETTERS] == ["1.00", "11.94", "7.96", "5.00", "1.50"]
    assert working.line("s").value == pytest.approx(0.08, abs=0.001)
    assert working.line("A").plus_minus == "0.09"  # 3.18 times 0.0296


@given(
    st.sampled_from([6, 8, 12, 16]),
    st.lists(st.integers(-12, 12), min_size=16, max_size=16),
    st.booleans(),
)
@settings(deadline=None, max_examples=30)
def test_every_line_of_a_fit_is_what_a_calculator_gives(n: int, noise: list[int], even: bool) -> None:
    """Coefficients, residuals and scatter follow from the printed lines above them."""
    headings = [i * 360.0 / n + (0 if even else (7 * i * i) % 11) for i in range(n)]
    swing = [Observed(h, round(TRUTH.deviation_deg(h) + noise[i] / 10, 1)) for i, h in enumerate(headings)]
    fit = fit_deviation(swing, resolution_deg=0.1)
    working = explain_fit(fit)
    check_every_line(working)
    for letter, value in zip(LETTERS, fit.coefficients, strict=True):
        line = working.line(letter)
        assert line.kind is Kind.ANSWER
        assert working.line(f"{letter}_q").kind is (Kind.WORKED if even else Kind.GIVEN)
        assert abs(line.value - value) <= 1.0000001 * 10.0**-line.decimals


def test_the_exact_form_is_checked_by_its_sines() -> None:
    """Each deviation on the curve satisfies the form with the printed coefficients."""
    swing = swung(exact_of(case("exact-coefficients-a")), np.arange(16) * 22.5, 0)
    working = explain_fit(fit_deviation(swing))
    check_every_line(working)
    assert working.line("B_q").decimals >= 4
    assert working.line("p_3").value == pytest.approx(np.sin(np.radians(working.line("q_3").value)), abs=2e-4)


def test_five_readings_and_cardinal_rules() -> None:
    """Without a scatter nothing is said of it."""
    working = explain_fit(fit_deviation(swung(TRUTH, np.arange(5) * 72.0, 1)))
    check_every_line(working)
    assert "s" not in {line.symbol for line in working.lines}
    assert any("nothing that shows the scatter" in note for note in working.notes)


def _bearings(mark: float) -> list[SwingReading]:
    return [
        SwingReading(h, bearing_compass_deg=wrap_360(round(mark - TRUTH.deviation_deg(h), 1)), electrics=state)
        for state in (Electrics.OFF, Electrics.ON)
        for h in EIGHT
    ]


def _swing(method: SwingMethod) -> tuple[list[SwingReading], SwingConditions]:
    if method is SwingMethod.KNOWN_BEARING:
        return _bearings(2.0), SwingConditions(-3.0, bearing_true_deg=359.0)
    if method is SwingMethod.UNKNOWN_BEARING:
        return _bearings(2.0), SwingConditions()
    if method is SwingMethod.GROUND_VECTORS:
        return over_ground(EIGHT, stream=0.7 * direction(60.0)), SwingConditions(-3.0)
    readings = []
    for h in EIGHT:
        d = round(TRUTH.deviation_deg(h), 1)
        if method is SwingMethod.TRUSTED_HEADING:
            readings.append(SwingReading(h, reference_deg=wrap_360(h + d - 3.0)))
        elif method is SwingMethod.RECIPROCAL:
            readings.append(SwingReading(h, bearing_compass_deg=wrap_360(2.0 - d), reference_deg=182.0))
        else:
            readings.append(SwingReading(h, bearing_compass_deg=wrap_360(2.0 - d), reference_deg=359.0, taken_at=NOON))
    return readings, SwingConditions(-3.0)


@pytest.mark.parametrize("method", list(SwingMethod))
def test_the_deviations_of_each_method(method: SwingMethod) -> None:
    """Each reading's deviation is worked from what was read, across north too, and the curve in a part of its own."""
    readings, conditions = _swing(method)
    result = analyse_swing(readings, method, conditions)
    working = explain_swing(result)
    check_every_line(working)
    for n, each in enumerate(result.deviations.observed, 1):
        assert working.line(f"d_{n}").value == pytest.approx(each.deviation_deg, abs=0.1000001)
    assert len(working.parts) == len(result.curves)
    if len(result.curves) == 2:
        assert [part.title for part in working.parts] == [
            "Deviation curve, electrics off",
            "Deviation curve, electrics on",
        ]


def test_a_lost_a_has_no_answer() -> None:
    """With an object of unknown bearing there is a mean, and no line that claims A."""
    readings, conditions = _swing(SwingMethod.UNKNOWN_BEARING)
    working = explain_swing(analyse_swing(readings, SwingMethod.UNKNOWN_BEARING, conditions)).parts[0]
    assert "A" not in {line.symbol for line in working.lines}
    assert working.line("A_q").kind is Kind.WORKED
    assert any("A is taken as 0" in note for note in working.notes)
    assert [line.symbol for line in working.answers] == ["B", "C", "D", "E"]
