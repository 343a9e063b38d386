"""The simulation behind the table of coverage: its runs follow from its truth, and its rows count what they say."""

from __future__ import annotations

import importlib
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from truemile.core.log_runs import Conditions
from truemile.core.log_trial import analyse_trial
from truemile.core.measured_course import charted_course


@pytest.fixture(scope="module")
def coverage() -> ModuleType:
    """Load the script, with its neighbours beside it as when it is run."""
    folder = str(Path(__file__).parents[1] / "bench")
    sys.path.insert(0, folder)
    try:
        return importlib.import_module("coverage")
    finally:
        sys.path.remove(folder)


@pytest.fixture(scope="module")
def simulated(coverage: ModuleType) -> ModuleType:
    """The making of runs and legs."""
    return sys.modules[coverage.simulate_course.__module__]


@pytest.mark.parametrize("runs", [3, 4, 6])
def test_without_noise_the_estimate_is_the_truth(coverage: ModuleType, runs: int) -> None:
    """Where nothing is rounded and nothing scatters, enough runs in a tide give the true factor back."""
    scenario = replace(
        coverage.COURSES[0], runs=runs, uneven_kn=1e-9, precision_nm=1e-9, reading_sd_kn=0.0, speed_digit_kn=1e-6
    )
    truth, made = coverage.simulate_course(scenario, np.random.default_rng(7))
    result = analyse_trial(charted_course("x", 1.0, 1e-6), made, Conditions(speed_resolution_kn=0.001))
    # The watch is still right to a second only, of some 600 s, and three runs leave a little of a turning tide.
    assert result.factor == pytest.approx(truth.factor(result.quoted_at_kn), rel=0.004)


def test_duration_is_the_time_over_the_course(simulated: ModuleType) -> None:
    """Own speed and tide together cover the length, as an integration in small steps finds too."""
    tide = simulated.Tide(0.3, 1.2, 0.8)
    hours = simulated._duration_h(1.0, 5.0, -1, tide, 0.5)
    times = np.linspace(0.5, 0.5 + hours, 20_001)
    speed = 5.0 - np.array([tide.at(t) for t in times])
    assert np.trapezoid(speed, times) == pytest.approx(1.0, abs=1e-8)


def test_a_row_counts_what_it_says(coverage: ModuleType) -> None:
    """Coverage, bias and root mean square of three known errors, in percent."""
    found = coverage.Tally(error=[0.01, -0.02, 0.04], hand_error=[0.0, 0.0, 0.03], expanded=[0.03, 0.03, 0.03])
    row = coverage.row_of(0, found)
    assert row.covered_percent == pytest.approx(200 / 3)
    assert row.bias_percent == pytest.approx(1.0)
    assert row.rms_percent == pytest.approx(100 * (0.0021 / 3) ** 0.5)
    assert row.hand_bias_percent == pytest.approx(1.0)


def test_a_chunk_can_be_made_again(coverage: ModuleType) -> None:
    """The same chunk gives the same trials, so that the table can be made again."""
    first, again = coverage.tally((0, 0, 3)), coverage.tally((0, 0, 3))
    assert first == again
    assert len(first[1].error) == 3
