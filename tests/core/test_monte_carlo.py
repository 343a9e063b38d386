"""Propagation of distributions against JCGM 101's own example and exact results."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.core.test_uncertainty import log_factor, log_factor_inputs
from tests.reference_cases import case, matches
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.monte_carlo import draw, propagate
from truemile.core.uncertainty import Input, Shape, evaluate, from_inexact_limit, from_limit


def _block_inputs() -> list[Input]:
    """The distributions of JCGM 101:2008 table 11, as the case states them."""
    trapezoid = Shape.CURVILINEAR_TRAPEZOID
    return [
        Input("standard", 50000623.0, 25.0, 18),
        Input("difference", 215.0, 6.0, 24),
        Input("random", 0.0, 4.0, 5),
        Input("systematic", 0.0, 7.0, 8),
        Input("expansion", 11.5e-6, from_limit(2e-6), shape=Shape.RECTANGULAR),
        Input("bed", -0.1, 0.2),
        Input("swing", 0.0, from_limit(0.5, Shape.ARCSINE), shape=Shape.ARCSINE),
        Input("d expansion", 0.0, from_inexact_limit(1e-6, 0.1e-6), shape=trapezoid, inexactness=0.1e-6),
        Input("d temperature", 0.0, from_inexact_limit(0.05, 0.025), shape=trapezoid, inexactness=0.025),
    ]


def _block(x: Any) -> Any:
    standard, difference, random, systematic, alpha, bed, swing, d_alpha, d_theta = x
    return standard + difference + random + systematic - standard * (d_alpha * (bed + swing) + alpha * d_theta)


def test_jcgm101_gauge_block() -> None:
    """The gauge block of JCGM 101:2008 9.5 has 838 nm, 36 nm and the shortest 99 % interval [745, 932]."""
    block = case("jcgm101-9p5")
    # As many draws as the case's own run, so that chance moves the ends by far less than its 1 nm.
    result = propagate(_block, _block_inputs(), draws=4_000_000, coverage=0.99)
    nominal = 50_000_000.0
    assert matches(block, "y_nm", result.mean - nominal)
    assert matches(block, "u_nm", result.u)
    assert matches(block, "low99", result.shortest_low - nominal)
    assert matches(block, "high99", result.shortest_high - nominal)
    # The first-order budget misses the products whose sensitivity is 0: about 32 to 34 nm, and not 36.
    assert not matches(block, "u_nm", evaluate(_block, _block_inputs()).u)


def test_log_factor_interval() -> None:
    """Drawing the four-run trial gives the wider interval that few degrees of freedom deserve."""
    trial = case("log-factor-budget-a")
    result = propagate(log_factor, log_factor_inputs())
    assert matches(trial, "mc_u", result.u)
    assert matches(trial, "mc_low95", result.low)
    assert matches(trial, "mc_high95", result.high)
    budget = evaluate(log_factor, log_factor_inputs())
    assert result.high - result.low > 2.0 * budget.expanded


@pytest.mark.parametrize(
    ("shape", "limit", "kurtosis"),
    [
        (Shape.NORMAL, math.inf, 3.0),
        (Shape.RECTANGULAR, math.sqrt(3.0), 1.8),
        (Shape.TRIANGULAR, math.sqrt(6.0), 2.4),
        (Shape.ARCSINE, math.sqrt(2.0), 1.5),
        (Shape.CURVILINEAR_TRAPEZOID, math.sqrt(3.0) + 0.2, None),
    ],
)
def test_shapes(shape: Shape, limit: float, kurtosis: float | None) -> None:
    """Each shape has its stated u, keeps within its limits and has the fourth moment of its textbook form."""
    inexactness = 0.2 if shape is Shape.CURVILINEAR_TRAPEZOID else 0.0
    item = Input("x", 10.0, 1.0, shape=shape, inexactness=inexactness)
    drawn = draw(item, np.random.default_rng(7), 400_000) - 10.0
    assert np.mean(drawn) == pytest.approx(0.0, abs=0.01)
    assert np.std(drawn) == pytest.approx(1.0, abs=0.01)
    assert np.max(np.abs(drawn)) <= limit
    if kurtosis is not None:
        assert np.mean(drawn**4) == pytest.approx(kurtosis, rel=0.03)


def test_few_degrees_of_freedom_are_student_t() -> None:
    """Drawn values with 4 degrees of freedom have the 95 % range of Student's t, 2.776 u, and sd √2 u."""
    result = propagate(lambda x: x[0], [Input("x", 0.0, 1.0, 4)], draws=1_000_000)
    # Table G.2 of JCGM 100:2008 (from memory); chance moves the end by about 0.01.
    assert result.high == pytest.approx(2.776, abs=0.03)
    assert result.low == pytest.approx(-2.776, abs=0.03)
    # Variance of Student's t is ν/(ν − 2); with ν = 4 its own scatter dies away slowly.
    assert result.u == pytest.approx(math.sqrt(2.0), rel=0.03)


def test_one_rectangle_has_its_own_factor() -> None:
    """A single rectangular input has 95 % within 1.645 u, less than the normal 1.96 u."""
    result = propagate(lambda x: x[0], [Input("x", 0.0, 1.0, shape=Shape.RECTANGULAR)])
    assert result.high == pytest.approx(0.95 * math.sqrt(3.0), abs=0.01)


def test_exact_input_and_same_seed() -> None:
    """An exact input does not scatter, and one seed gives one answer."""
    inputs = [Input("x", 2.0, 0.0), Input("y", 1.0, 0.1)]
    first = propagate(lambda x: x[0] * x[1], inputs, seed=3)
    assert first == propagate(lambda x: x[0] * x[1], inputs, seed=3)
    assert first != propagate(lambda x: x[0] * x[1], inputs, seed=4)
    assert first.u == pytest.approx(0.2, rel=0.02)
    assert first.shortest_high - first.shortest_low <= first.high - first.low + 1e-12


def test_division_by_zero_is_no_solution() -> None:
    """A model that breaks on some draws is refused, with their number."""
    with pytest.raises(NoSolution, match="each of the 2000 drawn sets must give a finite result"):
        propagate(lambda x: np.log(x[0]), [Input("x", 0.0, 1.0)], draws=2_000)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"draws": 10}, r"draws is 10, but fewer than 1000 draws say nothing"),
        ({"coverage": 95.0}, r"coverage is 95\.0, but a coverage must be between 0 and 1"),
    ],
)
def test_refusals(options: dict[str, Any], message: str) -> None:
    """Too few draws and a coverage in per cent are refused."""
    with pytest.raises(ReadingError, match=message):
        propagate(lambda x: x[0], [Input("x", 0.0, 1.0)], **options)
