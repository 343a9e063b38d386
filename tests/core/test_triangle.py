"""The triangle of boat and water, against published runs and exact algebra."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.reference_cases import case, matches
from truemile.core.angles import difference
from truemile.core.constants import ADMIRALTY_MILE_FT, FOOT_M, METRES_PER_NM
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.triangle import (
    along_across,
    crab_angle_deg,
    ground_velocity,
    oblique_distance_nm,
    pair_means_in_stream,
)


def test_three_ways_of_running_in_a_cross_stream() -> None:
    """Transits with heading held are right, track held is low, satellite speed is high; case cross-current-a."""
    entry = case("cross-current-a")
    given_ = entry["inputs"]
    means = pair_means_in_stream(
        given_["speed_through_water_kn"], given_["current_along_kn"], given_["current_across_kn"]
    )
    assert matches(entry, "transits_heading_held_pair_mean_kn", means.heading_held_transits_kn)
    assert means.heading_held_transits_bias == 0
    assert matches(entry, "track_held_pair_mean_kn", means.track_held_kn)
    assert matches(entry, "track_held_relative_bias", means.track_held_bias)
    assert abs(means.crab_angle_deg - entry["answer"]["crab_angle_deg"]) <= 5e-7  # printed to six decimals
    assert matches(entry, "heading_held_gnss_sog_pair_mean_kn", means.heading_held_satellite_kn)
    assert matches(entry, "heading_held_gnss_sog_relative_bias", means.heading_held_satellite_bias)


def test_dividing_by_the_crab_angle_repairs_a_held_track() -> None:
    """The pair mean of a held track over the cosine of the crab angle is the speed through the water."""
    means = pair_means_in_stream(5.0, 0.5, 1.0)
    assert means.track_held_kn / math.cos(math.radians(means.crab_angle_deg)) == pytest.approx(5.0, rel=1e-12)


def test_two_opposite_runs_square_to_the_flow() -> None:
    """Both runs read high alike, as K. Horton's flight test found (2004); case cross-flow-horton-1."""
    entry = case("cross-flow-horton-1")
    given_ = entry["inputs"]
    speeds = [
        ground_velocity(heading, given_["air_speed_kn"], given_["wind_from_deg"] + 180, given_["wind_kn"])[1]
        for heading in given_["headings_deg"]
    ]
    for speed in speeds:
        assert matches(entry, "speed_over_ground_each_kn", speed)
    assert matches(entry, "mean_error_kn", sum(speeds) / 2 - given_["air_speed_kn"])


def test_four_cardinal_headings_do_not_average_to_the_speed_through_the_medium() -> None:
    """The mean over four headings is 101 and not 100 (Kitplanes 2009); case cross-flow-horton-cardinals."""
    entry = case("cross-flow-horton-cardinals")
    given_ = entry["inputs"]
    speeds = [
        ground_velocity(heading, given_["air_speed_kn"], given_["wind_from_deg"] + 180, given_["wind_kn"])[1]
        for heading in given_["headings_deg"]
    ]
    wanted = entry["answer"]["speeds_over_ground_kn"]
    assert all(abs(s - w) <= entry["tolerance"]["abs"] for s, w in zip(speeds, wanted, strict=True))
    assert matches(entry, "mean_kn", sum(speeds) / 4)


def test_course_over_ground_taken_for_heading_makes_a_false_deviation() -> None:
    """A steady stream turns the course over the ground as B and C would; case cog-as-heading-a."""
    entry = case("cog-as-heading-a")
    given_, answer = entry["inputs"], entry["answer"]
    speed, stream_set, drift = (
        given_["speed_through_water_kn"],
        given_["current_set_deg"],
        given_["current_drift_kn"],
    )
    rows = zip(given_["heading_true_deg"], answer["cog_deg"], answer["false_deviation_deg"], strict=True)
    for heading, course, deviation in rows:
        got = ground_velocity(heading, speed, stream_set, drift).course_over_ground_true_deg
        assert abs(difference(got, course)) <= entry["tolerance"]["abs"]
        assert abs(difference(got, heading) - deviation) <= entry["tolerance"]["abs"]
    ratio = along_across(stream_set, math.degrees(drift / speed), 0.0)
    assert matches(entry, "first_order_C_deg", ratio.across_kn)
    assert matches(entry, "first_order_B_deg", -ratio.along_kn)


def test_transit_lines_crossed_obliquely_lengthen_the_run() -> None:
    """Five degrees off the square is 0.38 % more; case off-perpendicular-5."""
    entry = case("off-perpendicular-5")
    given_ = entry["inputs"]
    run_nm = oblique_distance_nm(given_["course_nm"], given_["angle_off_normal_deg"])
    assert matches(entry, "distance_run_nm", run_nm)
    assert matches(entry, "relative_error_if_ignored", run_nm / given_["course_nm"] - 1)


def test_admiralty_mile_is_longer_than_the_international_one() -> None:
    """6080 ft is 1853.184 m; case uk-measured-mile-6080ft (from memory)."""
    entry = case("uk-measured-mile-6080ft")
    assert (entry["inputs"]["foot_m"], entry["inputs"]["international_nautical_mile_m"]) == (FOOT_M, METRES_PER_NM)
    length_m = ADMIRALTY_MILE_FT * FOOT_M
    assert matches(entry, "length_m", length_m)
    assert abs(length_m / METRES_PER_NM - entry["answer"]["ratio_to_international"]) <= 5e-9  # printed digits


headings = st.floats(0, 360)


@given(headings, st.floats(0.5, 15), headings, st.floats(0, 10))
def test_ground_velocity_adds_the_parts_of_the_stream(
    heading: float, speed: float, stream_set: float, drift: float
) -> None:
    """Seen from the heading, the stream adds its parts ahead and to starboard to the boat's own way."""
    along, across = along_across(stream_set, drift, heading)
    assume(math.hypot(speed + along, across) > 1e-3)
    course, over_ground = ground_velocity(heading, speed, stream_set, drift)
    assert over_ground == pytest.approx(math.hypot(speed + along, across), abs=1e-9)
    drift_angle = math.degrees(math.atan2(across, speed + along))
    assert abs(difference(course, heading + drift_angle)) < 1e-6


@given(headings, headings, st.floats(2, 15), st.floats(0, 1.9))
def test_heading_up_by_the_crab_angle_holds_the_track(
    course: float, stream_set: float, speed: float, drift: float
) -> None:
    """Steering the course less the crab angle, the boat makes good the course."""
    along, across = along_across(stream_set, drift, course)
    made_good, over_ground = ground_velocity(course - crab_angle_deg(speed, across), speed, stream_set, drift)
    assert abs(difference(made_good, course)) < 1e-6
    assert over_ground == pytest.approx(math.sqrt(speed**2 - across**2) + along, abs=1e-9)


@given(st.floats(2, 15), st.floats(-1, 1), st.floats(-1, 1))
def test_track_held_is_never_high_and_satellite_speed_never_low(speed: float, along: float, across: float) -> None:
    """The two biases have their sign for every stream that the boat can stem."""
    means = pair_means_in_stream(speed, along, across)
    assert means.track_held_bias <= 0
    assert means.heading_held_satellite_bias >= -1e-15
    assert means.heading_held_transits_bias == pytest.approx(0, abs=1e-15)


def test_a_stream_to_starboard_is_positive_across() -> None:
    """A stream setting east lies to starboard of a boat heading north, and asks her to head up to port."""
    assert along_across(90.0, 1.0, 0.0).across_kn == pytest.approx(1.0)
    assert crab_angle_deg(5.0, 1.0) > 0 > crab_angle_deg(5.0, -1.0)


@pytest.mark.parametrize("across", [5.0, -5.0, 6.0])
def test_a_cross_stream_as_strong_as_the_boat_has_no_solution(across: float) -> None:
    """No heading holds the track."""
    with pytest.raises(NoSolution, match="cannot hold a track"):
        crab_angle_deg(5.0, across)
    with pytest.raises(NoSolution, match="cannot hold a track"):
        pair_means_in_stream(5.0, 0.0, across)


@pytest.mark.parametrize(("along", "across"), [(5.0, 0.0), (-6.0, 0.0), (4.0, 3.0)])
def test_a_stream_that_the_boat_cannot_stem_has_no_pair(along: float, across: float) -> None:
    """Against such a stream the second run is never finished."""
    with pytest.raises(NoSolution, match="makes no way"):
        pair_means_in_stream(5.0, along, across)


def test_a_boat_that_lies_still_has_no_course_over_the_ground() -> None:
    """Stemming a stream of her own speed she makes no course."""
    with pytest.raises(NoSolution, match="lies still"):
        ground_velocity(10.0, 3.0, 190.0, 3.0)
    with pytest.raises(NoSolution, match="lies still"):
        ground_velocity(10.0, 0.0, 190.0, 0.0)


def test_a_negative_speed_is_refused() -> None:
    """A drift has a size and a direction."""
    with pytest.raises(ReadingError, match="stream_drift_kn is -1"):
        ground_velocity(0.0, 5.0, 0.0, -1.0)
    with pytest.raises(ReadingError, match="drift_kn is -1"):
        along_across(0.0, -1.0, 0.0)
    with pytest.raises(ReadingError, match="speed_kn is -5"):
        ground_velocity(0.0, -5.0, 0.0, 1.0)


@pytest.mark.parametrize("angle", [90.0, -90.0, 120.0])
def test_a_track_along_the_transit_lines_is_refused(angle: float) -> None:
    """A track that never crosses has no length between the lines."""
    with pytest.raises(ReadingError, match="crosses the lines"):
        oblique_distance_nm(1.0, angle)
