"""Least squares against certified data, the GUM's calibration line and exact polynomials."""

from __future__ import annotations

import math
from typing import Any

import GTC
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from tests.reference_cases import case, is_naive, matches, nist
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.least_squares import LinearFit, fit, line
from truemile.core.uncertainty import Input, evaluate


def digits(got: Any, certified: Any) -> float:
    """Fewest decimal digits to which numbers agree with certified ones."""
    miss = np.abs(np.asarray(got) - certified) / np.abs(certified)
    return float(-np.log10(max(float(np.max(miss)), 1e-16)))


def _fitted(name: str) -> tuple[dict[str, Any], LinearFit]:
    data = nist(name)
    columns = [data[key] for key in sorted(data) if key[0] == "x"]
    constant = [] if name == "noint1" else [np.ones(len(data["y"]))]
    return data["certified"], fit(np.column_stack(constant + columns), data["y"])


@pytest.mark.parametrize("name", ["norris", "noint1", "longley"])
def test_certified_linear_sets(name: str) -> None:
    """NIST Statistical Reference Datasets: estimates, their deviations and residual sd to 9 digits or more."""
    certified, fitted = _fitted(name)
    assert digits(fitted.coefficients, certified["b"]) >= 9.0
    assert digits(fitted.u, certified["sd_b"]) >= 9.0
    assert digits(fitted.residual_sd, certified["residual_sd"]) >= 9.0
    assert digits(float(np.sum(fitted.residuals**2)), certified["residual_ss"]) >= 9.0
    assert fitted.dof == certified["residual_df"]


def test_normal_equations_would_fail_longley() -> None:
    """The short cut through the inverse of X'X keeps under 9 digits on Longley, so the test above can tell."""
    data = nist("longley")
    x = np.column_stack([np.ones(16), *(data[f"x{i}"] for i in range(1, 7))])
    short_cut = np.linalg.inv(x.T @ x) @ (x.T @ np.array(data["y"]))
    assert digits(short_cut, data["certified"]["b"]) < 9.0


def _misra(b: Any, x: Any) -> tuple[Any, Any]:
    """Values and slopes of b1 (1 − exp(−b2 x))."""
    fall = np.exp(-b[1] * x)
    return b[0] * (1.0 - fall), np.column_stack([1.0 - fall, b[0] * x * fall])


@pytest.mark.parametrize("start", ["start1", "start2"])
def test_certified_curve(start: str) -> None:
    """NIST Misra1a from both certified starts: our fit as the last Gauss–Newton steps reaches 9 digits."""
    data = nist("misra1a")
    x, y = np.array(data["x"]), np.array(data["y"])
    rough = least_squares(
        lambda b: _misra(b, x)[0] - y, data[start], jac=lambda b: _misra(b, x)[1], x_scale="jac", method="lm"
    )
    b = rough.x
    for _ in range(5):
        values, slopes = _misra(b, x)
        step = fit(slopes, y - values)
        b = b + step.coefficients
    last = fit(_misra(b, x)[1], y - _misra(b, x)[0])
    certified = data["certified"]
    assert digits(b, certified["b"]) >= 9.0
    assert digits(last.u, certified["sd_b"]) >= 9.0
    assert digits(last.residual_sd, certified["residual_sd"]) >= 9.0
    assert last.dof == certified["residual_df"]


# ---------------------------------------------------------------- JCGM 100:2008 H.3, thermometer line


def _thermometer(**options: Any) -> LinearFit:
    given_ = case("gum-h3")["inputs"]
    return line(given_["t"], given_["b"], origin=given_["t0"], **options)


def test_gum_h3_calibration_line() -> None:
    """The calibration line of JCGM 100:2008 H.3, its correlation and its value at 30 °C."""
    thermometer = case("gum-h3")
    fitted = _thermometer()
    assert matches(thermometer, "intercept", fitted.coefficients[0])
    assert matches(thermometer, "slope", fitted.coefficients[1])
    assert matches(thermometer, "u_intercept", fitted.u[0])
    assert matches(thermometer, "u_slope", fitted.u[1])
    assert matches(thermometer, "correlation", fitted.correlation(0, 1))
    assert matches(thermometer, "residual_sd", fitted.residual_sd)
    assert matches(thermometer, "dof", fitted.dof)
    value, u = fitted.predict((1.0, thermometer["inputs"]["predict_at"] - thermometer["inputs"]["t0"]))
    assert matches(thermometer, "correction_at_30", value)
    assert matches(thermometer, "u_correction_at_30", u)
    assert not matches(thermometer, "u_correction_at_30", math.hypot(fitted.u[0], 10.0 * fitted.u[1])), (
        "the covariance was dropped"
    )


def test_gum_h3_agrees_with_gtc() -> None:
    """GTC's line fit gives the same line, uncertainties and correlation."""
    given_ = case("gum-h3")["inputs"]
    intercept, slope = GTC.type_a.line_fit([t - given_["t0"] for t in given_["t"]], given_["b"]).a_b
    fitted = _thermometer()
    assert fitted.coefficients == pytest.approx([intercept.x, slope.x], rel=1e-10)
    assert fitted.u == pytest.approx([intercept.u, slope.u], rel=1e-10)
    assert fitted.correlation(0, 1) == pytest.approx(GTC.get_correlation(intercept, slope), rel=1e-10)


def test_common_error_moves_only_the_intercept() -> None:
    """A common error of every reading (JCGM 100:2008 H.3.6, GTC) adds to the intercept and leaves the slope alone."""
    common = case("gum-h3-systematic")
    fitted = _thermometer()
    parts = [
        Input("line", fitted.coefficients[0], fitted.u[0], fitted.u_dof),
        Input("common", 0.0, common["inputs"]["u_common"], shared=True),
    ]
    budget = evaluate(sum, parts)
    assert matches(common, "intercept", budget.value)
    assert matches(common, "u_intercept", budget.u)
    assert matches(common, "nu_intercept", budget.dof)
    assert matches(common, "u_slope", fitted.u[1])
    # Dividing the common error by the root of eleven readings would give 0.0033.
    assert budget.u > common["inputs"]["u_common"]


def test_log_line_uses_the_covariance() -> None:
    """A corrected speed from a log line (synthetic case) has the u of the whole covariance, not the naive one."""
    log = case("log-line-a")
    fitted = line(log["inputs"]["log_reading_kn"], log["inputs"]["true_speed_kn"])
    assert matches(log, "intercept_kn", fitted.coefficients[0])
    assert matches(log, "slope", fitted.coefficients[1])
    assert matches(log, "correlation", fitted.correlation(0, 1))
    value, u = fitted.predict((1.0, 5.0))
    assert matches(log, "corrected_at_5kn", value)
    assert matches(log, "u_corrected_at_5kn", u)
    assert not is_naive(log, "u_at_5kn_ignoring_correlation", u)


# ---------------------------------------------------------------- known uncertainties


def test_stated_uncertainties_weigh() -> None:
    """A weighted mean by hand: 10 ± 1 and 14 ± 2 give 10.8 ± 0.894, with χ² 3.2."""
    fitted = fit([[1.0], [1.0]], [10.0, 14.0], u=[1.0, 2.0])
    assert fitted.coefficients[0] == pytest.approx(10.8)
    assert fitted.u[0] == pytest.approx(math.sqrt(0.8))
    assert fitted.chi2 == pytest.approx(3.2)
    assert (fitted.dof, fitted.u_dof) == (1, math.inf)
    assert math.isnan(fit([[1.0], [1.0]], [10.0, 14.0]).chi2)


def test_as_many_readings_as_unknowns() -> None:
    """Two readings fix a line; how good it is shows only when their uncertainty is stated."""
    bare = line([0.0, 1.0], [1.0, 3.0])
    assert bare.coefficients == pytest.approx([1.0, 2.0])
    assert bare.dof == 0
    assert math.isnan(bare.residual_sd)
    for ask in (lambda: bare.u, lambda: bare.predict((1.0, 0.5)), lambda: bare.correlation(0, 1)):
        with pytest.raises(NotEnoughReadings, match="readings is 2, but as many readings as coefficients"):
            ask()
    stated = line([0.0, 1.0], [1.0, 3.0], u=[0.1, 0.1])
    assert stated.predict((1.0, 0.5)) == (pytest.approx(2.0), pytest.approx(0.1 / math.sqrt(2.0)))


def test_results_cannot_be_changed() -> None:
    """The arrays of a fit are read-only, so that a result stays what it was."""
    fitted = line([0.0, 1.0, 2.0], [0.0, 1.0, 2.1])
    assert fitted.covariance is not None
    for array in (fitted.coefficients, fitted.residuals, fitted.covariance):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


# ---------------------------------------------------------------- properties

figures = st.floats(-10.0, 10.0).map(lambda x: round(x, 3))


@given(st.lists(figures, min_size=3, max_size=3), st.lists(figures, min_size=4, max_size=12, unique=True))
def test_exact_polynomials_come_back(coefficients: list[float], places: list[float]) -> None:
    """Readings that lie exactly on a parabola give it back, with residuals of nothing."""
    x = np.array(places)
    assume(np.min(np.diff(np.sort(x))) > 0.05)
    columns = np.column_stack([np.ones_like(x), x, x**2])
    fitted = fit(columns, columns @ coefficients)
    assert fitted.coefficients == pytest.approx(coefficients, abs=1e-7)
    assert np.max(np.abs(fitted.residuals)) < 1e-9


@given(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6))
def test_scales_do_not_matter(scale_x: float, scale_y: float) -> None:
    """Other units of x and y change line and uncertainties in proportion, and not the correlation."""
    x, y = np.array([4.0, 5.0, 6.1, 7.0, 8.2]), np.array([4.3, 5.2, 6.5, 7.3, 8.7])
    plain, scaled = line(x, y), line(scale_x * x, scale_y * y)
    factors = np.array([scale_y, scale_y / scale_x])
    assert scaled.coefficients == pytest.approx(plain.coefficients * factors, rel=1e-9)
    assert scaled.u == pytest.approx(plain.u * factors, rel=1e-9)
    assert scaled.correlation(0, 1) == pytest.approx(plain.correlation(0, 1), rel=1e-9)


# ---------------------------------------------------------------- refusals


def test_one_speed_gives_no_line() -> None:
    """Runs all at one speed cannot tell slope from intercept, and the refusal names both."""
    with pytest.raises(NoSolution, match=r"readings is \['intercept', 'slope'\], but the readings cannot tell these"):
        line([5.0, 5.0, 5.0], [5.1, 5.2, 5.0])


def test_a_column_of_nothing() -> None:
    """A column of zeros is refused under its name."""
    with pytest.raises(NoSolution, match=r"slope is 0\.0, but no reading says anything about it"):
        line([0.0, 0.0, 0.0], [5.1, 5.2, 5.0])


def test_innocent_columns_are_not_named() -> None:
    """Of three columns only the two that depend on each other are named."""
    with pytest.raises(NoSolution) as caught:
        fit([[1, 1, 0], [2, 2, 1], [3, 3, 0], [4, 4, -1]], [1, 2, 3, 4], names=("a", "b", "c"))
    assert caught.value.given == ["a", "b"]


def test_too_few_readings() -> None:
    """Fewer readings than unknowns are refused with both numbers."""
    with pytest.raises(NotEnoughReadings, match=r"readings is 1, but 2 unknowns \(intercept, slope\) need at least 2"):
        line([5.0], [5.1])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: fit([1.0, 2.0], [1.0, 2.0]), "columns, y and u need one row for each reading"),
        (lambda: fit([[1.0], [1.0]], [1.0]), "columns, y and u need one row for each reading"),
        (lambda: fit([[1.0], [1.0]], [1.0, 1.0], u=[1.0]), "columns, y and u need one row for each reading"),
        (lambda: fit(np.empty((2, 0)), [1.0, 1.0]), "columns, y and u need one row for each reading"),
        (lambda: fit([[1.0], [math.nan]], [1.0, 1.0]), r"columns\[1, 0\] is nan, but it must be finite"),
        (lambda: fit([[1.0], [1.0]], [1.0, math.inf]), r"y\[1\] is inf"),
        (lambda: fit([[1.0], [1.0]], [1.0, 1.0], u=[1.0, 0.0]), r"u\[1\] is 0\.0"),
        (lambda: fit([[1.0], [1.0]], [1.0, 1.0], names=("a", "b")), "the model has 1 coefficients"),
        (lambda: line([0.0, 1.0, 2.0], [0.0, 1.0, 2.1]).predict((1.0,)), "it must be 2 finite numbers"),
        (lambda: line([0.0, 1.0, 2.0], [0.0, 1.0, 2.1]).predict((1.0, math.nan)), "it must be 2 finite numbers"),
    ],
)
def test_refusals(call: Any, message: str) -> None:
    """Tables that do not fit together and numbers that are none are refused, with their place."""
    with pytest.raises(ReadingError, match=message):
        call()
