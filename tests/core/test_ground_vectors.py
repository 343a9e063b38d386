"""Legs of a vector round, what headings can tell, and leeway against heading offset."""

from __future__ import annotations

import math
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.vector_legs import NOON
from tests.reference_cases import case, cases, matches
from truemile.core.errors import ManyFaults, NotEnoughReadings, ReadingError
from truemile.core.ground_vectors import Leg, Tack, VectorConditions, conditioning, offset_and_leeway

CONDITIONING = [entry["id"] for entry in cases("gnss-vector") if entry["id"].startswith("conditioning-")]
headings = st.lists(st.floats(0, 360), min_size=2, max_size=12)


@pytest.mark.parametrize("name", CONDITIONING)
def test_what_headings_can_tell(name: str) -> None:
    """Derived cases: R, and the uncertainties in units of σ/V and σ."""
    entry = case(name)
    state = conditioning(entry["inputs"]["headings_deg"])
    assert matches(entry, "mean_resultant_length", state.mean_resultant_length)
    assert matches(entry, "u_factor_relative_times_V_over_sigma", state.u_factor_relative)
    assert matches(entry, "u_current_component_over_sigma", state.u_stream_component)
    assert state.solvable


def test_all_conditioning_cases_are_there() -> None:
    """The list of cases is not empty by a slip of its name."""
    assert len(CONDITIONING) == 8


def test_one_heading_cannot_be_solved() -> None:
    """Case vector-refuse: R is 1, and nothing is known of the factor."""
    entry = case("vector-refuse")
    state = conditioning(entry["inputs"]["headings_deg"])
    assert matches(entry, "mean_resultant_length", state.mean_resultant_length)
    assert state.solvable is entry["answer"]["solvable"]
    assert state.u_factor_relative == math.inf


@pytest.mark.parametrize(("turned", "weak"), [(60, True), (89.9, True), (90, False), (120, False), (180, False)])
def test_two_headings_less_than_square_are_weak(turned: float, weak: bool) -> None:
    """N (1 - R²) below 1 is warned about, and two headings at right angles have just 1."""
    assert conditioning([20.0, 20.0 + turned]).weak is weak


@given(headings, st.floats(-720, 720))
def test_turning_all_headings_changes_nothing(steered: list[float], turn: float) -> None:
    """Only the angles between headings count."""
    one, other = conditioning(steered), conditioning([h + turn for h in steered])
    assert one.mean_resultant_length == pytest.approx(other.mean_resultant_length, abs=1e-9)


@given(headings, st.floats(0, 360))
def test_one_heading_more_never_harms(steered: list[float], heading: float) -> None:
    """N (1 - R²) does not fall when a leg is added."""
    assert conditioning([*steered, heading]).strength >= conditioning(steered).strength - 1e-9


@given(st.lists(st.floats(0, 360), min_size=3, max_size=8))
def test_strength_is_the_spread_of_unit_vectors(steered: list[float]) -> None:
    """N (1 - R²) is the sum of squares of the unit vectors about their mean, as numpy has it."""
    units = np.exp(1j * np.radians(steered))
    assert conditioning(steered).strength == pytest.approx(len(steered) * np.var(units), abs=1e-9)


def test_conditioning_needs_headings() -> None:
    """No heading, or one that is no number, is refused."""
    with pytest.raises(NotEnoughReadings, match="a round needs headings"):
        conditioning([])
    with pytest.raises(ReadingError, match=r"headings_deg\[1\] is nan"):
        conditioning([0.0, math.nan])


# ---------------------------------------------------------------- leeway


def test_two_tacks_tell_leeway_from_offset() -> None:
    """Case leeway-two-tacks-a: half-sum and half-difference."""
    entry = case("leeway-two-tacks-a")
    found = offset_and_leeway(
        entry["inputs"]["ctw_minus_heading_port_tack_deg"], entry["inputs"]["ctw_minus_heading_starboard_tack_deg"]
    )
    assert matches(entry, "heading_offset_deg", found.heading_offset_deg)
    assert matches(entry, "leeway_deg", found.leeway_deg)


@given(st.floats(-10, 10), st.floats(0, 15), st.sampled_from([-360.0, 0.0, 360.0]))
def test_leeway_and_offset_come_back(offset: float, leeway: float, turn: float) -> None:
    """What the two tacks were made from comes out, however many whole turns the angles hold."""
    found = offset_and_leeway(offset + leeway + turn, offset - leeway)
    assert found == pytest.approx((offset, leeway), abs=1e-9)


@pytest.mark.parametrize("tacks", [(3.0, None), (None, 3.0)])
def test_one_tack_is_not_split(tacks: tuple[float | None, float | None]) -> None:
    """On one tack the two are one."""
    with pytest.raises(NotEnoughReadings, match=r"cannot be told apart on one tack\. Sail legs on the other tack"):
        offset_and_leeway(*tacks)


def test_an_angle_must_be_a_number() -> None:
    """Infinite angles are refused by name."""
    with pytest.raises(ReadingError, match="starboard_tack_deg"):
        offset_and_leeway(1.0, math.inf)


# ---------------------------------------------------------------- legs and conditions


def test_a_magnetic_heading_takes_the_variation() -> None:
    """355° magnetic with 9° east is 004° true."""
    assert Leg(355.0, 5.0, 5.0, 0.0, variation_deg=9.0).heading_true_deg == pytest.approx(4.0)


@pytest.mark.parametrize(("rate", "turning"), [(None, False), (0.1, False), (-0.1, False), (0.2, True), (-1.7, True)])
def test_a_turn_is_no_leg(rate: float | None, turning: bool) -> None:
    """Above 0.15° a second either way the heading does not hold."""
    assert Leg(10.0, 5.0, 5.0, 10.0, turn_rate_deg_s=rate).turning is turning


def test_all_faults_of_a_leg_at_once() -> None:
    """Each wrong field is named in one error."""
    with pytest.raises(ManyFaults) as caught:
        Leg(
            361.0,
            0.0,
            math.nan,
            -1.0,
            variation_deg=200.0,
            duration_s=-1.0,
            started_at=datetime(2026, 5, 14, 12, 0),  # noqa: DTZ001  the fault to be found
            turn_rate_deg_s=math.inf,
            u_cog_deg=0.0,
        )
    assert {fault.field for fault in caught.value.faults} == {
        "heading_deg",
        "indicated_kn",
        "sog_kn",
        "cog_true_deg",
        "variation_deg",
        "duration_s",
        "started_at",
        "turn_rate_deg_s",
        "u_cog_deg",
    }


def test_a_time_must_say_its_zone() -> None:
    """The remedy shows how."""
    with pytest.raises(ReadingError, match=r"must say its zone.*\+01:00"):
        Leg(10.0, 5.0, 5.0, started_at=NOON.replace(tzinfo=None))


def test_conditions_that_cannot_be() -> None:
    """All faults of the conditions come at once."""
    with pytest.raises(ManyFaults) as caught:
        VectorConditions(sog_resolution_kn=0.0, unevenness_kn=math.nan, wind_kn=-1.0)
    assert [fault.field for fault in caught.value.faults] == ["sog_resolution_kn", "unevenness_kn", "wind_kn"]


def test_leeway_sets_away_from_the_wind() -> None:
    """Wind from port sets to starboard, which is clockwise."""
    assert [Tack("port").leeway_sign, Tack("starboard").leeway_sign, Tack("").leeway_sign] == [1, -1, 0]
