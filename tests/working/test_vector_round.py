"""The hand lines of a vector round: each keyed in again, and the answers are the program's."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.core.vector_legs import direction, legs_of_case, made_legs
from tests.reference_cases import case, cases
from tests.working.trials import check_every_line
from truemile.core.errors import NavigationError
from truemile.core.ground_vectors import Leg, Tack
from truemile.core.uncertainty import rounded
from truemile.core.vector_round import VectorRound, solve_round
from truemile.working.lines import Kind, Working
from truemile.working.vector_round import explain_round

ROUNDS = [e["id"] for e in cases("gnss-vector") if e["id"].startswith(("vector-exact", "vector-noisy", "sog-"))]


def _checked(found: VectorRound) -> Working:
    """The working, its lines keyed in again and its answers compared with the program's."""
    working = explain_round(found)
    check_every_line(working)
    answers = [("k", found.factor, found.expanded), ("c", found.stream_drift_kn, found.drift_budget.expanded)]
    if found.offset_budget is not None:
        answers.append(("b", found.offset_budget.value, found.offset_budget.expanded))
    if found.leeway_budget is not None:
        answers.append(("lam", found.leeway_budget.value, found.leeway_budget.expanded))
    for symbol, value, expanded in answers:
        shown, around = rounded(value, expanded)
        line = working.line(symbol)
        assert line.kind is Kind.ANSWER
        assert line.plus_minus == around
        assert abs(line.value - float(shown)) <= 1.0000001 * 10.0**-line.decimals
    if found.set_expanded_deg is not None:
        assert abs((working.line("theta").value - found.stream_set_deg + 180.0) % 360.0 - 180.0) <= 1.5
    step = 1.0000001 * 10.0 ** -working.line("U").decimals
    assert abs(working.line("U").value - float(rounded(found.factor, found.expanded)[1])) <= step
    return working


def _symbols(working: Working) -> set[str]:
    return {line.symbol for line in working.lines}


@pytest.mark.parametrize("name", ROUNDS)
def test_reference_rounds_by_hand(name: str) -> None:
    """Each reference round is worked line by line to the program's digits."""
    _checked(solve_round(legs_of_case(name)))


@st.composite
def _rounds(draw: Any) -> list[Leg]:
    """Rounds with readings as displays show them."""
    n = draw(st.integers(2, 10))
    steered = [float(h) for h in draw(st.lists(st.integers(0, 359), min_size=n, max_size=n))]
    factor, offset = draw(st.floats(0.8, 1.25)), draw(st.floats(-6, 6))
    stream = draw(st.floats(0, 1.5)) * direction(draw(st.floats(0, 360)))
    variation = draw(st.sampled_from([0.0, -7.5, 4.0]))
    assume(len(set(steered)) > 1)
    steady = draw(st.booleans())
    legs = made_legs(
        steered,
        [5.5 if steady else 5.0 + draw(st.integers(0, 10)) / 10 for _ in steered],
        factor=factor,
        offset_deg=offset,
        stream=stream,
        course=draw(st.sampled_from([True, True, False])),
    )
    return [
        replace(
            leg,
            heading_deg=(leg.heading_deg - variation) % 360.0,
            variation_deg=variation,
            sog_kn=max(0.1, round(leg.sog_kn + draw(st.integers(-1, 1)) / 10, 1)),
            cog_true_deg=None if leg.cog_true_deg is None else float(round(leg.cog_true_deg) % 360),
        )
        for leg in legs
    ]


@given(legs=_rounds())
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
def test_every_printed_line_is_what_a_calculator_gives(legs: list[Leg]) -> None:
    """Each substitution of each made-up round gives the printed value, and the results are the program's."""
    try:
        found = solve_round(legs)
    except NavigationError:
        assume(False)
        return
    assume(found.expanded < 0.5 * found.factor)
    _checked(found)


def test_two_opposite_legs_are_subtracted() -> None:
    """On opposite headings the difference of the ground vectors over that of the log vectors is the factor."""
    working = _checked(solve_round(legs_of_case("vector-exact-2-reciprocal")))
    assert {"A_E", "A_N", "B_E", "B_N"} <= _symbols(working)
    truth = case("vector-exact-2-reciprocal")["answer"]
    assert working.line("k").value == pytest.approx(truth["factor"], abs=0.001)
    assert working.line("b").value == pytest.approx(truth["heading_offset_deg"], abs=0.1)


def test_headings_that_close_are_averaged_along_and_across() -> None:
    """At one log speed on headings 120° apart the factor is the mean speed ahead over the log, if nothing is across."""
    legs = made_legs([20.0, 140.0, 260.0], [5.5] * 3, factor=1.07, stream=0.9 * direction(70.0))
    working = _checked(solve_round(legs))
    assert "F" in _symbols(working)
    assert "S" not in _symbols(working)
    ahead = working.line("F")
    assert abs(ahead.value - 1.07 * 5.5) <= 1.0000001 * 10.0**-ahead.decimals
    assert working.line("X").value == pytest.approx(0.0, abs=0.001)


def test_other_rounds_take_the_sums_of_a_line() -> None:
    """Unequal logs take the sums S, P and Q; more than eight legs have them given."""
    few = _checked(solve_round(legs_of_case("vector-noisy-6")))
    assert few.line("S").kind is Kind.WORKED
    steered = [36.0 * i for i in range(10)]
    many = _checked(solve_round(made_legs(steered, [5.0 + i / 10 for i in range(10)], factor=1.1, offset_deg=2.0)))
    assert many.line("S").kind is Kind.GIVEN
    assert many.line("P").value / many.line("S").value == pytest.approx(1.1 * math.cos(math.radians(2.0)), abs=1e-3)


def test_three_speeds_have_a_closed_form() -> None:
    """Case three-headings-120-a on paper: 5.60 kn through the water."""
    entry = case("three-headings-120-a")
    rows = zip(entry["inputs"]["headings_deg"], entry["inputs"]["sog_kn"], strict=True)
    working = _checked(solve_round([Leg(heading, 5.0, sog) for heading, sog in rows]))
    assert working.line("W").value == pytest.approx(entry["answer"]["speed_through_water_kn"], abs=0.011)
    assert working.line("c").value == pytest.approx(entry["answer"]["current_kn"], abs=0.011)


def test_leeway_is_given_and_each_leg_checked() -> None:
    """With leeway the values are found by trial; the working says so and checks every leg."""
    tacks = [Tack.PORT, Tack.STARBOARD, Tack.PORT, Tack.STARBOARD]
    legs = made_legs([50.0, 320.0, 110.0, 260.0], [5.0, 5.1, 6.0, 6.1], offset_deg=1.0, leeway_deg=4.0, tacks=tacks)
    working = _checked(solve_round(legs))
    assert any("repeated trial" in note for note in working.notes)
    assert all(abs(working.line(f"r_{n}").value) <= 0.01 for n in (1, 2, 3, 4))
    assert [section.heading for section in working.sections][:2] == ["Leg 1, port tack", "Leg 2, starboard tack"]


def test_a_changing_stream_is_given_and_each_leg_checked() -> None:
    """The change of the stream in an hour, times the middle of each leg, enters its check."""
    legs = made_legs(
        [0.0, 90.0, 180.0, 270.0, 0.0],
        [5.0] * 5,
        factor=1.1,
        stream=0.5 * direction(200.0),
        change_kn_h=3.0 * direction(40.0),
        minutes=[0.0, 5.0, 10.0, 15.0, 20.0],
    )
    working = _checked(solve_round(legs))
    assert working.line("g_N").value == pytest.approx(3.0 * math.cos(math.radians(40.0)), abs=0.002)
    assert working.line("T_5").value == pytest.approx(1 / 6, abs=0.001)


def test_what_is_refused_says_so() -> None:
    """A turn's working ends with why it may not be put in force."""
    legs = [replace(leg, turn_rate_deg_s=1.7) for leg in legs_of_case("vector-noisy-3")]
    assert any(note.startswith("Not to be put in force: Legs 1, 2 and 3") for note in _checked(solve_round(legs)).notes)


def test_a_weak_stream_has_no_set_on_paper() -> None:
    """No set is worked out of a drift that is all uncertainty."""
    working = _checked(solve_round(made_legs([0.0, 120.0, 240.0], [5.0] * 3, stream=0.02 + 0j)))
    assert "theta" not in _symbols(working)
    assert "The stream is too weak to have a set." in working.notes


def test_a_magnetic_heading_is_made_true_on_paper() -> None:
    """Heading, variation and the turn past north stand on the page."""
    legs = [
        replace(leg, heading_deg=(leg.heading_deg - 9.0) % 360.0, variation_deg=9.0)
        for leg in made_legs([4.0, 124.0, 244.0], [5.0] * 3)
    ]
    working = _checked(solve_round(legs))
    assert working.line("h_1").formula.endswith("− 360")
    assert working.line("h_1").value == 4.0
