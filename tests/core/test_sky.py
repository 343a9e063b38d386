"""Places of sun, moon and planets against Horizons and the almanac, and the excerpt against the whole ephemeris."""

from __future__ import annotations

import hashlib
import math
from datetime import UTC, date, datetime, time, timedelta

import ephem
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.skies import published, rows, utc, whole_sky
from truemile.core.angles import difference, wrap_180
from truemile.core.errors import ReadingError
from truemile.core.position import Position
from truemile.core.sky import (
    Body,
    azimuth_rate_deg_per_min,
    dip_deg,
    place_of,
    refraction_deg,
    sun_place,
    track_of,
)
from truemile.ephemeris import EPHEMERIS, sky

ARCMIN = 1 / 60
ARCSEC = 1 / 3600
HORIZONS = [
    ("horizons_sun_refracted", Body.SUN),
    ("horizons_sun_airless_equator", Body.SUN),
    ("horizons_sun_predicted", Body.SUN),
    ("horizons_moon_airless", Body.MOON),
    ("horizons_venus_refracted", Body.VENUS),
    ("horizons_mars_refracted", Body.MARS),
    ("horizons_jupiter_airless", Body.JUPITER),
    ("horizons_saturn_refracted", Body.SATURN),
]
HORIZONS_ROWS = [(name, body, row) for name, body in HORIZONS for row in rows(name)]


@pytest.mark.parametrize(
    ("name", "body", "row"), HORIZONS_ROWS, ids=[f"{body}-{row['utc'][:10]}" for _, body, row in HORIZONS_ROWS]
)
def test_azimuths(name: str, body: Body, row: dict) -> None:
    """Azimuth, and altitude without air, meet those of JPL Horizons within the tolerance of the table."""
    table = published(name)
    found = place_of(whole_sky(), body, Position(table["lat_deg"], table["lon_deg"]), utc(row["utc"]))
    assert abs(difference(found.azimuth_true_deg, row["azimuth_deg"])) <= table["tol_deg"]
    if "elevation_airless_deg" in row:
        assert abs(found.altitude_deg - row["elevation_airless_deg"]) <= table["tol_deg"]


@pytest.mark.parametrize("row", rows("almanac_gha_dec"), ids=lambda row: row["ut"])
def test_hour_angle_and_declination(row: dict) -> None:
    """Hour angle and declination are those of the Nautical Almanac within the tolerance of the table."""
    table = published("almanac_gha_dec")
    found = sun_place(whole_sky(), Position(0.0, 0.0), utc(row["ut"]))
    assert abs(difference(found.gha_deg, row["gha_deg"])) <= table["tol_gha_arcmin"] * ARCMIN
    assert abs(found.declination_deg - row["dec_deg"]) <= table["tol_dec_arcmin"] * ARCMIN


@pytest.mark.parametrize("row", rows("almanac_dec"), ids=lambda row: row["ut"])
def test_declination(row: dict) -> None:
    """Declination is that of the Nautical Almanac within the tolerance of the table."""
    found = sun_place(whole_sky(), Position(0.0, 0.0), utc(row["ut"]))
    assert abs(found.declination_deg - row["dec_deg"]) <= published("almanac_dec")["tol_dec_arcmin"] * ARCMIN


def _instants(first: date, last: date) -> st.SearchStrategy[datetime]:
    start = datetime.combine(first, time(0), tzinfo=UTC)
    return st.floats(0, (last - first).days * 86_400).map(lambda seconds: start + timedelta(seconds=seconds))


INSTANTS = _instants(date(2020, 1, 3), date(2050, 12, 29))
PLACES = st.builds(Position, st.floats(-85, 85), st.floats(-180, 180))


@given(at=INSTANTS, place=PLACES, body=st.sampled_from(Body))
@settings(max_examples=60, deadline=None)
def test_the_excerpt_is_the_ephemeris(at: datetime, place: Position, body: Body) -> None:
    """The bundled excerpt gives what the whole of DE421 gives, to the last digit."""
    assert place_of(sky(), body, place, at) == place_of(whole_sky(), body, place, at)


def test_the_excerpt_is_the_file_that_was_cut() -> None:
    """The file has the check sum that stands beside it."""
    digest = hashlib.sha256(EPHEMERIS.read_bytes()).hexdigest()
    assert digest in (EPHEMERIS.parent / "README.md").read_text(encoding="utf-8")


@given(
    at=_instants(date(2020, 1, 3), date(2026, 6, 1)),
    place=PLACES,
    body=st.sampled_from([Body.SUN, Body.MOON]),
)
@settings(max_examples=80, deadline=None)
def test_second_opinion(at: datetime, place: Position, body: Body) -> None:
    """A second library [ephem] has sun and moon in the same place within 30 seconds of arc."""
    found = place_of(sky(), body, place, at)
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
    observer.elevation, observer.pressure, observer.date = 0.0, 0.0, at
    other = ephem.Sun(observer) if body is Body.SUN else ephem.Moon(observer)
    turned = difference(found.azimuth_true_deg, math.degrees(other.az)) * math.cos(math.radians(found.altitude_deg))
    assert math.hypot(turned, found.altitude_deg - math.degrees(other.alt)) <= 30 * ARCSEC
    assert abs(found.semidiameter_deg - math.degrees(other.radius)) <= 0.1 * ARCMIN


@given(at=INSTANTS, place=PLACES)
@settings(max_examples=40, deadline=None)
def test_track(at: datetime, place: Position) -> None:
    """Many instants at once give what each gives, and the hour angle counts from the meridian."""
    instants = [min(at, datetime(2050, 12, 28, tzinfo=UTC)) + timedelta(hours=each) for each in range(4)]
    azimuths, altitudes, angles = track_of(sky(), Body.SUN, place, instants)
    single = [sun_place(sky(), place, each) for each in instants]
    assert np.allclose(azimuths, [each.azimuth_true_deg for each in single], atol=1e-9)
    assert np.allclose(altitudes, [each.altitude_deg for each in single], atol=1e-9)
    # Seen from the place and not from the earth's centre: up to 9 seconds of arc.
    assert np.allclose(wrap_180(angles - np.array([each.lha_deg for each in single])), 0.0, atol=0.003)


@given(latitude=st.floats(-80, 80), at=INSTANTS)
@settings(max_examples=60, deadline=None)
def test_rate(latitude: float, at: datetime) -> None:
    """The formula's rate is what the azimuth does in a minute, away from the zenith."""
    place = Position(latitude, 20.0)
    before, middle, after = (sun_place(sky(), place, at + timedelta(seconds=each)) for each in (0, 30, 60))
    if abs(middle.altitude_deg) < 60:
        turned = difference(after.azimuth_true_deg, before.azimuth_true_deg)
        assert abs(turned - middle.azimuth_rate_deg_per_min) <= 0.01 * abs(turned) + 0.001


def test_rate_in_the_zenith() -> None:
    """In the zenith there is no azimuth and so no rate."""
    assert math.isnan(azimuth_rate_deg_per_min(10.0, 90.0, 0.0))


def test_refraction() -> None:
    """A true altitude of 33.246′ appears as 57.866′ [Meeus1998]; the air never lowers a body."""
    case = published("meeus_refraction")
    true = case["inverse_true_altitude_arcmin"]
    raised = true + 60 * refraction_deg(true / 60)
    assert abs(raised - case["inverse_apparent_altitude_arcmin"]) <= case["tol_arcmin"]
    assert all(refraction_deg(each) >= 0 for each in (-90.0, -5.0, -1.0, 0.0, 89.0, 90.0))


ABOVE = [row for row in rows("horizons_sun_refracted") if row["elevation_refracted_deg"] > 0]


@pytest.mark.parametrize("row", ABOVE, ids=lambda row: row["utc"])
def test_refracted_altitude(row: dict) -> None:
    """Low altitudes through the air are those of JPL Horizons within the tolerance of the table."""
    table = published("horizons_sun_refracted")
    found = sun_place(whole_sky(), Position(table["lat_deg"], table["lon_deg"]), utc(row["utc"]))
    assert abs(found.apparent_altitude_deg - row["elevation_refracted_deg"]) <= table["tol_deg"]


def test_dip() -> None:
    """The horizon of an eye 2 m up lies 2.5′ low, of one 9 m up 5.3′ (almanac's table, from memory)."""
    assert [round(60 * dip_deg(height), 1) for height in (0.0, 2.0, 9.0)] == [0.0, 2.5, 5.3]


@pytest.mark.parametrize("height", [-1.0, 101.0, math.nan])
def test_dip_of_no_deck(height: float) -> None:
    """A height that no eye on a boat has is refused."""
    with pytest.raises(ReadingError, match="eye_height_m is"):
        dip_deg(height)


def test_no_altitude() -> None:
    """What is no altitude has no refraction."""
    with pytest.raises(ReadingError, match="altitude_deg is 91"):
        refraction_deg(91.0)


def test_planets_have_no_width() -> None:
    """Only sun and moon have a limb to be read."""
    at = datetime(2026, 6, 1, tzinfo=UTC)
    widths = {body: place_of(sky(), body, Position(0.0, 0.0), at).semidiameter_deg for body in Body}
    assert {body for body, width in widths.items() if width > 0} == {Body.SUN, Body.MOON}


@pytest.mark.parametrize("year", [2019, 2051])
def test_years_out_of_reach(year: int) -> None:
    """An instant beyond the ephemeris is refused with its limits and the way out."""
    with pytest.raises(ReadingError, match=r"at is '20.*from 3 January 2020 to 29 December 2050.*almanac"):
        sun_place(sky(), Position(0.0, 0.0), datetime(year, 6, 1, tzinfo=UTC))


def test_no_zone() -> None:
    """An instant must say its zone."""
    with pytest.raises(ReadingError, match=r"at is .*in which zone"):
        sun_place(sky(), Position(0.0, 0.0), datetime(2026, 6, 1))  # noqa: DTZ001  the fault that is tested


def test_the_ends_of_reach() -> None:
    """The first and last day are reached from every zone of ship's time."""
    for day, hours in ((sky().first, 14), (sky().last, -12)):
        start = sky().start_of(day, timedelta(hours=hours))
        assert math.isfinite(sun_place(sky(), Position(0.0, 0.0), start).altitude_deg)


def test_an_offset_that_no_clock_has() -> None:
    """Ship's time lies between 12 hours behind and 14 ahead."""
    with pytest.raises(ReadingError, match=r"utc_offset is '15:00:00'.*Check its sign"):
        sky().start_of(date(2026, 6, 1), timedelta(hours=15))
