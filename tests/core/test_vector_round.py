"""The vector round against reference cases, stated truths and other libraries."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from tests.core.vector_legs import NOON, PLAIN, direction, leg_of, legs_of_case, made_legs
from tests.reference_cases import case, cases, is_naive, matches
from truemile.core.angles import difference
from truemile.core.errors import NavigationError, NoSolution, NotEnoughReadings, ReadingError
from truemile.core.ground_fit import _least_squares, fit_ground
from truemile.core.ground_vectors import Leg, Tack
from truemile.core.log_settings import Convention, LogSetting
from truemile.core.vector_budget import columns_of
from truemile.core.vector_round import Method, VectorRound, solve_round

approx = pytest.approx
ROUNDS = [
    entry["id"] for entry in cases("gnss-vector") if entry["id"].startswith(("vector-exact", "vector-noisy", "sog-"))
]
NAMES = {
    "factor": lambda r: r.factor,
    "heading_offset_deg": lambda r: r.heading_offset_deg,
    "current_drift_kn": lambda r: r.stream_drift_kn,
    "current_set_deg": lambda r: r.stream_set_deg,
    "rms_residual_kn": lambda r: r.rms_residual_kn,
    "dof": lambda r: r.dof,
    "u_factor": lambda r: r.u_factor_from_scatter,
    "u_current_component_kn": lambda r: r.u_stream_component_from_scatter_kn,
}

factors, offsets = st.floats(0.7, 1.4), st.floats(-20, 20)
streams = st.builds(lambda c, a: c * direction(a), st.floats(0.05, 2.0), st.floats(0, 360))
headings = st.lists(st.floats(0, 359), min_size=2, max_size=8)


def _stream(found: VectorRound) -> complex:
    return found.stream_drift_kn * direction(found.stream_set_deg)


def _about(found: VectorRound) -> set[str]:
    return {remark.about for remark in found.remarks if remark.level == "caution"}


# ---------------------------------------------------------------- cases


@pytest.mark.parametrize("name", ROUNDS)
def test_reference_rounds(name: str) -> None:
    """Every number of every case of a round comes out within the case's tolerance."""
    entry = case(name)
    found = solve_round(legs_of_case(name))
    for key in entry["answer"]:
        assert matches(entry, key, NAMES[key](found)), key
    assert found.may_be_put_in_force


def test_all_rounds_are_there() -> None:
    """Three exact rounds, three noisy ones and two of speeds only."""
    assert len(ROUNDS) == 8


def test_three_speeds_by_the_round_and_by_the_closed_form() -> None:
    """Case three-headings-120-a: with a log of 5.0 kn the factor is speed / 5.0, and not the plain mean / 5.0."""
    entry = case("three-headings-120-a")
    rows = zip(entry["inputs"]["headings_deg"], entry["inputs"]["sog_kn"], strict=True)
    found = solve_round([Leg(heading, 5.0, sog) for heading, sog in rows])
    assert matches(entry, "speed_through_water_kn", found.factor * 5.0)
    assert matches(entry, "current_kn", found.stream_drift_kn)
    assert not is_naive(entry, "plain_mean", found.factor * 5.0)


# ---------------------------------------------------------------- stated truths


@given(factor=factors, offset=offsets, stream=streams, steered=headings, speed=st.floats(3.5, 9.0))
def test_the_truth_comes_back(
    factor: float, offset: float, stream: complex, steered: list[float], speed: float
) -> None:
    """Factor, offset and stream that the legs were made from are found, at speeds that differ from leg to leg."""
    logs = [speed * (1.0 + 0.03 * (i % 3)) for i in range(len(steered))]
    assume(np.var(np.exp(1j * np.radians(steered))) > 0.02)
    found = solve_round(made_legs(steered, logs, factor=factor, offset_deg=offset, stream=stream))
    assert found.factor == approx(factor, abs=1e-8)
    assert found.heading_offset_deg == approx(offset, abs=1e-6)
    assert _stream(found) == approx(stream, abs=1e-7)
    assert all(leg.residual_kn < 1e-8 for leg in found.legs)


@given(factor=factors, stream=streams, first=st.floats(0, 360), n=st.integers(3, 7))
def test_speeds_alone_give_the_truth(factor: float, stream: complex, first: float, n: int) -> None:
    """Without courses, three headings all round or more give factor and stream, as long as the boat is faster."""
    assume(abs(stream) < 0.6 * factor * 5.0)
    steered = [(first + i * 360.0 / n) % 360.0 for i in range(n)]
    logs = [5.0 + 0.1 * (i % 2) for i in range(n)]
    found = solve_round(made_legs(steered, logs, factor=factor, stream=stream, course=False))
    assert found.method is Method.SPEEDS
    assert found.factor == approx(factor, abs=1e-7)
    assert _stream(found) == approx(stream, abs=1e-6)
    assert found.offset_budget is None
    assert found.heading_offset_deg is None


@given(turn=st.floats(0, 360), name=st.sampled_from(["vector-noisy-3", "vector-noisy-6", "vector-noisy-8"]))
def test_turning_the_chart_changes_nothing_but_the_set(turn: float, name: str) -> None:
    """All headings and courses turned by one angle turn the set by it, and leave factor, offset and ± alone."""
    legs = legs_of_case(name)
    turned = [
        replace(
            leg,
            heading_deg=(leg.heading_deg + turn) % 360.0,
            cog_true_deg=((leg.cog_true_deg or 0.0) + turn) % 360.0,
            u_heading_deg=0.3,
            u_cog_deg=0.3,
        )
        for leg in legs
    ]
    one = solve_round([replace(leg, u_heading_deg=0.3, u_cog_deg=0.3) for leg in legs], PLAIN)
    other = solve_round(turned, PLAIN)
    assert other.factor == approx(one.factor, abs=1e-9)
    assert other.expanded == approx(one.expanded, rel=1e-6)
    assert other.heading_offset_deg == approx(one.heading_offset_deg, abs=1e-7)
    assert difference(other.stream_set_deg, one.stream_set_deg + turn) == approx(0.0, abs=1e-6)


def test_a_magnetic_heading_and_its_variation_are_a_true_one() -> None:
    """Heading and variation entered apart give what their sum gives."""
    legs = legs_of_case("vector-exact-4-offset")
    magnetic = [replace(leg, heading_deg=(leg.heading_deg - 7.0) % 360.0, variation_deg=7.0) for leg in legs]
    assert solve_round(magnetic).factor == approx(solve_round(legs).factor, abs=1e-12)
    assert solve_round(magnetic).heading_offset_deg == approx(2.5, abs=1e-6)


@given(st.permutations(range(6)))
@settings(max_examples=25)
def test_the_order_of_the_legs_does_not_matter_to_the_fit(order: list[int]) -> None:
    """Without times the legs may be noted in any order."""
    legs = legs_of_case("vector-noisy-6")
    assert solve_round([legs[i] for i in order]).factor == approx(solve_round(legs).factor, abs=1e-12)


# ---------------------------------------------------------------- least squares


def test_factor_and_covariance_are_those_of_scipy() -> None:
    """Another minimiser finds the same values, and its Jacobian the same uncertainties."""
    legs = legs_of_case("vector-noisy-6")
    logged = np.asarray([leg.indicated_kn * direction(leg.heading_deg) for leg in legs])
    ground = np.asarray([leg.sog_kn * direction(leg.cog_true_deg or 0.0) for leg in legs])

    def off(x: np.ndarray) -> np.ndarray:
        left = ground - x[0] * cmath.exp(1j * x[1]) * logged - complex(x[2], x[3])
        return np.concatenate([left.real, left.imag])

    wanted = least_squares(off, [1.0, 0.0, 0.0, 0.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    found = solve_round(legs)
    assert found.fit.values == approx(wanted.x, abs=1e-8)
    covariance = np.linalg.inv(wanted.jac.T @ wanted.jac) * 2.0 * wanted.cost / 8
    assert found.u_factor_from_scatter == approx(math.sqrt(covariance[0, 0]), rel=1e-5)


def test_speeds_only_are_least_squares_too() -> None:
    """With more speeds than unknowns scipy's minimum is found, in noise."""
    noise = np.random.default_rng(11).normal(0.0, 0.1, 6)
    steered = [10.0, 70.0, 130.0, 190.0, 250.0, 310.0]
    legs = made_legs(steered, [5.0] * 6, factor=1.1, stream=0.9 * direction(60.0), course=False)
    legs = [replace(leg, sog_kn=leg.sog_kn + float(e)) for leg, e in zip(legs, noise, strict=True)]
    logged = np.asarray([5.0 * direction(h) for h in steered])

    def off(x: np.ndarray) -> np.ndarray:
        return np.asarray([leg.sog_kn for leg in legs]) - np.abs(x[0] * logged + complex(x[1], x[2]))

    wanted = least_squares(off, [1.0, 0.0, 0.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    found = solve_round(legs)
    assert found.fit.values == approx(wanted.x, abs=1e-7)
    assert found.dof == 3
    covariance = np.linalg.inv(wanted.jac.T @ wanted.jac) * 2.0 * wanted.cost / 3
    assert found.u_factor_from_scatter == approx(math.sqrt(covariance[0, 0]), rel=1e-5)


def test_residuals_along_and_across_the_heading() -> None:
    """A leg that ran too fast shows it ahead, and one pushed to starboard shows it across."""
    legs = made_legs([0.0, 60.0, 120.0, 180.0, 240.0, 300.0], [5.0] * 6)
    fast = [leg_of(60.0, 5.0, 5.3 * direction(60.0)) if leg.heading_deg == 60.0 else leg for leg in legs]
    pushed = [leg_of(60.0, 5.0, (5.0 + 0.3j) * direction(60.0)) if leg.heading_deg == 60.0 else leg for leg in legs]
    worst = max(solve_round(fast).legs, key=lambda leg: leg.residual_kn)
    assert worst.number == 2
    assert worst.residual_along_kn > 0.15
    assert worst.residual_across_kn == approx(0.0, abs=1e-9)
    worst = max(solve_round(pushed).legs, key=lambda leg: leg.residual_kn)
    assert worst.number == 2
    assert (worst.residual_across_kn or 0.0) > 0.15


# ---------------------------------------------------------------- refusals


def test_one_heading_is_refused() -> None:
    """Case vector-refuse: with R = 1 nothing is solved, and the opposite heading is advised."""
    steered = case("vector-refuse")["inputs"]["headings_deg"]
    legs = made_legs([float(h) for h in steered], [5.0, 5.5, 6.0], factor=1.1)
    with pytest.raises(NoSolution, match=r"cannot be told from an error of the log\. Steer about 220° true"):
        solve_round(legs)


def test_one_leg_is_not_enough() -> None:
    """A single leg holds the whole stream."""
    with pytest.raises(NotEnoughReadings, match="two headings at least"):
        solve_round(made_legs([10.0], [5.0]))
    with pytest.raises(NotEnoughReadings):
        solve_round([])


def test_a_recording_is_no_round() -> None:
    """Hundreds of legs are a file of seconds."""
    with pytest.raises(ReadingError, match="at most 200 legs"):
        solve_round(made_legs([float(i) for i in range(201)], [5.0] * 201))


def test_two_speeds_without_courses_are_not_enough() -> None:
    """Three unknowns and one equation a leg."""
    with pytest.raises(NotEnoughReadings, match="need three headings"):
        solve_round(made_legs([0.0, 180.0], [5.0, 5.0], course=False))


@pytest.mark.parametrize("steered", [[0.0, 180.0, 0.0, 180.0], [10.0, 14.0, 18.0], [40.0, 220.0, 222.0]])
def test_speeds_on_one_line_leave_the_stream_across_free(steered: list[float]) -> None:
    """Two opposite headings, or headings on one side, are refused without courses over the ground."""
    legs = made_legs(steered, [5.0] * len(steered), stream=0.5 * direction(90.0), course=False)
    with pytest.raises(NoSolution, match=r"leave the stream across them free.*heading square to them"):
        solve_round(legs)


def test_speeds_that_nothing_explains() -> None:
    """Speeds from which every factor and stream lie far off are refused."""
    rows = [(224.5, 4.4, 13.6), (218.5, 4.4, 0.1), (349.4, 5.7, 1.0), (283.3, 4.3, 0.2)]
    with pytest.raises(NoSolution, match="no factor and stream come near"):
        solve_round([Leg(*row) for row in rows])


def test_the_fit_says_what_it_cannot_tell_apart() -> None:
    """Columns that depend on each other, and a column of nothing, are refused."""
    legs = made_legs([45.0, 315.0], [5.0, 5.0], tacks=[Tack.PORT, Tack.STARBOARD])
    columns, _ = columns_of(legs, speeds_only=False)
    with pytest.raises(NoSolution, match="cannot tell these apart"):
        fit_ground(columns, leeway=True)
    with pytest.raises(NoSolution, match="say nothing of one of these"):
        _least_squares(np.zeros((3, 2)), ("factor", "offset"))
    with pytest.raises(NoSolution, match="no velocity"):
        _ = replace(columns, cog_rad=None).ground


@given(st.lists(st.tuples(*[st.floats(0, 360)] * 2, *[st.floats(0.1, 30)] * 2), min_size=2, max_size=6))
@settings(max_examples=150)
def test_nonsense_is_solved_or_refused_in_words(rows: list[tuple[float, float, float, float]]) -> None:
    """Whatever is typed in gives finite numbers or one of the program's own errors."""
    try:
        found = solve_round([Leg(heading, log, sog, course) for heading, course, log, sog in rows])
    except NavigationError:
        return
    assert math.isfinite(found.factor)
    assert math.isfinite(found.expanded)
    assert all(math.isfinite(leg.residual_kn) for leg in found.legs)


# ---------------------------------------------------------------- putting in force


def test_a_good_round_gives_a_correction() -> None:
    """Factor, variance, range of speeds and setting go into the correction."""
    setting = LogSetting(Convention.MULTIPLIER, 1.05)
    found = solve_round(legs_of_case("vector-noisy-6"), setting=setting)
    correction = found.correction
    assert found.may_be_put_in_force
    assert found.reasons == ()
    assert correction.is_factor
    assert correction.coefficients == (found.factor,)
    assert correction.u_factor(5.2) == approx(found.u)
    assert (correction.lowest_kn, correction.highest_kn) == (5.1, 5.3)
    assert correction.setting == setting


def test_a_turn_is_not_put_in_force() -> None:
    """A continuous turn gives numbers but no correction, and the reason names drift and the receiver's lag."""
    legs = [replace(leg, turn_rate_deg_s=1.7) for leg in legs_of_case("vector-noisy-6")]
    found = solve_round(legs)
    assert not found.may_be_put_in_force
    assert "Legs 1 to 6 were turns" in found.reasons[0]
    assert "drifts outwards" in found.reasons[0]
    assert "trail her by seconds" in found.reasons[0]
    one = solve_round([replace(legs[0], turn_rate_deg_s=0.1), *legs_of_case("vector-noisy-6")[1:]])
    assert one.may_be_put_in_force


def test_bunched_headings_are_not_put_in_force() -> None:
    """Headings 000, 010 and 020 give a factor that hangs on the stream along them."""
    legs = made_legs([0.0, 10.0, 20.0], [5.0] * 3, factor=1.1, stream=0.5 * direction(10.0))
    found = solve_round(legs)
    assert not found.may_be_put_in_force
    assert any("R is 0.99" in reason for reason in found.reasons)
    assert any("% only" in reason for reason in found.reasons)
    assert "headings" in _about(found)
    assert abs(difference(found.next_heading.heading_true_deg, 190.0)) <= 5.0


@pytest.mark.parametrize(("turned", "allowed"), [(58.0, False), (62.0, True)])
def test_where_two_headings_become_enough(turned: float, allowed: bool) -> None:
    """The bar lies at two headings 60° apart, where N (1 - R²) is a half."""
    found = solve_round(made_legs([0.0, turned], [6.0, 6.0]), replace(PLAIN, sog_resolution_kn=0.01))
    assert any(r.about == "headings" for r in found.refusals) is not allowed
    assert "headings" in _about(found)


def test_legs_that_disagree_are_not_put_in_force() -> None:
    """One leg written down 1.5 kn wrong is named and refused; one 0.6 kn wrong is remarked on."""
    legs = legs_of_case("vector-noisy-6")
    legs[3] = replace(legs[3], sog_kn=legs[3].sog_kn + 1.5)
    found = solve_round(legs)
    assert not found.may_be_put_in_force
    refusal = next(r for r in found.refusals if r.about == "residuals")
    assert "leg 4" in refusal.remedy
    legs[3] = replace(legs[3], sog_kn=legs[3].sog_kn - 0.9)
    found = solve_round(legs)
    assert found.may_be_put_in_force
    assert "residuals" in _about(found)


def test_an_absurd_factor_names_the_unit() -> None:
    """A log that shows km/h gives 0.54, which is remarked on; one in tenths is not put in force."""
    found = solve_round(made_legs([0.0, 120.0, 240.0], [9.26] * 3, factor=1.0 / 1.852))
    assert found.may_be_put_in_force
    assert any(r.about == "unit" and "km/h" in r.remedy for r in found.remarks)
    found = solve_round(made_legs([0.0, 120.0, 240.0], [50.0] * 3, factor=0.1))
    assert [r.about for r in found.refusals] == ["factor"]
    assert "decimal point" in found.refusals[0].remedy


# ---------------------------------------------------------------- leeway


BOTH = [Tack.PORT, Tack.STARBOARD, Tack.PORT, Tack.STARBOARD]


@given(offset=st.floats(-8, 8), leeway=st.floats(0, 12), factor=factors, stream=streams)
def test_two_tacks_tell_leeway_from_offset(offset: float, leeway: float, factor: float, stream: complex) -> None:
    """Legs on both tacks, two headings on each, give leeway and heading offset apart."""
    legs = made_legs(
        [50.0, 320.0, 110.0, 260.0],
        [5.0, 5.1, 6.0, 6.1],
        factor=factor,
        offset_deg=offset,
        stream=stream,
        leeway_deg=leeway,
        tacks=BOTH,
    )
    found = solve_round(legs)
    assert found.heading_offset_deg == approx(offset, abs=1e-6)
    assert found.leeway_deg == approx(leeway, abs=1e-6)
    assert found.factor == approx(factor, abs=1e-8)
    assert "leeway" not in _about(found)


def test_one_tack_is_not_split() -> None:
    """On one tack the offset holds the leeway, and the round says so; the factor does not suffer."""
    legs = made_legs([50.0, 90.0, 150.0], [5.0] * 3, factor=1.1, offset_deg=1.0, leeway_deg=5.0, tacks=[Tack.PORT] * 3)
    found = solve_round(legs)
    assert found.leeway_budget is None
    assert found.leeway_deg is None
    assert found.heading_offset_deg == approx(6.0)
    assert found.factor == approx(1.1)
    words = next(r.words for r in found.remarks if r.about == "leeway")
    assert "port tack" in words
    assert "cannot be told apart" in words


def test_one_heading_a_tack_is_not_split() -> None:
    """Two headings, one a tack, are two equations short."""
    legs = made_legs([45.0, 315.0, 45.0, 315.0], [5.0] * 4, leeway_deg=4.0, tacks=BOTH)
    found = solve_round(legs)
    assert found.leeway_budget is None
    assert any("Sail two headings on each tack" in r.remedy for r in found.remarks)


def test_sail_and_engine_are_not_mixed_without_a_word() -> None:
    """Legs with and without leeway in one round are cautioned about."""
    tacks = [Tack.POWER, Tack.PORT, Tack.POWER]
    found = solve_round(made_legs([0.0, 120.0, 240.0], [5.0] * 3, tacks=tacks))
    assert any("some motored" in r.words for r in found.remarks)


# ---------------------------------------------------------------- a changing stream


MINUTES = [0.0, 5.0, 10.0, 15.0, 20.0]
FIVE = [0.0, 90.0, 180.0, 270.0, 0.0]


def test_a_stream_that_changes_is_taken_out() -> None:
    """A stream that changes by 3 kn an hour is found, with its change, and the factor is right."""
    change = 3.0 * direction(40.0)
    legs = made_legs(FIVE, [5.0] * 5, factor=1.1, stream=0.5 * direction(200.0), change_kn_h=change, minutes=MINUTES)
    found = solve_round(legs)
    assert found.stream_change_kn_h == approx((change.real, change.imag), abs=1e-6)
    assert found.factor == approx(1.1, abs=1e-8)
    assert _stream(found) == approx(0.5 * direction(200.0), abs=1e-6)
    assert any("its change is taken out" in r.words for r in found.remarks)


def test_a_steady_stream_stays_steady() -> None:
    """Without a change worth a name none is fitted."""
    legs = made_legs(FIVE, [5.0] * 5, stream=0.5 * direction(200.0), change_kn_h=0.2 + 0j, minutes=MINUTES)
    assert solve_round(legs).stream_change_kn_h is None


def test_three_headings_or_no_times_bear_no_change() -> None:
    """Four headings and the times are needed before a change is looked for."""
    change = 5.0 * direction(40.0)
    three = made_legs([0.0, 120.0, 240.0, 0.0], [5.0] * 4, change_kn_h=change, minutes=MINUTES[:4])
    assert solve_round(three).stream_change_kn_h is None
    untimed = [replace(leg, started_at=None) for leg in made_legs(FIVE, [5.0] * 5, change_kn_h=change, minutes=MINUTES)]
    found = solve_round(untimed)
    assert found.stream_change_kn_h is None
    assert not found.times_known
    assert any("taken not to have changed" in r.words for r in found.remarks)


def test_times_are_taken_from_the_middle() -> None:
    """The middle of each leg counts from the middle of the round."""
    legs = made_legs(FIVE, [5.0] * 5, minutes=MINUTES)
    assert legs[0].started_at == NOON
    assert solve_round(legs).mid_h == approx([-1 / 6, -1 / 12, 0.0, 1 / 12, 1 / 6])
