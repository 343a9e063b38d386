"""Swings by each method, against published cases and stated truths."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.swings import EIGHT, NOON, TRUTH, near
from tests.reference_cases import allowance, case, cases, facts, handbook, matches
from truemile.core.angles import circular_mean, difference, wrap_180, wrap_360
from truemile.core.deviation_curve import ApproximateCurve, Coefficients
from truemile.core.deviation_fit import fit_deviation
from truemile.core.deviation_hand import Observed
from truemile.core.errors import ManyFaults, NavigationError, NoSolution, NotEnoughReadings, ReadingError
from truemile.core.swing import analyse_swing, compare_curves
from truemile.core.swing_ground import (
    parallax_deg,
)
from truemile.core.swing_readings import (
    U_LOST_A_DEG,
    Electrics,
    SwingConditions,
    SwingMethod,
    SwingReading,
    deviation_by_bearing,
    deviation_by_comparison,
    deviation_by_reciprocal,
    deviations_of,
)

# ---------------------------------------------------------------- methods


def test_every_compass_case_is_used() -> None:
    """No case of the topic is left out of the tests on compass work."""
    here = __file__.rpartition("/")[0]
    texts = ""
    for name in ("compass_conversion", "deviation_curve", "deviation_fit", "swing", "swing_ground"):
        with open(f"{here}/test_{name}.py", encoding="utf-8") as file:  # noqa: PTH123  one line is enough
            texts += file.read()
    assert [entry["id"] for entry in cases("compass") if f'"{entry["id"]}"' not in texts] == []


def test_a_transit() -> None:
    """Case transit-swing-a: deviations by heading, with their sign, and coefficients."""
    entry = case("transit-swing-a")
    inputs, answer = entry["inputs"], entry["answer"]
    swing = [
        SwingReading(float(h), bearing_compass_deg=b)
        for h, b in zip(inputs["ship_head_compass_deg"], inputs["transit_bearing_compass_deg"], strict=True)
    ]
    conditions = SwingConditions(inputs["variation_deg_east_positive"], bearing_true_deg=inputs["transit_true_deg"])
    found = analyse_swing(swing, SwingMethod.KNOWN_BEARING, conditions)
    for got, wanted, wrong in zip(
        found.deviations.observed, answer["deviation_deg"], entry["naive"]["sign_reversed"], strict=True
    ):
        assert near(entry, "deviation_deg", got.deviation_deg, wanted)
        assert abs(got.deviation_deg - wrong) > 1.0
    headings = [each.heading_compass_deg for each in found.deviations.observed]
    assert headings == inputs["ship_head_compass_deg"]  # and not the bearings, which lie within 10 degrees
    for got, wanted in zip(found.curves[0].fit.coefficients, answer["A_to_E"], strict=True):
        assert abs(got - wanted) <= allowance(entry, "A_to_E", wanted)
    assert found.curves[0].may_be_put_in_force


def test_an_object_of_unknown_bearing_loses_a() -> None:
    """Case distant-object-unknown-bearing: the mean bearing, deviations from it, and no claim to A."""
    entry = case("distant-object-unknown-bearing")
    inputs, answer = entry["inputs"], entry["answer"]
    swing = [
        SwingReading(float(h), bearing_compass_deg=b)
        for h, b in zip(inputs["ship_head_compass_deg"], inputs["object_bearing_compass_deg"], strict=True)
    ]
    found = analyse_swing(swing, SwingMethod.UNKNOWN_BEARING)
    assert found.deviations.mean_bearing_deg is not None
    assert matches(entry, "mean_bearing_deg", found.deviations.mean_bearing_deg)
    for got, wanted in zip(found.deviations.observed, answer["deviation_from_mean_deg"], strict=True):
        assert near(entry, "deviation_from_mean_deg", got.deviation_deg, wanted)
    fit = found.curves[0].fit
    assert fit.coefficients.a == 0.0
    assert fit.u.a == U_LOST_A_DEG
    assert found.remarks[0].about == "A"


@given(st.lists(st.floats(0, 359), min_size=9, max_size=16, unique=True), st.floats(0, 360))
def test_uneven_headings_do_not_spoil_b_to_e(headings: list[float], bearing: float) -> None:
    """With an unknown bearing and any headings, B to E are the truth: only A goes into the mean."""
    swing = [SwingReading(h, bearing_compass_deg=wrap_360(bearing - TRUTH.deviation_deg(h))) for h in headings]
    try:
        fit = analyse_swing(swing, SwingMethod.UNKNOWN_BEARING).curves[0].fit
    except NavigationError:
        return
    assert fit.coefficients[1:] == pytest.approx(TRUTH.coefficients[1:], abs=1e-6)


def test_a_bearing_across_north_is_averaged_as_a_direction() -> None:
    """Case circular-mean-a, and an object due north whose bearings lie on both sides."""
    entry = case("circular-mean-a")
    mean = circular_mean(entry["inputs"]["readings_deg"])
    assert matches(entry, "mean_deg", mean.mean_deg)
    assert matches(entry, "mean_resultant_length", mean.resultant_length)
    assert abs(mean.mean_deg - entry["naive"]["arithmetic_mean_deg"]) > 100.0
    swing = [SwingReading(h, bearing_compass_deg=wrap_360(-TRUTH.deviation_deg(h))) for h in EIGHT]
    found = deviations_of(swing, SwingMethod.UNKNOWN_BEARING, SwingConditions())
    assert found.mean_bearing_deg == pytest.approx(359.5)
    assert [o.deviation_deg for o in found.observed] == pytest.approx([TRUTH.deviation_deg(h) - 0.5 for h in EIGHT])


@pytest.mark.parametrize("name", ["deviation-by-comparison-a", "deviation-by-comparison-b"])
def test_a_trusted_heading(name: str) -> None:
    """The difference is taken the short way round, by itself and in a swing."""
    entry = case(name)
    i = entry["inputs"]
    true, variation, compass = (
        i["reference_heading_true_deg"],
        i["variation_deg_east_positive"],
        i["compass_heading_deg"],
    )
    assert matches(entry, "deviation_deg_east_positive", deviation_by_comparison(true, variation, compass))
    swing = [SwingReading(compass, reference_deg=true)]
    found = deviations_of(swing, SwingMethod.TRUSTED_HEADING, SwingConditions(variation, u_reference_deg=0.3))
    assert matches(entry, "deviation_deg_east_positive", found.observed[0].deviation_deg)
    assert found.shared.u_a_deg == pytest.approx(0.5)


def test_reciprocal_bearings() -> None:
    """Case reciprocal-bearings-a, by itself and in a swing; variation does not enter."""
    entry = case("reciprocal-bearings-a")
    shore, yacht = entry["inputs"]["shore_compass_bears_yacht_deg"], entry["inputs"]["yacht_compass_bears_shore_deg"]
    assert matches(entry, "deviation_deg_east_positive", deviation_by_reciprocal(shore, yacht))
    assert matches(entry, "magnetic_bearing_from_yacht_deg", wrap_360(shore + 180.0))
    swing = [SwingReading(10.0, bearing_compass_deg=yacht, reference_deg=shore)]
    found = deviations_of(swing, SwingMethod.RECIPROCAL, SwingConditions(-30.0, u_reference_deg=0.7))
    assert matches(entry, "deviation_deg_east_positive", found.observed[0].deviation_deg)
    assert found.shared.u_a_deg == 0.7


def test_an_azimuth_of_the_sun() -> None:
    """Case cmp-09: true 080, compass 092, variation 10 W: error 12 W, deviation 2 W, on the ship's head 349."""
    entry = next(e for e in handbook("compass") if e["id"] == "cmp-09")
    i, answer = entry["inputs"], entry["answer"]
    deviation = deviation_by_bearing(i["sun_true_azimuth_deg"], i["variation_deg_E"], i["sun_bearing_compass_deg"])
    assert deviation == answer["deviation_deg_E"]
    assert deviation + i["variation_deg_E"] == answer["compass_error_deg_E"]
    assert wrap_360(i["ship_head_compass_deg"] + deviation + i["variation_deg_E"]) == answer["true_heading_deg"]


def _sun_swing(rate_deg_min: float) -> list[SwingReading]:
    return [
        SwingReading(
            h,
            bearing_compass_deg=wrap_180(90.0 + rate_deg_min * 2.0 * i + 3.0 - TRUTH.deviation_deg(h)),
            reference_deg=90.0 + rate_deg_min * 2.0 * i,
            taken_at=NOON + timedelta(minutes=2 * i),
        )
        for i, h in enumerate(EIGHT)
    ]


def test_a_swing_by_the_sun() -> None:
    """Each reading has its own bearing of the sun; one and the same for all is remarked on; so are eyes."""
    conditions = SwingConditions(-3.0)
    found = analyse_swing(_sun_swing(0.25), SwingMethod.SUN, conditions)
    assert found.curves[0].fit.coefficients == pytest.approx(TRUTH.coefficients, abs=1e-9)
    words = [remark.words for remark in found.remarks]
    assert any("Never look at the sun" in each for each in words)
    assert not any("one bearing of the sun" in each for each in words)
    still = analyse_swing(_sun_swing(0.0), SwingMethod.SUN, conditions)
    assert any("Readings 1 and 4 have one bearing of the sun" in remark.words for remark in still.remarks)


@pytest.mark.parametrize("name", ["parallax-50m-3p0nm", "parallax-100m-6p0nm"])
def test_parallax(name: str) -> None:
    """Largest change of the bearing over the circle, by itself and remarked on in a swing."""
    entry = case(name)
    radius, distance = entry["inputs"]["swing_radius_m"], entry["inputs"]["object_distance_nm"]
    got = parallax_deg(radius, distance)
    assert matches(entry, "max_parallax_deg", got)
    swing = [SwingReading(h, bearing_compass_deg=wrap_360(200.0 - TRUTH.deviation_deg(h))) for h in EIGHT]
    conditions = SwingConditions(object_distance_nm=distance, swing_radius_m=radius, bearing_true_deg=200.0)
    found = analyse_swing(swing, SwingMethod.KNOWN_BEARING, conditions)
    assert found.deviations.shared.u_bc_deg == pytest.approx(got / math.sqrt(2.0))
    assert "parallax" in {remark.about for remark in found.remarks}
    far = analyse_swing(swing, SwingMethod.KNOWN_BEARING, replace(conditions, object_distance_nm=distance * 2))
    assert "parallax" not in {remark.about for remark in far.remarks}
    with pytest.raises(NoSolution, match="outside the circle"):
        parallax_deg(2000.0, 1.0)


# ---------------------------------------------------------------- electrics, heel, engine


def _known(curve: ApproximateCurve, electrics: Electrics, noise: float = 0.0, n: int = 12) -> list[SwingReading]:
    rng = np.random.default_rng(8)
    return [
        SwingReading(
            h,
            bearing_compass_deg=wrap_360(200.0 - curve.deviation_deg(h) + rng.normal(0, noise)),
            electrics=electrics,
        )
        for h in np.arange(n) * 360.0 / n
    ]


CONDITIONS = SwingConditions(bearing_true_deg=200.0, resolution_deg=0.5)


def test_electrics_off_and_on_are_two_curves() -> None:
    """Fact hk-electrics asks for both; the difference is given where it is largest, and whether it shows."""
    assert "running" in facts()["hk-electrics"]["statement"]
    on = ApproximateCurve(Coefficients(0.5, 5.0, -1.0, 1.0, 0.0))
    swing = _known(TRUTH, Electrics.OFF, 0.4) + _known(on, Electrics.ON, 0.4)
    found = analyse_swing(swing, SwingMethod.KNOWN_BEARING, CONDITIONS)
    assert [curve.electrics for curve in found.curves] == [Electrics.OFF, Electrics.ON]
    assert found.curves[1].numbers == tuple(range(13, 25))
    assert found.effect is not None
    assert found.effect.shows is True
    assert abs(found.effect.difference_deg) == pytest.approx(3.0, abs=0.1)
    assert min(abs(difference(found.effect.heading_compass_deg, at)) for at in (0.0, 180.0)) < 15.0
    assert found.curve(Electrics.ON) is found.curves[1]
    assert found.curve(Electrics.NOT_NOTED) is None


def test_chance_alone_seldom_parts_two_curves() -> None:
    """Two swings of one curve are called different about once in twenty times."""
    rng = np.random.default_rng(9)

    def fitted() -> ApproximateCurve:
        swing = [Observed(h, TRUTH.deviation_deg(h) + float(rng.normal(0, 1.0))) for h in np.arange(10) * 36.0]
        curve = fit_deviation(swing, resolution_deg=0.01).curve
        assert isinstance(curve, ApproximateCurve)
        return curve

    told = sum(bool(compare_curves(fitted(), fitted()).shows) for _ in range(400))
    assert 7 <= told <= 36  # 20 expected, three standard deviations of 4.4; pooled scatter makes it approximate


def test_too_few_readings_of_one_state_are_remarked_on() -> None:
    """The other state still has its curve."""
    swing = _known(TRUTH, Electrics.OFF) + _known(TRUTH, Electrics.ON)[:3]
    found = analyse_swing(swing, SwingMethod.KNOWN_BEARING, CONDITIONS)
    assert [curve.electrics for curve in found.curves] == [Electrics.OFF]
    assert found.effect is None
    assert "There is no curve with electrics on: five coefficients need five headings" in found.remarks[0].words
    mixed = analyse_swing(
        _known(TRUTH, Electrics.OFF) + _known(TRUTH, Electrics.NOT_NOTED)[:3], SwingMethod.KNOWN_BEARING, CONDITIONS
    )
    assert "without a note on the electrics" in mixed.remarks[0].words
    with pytest.raises(NotEnoughReadings, match="five headings"):
        analyse_swing(swing[:4], SwingMethod.KNOWN_BEARING, CONDITIONS)
    with pytest.raises(NotEnoughReadings, match="a swing needs readings"):
        analyse_swing([], SwingMethod.KNOWN_BEARING, CONDITIONS)


def test_heel_and_engine_are_remarked_on() -> None:
    """A heeled reading has heeling error; an engine that ran at times mixes two states."""
    swing = _known(TRUTH, Electrics.NOT_NOTED)
    swing[2] = replace(swing[2], heel_deg=-15.0, engine_running=False)
    swing[3] = replace(swing[3], engine_running=True)
    remarks = analyse_swing(swing, SwingMethod.KNOWN_BEARING, CONDITIONS).remarks
    assert {"heel", "engine", "electrics"} <= {remark.about for remark in remarks}
    assert "at reading 3:" in next(remark.words for remark in remarks if remark.about == "heel")
    assert [remark.level for remark in remarks] == sorted(remark.level for remark in remarks)


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("method", "field"),
    [
        (SwingMethod.KNOWN_BEARING, "bearing_compass_deg"),
        (SwingMethod.UNKNOWN_BEARING, "bearing_compass_deg"),
        (SwingMethod.RECIPROCAL, "reference_deg"),
        (SwingMethod.SUN, "taken_at"),
        (SwingMethod.TRUSTED_HEADING, "reference_deg"),
        (SwingMethod.GROUND_VECTORS, "sog_kn"),
    ],
)
def test_each_method_says_what_it_lacks(method: SwingMethod, field: str) -> None:
    """The reading and the entry are named."""
    with pytest.raises(ReadingError) as caught:
        deviations_of([SwingReading(0.0)], method, SwingConditions())
    error = caught.value
    faults = error.faults if isinstance(error, ManyFaults) else (error,)
    assert f"readings[0].{field}" in [fault.field for fault in faults]
    assert "this way of swinging needs" in str(error)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"heading_compass_deg": 361.0}, r"heading_compass_deg is 361\.0"),
        ({"bearing_compass_deg": -1.0}, r"bearing_compass_deg is -1\.0"),
        ({"heel_deg": 90.0}, r"heel_deg is 90\.0"),
        ({"taken_at": datetime(2026, 6, 1)}, r"taken_at.*zone"),  # noqa: DTZ001  that is the fault
    ],
)
def test_readings_that_cannot_be(changed: dict[str, Any], words: str) -> None:
    """Numbers out of range and a time without zone are refused."""
    with pytest.raises(ReadingError, match=words):
        SwingReading(**{"heading_compass_deg": 0.0} | changed)


def test_conditions_that_cannot_be() -> None:
    """All faults at once."""
    with pytest.raises(ManyFaults) as caught:
        SwingConditions(variation_deg=200.0, bearing_true_deg=400.0)
    assert [fault.field for fault in caught.value.faults] == ["variation_deg", "bearing_true_deg"]


def test_a_reciprocal_taken_for_the_bearing() -> None:
    """A deviation of 180° is a slip, and the reading is named."""
    swing = [SwingReading(0.0, bearing_compass_deg=200.0), SwingReading(90.0, bearing_compass_deg=20.0)]
    with pytest.raises(ReadingError, match=r"readings\[1\].*deviation of .?180.*reciprocal"):
        deviations_of(swing, SwingMethod.KNOWN_BEARING, CONDITIONS)
