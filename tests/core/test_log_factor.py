"""The log factor of one engine speed, against published cases and stated truths."""

from __future__ import annotations

import math
from datetime import timedelta

import GTC
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.log_strategies import MILE, NOON, runs_at, truth
from tests.reference_cases import case, is_naive, matches
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.factor_budget import group_of
from truemile.core.log_factor import factor_from_runs, speed_over_ground_kn, two_run_distance_factor
from truemile.core.log_runs import Conditions, Direction, Indication, Run, Steering
from truemile.core.measured_course import charted_course

approx = pytest.approx


# ---------------------------------------------------------------- facts of the trade


def test_six_cables_in_five_minutes_thirty_four() -> None:
    """0.6 nm in 5 min 34 s is 6.47 kn; with 7.6 kn indicated the factor is 0.851 (common practice, no source)."""
    speed = speed_over_ground_kn(0.6, 334.0)
    assert round(speed, 2) == 6.47
    assert round(round(speed, 2) / 7.6, 3) == 0.851


def test_two_run_factors_are_averaged_by_hand() -> None:
    """Run factors 0.85 and 0.86 average 0.855 (common practice, no source)."""
    runs = runs_at([0, 20], [0.85 * 7, 0.86 * 7], [7.0, 7.0])
    found = factor_from_runs(MILE, runs)
    assert [round(r.factor, 6) for r in found.runs] == [0.85, 0.86]
    assert found.hand_factor == approx(0.855, abs=1e-9)
    assert found.factor == approx(0.855, abs=1e-9)


@given(factor=st.floats(0.7, 1.4), water_kn=st.floats(3, 9), stream_kn=st.floats(-1, 1), n=st.integers(2, 6))
def test_distance_and_speed_give_one_factor_when_one_sensor_feeds_both(
    factor: float, water_kn: float, stream_kn: float, n: int
) -> None:
    """Common practice, no source."""
    mids = [20.0 * i for i in range(n)]
    ground, log = truth(factor, [water_kn] * n, mids, lambda _: stream_kn)
    by_speed = factor_from_runs(MILE, runs_at(mids, ground, log))
    by_distance = factor_from_runs(MILE, runs_at(mids, ground, log, counter=True))
    assert by_distance.indication is Indication.DISTANCE
    assert by_distance.factor == approx(by_speed.factor, rel=1e-9)


# ---------------------------------------------------------------- cases


@pytest.mark.parametrize("name", ["mom-synthetic-a", "mom-synthetic-b"])
def test_a_quadratic_stream_drops_out_of_four_runs(name: str) -> None:
    """Synthetic cases with a stated truth; neither the plain mean nor the first pair is returned."""
    entry = case(name)
    ground = entry["inputs"]["speed_over_ground_kn"]
    found = factor_from_runs(MILE, runs_at(entry["inputs"]["mid_run_minutes"], ground, [6.0] * 4))
    assert matches(entry, "speed_through_water_kn", found.water_kn)
    assert not is_naive(entry, "plain_mean_of_all_runs_kn", found.water_kn)
    assert not is_naive(entry, "mean_of_first_pair_kn", found.water_kn)


def test_speeds_are_averaged_and_not_times() -> None:
    """Case average-speeds-not-times-a, with the stream along the course."""
    entry = case("average-speeds-not-times-a")
    runs = [
        Run(Direction.OUT, entry["inputs"]["time_with_s"], speed_readings_kn=(5.0,)),
        Run(Direction.BACK, entry["inputs"]["time_against_s"], speed_readings_kn=(5.0,)),
    ]
    found = factor_from_runs(charted_course("mile", entry["inputs"]["course_nm"], 0.001), runs)
    assert matches(entry, "speed_through_water_kn", found.water_kn)
    assert matches(entry, "current_along_kn", found.stream_along_kn)
    assert not is_naive(entry, "from_mean_time_kn", found.water_kn)


def test_logged_distances_over_unequal_times() -> None:
    """Case log-distance-two-runs-a, through the estimate and through the closed form."""
    entry = case("log-distance-two-runs-a")
    times, logged = entry["inputs"]["time_s"], entry["inputs"]["logged_nm"]
    runs = [
        Run(d, t, log_stop_nm=log) for d, t, log in zip((Direction.OUT, Direction.BACK), times, logged, strict=True)
    ]
    found = factor_from_runs(MILE, runs)
    closed = two_run_distance_factor(1.0, tuple(times), tuple(logged))
    for factor in (found.factor, closed):
        assert matches(entry, "factor_true_over_indicated", factor)
        assert not is_naive(entry, "two_D_over_L1_plus_L2", factor)
    assert matches(entry, "current_along_kn", found.stream_along_kn)


def test_the_same_weights_go_above_and_below() -> None:
    """Case log-factor-n-runs-a: not the mean of ratios, not the ratio of plain means."""
    entry = case("log-factor-n-runs-a")
    given_ = entry["inputs"]
    runs = runs_at(given_["mid_run_minutes"], given_["speed_over_ground_kn"], given_["log_reading_kn"])
    found = factor_from_runs(MILE, runs)
    assert matches(entry, "factor_true_over_indicated", found.factor)
    assert not is_naive(entry, "mean_of_ratios", found.factor)
    assert not is_naive(entry, "ratio_of_plain_means", found.factor)
    assert found.hand_factor == approx(entry["naive"]["mean_of_ratios"], abs=1e-7)
    assert found.ladder[1].factor == approx(entry["naive"]["ratio_of_plain_means"], abs=1e-7)


def test_mid_run_times_are_used() -> None:
    """Case mid-run-times-a: neither start times nor equal steps."""
    entry = case("mid-run-times-a")
    given_ = entry["inputs"]
    runs = [
        Run(
            Direction.BACK if i % 2 else Direction.OUT,
            seconds,
            started_at=NOON + timedelta(minutes=start),
            speed_readings_kn=(5.5,),
        )
        for i, (start, seconds) in enumerate(zip(given_["start_minutes"], given_["run_seconds"], strict=True))
    ]
    found = factor_from_runs(charted_course("mile", given_["course_nm"], 0.001), runs)
    assert matches(entry, "speed_through_water_kn", found.water_kn)
    assert found.weights.weights == approx(entry["answer"]["weights"], abs=1e-6)
    mids = [60 * r.mid_h + entry["answer"]["mid_run_minutes"][0] for r in found.runs]
    assert mids == approx(entry["answer"]["mid_run_minutes"], abs=1e-6)
    assert [r.ground_kn for r in found.runs] == approx(entry["answer"]["speed_over_ground_kn"], abs=1e-6)
    for naive in entry["naive"]:
        assert not is_naive(entry, naive, found.water_kn)


def test_a_held_track_is_divided_by_the_cosine_of_the_crab() -> None:
    """Case cross-current-a: the pair mean of a held track is low by the cosine, of a held heading it is right."""
    entry = case("cross-current-a")
    speed, along = entry["inputs"]["speed_through_water_kn"], entry["inputs"]["current_along_kn"]
    crab = entry["answer"]["crab_angle_deg"]
    mean = entry["answer"]["track_held_pair_mean_kn"]
    runs = runs_at([0, 20], [mean + along, mean - along], [speed, speed])
    held = factor_from_runs(MILE, runs, Conditions(steering=Steering.TRACK_HELD, crab_deg=crab))
    assert held.water_kn == approx(speed, abs=1e-7)
    assert held.stream_across_kn == approx(entry["inputs"]["current_across_kn"], abs=1e-6)
    assert held.stream_along_kn == approx(along, abs=1e-7)
    assert held.mean_ground_kn / speed - 1 == approx(entry["answer"]["track_held_relative_bias"], abs=1e-7)
    square = factor_from_runs(MILE, runs_at([0, 20], [speed + along, speed - along], [speed, speed]))
    assert square.factor == approx(1.0, abs=1e-9)


def test_transits_crossed_off_the_square_lengthen_the_run() -> None:
    """Case off-perpendicular-5, exact algebra."""
    entry = case("off-perpendicular-5")
    runs = runs_at([0, 20], [6.0, 6.0], [6.0, 6.0])
    found = factor_from_runs(MILE, runs, Conditions(crossing_deg=entry["inputs"]["angle_off_normal_deg"]))
    assert found.factor - 1.0 == approx(entry["answer"]["relative_error_if_ignored"], abs=1e-8)
    assert found.ladder[-1].reason.startswith("transits crossed off the square")


# ---------------------------------------------------------------- truths


@settings(max_examples=60)
@given(
    factor=st.floats(0.7, 1.4),
    water=st.lists(st.floats(4.5, 7.0), min_size=2, max_size=7),
    stream=st.tuples(st.floats(-1.2, 1.2), st.floats(-0.8, 0.8), st.floats(-0.4, 0.4)),
    gap=st.floats(12, 30),
)
def test_a_drifting_speed_in_a_changing_stream_gives_the_true_factor(
    factor: float, water: list[float], stream: tuple[float, float, float], gap: float
) -> None:
    """With as many degrees of stream as the runs bear, the factor is exact however the speed drifts."""
    mids = [gap * i for i in range(len(water))]
    degree = min(2, len(water) - 2)
    ground, log = truth(
        factor, water, mids, lambda t: sum(c * (t / 60) ** j for j, c in enumerate(stream[: degree + 1]))
    )
    found = factor_from_runs(MILE, runs_at(mids, ground, log))
    assert found.factor == approx(factor, rel=1e-9)
    assert found.ladder[-1].factor == approx(found.factor, rel=1e-12)
    assert sum(r.change for r in found.ladder) == approx(found.difference, abs=1e-12)


@given(crab=st.floats(1, 20), error=st.floats(-15, 15), starboard=st.booleans())
def test_the_crab_comes_from_the_compass_whatever_its_constant_error(
    crab: float, error: float, starboard: bool
) -> None:
    """Half the difference of the courses out and back needs neither variation nor a constant deviation."""
    sign = 1 if starboard else -1
    out, back = (64.3 + sign * crab + error) % 360, (244.3 - sign * crab + error) % 360
    runs = [
        Run(Direction.OUT, 600.0, speed_readings_kn=(6.0,), heading_compass_deg=out),
        Run(Direction.BACK, 610.0, speed_readings_kn=(6.0,), heading_compass_deg=back),
    ]
    found = factor_from_runs(MILE, runs, Conditions(steering=Steering.TRACK_HELD))
    assert found.crab.angle_deg == approx(crab, abs=1e-6)
    assert found.crab.head_to == ("starboard" if starboard else "port")
    assert found.stream_across_to == ("port" if starboard else "starboard")
    assert found.factor == approx(found.mean_ground_kn / math.cos(math.radians(crab)) / 6.0, rel=1e-9)


def test_compass_courses_that_are_not_opposite_are_refused() -> None:
    """One course noted on both ways would be a crab of 90° and a factor without bound."""
    runs = [Run(d, 600.0, speed_readings_kn=(6.0,), heading_compass_deg=64.0) for d in (Direction.OUT, Direction.BACK)]
    with pytest.raises(ReadingError, match=r"heading_compass_deg is '064° out, 064° back'.*nearly opposite.*Check"):
        factor_from_runs(MILE, runs, Conditions(steering=Steering.TRACK_HELD))
    assert factor_from_runs(MILE, runs).factor == approx(1.0)


def test_a_held_track_without_a_crab_angle_is_said_to_be_doubtful() -> None:
    """It cannot be corrected, so it enters the uncertainty and a caution says what to do."""
    runs = runs_at([0, 20], [6.1, 5.9], [6.0, 6.0])
    unknown = factor_from_runs(MILE, runs, Conditions(steering=Steering.TRACK_HELD))
    square = factor_from_runs(MILE, runs)
    assert unknown.u > square.u
    assert unknown.remarks[0].about == "crab"
    assert "compass course" in unknown.remarks[0].remedy
    assert unknown.stream_across_kn is None


# ---------------------------------------------------------------- uncertainty


def test_the_budget_agrees_with_an_independent_library() -> None:
    """The same model worked with GTC (MIT, a national metrology institute) gives value, u and degrees of freedom."""
    readings = [(5.6, 5.8, 5.5, 5.7), (5.7, 5.4, 5.5, 5.5), (5.5, 5.7, 5.5, 5.6), (5.8, 5.6, 5.7, 5.4)]
    runs = [
        Run(Direction.BACK if i % 2 else Direction.OUT, 600.0 + 60 * (i % 2), speed_readings_kn=r)
        for i, r in enumerate(readings)
    ]
    conditions = Conditions(steering=Steering.TRACK_HELD, crab_deg=6.0)
    found = factor_from_runs(charted_course("mile", 1.0, 0.02), runs, conditions)
    rows = {row.label: row for row in found.budget.rows}

    def quantity(label: str) -> GTC.lib.UncertainReal:
        row = rows[label]
        return GTC.ureal(row.value, row.u, row.dof, label=label)

    length, crab, tide = (
        quantity(label) for label in ("length of the course", "crab angle", "stream changing between the runs")
    )
    above, below = tide, 0
    for i, weight in enumerate(found.weights.weights, start=1):
        ground = length * 3600 / quantity(f"timing, run {i}") + quantity(f"uneven stream, run {i}")
        above += weight * ground
        below += weight * (quantity(f"scatter of the readings, run {i}") + quantity(f"display, 0.1 kn, run {i}"))
    factor = above / below / GTC.cos(crab * math.pi / 180)
    assert found.factor == approx(GTC.value(factor), rel=1e-12)
    assert found.u == approx(GTC.uncertainty(factor), rel=1e-6)
    assert found.budget.dof == approx(GTC.dof(factor), rel=1e-5)


def test_a_steady_display_does_not_average_down() -> None:
    """Ten equal readings on six runs leave the same half digit as three on two (JCGM 100 F.2.2.1)."""
    few = factor_from_runs(MILE, [_steady(d, 3) for d in (Direction.OUT, Direction.BACK)])
    many = factor_from_runs(MILE, [_steady(d, 10) for d in (Direction.OUT, Direction.BACK) * 3])
    for found in (few, many):
        assert found.budget.row("display, 0.1 kn").contribution == approx(0.1 / math.sqrt(12) / 6.0, rel=1e-3)


def test_a_coarse_course_is_the_same_error_on_every_run() -> None:
    """0.6 nm, charted to a tenth, is uncertain by 0.1/√12 however many runs are made."""
    course = charted_course("to a tenth", 0.6, 0.1)
    for n in (2, 6):
        runs = [_steady(Direction.BACK if i % 2 else Direction.OUT, 5, elapsed_s=360.0) for i in range(n)]
        row = factor_from_runs(course, runs).budget.row("length of the course")
        assert row.shared
        assert row.contribution == approx(0.1 / math.sqrt(12) / 0.6, rel=1e-3)


def test_scatter_between_runs_widens_the_uncertainty() -> None:
    """Six runs that disagree by more than was judged are believed less than six that agree."""
    mids = [20.0 * i for i in range(6)]
    smooth = factor_from_runs(MILE, runs_at(mids, [6.2, 5.8] * 3, [6.0] * 6, counter=True))
    rough = factor_from_runs(MILE, runs_at(mids, [6.5, 5.6, 6.0, 6.1, 6.4, 5.5], [6.0] * 6, counter=True))
    assert rough.u > 1.5 * smooth.u
    assert smooth.weights.least_squares


def test_budget_rows_of_the_runs_are_shown_together() -> None:
    """A margin has a line for timing, not one for each run."""
    found = factor_from_runs(MILE, runs_at([0, 20], [6.2, 5.8], [6.0, 6.0]))
    labels = [row.label for row in found.budget.grouped(group_of)]
    assert sorted(labels) == sorted(set(labels))
    assert "timing" in labels
    assert not any(", run " in label for label in labels)


# ---------------------------------------------------------------- refusals


def test_a_reading_missing_on_one_run_is_said() -> None:
    """Half the runs by display and half by counter cannot be put together."""
    runs = [
        Run(Direction.OUT, 600.0, speed_readings_kn=(6.0,)),
        Run(Direction.BACK, 600.0, log_stop_nm=1.0),
    ]
    with pytest.raises(NotEnoughReadings, match=r"one and the same reading.*every run.*Add the missing"):
        factor_from_runs(MILE, runs)
    with pytest.raises(NotEnoughReadings, match="the distance counter must be noted"):
        factor_from_runs(MILE, runs, indication=Indication.DISTANCE)


def _steady(direction: Direction, readings: int, elapsed_s: float = 600.0) -> Run:
    return Run(direction, elapsed_s, speed_readings_kn=(6.0,) * readings)
