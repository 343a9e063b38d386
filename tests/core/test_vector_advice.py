"""Which heading to steer next in a vector round, and what is remarked on."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.core.vector_legs import NOON, PLAIN, direction, made_legs
from truemile.core.angles import difference
from truemile.core.vector_round import VectorRound, solve_round

approx = pytest.approx


def _about(found: VectorRound) -> set[str]:
    return {remark.about for remark in found.remarks if remark.level == "caution"}


def test_the_heading_advised_is_the_best_one() -> None:
    """Of all headings in steps of 5°, a leg on the one advised lessens u(k) within a percent of the most."""
    base = made_legs([0.0, 40.0, 75.0], [5.0] * 3, stream=0.4 * direction(90.0))
    found = solve_round(base, PLAIN)
    weights = {"factor": 1.0}
    gains = {}
    for heading in np.arange(0.0, 360.0, 5.0):
        fit = solve_round([*base, *made_legs([float(heading)], [5.0], stream=0.4 * direction(90.0))], PLAIN).fit
        gains[float(heading)] = fit.gain(fit.pick(**weights))
    assert gains[found.next_heading.heading_true_deg] <= min(gains.values()) * 1.01
    now = found.fit.gain(found.fit.pick(**weights))
    after = gains[found.next_heading.heading_true_deg]
    assert found.next_heading.takes_off == approx(1.0 - after / now, abs=1e-6)
    assert f"Steer about {found.next_heading.heading_true_deg:03.0f}° true" in found.next_heading.words


def test_after_two_opposite_headings_a_square_one_is_advised() -> None:
    """Among headings that serve alike the one furthest from those steered is taken."""
    heading = solve_round(made_legs([0.0, 180.0], [5.0, 5.0])).next_heading.heading_true_deg
    assert heading in {90.0, 270.0}
    for course in (True, False):
        legs = made_legs([0.0, 120.0, 240.0], [5.0] * 3, stream=0.1 * direction(0.0), course=course)
        steered = solve_round(legs).next_heading.heading_true_deg
        assert min(abs(difference(steered, h)) for h in (0.0, 120.0, 240.0)) >= 40.0


def test_short_legs_wind_and_few_legs_are_remarked_on() -> None:
    """Each weakness has its words."""
    legs = [replace(leg, duration_s=30.0) for leg in made_legs([0.0, 180.0], [5.0, 5.0])]
    found = solve_round(legs, replace(PLAIN, wind_kn=18.0))
    assert _about(found) >= {"legs", "wind"}
    words = " ".join(r.words for r in found.remarks)
    assert "Legs 1 and 2 took less than a minute" in words
    assert "In 18 kn of wind" in words
    assert "fit exactly whatever was read" in words
    light = solve_round(made_legs([0.0, 180.0], [5.0, 5.0]), replace(PLAIN, wind_kn=4.0))
    assert all(r.about != "wind" for r in light.remarks)


def test_speeds_of_many_kinds_are_remarked_on() -> None:
    """One factor over legs at 4 and 6 kn is a simplification, and is said to be one."""
    found = solve_round(made_legs([0.0, 120.0, 240.0], [4.0, 5.0, 6.0]))
    assert any("from 4.0 to 6.0 kn" in r.words for r in found.remarks)


def test_a_weak_stream_has_no_set() -> None:
    """Where the drift is less than its ± no ± is claimed for its direction."""
    found = solve_round(made_legs([0.0, 120.0, 240.0], [5.0] * 3, stream=0.02 + 0j))
    assert found.set_expanded_deg is None
    strong = solve_round(made_legs([0.0, 120.0, 240.0], [5.0] * 3, stream=2.0 + 0j))
    assert strong.set_expanded_deg is not None
    assert 1.0 < strong.set_expanded_deg < 10.0


@pytest.mark.parametrize(("step_min", "hurried"), [(2.0, True), (1.0, True), (2.5, False)])
def test_legs_that_leave_no_time_to_turn(step_min: float, hurried: bool) -> None:
    """Legs of two minutes that follow on one another without a gap hold the turns between their headings."""
    legs = made_legs([0.0, 120.0, 240.0], [5.0] * 3, minutes=[0.0, step_min, 2 * step_min])
    found = solve_round(legs)
    assert ("turn" in _about(found)) is hurried
    same = solve_round([*legs, replace(legs[2], started_at=NOON + timedelta(minutes=2 * step_min + 2))])
    assert ("turn" in _about(same)) is hurried
