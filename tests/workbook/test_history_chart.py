"""Charts, trend and due date of a series of factors."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest

from tests.reference_cases import allowance, case
from tests.workbook.season import MAY
from truemile.workbook.history_chart import (
    D2,
    DAYS_PER_MONTH,
    Dated,
    control_chart,
    due,
    trend,
    weighted_chart,
)


def series(values: list[float], u: float = 0.005, step_days: float = 30.0) -> list[Dated]:
    """Return factors measured at even steps."""
    return [Dated(MAY + timedelta(days=step_days * n), value, u) for n, value in enumerate(values)]


def test_individual_limits_are_those_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: ten flow rates, mean 50.81, limits 55.8041 and 45.8159 (from memory)."""
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = control_chart(series(flow))
    assert chart is not None
    assert chart.from_ranges
    assert chart.centre == pytest.approx(50.81, abs=5e-5)
    assert (chart.high, chart.low) == pytest.approx((55.8041, 45.8159), abs=5e-4)
    assert chart.outside == ()


def test_the_weighted_chart_is_that_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: about its own target and deviation the values are as published."""
    entry = case("nist-ewma")
    given = entry["inputs"]
    chart = control_chart(series(given["x"], u=given["s"]))
    assert chart is not None
    known = type(chart)(given["target"], 0.0, 0.0, given["s"], from_ranges=False, outside=())
    found = weighted_chart(series(given["x"]), known)
    assert found is not None
    for value, published in zip(found.values, entry["answer"]["ewma"], strict=True):
        assert abs(value - published) <= allowance(entry, "ewma", published)


def test_few_values_are_held_against_what_was_stated() -> None:
    """Up to seven the limits come from the stated uncertainties, their root mean square, about the median."""
    points = [*series([1.00, 1.01, 1.02]), Dated(MAY + timedelta(days=200), 1.05, 0.010)]
    chart = control_chart(points)
    assert chart is not None
    assert not chart.from_ranges
    assert chart.sd == pytest.approx(math.sqrt((3 * 0.005**2 + 0.010**2) / 4))
    assert chart.centre == pytest.approx(1.015)
    assert chart.high - chart.centre == pytest.approx(3.0 * chart.sd)


def test_equal_values_keep_the_stated_limits() -> None:
    """Eight that are alike to the last digit do not make limits of no width."""
    chart = control_chart(series([1.05] * 9))
    assert chart is not None
    assert not chart.from_ranges
    assert chart.sd == pytest.approx(0.005)


def test_one_that_jumps_out_is_found() -> None:
    """The place of the value outside is named."""
    chart = control_chart(series([1.05, 1.051, 1.049, 1.05, 1.12, 1.05]))
    assert chart is not None
    assert chart.outside == (4,)


@pytest.mark.parametrize("values", [[], [1.05]])
def test_a_chart_needs_two(values: list[float]) -> None:
    """One value has no neighbours."""
    assert control_chart(series(values)) is None
    assert weighted_chart(series(values), None) is None
    assert trend(series(values)) is None
    assert due(series(values)) is None


def test_two_of_one_instant_show_no_drift() -> None:
    """There is no line through one time."""
    points = series([1.05, 1.06], step_days=0.0)
    assert trend(points) is None
    assert due(points) is None


def test_d2_is_that_of_two_normal_values() -> None:
    """The mean range of two is 2/√π standard deviations (any table of control chart constants)."""
    assert pytest.approx(2 / math.sqrt(math.pi), abs=5e-4) == D2


def test_the_trend_is_the_weighted_line() -> None:
    """The same slope and uncertainty as NumPy's own weighted fit with known weights."""
    rng = np.random.default_rng(4)
    u = [0.004, 0.008, 0.006, 0.010, 0.005]
    points = [
        Dated(MAY + timedelta(days=40.0 * n), 1.05 + 0.002 * n + float(rng.normal(0, 0.3 * u[n])), u[n])
        for n in range(5)
    ]
    months = [40.0 * n / DAYS_PER_MONTH for n in range(5)]
    (slope, first), covariance = np.polyfit(
        months, [p.factor for p in points], 1, w=[1 / value for value in u], cov="unscaled"
    )
    found = trend(points)
    assert found is not None
    assert found.per_month == pytest.approx(slope / first, rel=1e-9)
    assert found.expanded_per_month == pytest.approx(1.959964 * math.sqrt(covariance[0, 0]) / first, rel=1e-4)
    assert found.change == pytest.approx(slope * months[-1] / first, rel=1e-9)
    assert found.last == pytest.approx(first + slope * months[-1], rel=1e-9)
    assert not found.significant


def test_scatter_beyond_what_was_stated_widens_the_trend() -> None:
    """Five that scatter three times as much as they should: residuals and Student's t (3.182 for 3) count."""
    points = series([1.00, 1.06, 1.01, 1.07, 1.03], u=0.005)
    months = np.arange(5) * 30.0 / DAYS_PER_MONTH
    _, covariance = np.polyfit(months, [p.factor for p in points], 1, cov=True)
    found = trend(points)
    assert found is not None
    assert found.expanded_per_month * found.first == pytest.approx(3.182446 * math.sqrt(covariance[0, 0]), rel=1e-4)


def test_a_drift_that_is_there_is_found() -> None:
    """Half a per cent a month, stated to 0.5 %, over eight months."""
    found = trend(series([1.0 + 0.005 * n for n in range(8)]))
    assert found is not None
    assert found.significant
    assert found.per_month == pytest.approx(0.005 * DAYS_PER_MONTH / 30.0, rel=1e-9)


def test_a_steady_log_is_seldom_called_drifting() -> None:
    """A simulated log without drift, known as well as stated: some false alarms in 2000, and no more than 5 %.

    Where the points happen to scatter more than stated the line is widened, so it is rather fewer.
    """
    rng = np.random.default_rng(17)
    alarms = 0
    for _ in range(2000):
        found = trend(series([1.05 + float(x) for x in rng.normal(0, 0.005, 6)]))
        alarms += found is not None and found.significant
    assert 0.01 <= alarms / 2000 <= 0.05


def test_the_due_date_is_that_of_the_reference_case() -> None:
    """Its seasons as fifty days each, so that the year's limit stays out of it; and 2 % is what is usually allowed."""
    entry = case("drift-due-a")
    given = entry["inputs"]
    points = [
        Dated(MAY + timedelta(days=50.0 * season), factor, given["u_each"])
        for season, factor in zip(given["season"], given["factor"], strict=True)
    ]
    allowed = given["allowed_shift_plus_uncertainty"]
    found = due(points, allowed)
    assert found is not None
    seasons = (found - MAY).total_seconds() / 86400.0 / 50.0
    wanted = entry["answer"]["recalibrate_at_season"]
    assert abs(seasons - wanted) <= allowance(entry, "recalibrate_at_season", wanted)
    assert due(points) == due(points, 0.02 * points[-1].factor)


def test_nothing_is_due_later_than_in_a_year() -> None:
    """A log that never drifts is measured once a season all the same."""
    points = series([1.05] * 12, u=0.0005)
    assert due(points) == points[-1].at + timedelta(days=365)


def test_what_is_known_too_badly_is_due_at_once() -> None:
    """Uncertainty alone uses up the allowance."""
    points = series([1.05, 1.06], u=0.02)
    assert due(points) == points[-1].at


def test_two_trials_of_one_day_do_not_stop_the_line() -> None:
    """Times that are equal are told apart by a second."""
    points = [*series([1.05, 1.06, 1.055]), Dated(MAY + timedelta(days=60), 1.056, 0.005)]
    assert due(points) is not None
