"""Corrections put to use: speeds and distances, both directions, alone and in columns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference_cases import case, is_naive, matches
from truemile.core.corrections import (
    LogCorrection,
    corrected_distance,
    corrected_speed,
    corrected_speeds,
    factor_from_percent_error,
    indicated_for,
)
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.least_squares import line
from truemile.core.log_settings import Convention, LogSetting

FACTOR = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4)
AS_NEW = LogSetting(Convention.MULTIPLIER, 1.0)


def _line_a() -> tuple[dict[str, object], LogCorrection]:
    entry = case("log-line-a")
    fitted = line(entry["inputs"]["log_reading_kn"], entry["inputs"]["true_speed_kn"])
    covariance = tuple(tuple(float(x) for x in row) for row in fitted.covariance)
    return entry, LogCorrection((0, 1), tuple(map(float, fitted.coefficients)), covariance, fitted.dof, 2.1, 7.2)


def test_a_line_keeps_its_covariance() -> None:
    """Case log-line-a (pattern of JCGM 100 H.3): at 5 kn the cross term makes all the difference."""
    entry, correction = _line_a()
    assert matches(entry, "intercept_kn", correction.coefficients[0])
    assert matches(entry, "slope", correction.coefficients[1])
    assert matches(entry, "corrected_at_5kn", correction.true_kn(5.0))
    assert matches(entry, "u_corrected_at_5kn", correction.u_true_kn(5.0))
    assert not is_naive(entry, "u_at_5kn_ignoring_correlation", correction.u_true_kn(5.0))
    assert is_naive(entry, "u_at_5kn_ignoring_correlation", correction.without_cross_terms().u_true_kn(5.0))


@pytest.mark.parametrize("name", ["percent-to-factor-10", "percent-to-factor-m5"])
def test_a_percentage_is_of_the_true_speed(name: str) -> None:
    """Exact algebra: a log that reads p % too much needs 1/(1 + p), not 1 - p."""
    entry = case(name)
    factor = factor_from_percent_error(entry["inputs"]["log_reads_percent_too_much"])
    assert matches(entry, "factor_true_over_indicated", factor)
    assert not is_naive(entry, "factor_one_minus_p", factor)
    correction = LogCorrection((1,), (factor,), ((1e-6,),), 50.0, 4.0, 8.0)
    found = corrected_distance(correction, entry["inputs"]["logged_nm"])
    assert matches(entry, "true_distance_nm", found.value)


def test_a_log_cannot_read_a_hundred_percent_too_little() -> None:
    """It would show nothing at all."""
    with pytest.raises(ReadingError, match="percent_too_much is -100"):
        factor_from_percent_error(-100.0)


@given(speed=st.floats(2.0, 9.0))
def test_there_and_back_returns(speed: float) -> None:
    """The reading for a true speed, corrected, is that speed, for a factor and for a line."""
    for correction in (FACTOR, _line_a()[1]):
        assert correction.true_kn(indicated_for(correction, speed)) == pytest.approx(speed, rel=1e-9)


@given(speeds=st.lists(st.floats(0.5, 12.0), min_size=1, max_size=30))
def test_a_column_is_corrected_as_its_readings_are(speeds: list[float]) -> None:
    """One implementation for one reading and for many."""
    for correction in (FACTOR, _line_a()[1]):
        true, expanded, inside = corrected_speeds(correction, speeds)
        for i, speed in enumerate(speeds):
            one = corrected_speed(correction, speed)
            assert true[i] == pytest.approx(one.value, rel=1e-12)
            assert expanded[i] == pytest.approx(one.expanded, rel=1e-9)
            assert bool(inside[i]) is one.inside


def test_a_log_set_anew_is_not_corrected_twice() -> None:
    """With the factor entered in the instrument, the same water past the paddle gives the same true speed."""
    correction = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4, setting=AS_NEW)
    before = corrected_speed(correction, 6.3, setting=AS_NEW)
    after = corrected_speed(correction, 6.3 * 0.934, setting=LogSetting(Convention.MULTIPLIER, 0.934))
    assert after.value == pytest.approx(before.value, rel=1e-12)
    assert after.value != pytest.approx(6.3 * 0.934 * 0.934, rel=1e-3)
    assert after.inside
    gone = corrected_distance(correction, 9.34, setting=LogSetting(Convention.MULTIPLIER, 0.934))
    assert gone.value == pytest.approx(9.34, rel=1e-12)


def test_outside_the_speeds_that_were_measured_is_said() -> None:
    """State the range: a factor outside it is a guess."""
    assert corrected_speed(FACTOR, 6.3).inside
    assert not corrected_speed(FACTOR, 4.0).inside
    assert not corrected_distance(FACTOR, 10.0).inside
    assert corrected_distance(FACTOR, 6.3, elapsed_h=1.0).inside


def test_the_last_digit_of_the_reading_counts() -> None:
    """A coarse display adds its own d/√12 (JCGM 100 F.2.2.1)."""
    fine, coarse = (corrected_speed(FACTOR, 6.3, resolution_kn=d) for d in (0.01, 0.5))
    assert coarse.u == pytest.approx(math.hypot(0.0055 * 6.3, 0.934 * 0.5 / math.sqrt(12)))
    assert fine.expanded < coarse.expanded


def test_a_line_needs_the_time_of_a_distance() -> None:
    """The factor changes with speed, so the speed must be known."""
    correction = _line_a()[1]
    with pytest.raises(ReadingError, match=r"elapsed is missing.*factor in force changes with speed"):
        corrected_distance(correction, 10.0)
    found = corrected_distance(correction, 10.0, elapsed_h=2.0)
    assert found.factor == pytest.approx(correction.factor(5.0))


@pytest.mark.parametrize("speed", [0.0, -3.0, math.nan, math.inf, 100.0])
def test_a_speed_that_cannot_be_is_refused(speed: float) -> None:
    """Both directions say the same."""
    for use in (corrected_speed, indicated_for):
        with pytest.raises(ReadingError, match="above 0 and at most 60 kn"):
            use(FACTOR, speed)


@pytest.mark.parametrize(("distance", "elapsed_h"), [(0.0, 1.0), (math.nan, 1.0), (5.0, 0.0), (5.0, math.inf)])
def test_a_distance_or_time_that_cannot_be_is_refused(distance: float, elapsed_h: float) -> None:
    """The field says which."""
    with pytest.raises(ReadingError, match=r"logged_nm|elapsed"):
        corrected_distance(FACTOR, distance, elapsed_h=elapsed_h)


def test_a_wrong_row_of_a_column_is_named() -> None:
    """The reader can find it in the file."""
    with pytest.raises(ReadingError, match=r"rows\[1\].indicated_kn is nan.*1 of 3 rows"):
        corrected_speeds(FACTOR, [6.0, math.nan, 6.1])


def test_a_boat_at_rest_stays_at_rest() -> None:
    """A recording has readings of 0; a line's intercept does not move the boat."""
    true, _, inside = corrected_speeds(_line_a()[1], np.array([0.0, 5.0]))
    assert true[0] == 0.0
    assert not inside[0]


def test_a_curve_that_turns_back_is_refused() -> None:
    """No reading belongs to a speed that the curve never reaches."""
    bent = LogCorrection((0, 1, 2), (0.0, 2.0, -0.2), ((0.0,) * 3,) * 3, 5.0, 3.0, 5.0)
    with pytest.raises(NoSolution, match=r"true_kn is 9\.0.*3\.0 to 5\.0 kn"):
        indicated_for(bent, 9.0)


def test_parts_that_do_not_fit_are_refused() -> None:
    """A line with one coefficient is no line."""
    with pytest.raises(ReadingError, match="powers is"):
        LogCorrection((0, 1), (1.0,), ((1.0,),), 5.0, 3.0, 5.0)
