"""Agreement between seasons, the control chart and the next calibration, against published values."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.reference_cases import case, matches
from truemile.core.consistency import ewma, next_due, normalised_error
from truemile.core.errors import NotEnoughReadings, ReadingError


def test_normalised_error() -> None:
    """Two seasons' factors disagree by the En of ISO/IEC 17043 (from memory)."""
    seasons = case("en-number")
    given_ = seasons["inputs"]
    error = normalised_error(given_["k1"], given_["U1"], given_["k2"], given_["U2"])
    assert matches(seasons, "En", error)
    assert (error <= 1.0) is seasons["answer"]["consistent"]
    # Adding the uncertainties plainly would give 0.86 and pass what does not agree.
    assert abs(given_["k1"] - given_["k2"]) / (given_["U1"] + given_["U2"]) < 1.0


def test_nist_ewma_chart() -> None:
    """The chart of the NIST/SEMATECH e-Handbook 6.3.2.4, value by value, with its limits."""
    chart = case("nist-ewma")
    given_ = chart["inputs"]
    result = ewma(given_["x"], given_["target"], given_["s"], given_["lam"], given_["k"])
    tolerance = chart["tolerance"]
    assert result.values == pytest.approx(chart["answer"]["ewma"], abs=tolerance["ewma"])
    assert result.high == pytest.approx(chart["answer"]["ucl"], abs=tolerance["limits"])
    assert result.low == pytest.approx(chart["answer"]["lcl"], abs=tolerance["limits"])
    # The handbook finds this process in control.
    assert result.outside == ()


def test_chart_sees_a_shift() -> None:
    """A lasting shift of two deviations is found within a few results, on the side where it is."""
    for sign in (1.0, -1.0):
        result = ewma([50.0] * 3 + [50.0 + sign * 2.0] * 6, target=50.0, s=1.0)
        # z = 2 (1 − 0.7ⁿ) first exceeds 3 √(0.3/1.7) = 1.26 at n = 3.
        assert result.outside == (5, 6, 7, 8)


def test_next_due() -> None:
    """The next calibration of a drifting log (synthetic case after ILAC-G24:2022, control chart)."""
    drift = case("drift-due-a")
    given_ = drift["inputs"]
    result = next_due(given_["season"], given_["factor"], given_["u_each"], given_["allowed_shift_plus_uncertainty"])
    assert matches(drift, "slope_per_season", result.drift_per_unit)
    assert matches(drift, "recalibrate_at_season", result.due)
    # Drift alone, without the uncertainty of the line, would wait until 6.4.
    assert result.due < 3.0 + 0.02 / 0.0059


def test_due_at_once() -> None:
    """Once the uncertainty alone exceeds the allowance, the instrument is due at its last calibration."""
    assert next_due([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], u_each=0.05, allowed=0.02).due == 2.0


def test_no_drift_is_still_due_some_day() -> None:
    """Without drift the growing uncertainty of the line ends the interval, by hand at 1 + √(800/3)."""
    # k·u·√(1/3 + (t − 1)²/2) = allowed; (t − 1)² = 2 ((allowed/(k u))² − 1/3), here with allowed = 10 k u.
    result = next_due([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], u_each=0.001, allowed=0.02, k=2.0)
    assert result.due == pytest.approx(1.0 + math.sqrt(2.0 * (100.0 - 1.0 / 3.0)), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: normalised_error(math.nan, 0.1, 1.0, 0.1), r"x1 is nan, but a result must be a finite number"),
        (lambda: normalised_error(1.0, -0.1, 1.0, 0.1), r"expanded1 is -0\.1, but an uncertainty must be 0 or more"),
        (lambda: normalised_error(1.0, 0.0, 1.0, 0.0), "two exact results cannot be compared"),
        (lambda: ewma([math.inf], 1.0, 1.0), r"values\[0\] is inf"),
        (lambda: ewma([1.0], math.nan, 1.0), "target is nan"),
        (lambda: ewma([1.0], 1.0, 0.0), r"s is 0\.0, but it must be more than 0"),
        (lambda: ewma([1.0], 1.0, 1.0, 1.5), r"lam is 1\.5, but a weight must be above 0 and at most 1"),
        (lambda: next_due([0.0, 1.0], [1.0], 0.1, 0.2), "values is 1, but there are 2 times"),
        (lambda: next_due([0.0, math.nan], [1.0, 1.0], 0.1, 0.2), r"times\[1\] is nan"),
        (lambda: next_due([1.0, 1.0], [1.0, 1.0], 0.1, 0.2), "each result must be later than the one before"),
        (lambda: next_due([0.0, 1.0], [1.0, 1.0], 0.0, 0.2), r"u_each is 0\.0"),
        (lambda: next_due([0.0, 1.0], [1.0, 1.0], 0.1, -0.2), r"allowed is -0\.2"),
    ],
)
def test_refusals(call: Any, message: str) -> None:
    """Numbers that cannot be are refused by name."""
    with pytest.raises(ReadingError, match=message):
        call()


def test_one_result_shows_no_drift() -> None:
    """A single calibration cannot show drift."""
    with pytest.raises(NotEnoughReadings, match="times is 1, but drift needs at least two results"):
        next_due([0.0], [1.0], 0.1, 0.2)
