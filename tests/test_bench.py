"""The simulation behind the table of coverage: its runs follow from its truth."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from truemile.core.log_factor import factor_from_runs
from truemile.core.log_runs import Indication
from truemile.core.measured_course import charted_course


@pytest.fixture(scope="module")
def coverage() -> ModuleType:
    """Load the script."""
    file = Path(__file__).parents[1] / "bench" / "coverage.py"
    spec = importlib.util.spec_from_file_location("bench_coverage", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(("runs", "stream"), [(2, (1.2,)), (3, (1.2, -0.7)), (4, (1.4, -0.9, 0.4)), (6, (1.4, -0.9))])
def test_without_noise_the_estimate_is_the_truth(coverage: ModuleType, runs: int, stream: tuple[float, ...]) -> None:
    """Where nothing is rounded and nothing scatters, enough runs give the true factor back."""
    scenario = coverage.Scenario(
        "exact", runs, stream, uneven_kn=0.0, precision_nm=1e-9, reading_sd_kn=0.0, speed_digit_kn=1e-9
    )
    truth, made = coverage.simulate(scenario, np.random.default_rng(7))
    result = factor_from_runs(charted_course("x", 1.0, 1e-6), made, indication=Indication.SPEED)
    # The watch is still right to a second only: of 430 s, that is 0.0023 at most, and less over several runs.
    assert result.factor == pytest.approx(truth, rel=0.0023)


def test_duration_is_the_time_over_the_course(coverage: ModuleType) -> None:
    """Own speed and stream together cover the length, as an integration in small steps finds too."""
    hours = coverage._duration_h(1.0, 5.0, [-1.2, 0.7, -0.3], 0.5)
    t = np.linspace(0.5, 0.5 + hours, 20_001)
    speed = 5.0 - 1.2 + 0.7 * t - 0.3 * t**2
    assert np.trapezoid(speed, t) == pytest.approx(1.0, abs=1e-9)


def test_a_row_counts_what_it_says(coverage: ModuleType) -> None:
    """Coverage, bias and root mean square of three known errors."""
    found = coverage.Tally(error=[0.01, -0.02, 0.04], hand_error=[0.0, 0.0, 0.03], expanded=[0.03, 0.03, 0.03])
    row = coverage.row_of(coverage.SCENARIOS[0], found)
    assert row.covered_percent == pytest.approx(200 / 3)
    assert row.bias == pytest.approx(0.01)
    assert row.rms == pytest.approx((0.0021 / 3) ** 0.5)
    assert row.hand_bias == pytest.approx(0.01)


def test_measuring_runs_the_chosen_scenarios(coverage: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """The tally of a chunk is repeatable, so that a table can be made again."""
    monkeypatch.setattr(coverage, "SCENARIOS", (replace(coverage.SCENARIOS[0], name="only"),))
    first, again = coverage.tally((0, 0, 3)), coverage.tally((0, 0, 3))
    assert first == again
    assert len(first[1].error) == 3
