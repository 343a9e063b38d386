"""Weights that free a mean of runs from the stream."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference_cases import case, matches
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.mean_of_means import (
    MOST_GAIN,
    binomial_weights,
    divided_difference_weights,
    leading_residual,
    run_weights,
    worst_tidal_bias,
)


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_equal_intervals_give_the_published_weights(n: int) -> None:
    """Tupper, Introduction to Naval Architecture, pp. 243-245, for four runs; exact algebra for the others."""
    entry = case(f"mom-weights-{n}")
    numerators = binomial_weights(n)
    assert list(numerators) == entry["answer"]["weights_numerator"]
    assert sum(numerators) == entry["answer"]["weights_denominator"]
    weights = [w / sum(numerators) for w in numerators]
    gain = sum(w * w for w in weights) ** 0.5
    assert matches(entry, "noise_gain", gain)
    assert matches(entry, "effective_number_of_runs", 1 / gain**2)
    assert matches(entry, "leading_residual_per_a_h_power", leading_residual(n))


@pytest.mark.parametrize("n", [2, 3, 4])
def test_the_general_weights_are_the_published_ones_at_equal_intervals(n: int) -> None:
    """Tupper pp. 243-245: 1-1, 1-2-1 and 1-3-3-1, with the degree of stream that they remove."""
    entry = case(f"mom-weights-{n}")
    found = run_weights([(-1) ** i for i in range(n)], list(range(n)))
    assert found.degree == entry["answer"]["removes_current_polynomial_up_to_degree"]
    numerators = [w * entry["answer"]["weights_denominator"] for w in found.weights]
    assert numerators == pytest.approx(entry["answer"]["weights_numerator"], abs=1e-7)
    assert matches(entry, "noise_gain", found.noise_gain)
    assert matches(entry, "effective_number_of_runs", found.worth_in_runs)
    assert not found.least_squares


def test_unequal_intervals_take_divided_differences() -> None:
    """Case mom-unequal-a, exact algebra; both routes to the weights agree with it."""
    entry = case("mom-unequal-a")
    times = entry["inputs"]["mid_run_minutes"]
    assert divided_difference_weights(times) == pytest.approx(entry["answer"]["weights"], abs=1e-8)
    assert run_weights([1, -1, 1, -1], times).weights == pytest.approx(entry["answer"]["weights"], abs=1e-8)


@pytest.mark.parametrize("n", [2, 3, 4])
def test_a_tidal_stream_leaves_no_more_than_stated(n: int) -> None:
    """Cases tide-residual-20min, exact algebra."""
    entry = case(f"tide-residual-20min-{n}runs")
    given_ = entry["inputs"]
    bias = worst_tidal_bias(
        n, given_["stream_amplitude_kn"], given_["minutes_between_runs"] / 60, period_h=given_["period_h"]
    )
    assert matches(entry, "worst_bias_kn", bias)


@given(
    gaps=st.lists(st.floats(10, 40), min_size=1, max_size=8),
    coefficients=st.lists(st.floats(-1, 1), min_size=3, max_size=3),
    order=st.permutations([1, -1, 1, -1, 1, -1, 1, -1, 1]),
)
def test_a_polynomial_stream_of_the_degree_drops_out(
    gaps: list[float], coefficients: list[float], order: list[int]
) -> None:
    """Whatever the order and the intervals, the weighted mean is the speed through the water."""
    times = [0.0]
    for gap in gaps:
        times.append(times[-1] + gap / 60)
    signs = list(order[: len(times)])
    if len(set(signs)) < 2:
        with pytest.raises(NotEnoughReadings, match="both ways"):
            run_weights(signs, times)
        return
    found = run_weights(signs, times)
    speeds = [
        6.0 + s * sum(c * t**j for j, c in enumerate(coefficients[: found.degree + 1]))
        for s, t in zip(signs, times, strict=True)
    ]
    assert sum(found.weights) == pytest.approx(1.0, abs=1e-9)
    assert sum(w * v for w, v in zip(found.weights, speeds, strict=True)) == pytest.approx(6.0, abs=1e-7)


def test_runs_that_do_not_alternate_are_fitted_at_a_degree_they_bear() -> None:
    """Out, out, back, back bears a changing stream at a price; three out and one back does not bear a quadratic one."""
    found = run_weights([1, 1, -1, -1], [0, 1, 2, 3])
    assert found.noise_gain == pytest.approx(5**0.5 / 2)
    lopsided = run_weights([1, 1, 1, -1], [0, 1, 2, 3])
    assert lopsided.degree < 2
    assert lopsided.least_squares
    assert lopsided.noise_gain <= MOST_GAIN


def test_one_run_is_no_mean() -> None:
    """The remedy is part of the contract."""
    with pytest.raises(ReadingError, match=r"n_runs is 1.*run the other way"):
        binomial_weights(1)


def test_a_degree_too_high_for_the_runs_is_refused() -> None:
    """Two runs cannot tell a changing stream."""
    with pytest.raises(NotEnoughReadings, match="alternately"):
        run_weights([1, -1], [0, 1], degree=1)
