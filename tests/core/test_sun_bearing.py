"""Amplitude and azimuth by hand formulas against published cases, and the check of a compass by the sun."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import erfa
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.core.skies import published, rows
from truemile.core.angles import difference, wrap_180
from truemile.core.errors import NoSolution, ReadingError
from truemile.core.position import Position
from truemile.core.sky import Body, BodyPlace, sun_place
from truemile.core.sun_bearing import (
    LowSun,
    Side,
    Sight,
    SightQuality,
    altitude_of_low_sun,
    amplitude,
    check_by_bearing,
    check_by_sun,
    lower_limb_when_level,
    solve_triangle,
)
from truemile.ephemeris import sky

ARCMIN = 1 / 60


@pytest.mark.parametrize("row", rows("amplitude_published"), ids=lambda row: f"{row['lat_deg']:.0f}-{row['event']}")
def test_published_amplitudes(row: dict) -> None:
    """Amplitude and bearing are those of the worked examples named in the table."""
    found = amplitude(row["lat_deg"], row["dec_deg"], Side(row["event"]))
    assert abs(abs(found.amplitude_deg) - row["amplitude_deg"]) <= row["tol_deg"]
    assert abs(found.bearing_true_deg - row["Zn_deg"]) <= row["tol_deg"]


@pytest.mark.parametrize("row", rows("amplitude_formula"), ids=lambda row: f"{row['lat_deg']}-{row['dec_deg']}")
def test_grid_of_amplitudes(row: dict) -> None:
    """The grid, worked out apart from this program, is met to half its last digit, on both sides of the equator."""
    for sign in (1, -1):
        found = amplitude(sign * row["lat_deg"], row["dec_deg"], Side.RISING)
        assert abs(found.amplitude_deg - row["amplitude_deg"]) <= 0.05 + 1e-9


@pytest.mark.parametrize("row", rows("navigational_triangle"), ids=lambda row: f"{row['lat_deg']}-{row['dec_deg']}")
def test_published_azimuths(row: dict) -> None:
    """Azimuth angle with its letters, and azimuth, are those of the worked examples named in the table."""
    found = solve_triangle(row["lat_deg"], row["dec_deg"], row["lha_deg"])
    assert abs(difference(found.azimuth_true_deg, row["Zn_deg"])) <= row["tol_deg"]
    assert found.words[-1] == row["suffix"]
    # One of the sources counts from the depressed pole.
    from_pole = found.azimuth_angle_deg if found.words[0] == row["prefix"] else 180.0 - found.azimuth_angle_deg
    assert abs(from_pole - row["Z_deg"]) <= row["tol_deg"]


def test_venus_by_the_formulas() -> None:
    """Azimuth and altitude of Venus are those of example 13.b [Meeus1998], to half the last digit printed."""
    case = published("meeus_horizontal")
    found = solve_triangle(case["lat_deg"], case["declination_deg"], case["local_hour_angle_deg"])
    assert abs(found.azimuth_true_deg - case["azimuth_from_north_deg"]) <= 0.0005
    assert abs(found.altitude_deg - case["altitude_deg"]) <= 0.0005


def test_validation_value() -> None:
    """The validation value of ERFA's hd2ae is met to the last digits."""
    case = published("erfa_hd2ae")
    given_deg = (math.degrees(case[name]) for name in ("lat_rad", "dec_rad", "hour_angle_rad"))
    found = solve_triangle(*given_deg)
    assert math.radians(found.azimuth_true_deg) == pytest.approx(case["azimuth_rad"], abs=1e-13)
    assert math.radians(found.altitude_deg) == pytest.approx(case["altitude_rad"], abs=1e-13)


@given(latitude=st.floats(-89, 89), declination=st.floats(-89, 89), lha=st.floats(0, 360))
def test_any_triangle(latitude: float, declination: float, lha: float) -> None:
    """A second library [ERFA] has the body on the same bearing and as high."""
    azimuth, altitude = erfa.hd2ae(*(math.radians(each) for each in (lha, declination, latitude)))
    assume(altitude < math.radians(89.9))
    found = solve_triangle(latitude, declination, lha)
    assert abs(difference(found.azimuth_true_deg, math.degrees(azimuth))) < 1e-6
    assert abs(found.altitude_deg - math.degrees(altitude)) < 1e-9


@given(latitude=st.floats(-60, 60), hours=st.floats(0, 8760))
def test_hand_and_ephemeris_agree(latitude: float, hours: float) -> None:
    """From declination and hour angle of the almanac the formula has the sun where the ephemeris sees it."""
    at = datetime.fromtimestamp(1_767_225_600 + 3600 * hours, UTC)
    place = sun_place(sky(), Position(latitude, 30.0), at)
    assume(abs(place.altitude_deg) < 70)
    found = solve_triangle(latitude, place.declination_deg, place.lha_deg)
    assert abs(difference(found.azimuth_true_deg, place.azimuth_true_deg)) <= 0.005
    assert abs(found.altitude_deg - place.altitude_deg) <= 0.005


@given(
    latitude=st.floats(-65, 65),
    declination=st.floats(-23.4, 23.4),
    altitude=st.floats(-1, 15),
    side=st.sampled_from(Side),
)
def test_amplitude_and_triangle_agree(latitude: float, declination: float, altitude: float, side: Side) -> None:
    """A body at the altitude of its amplitude has the azimuth of its amplitude."""
    phi, dec, high = (math.radians(each) for each in (latitude, declination, altitude))
    cos_lha = (math.sin(high) - math.sin(phi) * math.sin(dec)) / (math.cos(phi) * math.cos(dec))
    assume(abs(cos_lha) < 0.999)
    lha = math.degrees(math.acos(cos_lha)) * (1 if side is Side.SETTING else -1)
    found = amplitude(latitude, declination, side, altitude)
    assert abs(difference(found.bearing_true_deg, solve_triangle(latitude, declination, lha).azimuth_true_deg)) < 1e-6


@pytest.mark.parametrize("latitude", [50.0, -50.0])
@pytest.mark.parametrize("declination", [-20.0, 0.0, 20.0])
@pytest.mark.parametrize("side", Side)
def test_the_visible_horizon(latitude: float, declination: float, side: Side) -> None:
    """From the visible horizon to the celestial one the sun moves away from the elevated pole (from memory)."""
    seen = amplitude(latitude, declination, side, altitude_of_low_sun(LowSun.UPPER_LIMB_ON_HORIZON, 2.0))
    level = amplitude(latitude, declination, side)
    towards_north = seen.amplitude_deg - level.amplitude_deg
    assert towards_north * latitude > 0
    assert 0.5 < abs(towards_north) < 1.6


def test_altitudes_of_the_low_sun() -> None:
    """On the level horizon the centre is 50′ below when the upper limb is on it, 18′ when the lower is [USNO]."""
    altitudes = [altitude_of_low_sun(look, 0.0) / ARCMIN for look in LowSun]
    assert altitudes == pytest.approx([0.0, -50.0, -18.0])
    assert altitude_of_low_sun(LowSun.LOWER_LIMB_ON_HORIZON, 9.0) / ARCMIN == pytest.approx(-23.28)


def test_when_the_centre_is_level() -> None:
    """The lower limb is half a diameter up from a cockpit, two thirds from a bridge (common practice, no source)."""
    assert lower_limb_when_level(2.0) == pytest.approx(1 / 2, abs=0.03)
    assert lower_limb_when_level(24.0) == pytest.approx(2 / 3, abs=0.03)


def test_a_sun_that_does_not_set() -> None:
    """Where the sun stays up there is no amplitude; the azimuth at a noted time is the way out."""
    with pytest.raises(NoSolution, match=r"declination 23\.0° N stays on one side.*azimuth at a noted time"):
        amplitude(70.0, 23.0, Side.SETTING)
    with pytest.raises(NoSolution, match="stays on one side"):
        amplitude(90.0, 0.0, Side.RISING)


@pytest.mark.parametrize(("latitude", "declination", "lha"), [(20.0, 20.0, 0.0), (90.0, 10.0, 30.0)])
def test_no_azimuth(latitude: float, declination: float, lha: float) -> None:
    """In the zenith and from a pole there is no azimuth."""
    with pytest.raises(NoSolution, match="has no azimuth"):
        solve_triangle(latitude, declination, lha)


@pytest.mark.parametrize(
    ("values", "field"),
    [((91.0, 0.0, 0.0), "latitude_deg"), ((0.0, -91.0, 0.0), "declination_deg"), ((0.0, 0.0, 361.0), "lha_deg")],
)
def test_no_triangle(values: tuple[float, float, float], field: str) -> None:
    """An angle out of its range is refused by its name."""
    with pytest.raises(ReadingError, match=f"^{field} is"):
        solve_triangle(*values)


@pytest.mark.parametrize(
    ("latitude", "declination", "altitude", "field"),
    [(91.0, 0.0, 0.0, "latitude_deg"), (0.0, 91.0, 0.0, "declination_deg"), (0.0, 0.0, 90.0, "altitude_deg")],
)
def test_no_amplitude(latitude: float, declination: float, altitude: float, field: str) -> None:
    """An angle out of its range is refused by its name."""
    with pytest.raises(ReadingError, match=f"^{field} is"):
        amplitude(latitude, declination, Side.RISING, altitude)


def _signed(text: str) -> float:
    return float(text[:-1]) * (1 if text[-1] == "E" else -1)


@pytest.mark.parametrize("row", rows("compass_error_from_azimuth"), ids=lambda row: row["error"])
def test_published_errors(row: dict) -> None:
    """Error and deviation have the size and the side of the worked examples named in the table."""
    found = check_by_bearing(row["true_deg"], row["compass_deg"], _signed(row["variation"]))
    assert found.error_deg == pytest.approx(_signed(row["error"]), abs=1e-9)
    assert found.deviation_deg == pytest.approx(_signed(row["deviation"]), abs=1e-9)


def test_a_lesson_of_1918() -> None:
    """Sun by compass 92, true 80, variation 10 W: error 12 W, deviation 2 W (E. G. Draper, Lectures in Navigation)."""
    found = check_by_bearing(80.0, 92.0, -10.0)
    assert (found.error_deg, found.deviation_deg) == (-12.0, -2.0)
    assert found.words == (
        "Compass error 12.0° W, deviation 2.0° W ± 1.0°. It holds for the heading that the boat had at that moment."
    )


@given(true=st.floats(0, 360), reading=st.floats(0, 360), variation=st.floats(-180, 180))
def test_true_is_compass_deviation_variation(true: float, reading: float, variation: float) -> None:
    """Bearing by compass, deviation and variation add up to the true bearing; a shadow is the opposite bearing."""
    for sight, turned in ((Sight.SUN, 0.0), (Sight.SHADOW, 180.0)):
        found = check_by_bearing(true, reading, variation, sight=sight)
        assert abs(difference(found.bearing_compass_deg, reading + turned)) < 1e-9
        total = found.bearing_compass_deg + found.deviation_deg + variation
        assert abs(wrap_180(total - true)) < 1e-9


def _sun(altitude_deg: float) -> BodyPlace:
    at = datetime(2026, 6, 1, 6, 0, tzinfo=UTC)
    return BodyPlace(Body.SUN, Position(50.0, -5.0), at, 72.0, altitude_deg, 22.0, 270.0, 0.26)


def test_a_low_sun_is_the_better_one() -> None:
    """A pin leaning 2 degrees turns a shadow by 2 tan h: 0.35 degrees at 10 degrees of height, 2 at 45."""
    low, high = (check_by_sun(_sun(height), 70.0, 0.0, 0.38, sight=Sight.SHADOW) for height in (10.0, 45.0))
    assert low.u_parts_deg[1] == pytest.approx(2 * math.tan(math.radians(10)))
    assert high.u_parts_deg[1] == pytest.approx(2.0)
    assert low.u_parts_deg[3] == 0.38
    assert low.u_deg == pytest.approx(math.hypot(*low.u_parts_deg))
    assert low.expanded_deg < high.expanded_deg


def test_what_the_time_does() -> None:
    """A minute's error in the time turns the bearing by the sun's rate."""
    found = check_by_sun(_sun(10.0), 70.0, 0.0, 0.0, quality=SightQuality(0.0, 0.0, 60.0))
    assert found.u_parts_deg[2] == pytest.approx(abs(_sun(10.0).azimuth_rate_deg_per_min))


def test_a_sun_below_the_horizon() -> None:
    """A sight of a sun that was not up is a slip in time or longitude."""
    with pytest.raises(NoSolution, match=r"at is '2026-06-01T06:00:00.*stood 5° below the horizon.*Check the time"):
        check_by_sun(_sun(-5.0), 70.0, 0.0, 0.38)


@pytest.mark.parametrize(
    ("values", "field"),
    [((361.0, 0.0, 0.0), "azimuth_true_deg"), ((0.0, -1.0, 0.0), "reading_deg"), ((0.0, 0.0, 181.0), "variation_deg")],
)
def test_no_check(values: tuple[float, float, float], field: str) -> None:
    """A value out of its range is refused by its name."""
    with pytest.raises(ReadingError, match=f"^{field} is"):
        check_by_bearing(*values)


def test_no_uncertainty_of_variation() -> None:
    """A negative uncertainty is none."""
    with pytest.raises(ReadingError, match=r"^u_variation_deg is"):
        check_by_sun(_sun(5.0), 70.0, 0.0, -0.1)


@pytest.mark.parametrize("field", ["u_reading_deg", "u_tilt_deg", "u_time_s"])
def test_no_quality(field: str) -> None:
    """A negative uncertainty is none."""
    with pytest.raises(ReadingError, match=f"^{field} is"):
        SightQuality(**{field: -1.0})
