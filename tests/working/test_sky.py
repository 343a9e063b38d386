"""The hand lines of the sun's bearing, keyed in on a calculator, give what the program says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.working.by_hand import keyed_in
from truemile.core.errors import NoSolution
from truemile.core.position import Position
from truemile.core.sky import SUN_CAUTION, Body, place_of
from truemile.core.sun_bearing import (
    LowSun,
    Side,
    Sight,
    altitude_of_low_sun,
    amplitude,
    check_by_bearing,
    check_by_sun,
)
from truemile.ephemeris import sky
from truemile.working.lines import Kind, Working, printed
from truemile.working.sky import explain_amplitude, explain_azimuth, explain_low_sun, explain_sun_check

START = datetime(2020, 1, 4, tzinfo=UTC)


def _agrees(working: Working, symbol: str, wanted: float) -> None:
    """Every line follows from its printed numbers, and the answer is the program's, once round or not at all."""
    for line in working.lines:
        if line.substitution:
            assert printed(keyed_in(line.substitution), line.decimals) == printed(line.value, line.decimals)
    line = working.line(symbol)
    assert line.kind is Kind.ANSWER
    apart = (line.value - wanted + 180.0) % 360.0 - 180.0
    assert abs(apart) <= 1.000001 * 10.0**-line.decimals
    assert working.misses == ()


@given(
    latitude=st.floats(-65, 65),
    declination=st.floats(-23.44, 23.44),
    altitude=st.sampled_from([0.0, -0.875, 3.2]),
    side=st.sampled_from(Side),
)
@settings(max_examples=100, deadline=None)
def test_amplitude(latitude: float, declination: float, altitude: float, side: Side) -> None:
    """Amplitude and bearing agree with the program for any place and day."""
    try:
        found = amplitude(latitude, declination, side, altitude)
    except NoSolution:
        assume(condition=False)
        return
    assume(abs(found.amplitude_deg) < 85)
    _agrees(explain_amplitude(found), "Z", found.bearing_true_deg)


def test_amplitude_as_it_is_written() -> None:
    """The lines are those of the worked example NAVEDTRA 14220: latitude 51, declination 19, setting, 301.2."""
    working = explain_amplitude(amplitude(51.0, 19.0, Side.SETTING))
    assert [(line.symbol, line.value_text) for line in working.lines] == [
        ("phi", "51.00°"), ("d", "19.00°"), ("A", "31.2°"), ("Z", "301.2°"),
    ]  # fmt: skip
    assert working.line("A").substitution == "arcsin(sin(19.00°) / cos 51.00°)"
    assert working.notes == ("Amplitude as it is written: W 31.2° N.",)


@pytest.mark.parametrize("look", LowSun)
@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("latitude", [-38.3, 0.0, 54.7])
def test_low_sun(look: LowSun, side: Side, latitude: float) -> None:
    """From the height of the eye and the limb to the bearing the lines agree, and the eye is warned."""
    working = explain_low_sun(latitude, 17.3, side, look, 2.2)
    found = amplitude(latitude, 17.3, side, altitude_of_low_sun(look, 2.2))
    _agrees(working, "Z", found.bearing_true_deg)
    assert SUN_CAUTION in working.notes
    assert ("h" in {line.symbol for line in working.lines}) == (look is not LowSun.CENTRE_LEVEL)


@given(
    latitude=st.floats(-80, 80),
    longitude=st.floats(-180, 180),
    hours=st.floats(0, 24 * 11_000),
    body=st.sampled_from(Body),
)
@settings(max_examples=100, deadline=None)
def test_azimuth(latitude: float, longitude: float, hours: float, body: Body) -> None:
    """By hand the azimuth is that of the ephemeris to a tenth of a degree, in every quadrant."""
    place = place_of(sky(), body, Position(latitude, longitude), START + timedelta(hours=hours))
    assume(abs(place.altitude_deg) < 75)
    working = explain_azimuth(place)
    _agrees(working, "Z", place.azimuth_true_deg)
    assert (SUN_CAUTION in working.notes) == (body is Body.SUN)


@given(
    true=st.floats(0, 359.99), reading=st.floats(0, 360), variation=st.floats(-180, 180), sight=st.sampled_from(Sight)
)
@settings(max_examples=150, deadline=None)
def test_check(true: float, reading: float, variation: float, sight: Sight) -> None:
    """Error and deviation agree with the program whichever way the differences turn."""
    found = check_by_bearing(true, reading, variation, sight=sight, u_parts_deg=(0.5, 0.3, 0.01, 0.38))
    _agrees(explain_sun_check(found), "D", found.deviation_deg)


def test_shadow_as_it_is_written() -> None:
    """A shadow read as 258.0 is a sun on 078.0; with the true bearing and variation comes the deviation."""
    at = datetime(2026, 6, 1, 6, 0, tzinfo=UTC)
    place = place_of(sky(), Body.SUN, Position(50.0, -5.0), at)
    working = explain_sun_check(check_by_sun(place, 258.0, -0.3, 0.38, sight=Sight.SHADOW))
    shown = {line.symbol: line.value_text for line in working.lines}
    assert (shown["Z"], shown["R"], shown["C"], shown["E"], shown["V"]) == (
        "72.2°", "258.0°", "78.0°", "−5.8°", "−0.3°",
    )  # fmt: skip
    assert shown["D"].startswith("−5.5 ± 1.")
    assert working.line("C").substitution == "258.0 − 180"
    assert SUN_CAUTION in working.notes
