"""Speed and stream without log or compass, against published examples and stated truths."""

from __future__ import annotations

import math
from statistics import fmean

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from tests.core.vector_legs import direction
from tests.reference_cases import allowance, case, is_naive, matches
from truemile.core.angles import difference
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.ground_circle import circle_through, three_headings_120


def _split(velocities: list[complex]) -> tuple[list[float], list[float]]:
    return [abs(v) for v in velocities], [math.degrees(np.angle(v)) % 360.0 for v in velocities]


def test_gray_1998() -> None:
    """Case gray-1998: three published ground vectors give the published speed, headings and wind."""
    entry = case("gray-1998")
    found = circle_through(entry["inputs"]["sog"], entry["inputs"]["cog_deg"], unevenness_kn=0.5)
    assert matches(entry, "speed_through_medium", found.speed_kn)
    assert abs(found.speed_kn - entry["answer"]["exact_speed"]) < 1e-5
    assert matches(entry, "wind", found.stream_drift_kn)
    assert matches(entry, "current_set_deg", found.stream_set_deg)
    assert matches(entry, "wind_from_deg", found.stream_set_deg + 180.0)
    for got, wanted in zip(found.headings_true_deg, entry["answer"]["headings_deg"], strict=True):
        assert abs(difference(got, wanted)) <= allowance(entry, "headings_deg", wanted)


def test_three_tracks_are_not_averaged() -> None:
    """Case three-tracks-rms: neither the published root-mean-square short cut nor the plain mean comes out."""
    entry = case("three-tracks-rms")
    found = circle_through(entry["inputs"]["sog"], entry["inputs"]["cog_deg"], unevenness_kn=0.5)
    assert matches(entry, "speed_through_medium", found.speed_kn)
    assert matches(entry, "circle_speed_exact", found.speed_kn)
    assert matches(entry, "wind", found.stream_drift_kn)
    assert matches(entry, "wind_from_deg", found.stream_set_deg - 180.0)
    for got, wanted in zip(found.headings_true_deg, entry["answer"]["headings_deg"], strict=True):
        assert abs(difference(got, wanted)) <= allowance(entry, "headings_deg", wanted)
    assert not is_naive(entry, "rms", found.speed_kn)
    assert not is_naive(entry, "plain_mean", found.speed_kn)


def test_three_headings_120_apart() -> None:
    """Case three-headings-120-a: the closed form, and not the plain mean."""
    entry = case("three-headings-120-a")
    found = three_headings_120(entry["inputs"]["headings_deg"], entry["inputs"]["sog_kn"])
    assert matches(entry, "speed_through_water_kn", found.speed_kn)
    assert matches(entry, "current_kn", found.stream_drift_kn)
    assert not is_naive(entry, "plain_mean", found.speed_kn)


@given(
    speed=st.floats(3, 9),
    drift=st.floats(0.01, 2.5),
    set_deg=st.floats(0, 360),
    first=st.floats(0, 120),
    n=st.integers(3, 9),
)
def test_a_circle_comes_back(speed: float, drift: float, set_deg: float, first: float, n: int) -> None:
    """Speed, stream and headings that the velocities were made from are found."""
    headings = [(first + i * 360.0 / n) % 360.0 for i in range(n)]
    sog, cog = _split([speed * direction(h) + drift * direction(set_deg) for h in headings])
    found = circle_through(sog, cog, unevenness_kn=0.08)
    assert found.speed_kn == pytest.approx(speed, abs=1e-8)
    assert found.stream_drift_kn * direction(found.stream_set_deg) == pytest.approx(
        drift * direction(set_deg), abs=1e-8
    )
    assert max(abs(difference(a, b)) for a, b in zip(found.headings_true_deg, headings, strict=True)) < 1e-6


@given(speed=st.floats(3, 9), part=st.floats(0.001, 0.9), set_deg=st.floats(0, 360), first=st.floats(0, 360))
def test_closed_form_and_its_set(speed: float, part: float, set_deg: float, first: float) -> None:
    """Three headings 120° apart give speed, drift and set back, as long as the boat outruns the stream."""
    headings = [first, first + 120.0, first + 240.0]
    stream = part * speed * direction(set_deg)
    found = three_headings_120(headings, [abs(speed * direction(h) + stream) for h in headings])
    assert found.speed_kn == pytest.approx(speed, rel=1e-6)
    assert found.stream_drift_kn * direction(found.stream_set_deg) == pytest.approx(stream, abs=1e-5)


def test_least_squares_circle_is_that_of_scipy() -> None:
    """Centre, radius and covariance of noisy velocities agree with scipy's own minimum."""
    noise = np.random.default_rng(5).normal(0, 0.08, (7, 2))
    made = [
        5.0 * direction(52.0 * i) + 0.8 * direction(70.0) + complex(*noise[i])  # type: ignore[arg-type]
        for i in range(7)
    ]
    found = circle_through(*_split(made))
    points = np.asarray(made)

    def off(x: np.ndarray) -> np.ndarray:
        return np.abs(points - complex(x[0], x[1])) - x[2]

    wanted = least_squares(off, [0.0, 0.0, 5.0], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    centre = found.stream_drift_kn * direction(found.stream_set_deg)
    assert [centre.real, centre.imag, found.speed_kn] == pytest.approx(wanted.x, abs=1e-7)
    covariance = np.linalg.inv(wanted.jac.T @ wanted.jac) * 2.0 * wanted.cost / 4
    assert found.u_speed_kn == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-5)
    assert found.rms_residual_kn == pytest.approx(math.sqrt(2.0 * wanted.cost / 4), rel=1e-6)
    assert found.u_stream_kn >= math.sqrt(max(covariance[0, 0], covariance[1, 1])) * (1 - 1e-6)


def test_plain_mean_of_speeds_is_too_low_or_high() -> None:
    """The mean of four speeds over the ground is not the speed through the water; the circle's radius is."""
    sog, cog = _split([5.0 * direction(h) + 1.5 * direction(20.0) for h in (0, 90, 180, 270)])
    assert abs(fmean(sog) - 5.0) > 0.05
    found = circle_through(sog, cog)
    assert found.speed_kn == pytest.approx(5.0, abs=1e-9)
    assert math.isnan(circle_through(sog[:3], cog[:3], unevenness_kn=0.1).rms_residual_kn)


@pytest.mark.parametrize(
    ("sog", "cog", "words"),
    [
        ([5.0, 5.0], [0.0, 90.0], "three speeds or more are needed"),
        ([5.0, 5.0, 5.0], [0.0, 90.0], "three speeds or more are needed"),
        ([6.0, 5.1, 4.0], [0.0, 80.0, 180.0], "nothing shows their scatter. Add a fourth heading"),
    ],
)
def test_too_few_velocities(sog: list[float], cog: list[float], words: str) -> None:
    """Three are needed, and a fourth to show the scatter."""
    with pytest.raises(NotEnoughReadings, match=words):
        circle_through(sog, cog)


def test_a_short_arc_shows_no_centre() -> None:
    """Velocities on one side, or on a line, are refused."""
    sog, cog = _split([5.0 * direction(h) + 1.0 * direction(90.0) for h in (0, 3, 6, 9)])
    with pytest.raises(NoSolution, match="so short an arc"):
        circle_through(sog, cog)
    with pytest.raises(NoSolution, match=r"so short an arc.*120° apart"):
        circle_through([4.0, 5.0, 6.0], [30.0, 30.0, 30.0], unevenness_kn=0.1)


def test_speeds_and_courses_must_be_right() -> None:
    """A speed of 0 and a course that is no number are named."""
    with pytest.raises(ReadingError, match=r"sog_kn\[1\]"):
        circle_through([5.0, 0.0, 5.0], [0.0, 120.0, 240.0])
    with pytest.raises(ReadingError, match=r"cog_true_deg\[2\]"):
        circle_through([5.0, 5.0, 5.0], [0.0, 120.0, math.nan])


def test_closed_form_refuses_what_it_does_not_hold_for() -> None:
    """Other headings, other numbers of them, and speeds that no stream makes."""
    with pytest.raises(ReadingError, match="headings 120 degrees apart"):
        three_headings_120([0.0, 90.0, 240.0], [5.0, 5.0, 5.0])
    with pytest.raises(NotEnoughReadings, match="three speeds are needed"):
        three_headings_120([0.0, 90.0, 180.0, 270.0], [5.0, 5.0, 5.0, 5.0])
    with pytest.raises(NoSolution, match="no speed and stream give these three"):
        three_headings_120([0.0, 120.0, 240.0], [9.0, 0.5, 0.5])
