"""What a display's readings can tell: against exact results, and against rounding done for real."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference_cases import cases, matches
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.readings_noise import (
    dither_bias,
    dither_u,
    mean_reading,
    noise_sd_in_last_digit,
    resolution_uncertainty,
    runs_needed,
    timing_uncertainty,
)


def _accuracy(prefix: str) -> list[Any]:
    found = [pytest.param(entry, id=entry["id"]) for entry in cases("accuracy") if entry["id"].startswith(prefix)]
    assert len(found) >= 3
    return found


@pytest.mark.parametrize("entry", _accuracy("timing-"))
def test_timing(entry: dict[str, Any]) -> None:
    """A limit of timing error reaches the speed as a rectangle (derived; JCGM 100:2008 4.3.7)."""
    given_ = entry["inputs"]
    result = timing_uncertainty(given_["course_nm"], given_["speed_kn"], given_["interval_error_limit_s"])
    assert matches(entry, "run_s", result.run_s)
    assert matches(entry, "limit_relative", result.limit_relative)
    assert matches(entry, "standard_uncertainty_relative", result.u_relative)
    assert matches(entry, "standard_uncertainty_kn", result.u_kn)


@pytest.mark.parametrize("entry", _accuracy("runs-needed-"))
def test_runs_needed(entry: dict[str, Any]) -> None:
    """The number of double runs for a target, and more of them when they must show their own scatter."""
    given_ = entry["inputs"]
    needed = runs_needed(given_["sd_of_one_double_run_percent"], given_["target_U95_percent"])
    assert matches(entry, "double_runs_if_sd_known", needed.sd_known)
    assert matches(entry, "double_runs_if_sd_estimated_from_the_same_runs", needed.sd_estimated)
    assert needed.sd_estimated > needed.sd_known, "the normal factor was used for a scatter from few runs"


def test_runs_needed_at_the_ends() -> None:
    """Without scatter one run does (two to see that); a wild scatter is still answered quickly."""
    assert runs_needed(0.0, 1.0) == (1, 2)
    wild = runs_needed(100.0, 0.25)
    assert wild.sd_known == math.ceil((1.959963984540054 * 400) ** 2)
    assert 0 < wild.sd_estimated - wild.sd_known < 5


@pytest.mark.parametrize("entry", _accuracy("dither-"))
def test_dither(entry: dict[str, Any]) -> None:
    """The worst error of a mean of rounded readings, as derived exactly in the case."""
    assert matches(entry, "worst_bias_in_last_digit", dither_bias(entry["inputs"]["noise_sd_in_last_digit"]))


def test_dither_between_its_two_sums() -> None:
    """The two ways of summing agree where one hands over to the other, and the ends are right."""
    assert dither_bias(0.3) == pytest.approx(dither_bias(0.3 + 1e-9), rel=1e-6)
    assert dither_u(0.05 - 1e-12) == pytest.approx(dither_u(0.05), rel=1e-9)
    assert (dither_bias(0.0), dither_u(0.0)) == (0.5, pytest.approx(1.0 / math.sqrt(12.0)))
    assert dither_bias(1.0) == pytest.approx(math.exp(-2.0 * math.pi**2) / math.pi, rel=1e-6)


@given(st.floats(0.0, 2.0), st.floats(0.001, 0.5))
def test_more_noise_less_bias(sd: float, more: float) -> None:
    """The more a reading moves, the less its mean depends on the steps; u lies below the worst case."""
    assert dither_bias(sd + more) < dither_bias(sd)
    assert dither_u(sd + more) < dither_u(sd)
    assert dither_u(sd) <= dither_bias(sd)


@pytest.mark.parametrize("sd", [0.1, 0.25, 0.4])
def test_dither_against_rounding_itself(sd: float) -> None:
    """Rounding a few hundred thousand noisy values by the computer's own rule gives the same worst and rms error."""
    generator = random.Random(11)  # noqa: S311 -- a simulation
    places = [(i + 0.5) / 24 for i in range(24)]
    count = 20_000
    errors = [sum(round(place + generator.gauss(0.0, sd)) for _ in range(count)) / count - place for place in places]
    # A mean of 20 000 rounded values scatters by at most 0.5/√20 000 = 0.0035; the grid misses the top by less.
    assert max(map(abs, errors)) == pytest.approx(dither_bias(sd), abs=0.012)
    assert math.sqrt(sum(e * e for e in errors) / len(errors)) == pytest.approx(dither_u(sd), abs=0.004)


def test_steady_display_stays_a_rectangle() -> None:
    """A rock-steady 5.4 keeps 0.029 kn however often it is noted (JCGM 100:2008 F.2.2.1)."""
    for count in (1, 10, 1000):
        result = resolution_uncertainty([5.4] * count, 0.1)
        assert result.steady
        assert result.u == pytest.approx(0.1 / math.sqrt(12.0))


def test_two_digits_are_not_movement() -> None:
    """A reading that only flips between two neighbours may stand still at their edge, so nothing is gained."""
    flipping = resolution_uncertainty([5.4, 5.5] * 20, 0.1)
    assert flipping.steady
    assert flipping.u == pytest.approx(0.1 / math.sqrt(12.0))


def test_a_moving_display_loses_its_steps() -> None:
    """Readings of three or more digits leave little of the steps; Sheppard's correction takes out their own part."""
    readings = [5.2, 5.4, 5.5, 5.6, 5.4, 5.3]
    result = resolution_uncertainty(readings, 0.1)
    assert not result.steady
    assert result.u < 0.001
    # Squares about the mean 5.4 sum to 0.10, so s² = 0.02 = 2 digits².
    assert noise_sd_in_last_digit(readings, 0.1) == pytest.approx(math.sqrt(2.0 - 1.0 / 12.0))


def test_one_stray_digit_among_many_is_not_movement() -> None:
    """Forty steady readings with one stray on each side scatter less than rounding itself explains."""
    assert resolution_uncertainty([5.4] * 40 + [5.3, 5.5], 0.1).steady


def test_sheppard_recovers_the_noise() -> None:
    """From many rounded readings the noise behind the display comes back (sd 0.7 of a digit)."""
    generator = random.Random(5)  # noqa: S311 -- a simulation
    readings = [round(5.43 + generator.gauss(0.0, 0.07), 1) for _ in range(20_000)]
    # The sd of an sd from 20 000 values is 0.5 %.
    assert noise_sd_in_last_digit(readings, 0.1) == pytest.approx(0.7, rel=0.02)


def test_mean_reading() -> None:
    """Mean, s/√n and n − 1 by hand: 1, 2, 3, 4 give 2.5, √(5/3)/2 and 3 (JCGM 100:2008 4.2)."""
    mean = mean_reading([1.0, 2.0, 3.0, 4.0])
    assert mean == (2.5, pytest.approx(math.sqrt(5.0 / 3.0) / 2.0), 3)
    assert mean_reading([5.4]) == (5.4, 0.0, math.inf)


def test_no_reading() -> None:
    """A mean of nothing is refused."""
    with pytest.raises(NotEnoughReadings, match="readings is missing, but a mean needs at least one reading"):
        mean_reading([])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: mean_reading([5.4, math.nan]), r"readings\[1\] is nan, but a reading must be a finite number"),
        (lambda: resolution_uncertainty([5.4], 0.0), r"step is 0\.0, but a display's step must be more than 0"),
        (lambda: resolution_uncertainty([math.inf], 0.1), r"readings\[0\] is inf"),
        (lambda: dither_bias(-0.1), r"noise_sd_in_last_digit is -0\.1, but it must be 0 or more"),
        (lambda: dither_u(math.nan), r"noise_sd_in_last_digit is nan"),
        (lambda: runs_needed(-1.0, 1.0), r"sd_percent is -1\.0"),
        (lambda: runs_needed(1.0, 0.0), r"target_expanded_percent is 0\.0, but a target must be more than 0"),
        (lambda: runs_needed(1.0, 1e-9), r"within reach of a million runs"),
        (lambda: runs_needed(1.0, math.nan), r"target_expanded_percent is nan"),
        (lambda: timing_uncertainty(0.0, 5.0, 1.0), r"course_nm is 0\.0, but it must be more than 0"),
        (lambda: timing_uncertainty(1.0, math.nan, 1.0), r"speed_kn is nan"),
        (lambda: timing_uncertainty(1.0, 5.0, -1.0), r"limit_s is -1\.0"),
    ],
)
def test_refusals(call: Any, message: str) -> None:
    """Impossible readings, steps and targets are refused by name."""
    with pytest.raises(ReadingError, match=message):
        call()
