"""Angles: wrapping, differences, means across north, and bearings as written."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.reference_cases import case, is_naive, matches
from truemile.core.angles import (
    BearingReference,
    circular_mean,
    difference,
    format_bearing,
    parse_bearing,
    reciprocal,
    wrap_180,
    wrap_360,
)
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError

any_angle = st.floats(-1e9, 1e9)


@given(any_angle)
@example(-1e-20)
@example(-360.0)
@example(np.nextafter(180.0, 360.0))
@example(np.nextafter(-180.0, 0.0))
def test_wrapping_stays_in_range(angle: float) -> None:
    """One turn holds every angle once: [0, 360) and (-180, 180]."""
    assert 0 <= wrap_360(angle) < 360
    assert -180 < wrap_180(angle) <= 180


@given(st.floats(-180, 180, exclude_min=True))
def test_an_angle_already_in_range_is_left_alone(angle: float) -> None:
    """Wrapping loses no digit of an angle that needs none."""
    assert wrap_180(angle) == angle


@given(st.integers(-36000, 36000), st.integers(-1000, 1000))
def test_wrapping_is_periodic(tenths: int, turns: int) -> None:
    """Whole turns change nothing (quarter degrees are exact in binary)."""
    angle = tenths / 4
    assert wrap_360(angle + 360 * turns) == wrap_360(angle)
    assert wrap_180(angle + 360 * turns) == wrap_180(angle)


def test_a_number_and_an_array_are_wrapped_alike() -> None:
    """A number gives a number and an array an array, with the same values."""
    angles = np.array([-540.0, -180.0, -7.5, -1e-20, 0.0, 180.0, 359.9, 360.0, 725.0])
    assert wrap_360(angles).tolist() == [wrap_360(float(a)) for a in angles]
    assert wrap_180(angles).tolist() == [wrap_180(float(a)) for a in angles]
    assert reciprocal(angles).tolist() == [reciprocal(float(a)) for a in angles]
    assert difference(angles, 350.0).tolist() == [difference(float(a), 350.0) for a in angles]
    assert difference(10.0, angles).tolist() == [difference(10.0, float(a)) for a in angles]
    assert type(wrap_360(-7.5)) is float


def test_nan_in_a_recording_stays_nan() -> None:
    """A missing heading does not turn into a direction."""
    assert np.isnan(wrap_360(np.array([np.nan]))).all()
    assert np.isnan(wrap_180(np.array([np.nan]))).all()


@pytest.mark.parametrize(
    ("angle", "start", "turn"), [(3, 358, 5), (358, 3, -5), (180, 0, 180), (0, 180, 180), (276, 276, 0)]
)
def test_a_difference_goes_the_short_way(angle: float, start: float, turn: float) -> None:
    """The difference across north is small, and clockwise is positive."""
    assert difference(angle, start) == turn


@given(any_angle)
def test_reciprocal_twice_is_the_same_direction(angle: float) -> None:
    """Turning round twice comes back, to the rounding of the sum."""
    assert abs(difference(reciprocal(reciprocal(angle)), wrap_360(angle))) < 1e-6


def test_circular_mean_across_north() -> None:
    """Readings either side of north average to north and not to south; exact algebra, case circular-mean-a."""
    entry = case("circular-mean-a")
    mean_deg, length = circular_mean(entry["inputs"]["readings_deg"])
    assert matches(entry, "mean_deg", mean_deg)
    assert matches(entry, "mean_resultant_length", length)
    assert not is_naive(entry, "arithmetic_mean_deg", mean_deg)


@given(st.lists(st.floats(-20, 20), min_size=1, max_size=8), st.integers(0, 359))
def test_circular_mean_turns_with_its_readings(readings: list[float], turn: int) -> None:
    """Turning every reading turns the mean as much and leaves the agreement as it was."""
    here, there = circular_mean(readings), circular_mean([r + turn for r in readings])
    assert abs(difference(there.mean_deg, here.mean_deg + turn)) < 1e-9
    assert there.resultant_length == pytest.approx(here.resultant_length, abs=1e-12)


def test_circular_mean_of_nothing_is_refused() -> None:
    """No reading has no mean."""
    with pytest.raises(NotEnoughReadings, match="needs at least one"):
        circular_mean([])


def test_circular_mean_of_opposites_is_refused() -> None:
    """Directions that cancel have no mean direction."""
    with pytest.raises(NoSolution, match="have no mean"):
        circular_mean([0, 90, 180, 270])


def test_circular_mean_refuses_nan() -> None:
    """A reading that is no number is named."""
    with pytest.raises(ReadingError, match="angles_deg is nan"):
        circular_mean([10.0, math.nan])


@pytest.mark.parametrize(
    ("bearing", "reference", "decimals", "text"),
    [
        (276, "T", 0, "276°T"),
        (7.5, "C", 1, "007.5°C"),
        (359.96, "T", 1, "000.0°T"),
        (359.6, "M", 0, "000°M"),
        (359.94, "T", 1, "359.9°T"),
        (-7.5, "M", 1, "352.5°M"),
        (360, None, 0, "000°"),
        (96.25, "T", 2, "096.25°T"),
    ],
)
def test_a_bearing_is_written_with_three_figures(
    bearing: float, reference: BearingReference | None, decimals: int, text: str
) -> None:
    """Three figures before the decimal mark, and never 360."""
    assert format_bearing(bearing, reference, decimals) == text


def test_a_bearing_that_is_no_number_is_not_written() -> None:
    """A nan never reaches the page as a bearing."""
    with pytest.raises(ReadingError, match="bearing_deg is nan"):
        format_bearing(math.nan, "T")


@pytest.mark.parametrize(
    ("text", "bearing", "reference"),
    [
        ("276°T", 276, "T"),
        ("276 t", 276, "T"),
        ("276T", 276, "T"),
        ("007,5°C", 7.5, "C"),
        ("096", 96, None),
        ("96.5º m", 96.5, "M"),
        ("12 degrees true", 12, "T"),
        ("12 deg magnetic", 12, "M"),
        ("360°T", 0, "T"),
        ("045° Compass", 45, "C"),
        ("045 mag.", 45, "M"),
    ],
)
def test_a_bearing_is_read_with_its_reference(text: str, bearing: float, reference: str | None) -> None:
    """Letter or word, with or without the degree sign."""
    assert parse_bearing(text) == (bearing, reference)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a number is needed"),
        ("T", "a number is needed"),
        ("2" * 41, "a bearing has at most 40 characters"),
        ("361°T", "runs from 0 to 360"),
        ("-5", "runs from 0 to 360"),
        ("276°X", "true, magnetic or compass"),
        ("276°T°", "one number of degrees and a letter"),
        ("north", "true, magnetic or compass"),
        ("27 6 T", "digits and at most one decimal mark"),
    ],
)
def test_what_is_no_bearing_is_refused_in_words(text: str, words: str) -> None:
    """The error says what a bearing looks like, under the name of the entry."""
    with pytest.raises(ReadingError, match=words) as caught:
        parse_bearing(text, "bearing_of_mark")
    assert caught.value.field == "bearing_of_mark"


@given(st.floats(0, 359.9), st.sampled_from(["T", "M", "C", None]), st.integers(0, 6))
def test_a_written_bearing_is_read_back(angle: float, reference: BearingReference | None, decimals: int) -> None:
    """Reading what was written gives the bearing to half its last digit, and its reference."""
    degrees, read = parse_bearing(format_bearing(angle, reference, decimals))
    assert read == reference
    assert abs(difference(degrees, angle)) <= 0.5 * 10**-decimals + 1e-9
