"""What the ± of a vector round is made of, against another library, simulation and coverage."""

from __future__ import annotations

import math
from dataclasses import replace

import GTC
import numpy as np
import pytest

from tests.core.vector_legs import PLAIN, direction, legs_of_case, made_legs
from tests.reference_cases import cases
from truemile.core.factor_budget import TIDE_H
from truemile.core.ground_vectors import Leg, VectorConditions, conditioning
from truemile.core.uncertainty import from_resolution
from truemile.core.vector_budget import TIDE, UNEVENNESS, columns_of, group_of, weigh
from truemile.core.vector_round import solve_round

approx = pytest.approx
STEADY = replace(PLAIN, unevenness_kn=0.001)


def _gtc(legs: list[Leg], u: dict[str, float]) -> tuple[GTC.lib.UncertainReal, GTC.lib.UncertainReal]:
    """Factor and east stream by the closed form in GTC's uncertain numbers, each reading with its own error."""
    parts = []
    for leg in legs:
        log = GTC.ureal(leg.indicated_kn, u["log"])
        sog = GTC.ureal(leg.sog_kn, u["sog"])
        cog = GTC.ureal(math.radians(leg.cog_true_deg or 0.0), math.radians(u["cog"]))
        heading = GTC.ureal(math.radians(leg.heading_deg), math.radians(u["heading"]))
        parts.append((log * GTC.sin(heading), log * GTC.cos(heading), sog * GTC.sin(cog), sog * GTC.cos(cog)))
    n = len(parts)
    e, north, ge, gn = (sum(part[i] for part in parts) / n for i in range(4))
    square = sum((x - e) ** 2 + (y - north) ** 2 for x, y, _, _ in parts)
    p = sum((x - e) * (u - ge) + (y - north) * (v - gn) for x, y, u, v in parts) / square
    q = sum((y - north) * (u - ge) - (x - e) * (v - gn) for x, y, u, v in parts) / square
    return GTC.sqrt(p**2 + q**2), ge - p * e - q * north


def test_readings_are_carried_through_as_gtc_does() -> None:
    """With every reading independent and no scatter, u of factor and of the stream east are those of GTC."""
    legs = made_legs([10.0, 95.0, 200.0], [5.0, 5.3, 5.6], factor=1.1, offset_deg=2.0, stream=0.8 * direction(120.0))
    own = [replace(leg, u_indicated_kn=0.03, u_sog_kn=0.04, u_cog_deg=0.5, u_heading_deg=0.7) for leg in legs]
    factor, east = _gtc(own, {"log": 0.03, "sog": 0.04, "cog": 0.5, "heading": 0.7})
    found = solve_round(own, STEADY)
    assert found.factor == approx(GTC.value(factor), abs=1e-9)
    assert found.u == approx(GTC.uncertainty(factor), rel=1e-3)
    columns, _ = columns_of(own, speeds_only=False)
    evidence = weigh(own, columns, found.fit, STEADY)
    assert evidence.budget(found.fit.pick(east=1.0)).u == approx(GTC.uncertainty(east), rel=1e-3)


@pytest.mark.parametrize("name", [e["id"] for e in cases("gnss-vector") if e["id"].startswith("conditioning-")])
def test_unevenness_enters_as_the_headings_say(name: str) -> None:
    """At one log speed the share of uneven legs in the factor is σ / (V √(N (1 - R²))), as the cases have it."""
    steered = [float(h) for h in next(e for e in cases("gnss-vector") if e["id"] == name)["inputs"]["headings_deg"]]
    found = solve_round(made_legs(steered, [5.0] * len(steered), factor=1.2), replace(PLAIN, unevenness_dof=1e9))
    row = found.budget.row(UNEVENNESS)
    assert row.contribution / 1.2 == approx(0.08 / 6.0 * conditioning(steered).u_factor_relative, rel=1e-5)


def test_a_steady_log_hides_one_part_on_all_legs() -> None:
    """Eight legs that show 4.5 kn share one rounding, which more legs do not lessen."""
    found = solve_round(legs_of_case("vector-noisy-8"))
    row = found.budget.row("display, 0.1 kn")
    assert row.shared
    assert row.contribution == approx(found.factor * from_resolution(0.1) / 4.5, rel=1e-6)


def test_legs_with_their_own_digit_do_not_share() -> None:
    """Legs at 5.5, 5.6 and 5.4 kn have a rounding each; two that show one digit share theirs."""
    found = solve_round(legs_of_case("vector-exact-3"))
    labels = {row.label for row in found.budget.rows if row.label.startswith("display")}
    assert labels == {f"display, 0.1 kn, leg {i}" for i in (1, 2, 3)}
    assert not any(row.shared for row in found.budget.rows if row.label in labels)
    two = solve_round(legs_of_case("vector-exact-4-offset"))
    assert "display, 0.1 kn, leg 1 and 4" in {row.label for row in two.budget.rows}
    assert {group_of(label) for label in labels} == {"display, 0.1 kn"}


def test_a_stated_mean_takes_the_place_of_rounding() -> None:
    """A leg from a recording brings its own uncertainty."""
    legs = [replace(leg, u_sog_kn=0.012) for leg in legs_of_case("vector-noisy-3")]
    labels = {row.label for row in solve_round(legs).budget.rows}
    assert "mean speed over the ground, leg 2" in labels
    assert not any(label.startswith("speed over the ground") for label in labels)


def test_shares_add_up() -> None:
    """The rows make up the whole variance, for factor, offset and drift."""
    found = solve_round(legs_of_case("vector-noisy-6"))
    assert found.offset_budget is not None
    for budget in (found.budget, found.offset_budget, found.drift_budget):
        assert math.fsum(row.share for row in budget.rows) == approx(1.0)
    assert all(row.advice for row in found.budget.rows)


def test_deviation_left_hides_in_the_stream_and_not_in_the_factor() -> None:
    """On headings that close all round B and C pass for a stream of half their size times the speed.

    The false deviation of a stream, c/V, has the shape of B and C (derived: sin and cos of the heading).
    """
    steered = [0.0, 90.0, 180.0, 270.0]
    b = 2.0
    legs = made_legs(steered, [6.0] * 4, factor=1.0)
    wrong = [
        replace(leg, heading_deg=(leg.heading_deg - b * math.sin(math.radians(leg.heading_deg))) % 360.0)
        for leg in legs
    ]
    found = solve_round(wrong, replace(PLAIN, u_deviation_deg=b))
    assert found.factor == approx(1.0, abs=1e-3)
    assert found.stream_drift_kn == approx(6.0 * math.radians(b) / 2.0, rel=0.02)
    assert found.drift_budget.row("deviation left in the headings, coefficient B").contribution == approx(
        found.stream_drift_kn, rel=0.02
    )


def test_a_tide_leaves_what_its_row_says() -> None:
    """Root mean square over phase and direction of what a tide of 1 kn does to the factor: simulated 4000 times."""
    steered, minutes = [0.0, 180.0, 90.0, 270.0, 30.0], [0.0, 6.0, 15.0, 22.0, 40.0]
    conditions = replace(PLAIN, tide_amplitude_kn=1.0)
    found = solve_round(made_legs(steered, [5.0] * 5, factor=1.1, minutes=minutes), conditions)
    mids = np.asarray(found.mid_h)
    rng = np.random.default_rng(8)
    weights = found.fit.pick(factor=1.0)
    errors = []
    for phase, angle in rng.uniform(0.0, 2.0 * math.pi, (4000, 2)):
        swing = np.cos(2.0 * math.pi * mids / TIDE_H + phase) - math.cos(phase)
        errors.append(float(weights @ found.fit.follows(swing * np.exp(1j * angle))))
    assert found.budget.row(TIDE).contribution == approx(float(np.sqrt(np.mean(np.square(errors)))), rel=0.05)


def test_scatter_is_pooled_with_what_was_judged() -> None:
    """Residuals near what was judged are averaged with it by degrees of freedom."""
    legs = legs_of_case("vector-noisy-6")
    fine = VectorConditions(
        speed_resolution_kn=0.001, sog_resolution_kn=0.001, cog_resolution_deg=0.001, heading_resolution_deg=0.001
    )
    found = solve_round(legs, fine)
    row = found.budget.row(UNEVENNESS)
    assert row.u == approx(math.sqrt((4 * 0.08**2 + 8 * 0.0995556685**2) / 12), rel=1e-4)
    assert row.dof == 12


def test_residuals_that_belie_the_judgement_count_alone() -> None:
    """Where the legs scatter far more than was judged, only what they show is used."""
    legs = legs_of_case("vector-noisy-6")
    calm = VectorConditions(
        speed_resolution_kn=0.001,
        sog_resolution_kn=0.001,
        cog_resolution_deg=0.001,
        heading_resolution_deg=0.001,
        unevenness_kn=0.02,
    )
    row = solve_round(legs, calm).budget.row(UNEVENNESS)
    assert row.u == approx(0.0995556685, rel=1e-4)
    assert row.dof == 8


def _covered(n: int, rounds: int, seed: int) -> tuple[float, float]:
    """Part of simulated rounds whose ± holds the true factor, and the mean relative error."""
    rng = np.random.default_rng(seed)
    held, errors = 0, []
    for _ in range(rounds):
        factor, offset, speed = rng.uniform(0.85, 1.2), rng.uniform(-3, 3), rng.uniform(4.5, 6.5)
        stream = rng.uniform(0.0, 1.2) * direction(rng.uniform(0, 360))
        first = rng.integers(0, 360)
        legs = []
        for i in range(n):
            heading, log = float(round(first + i * 360 / n) % 360), speed * (1 + 0.02 * rng.standard_normal())
            noise = 0.08 * complex(rng.standard_normal(), rng.standard_normal())
            ground = factor * log * direction(heading + offset) + stream + noise
            course = float(round(math.degrees(np.angle(ground)))) % 360.0
            legs.append(Leg(heading, round(log, 1), round(abs(ground), 1), course))
        found = solve_round(legs, PLAIN)
        held += abs(found.factor - factor) <= found.expanded
        errors.append(found.factor / factor - 1.0)
    return held / rounds, float(np.mean(errors))


@pytest.mark.parametrize("n", [3, 6])
def test_the_margin_holds_the_truth(n: int) -> None:
    """Of 150 simulated rounds, rounded and noisy as judged, 90 to 100 % hold the true factor, without bias.

    150 rounds of 95 % have a standard deviation of 1.8 %; the bias allowed is four standard errors.
    """
    held, bias = _covered(n, 150, seed=n)
    assert 0.90 <= held <= 1.0
    assert abs(bias) < 4 * 0.012 / math.sqrt(150)
