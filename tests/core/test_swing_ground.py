"""True headings out of courses and speeds over the ground, against published cases and stated truths."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.swings import EIGHT, TRUTH, near, over_ground
from tests.core.vector_legs import direction
from tests.reference_cases import allowance, case, matches
from truemile.core.angles import wrap_360
from truemile.core.deviation_fit import fit_deviation
from truemile.core.deviation_hand import Observed
from truemile.core.errors import NoSolution, NotEnoughReadings, ReadingError
from truemile.core.swing import analyse_swing
from truemile.core.swing_ground import (
    deviations_from_true_headings,
    false_deviations_deg,
    ground_headings,
)
from truemile.core.swing_readings import (
    SwingConditions,
    SwingMethod,
    SwingReading,
    deviations_of,
)


def test_a_swing_over_the_ground() -> None:
    """Case gnss-swing-a: speed, stream, deviations and coefficients of the case."""
    entry = case("gnss-swing-a")
    i, answer = entry["inputs"], entry["answer"]
    swing = [
        SwingReading(h, sog_kn=v, cog_true_deg=c)
        for h, v, c in zip(i["compass_heading_deg"], i["sog_kn"], i["cog_deg"], strict=True)
    ]
    found = analyse_swing(swing, SwingMethod.GROUND_VECTORS, SwingConditions(i["variation_deg_east_positive"]))
    assert found.ground is not None
    assert matches(entry, "speed_through_water_kn", found.ground.speed_kn)
    assert matches(entry, "current_drift_kn", found.ground.stream_drift_kn)
    assert matches(entry, "current_set_deg", found.ground.stream_set_deg)
    for got, wanted in zip(found.deviations.observed, answer["deviation_deg"], strict=True):
        assert near(entry, "deviation_deg", got.deviation_deg, wanted)
    for value, wanted in zip(found.curves[0].fit.coefficients, answer["A_to_E"], strict=True):
        assert abs(value - wanted) <= allowance(entry, "A_to_E", wanted)
    assert any("courses over the ground alone" in remark.words for remark in found.remarks)


def test_the_course_over_the_ground_is_no_heading() -> None:
    """Case cog-as-heading-a: what courses alone make up, and that a swing with speeds does not."""
    entry = case("cog-as-heading-a")
    i, answer = entry["inputs"], entry["answer"]
    headings = [float(h) for h in i["heading_true_deg"]]
    false = false_deviations_deg(headings, i["speed_through_water_kn"], i["current_set_deg"], i["current_drift_kn"])
    for got, wanted in zip(false, answer["false_deviation_deg"], strict=True):
        assert near(entry, "false_deviation_deg", got, wanted)
    for heading, got, wanted in zip(headings, false, answer["cog_deg"], strict=True):
        assert near(entry, "cog_deg", heading + got, wanted)
    fit = fit_deviation([Observed(h, d) for h, d in zip(headings, false, strict=True)], resolution_deg=0.1)
    for value, wanted in zip(fit.coefficients, answer["false_A_to_E_deg"], strict=True):
        assert abs(value - wanted) <= allowance(entry, "false_A_to_E_deg", wanted)
    part, set_rad = math.degrees(i["current_drift_kn"] / i["speed_through_water_kn"]), math.radians(60.0)
    assert -part * math.cos(set_rad) == pytest.approx(answer["first_order_B_deg"], abs=1e-5)
    assert part * math.sin(set_rad) == pytest.approx(answer["first_order_C_deg"], abs=1e-5)
    stream = i["current_drift_kn"] * direction(i["current_set_deg"])
    grounds = [i["speed_through_water_kn"] * direction(h) + stream for h in headings]
    swing = [
        SwingReading(h, sog_kn=abs(g), cog_true_deg=wrap_360(math.degrees(np.angle(g))))
        for h, g in zip(headings, grounds, strict=True)
    ]
    found = analyse_swing(swing, SwingMethod.GROUND_VECTORS, SwingConditions())
    assert found.curves[0].fit.coefficients == pytest.approx((0.0,) * 5, abs=1e-8)
    assert found.ground is not None
    assert found.ground.false_deviation_deg == pytest.approx(5.74, abs=0.01)


@given(st.floats(0, 1.5), st.floats(0, 360), st.lists(st.floats(4.0, 6.5), min_size=9, max_size=9))
def test_with_a_log_the_speed_need_not_be_steady(drift: float, set_deg: float, speeds: list[float]) -> None:
    """Deviations, stream and factor come back where the speed through the water changed from heading to heading."""
    readings = over_ground([40.0 * i for i in range(9)], speeds=speeds, stream=drift * direction(set_deg))
    found = deviations_of(readings, SwingMethod.GROUND_VECTORS, SwingConditions(-3.0))
    assert [o.deviation_deg for o in found.observed] == pytest.approx(
        [TRUTH.deviation_deg(40.0 * i) for i in range(9)], abs=1e-6
    )
    assert found.ground is not None
    assert found.ground.factor == pytest.approx(1.1, abs=1e-7)
    assert found.ground.stream_drift_kn == pytest.approx(drift, abs=1e-7)


def test_the_stream_s_uncertainty_is_in_b_and_c() -> None:
    """Noise in 200 swings over the ground scatters B as stated, most of it through the stream."""
    rng = np.random.default_rng(7)
    clean = over_ground([22.5 * i for i in range(16)], stream=0.8 * direction(60.0))
    bs, us = [], []
    for _ in range(200):
        noisy = []
        for each in clean:
            g = (each.sog_kn or 0.0) * direction(each.cog_true_deg or 0.0) + complex(*rng.normal(0, 0.05, 2))
            noisy.append(replace(each, sog_kn=abs(g), cog_true_deg=wrap_360(math.degrees(np.angle(g)))))
        conditions = SwingConditions(-3.0, resolution_deg=0.1)
        fit = analyse_swing(noisy, SwingMethod.GROUND_VECTORS, conditions).curves[0].fit
        bs.append(fit.coefficients.b)
        us.append(fit.u.b)
    assert float(np.std(bs)) == pytest.approx(float(np.sqrt(np.mean(np.square(us)))), rel=0.15)
    assert abs(float(np.mean(bs)) - TRUTH.coefficients.b) < 4.0 * float(np.std(bs)) / math.sqrt(len(bs))


def test_uneven_velocities_are_remarked_on() -> None:
    """An engine speed that changed without the log being noted shows in the residuals."""
    speeds = [5.2, 5.2, 5.9, 5.2, 4.6, 5.2, 5.2, 5.2]
    readings = [replace(each, indicated_kn=None) for each in over_ground(EIGHT, speeds=speeds)]
    found = analyse_swing(readings, SwingMethod.GROUND_VECTORS, SwingConditions(-3.0))
    assert any("off one circle" in remark.words for remark in found.remarks)
    with_log = analyse_swing(over_ground(EIGHT, speeds=speeds), SwingMethod.GROUND_VECTORS, SwingConditions(-3.0))
    assert not any("off one circle" in remark.words for remark in with_log.remarks)


def test_what_the_ground_cannot_tell() -> None:
    """Missing log readings, an arc too short, and a compass that belongs to another leg are refused."""
    readings = over_ground(EIGHT)
    sog, cog = [r.sog_kn or 0.0 for r in readings], [r.cog_true_deg or 0.0 for r in readings]
    with pytest.raises(NotEnoughReadings, match=r"indicated_kn.*five headings"):
        ground_headings(sog, cog, [5.0] * 3)
    with pytest.raises(ReadingError, match=r"indicated_kn\[2\] is 0\.0"):
        ground_headings(sog, cog, [5.0, 5.0, 0.0, 5.0, 5.0, 5.0, 5.0, 5.0])
    with pytest.raises(NoSolution, match="stream"):
        ground_headings([5.0] * 6, [10.0, 11.0, 12.0, 13.0, 14.0, 15.0])
    with pytest.raises(ReadingError, match=r"readings\[0\]\.heading_compass_deg.*120 degrees from the heading 120"):
        deviations_from_true_headings([120.0], [0.0], 0.0)
    with pytest.raises(ReadingError, match="stream_drift_kn"):
        false_deviations_deg([0.0], 5.0, 0.0, -1.0)
