"""Legs are found where there are any, and a turn is never one."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.recordings.recorded_files import fit_to_course, fit_to_positions, recorded
from truemile.core.errors import ManyFaults, NotEnoughReadings, ReadingError
from truemile.core.ground_vectors import TURNING_DEG_S
from truemile.recordings.leg_means import leg_between
from truemile.recordings.legs import LegsFound, find_legs
from truemile.recordings.one_tack import single_tack_ratio
from truemile.recordings.read import read_recording
from truemile.recordings.recording import Recording
from truemile.recordings.steady import LegSettings

FACTOR, OFFSET_DEG, STREAM_KN, SET_DEG = 1.08, 3.0, 0.7, 110.0
START = datetime(2026, 5, 3, 12, tzinfo=UTC)


def sailed(*parts: tuple[int, float], magnetic: bool = False, rate_deg_s: float = 0.0) -> Recording:
    """Return a recording made from a stated truth: (seconds, heading) in turn, turning at 6° a second between."""
    headings: list[float] = []
    for seconds, heading in parts:
        if headings:
            change = (heading - headings[-1] + 180) % 360 - 180
            headings += [headings[-1] + change * step / 15 for step in range(1, 15)]
        headings += [heading + rate_deg_s * second for second in range(seconds)]
    lat, lon = 47.15, -31.0
    name = "heading_magnetic_deg" if magnetic else "heading_true_deg"
    lines = [f"time_utc,lat,lon,stw_kn,{name}"]
    for second, heading in enumerate(headings):
        at = (START + timedelta(seconds=second)).isoformat()
        lines.append(f"{at},{lat:.9f},{lon:.9f},5.2,{heading % 360:.4f}")
        through, drift = math.radians(heading + OFFSET_DEG), math.radians(SET_DEG)
        north = FACTOR * 5.2 * math.cos(through) + STREAM_KN * math.cos(drift)
        east = FACTOR * 5.2 * math.sin(through) + STREAM_KN * math.sin(drift)
        lat, lon = lat + north / 3600 / 60, lon + east / 3600 / 60 / math.cos(math.radians(lat))
    return read_recording("\n".join(lines).encode(), "sailed.csv")


def test_the_circle_has_no_legs() -> None:
    """A full circle at 1.7° a second is no leg, and the tool says why; heading span 370° in the README of the files."""
    for name in ("circle-starboard.csv", "circle-starboard.nmea"):
        found = find_legs(recorded(name))
        assert found.legs == ()
        assert found.arcs == ()
        assert any("continuous turn to starboard" in words and "is no leg" in words for words in found.words)
        (turn,) = found.turns
        assert 360 <= turn.change_deg <= 390
        assert turn.rate_deg_s == pytest.approx(1.7, abs=0.1)


def test_the_figure_of_eight_has_no_legs_but_two_turns() -> None:
    """One turn to each side."""
    found = find_legs(recorded("figure8.csv"))
    assert found.legs == ()
    assert [turn.change_deg > 0 for turn in found.turns] == [True, False]


def test_pieces_of_a_turn_come_only_on_request_and_marked() -> None:
    """Whoever insists gets arcs of ten seconds, all turning."""
    found = find_legs(recorded("circle-starboard.csv"), arcs=True)
    assert len(found.arcs) == 21
    assert all(arc.turning and arc.to_leg().turning for arc in found.arcs)


def test_the_plain_fit_over_the_figure_of_eight() -> None:
    """Factor 1.24 to 1.26, offset about +1°; published with the recordings."""
    for name in ("figure8.csv", "figure8.nmea"):
        fit = fit_to_positions(recorded(name))
        assert 1.24 <= fit.factor <= 1.26
        assert round(fit.offset_deg) == 1


def test_the_plain_fit_over_the_circle_misleads() -> None:
    """Factor near 1.36, offset -4° (position differences) to -14° (damped course); published with the recordings."""
    for name in ("circle-starboard.csv", "circle-starboard.nmea"):
        by_position, by_course = fit_to_positions(recorded(name)), fit_to_course(recorded(name))
        assert by_position.factor == pytest.approx(1.36, abs=0.005)
        assert by_course.factor == pytest.approx(1.36, abs=0.005)
        assert -14 <= by_course.offset_deg < by_position.offset_deg - 3
        assert -14 <= by_position.offset_deg <= -4


def test_in_a_turn_lag_and_offset_trade() -> None:
    """Every second by which the heading is taken earlier moves the offset by the rate of turn, the factor not."""
    circle = recorded("circle-starboard.csv")
    shifted = Recording(
        **{field: getattr(circle, field) for field in Recording.__slots__}
        | {"heading_deg": np.r_[np.full(3, np.nan), circle.heading_deg[:-3]]}
    )
    plain, lagged = fit_to_positions(circle), fit_to_positions(shifted)
    assert lagged.offset_deg - plain.offset_deg == pytest.approx(3 * 1.75, abs=0.3)
    assert lagged.factor == pytest.approx(plain.factor, abs=0.01)


def test_the_csv_and_the_sentences_give_the_same_legs_and_fits() -> None:
    """One recording in two shapes has one answer."""
    for name in ("figure8", "circle-starboard"):
        table, sentences = recorded(f"{name}.csv"), recorded(f"{name}.nmea")
        first, second = fit_to_positions(table), fit_to_positions(sentences)
        assert first.factor == pytest.approx(second.factor, abs=0.001)
        assert first.offset_deg == pytest.approx(second.offset_deg, abs=0.05)
        legs, other = find_legs(table), find_legs(sentences)
        assert len(legs.legs) == len(other.legs)
        assert [t.change_deg for t in legs.turns] == pytest.approx([t.change_deg for t in other.turns], abs=3)


def test_legs_of_a_stated_truth() -> None:
    """Three headings give three legs with the true heading, and the ground velocity of factor, offset and stream."""
    found = find_legs(sailed((150, 350), (120, 110), (120, 230)))
    assert [round(leg.heading_deg) for leg in found.legs] == [350, 110, 230]
    assert found.words == ("3 steady legs found.",)
    assert len(found.turns) == 2
    for leg in found.legs:
        through, drift = math.radians(leg.heading_deg + OFFSET_DEG), math.radians(SET_DEG)
        east = FACTOR * 5.2 * math.sin(through) + STREAM_KN * math.sin(drift)
        north = FACTOR * 5.2 * math.cos(through) + STREAM_KN * math.cos(drift)
        ground = leg.ground()
        assert ground.sog_kn == pytest.approx(math.hypot(east, north), rel=0.005)  # the truth is laid on a sphere
        assert ground.cog_true_deg == pytest.approx(math.degrees(math.atan2(east, north)) % 360, abs=0.3)
        assert leg.by_sog_cog is None
        assert abs(leg.turn_rate_deg_s) < TURNING_DEG_S


def test_the_time_after_a_turn_is_cut_off() -> None:
    """The second leg begins at least the settling time after the turn; the first had no turn before it."""
    first, second = find_legs(sailed((120, 350), (120, 110))).legs
    assert first.start_s == 0
    assert second.start_s >= 120 + 14 + 15
    assert second.started_at == START + timedelta(seconds=second.start_s, microseconds=0)


@pytest.mark.parametrize(("rate", "legs"), [(0.05, 1), (0.3, 0)])
def test_a_slow_turn_is_a_turn(rate: float, legs: int) -> None:
    """Drifting through 6° in two minutes is a leg, 36° is none."""
    assert len(find_legs(sailed((120, 40), rate_deg_s=rate)).legs) == legs


def test_a_long_leg_is_cut_into_equal_parts() -> None:
    """Twenty-five minutes make three legs."""
    legs = find_legs(sailed((1500, 40))).legs
    assert [round(leg.duration_s / 10) for leg in legs] == [50, 50, 50]


def test_a_short_steady_stretch_is_no_leg() -> None:
    """Less than the shortest time does not count."""
    assert find_legs(sailed((40, 40))).legs == ()


def test_a_gap_parts_a_leg() -> None:
    """Readings half a minute apart are not joined."""
    whole = sailed((200, 40))
    keep = (whole.t_s < 90) | (whole.t_s > 120)
    columns = {f: getattr(whole, f) for f in Recording.__slots__}
    parted = Recording(**{f: v[keep] if isinstance(v, np.ndarray) else v for f, v in columns.items()})
    assert [round(leg.start_s) for leg in find_legs(parted).legs] == [0, 121]


def test_one_heading_only_is_said() -> None:
    """The inland recording has one leg, which cannot tell stream from log."""
    found = find_legs(recorded("sailing.nmea"))
    (leg,) = found.legs
    assert round(leg.heading_deg, 1) == 235.2
    assert any("Add another heading" in words for words in found.words)
    assert leg.by_position is not None
    assert leg.by_sog_cog is not None
    assert leg.by_position.cog_true_deg == pytest.approx(leg.by_sog_cog.cog_true_deg, abs=0.5)
    assert leg.to_leg("sog_cog").cog_true_deg == leg.by_sog_cog.cog_true_deg


@pytest.mark.parametrize(
    ("name", "lacking"),
    [("steady.csv", "velocity over the ground"), ("no-date.nmea", "speed through the water")],
)
def test_what_is_missing_for_legs_is_said(name: str, lacking: str) -> None:
    """No leg is no error."""
    assert find_legs(recorded(name)) == LegsFound(
        (), (), (), (f"No legs can be found: the recording has no {lacking}.",)
    )


def test_a_magnetic_heading_needs_the_variation() -> None:
    """Without it the leg cannot be made, and with it the heading becomes true."""
    leg = find_legs(sailed((120, 40), magnetic=True)).legs[0]
    with pytest.raises(NotEnoughReadings, match="Enter the variation"):
        leg.to_leg()
    assert leg.to_leg(variation_deg=-4.0).heading_true_deg == pytest.approx(36.0, abs=0.01)


def test_nothing_between_two_times_makes_no_leg() -> None:
    """Means need readings."""
    assert leg_between(recorded("sailing.nmea"), 1000, 2000) is None
    assert leg_between(recorded("steady.csv"), 0, 10) is None


def test_the_inland_tack_by_the_published_numbers() -> None:
    """0.230 nm (on a sphere) in 146 s against a mean log of 6.53 kn: about 0.87; published with the recordings."""
    sailing = recorded("sailing.nmea")
    tack = single_tack_ratio(sailing)
    assert tack.elapsed_s == 146
    assert round(tack.indicated_kn, 2) == 6.53
    assert round(tack.ratio, 2) == 0.87
    fixed = np.flatnonzero(np.isfinite(sailing.lat))[[0, -1]]
    (north,), (east,) = np.diff(sailing.lat[fixed]) * 60, np.diff(sailing.lon[fixed]) * 60
    assert round(math.hypot(north, east * math.cos(math.radians(sailing.lat[0]))), 3) == 0.230
    assert tack.distance_nm == pytest.approx(0.230, rel=0.0034)  # an ellipsoid differs from it by up to 1/298


def test_the_one_tack_says_what_it_cannot_tell() -> None:
    """A stream of the difference would give the same with a true log."""
    cannot = single_tack_ratio(recorded("sailing.nmea")).cannot
    assert "no log factor" in cannot[0]
    assert "0.8 kn" in cannot[0]
    assert "reciprocal" in cannot[-1]


def test_a_circle_is_not_one_tack() -> None:
    """Headings all round are refused."""
    with pytest.raises(NotEnoughReadings, match="one tack is on one heading"):
        single_tack_ratio(recorded("circle-starboard.csv"))


def test_a_tack_without_ground_is_refused() -> None:
    """Log and heading alone give no ratio."""
    with pytest.raises(NotEnoughReadings, match="Record VHW"):
        single_tack_ratio(recorded("steady.csv"))


def test_a_leg_without_ground_has_no_velocity() -> None:
    """Asking for one is refused with the remedy."""
    leg = find_legs(sailed((120, 40))).legs[0]
    bare = type(leg)(**{f: getattr(leg, f) for f in type(leg).__slots__} | {"by_position": None})
    with pytest.raises(NotEnoughReadings, match="Record RMC too"):
        bare.ground()


def test_settings_that_cannot_work_are_refused() -> None:
    """Each fault is named, several at once."""
    with pytest.raises(ReadingError, match="window_s is 1"):
        LegSettings(window_s=1)
    with pytest.raises(ManyFaults):
        LegSettings(window_s=1, arc_s=1)
