"""Positions as people write them: one place from every common form, and words for what cannot be read."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from truemile.core.errors import ReadingError
from truemile.core.position import Position, format_position, parse_position

CANONICAL = "47°12.345′N 031°04.120′W"
LATITUDE, LONGITUDE = 47 + 12.345 / 60, -(31 + 4.12 / 60)

SAME_PLACE = [
    "47°12.345′N 031°04.120′W",
    "47°12.345'N 031°04.120'W",
    "47º12.345’N, 031º04.120’W",
    "47 12.345 N, 31 4.12 W",
    "47 12.345N 31 4.12W",
    "47 12,345 N 31 4,12 W",
    "47°12,345′N 031°04,120′W",
    "47-12.345N 031-04.120W",
    "47 - 12.345 N / 31 - 4.120 W",
    "n 47 12.345 w 31 4.12",
    "N47°12.345' W031°04.120'",
    "031°04.120′W 47°12.345′N",
    "N47° 12' 20.7\" W031° 4' 7.2\"",
    "47°12′20.7″N, 31°4′7.2″W",
    "47°12'20.7''N 31°4'7.2''W",
    "47 12 20.7 N 31 4 7.2 W",
    "4712.345N 03104.120W",
    "4712.345,N,03104.120,W",
    "+4712.345-03104.120/",
    "+471220.7-0310407.2/",
    "+471220.7-0310407.2+12CRSWGS_84/",
    "47 12.345, -31 4.12",
    "47° 12.345' \N{MINUS SIGN}31° 4.12'",
    "+47 12.345 N 31 4.12 W",
    "Lat 47 12.345 N  Long 31 4.12 W",
    "latitude: 47 12.345 N, longitude: 31 4.12 W",
    "47 deg 12.345 min north, 31 deg 4.12 min west",
    "47 degrees 12 minutes 20.7 seconds N 31 degrees 4 minutes 7.2 seconds W",
    "47\N{NO-BREAK SPACE}12.345 N 31\N{NO-BREAK SPACE}4.12 W",
]


@pytest.mark.parametrize("text", SAME_PLACE)
def test_every_common_form_gives_the_same_place(text: str) -> None:
    """Letters before or after, either order, dashes, primes, commas, seconds, signs and ISO 6709 mean one place."""
    parsed = parse_position(text)
    assert parsed.position.latitude_deg == pytest.approx(LATITUDE, abs=1e-12)
    assert parsed.position.longitude_deg == pytest.approx(LONGITUDE, abs=1e-12)
    assert parsed.understood == CANONICAL


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("47.20575 -31.06867", 47.20575, -31.06867),
        ("47.20575, -31.06867", 47.20575, -31.06867),
        ("47.20575,-31.06867", 47.20575, -31.06867),
        ("47.20575-31.06867", 47.20575, -31.06867),
        ("47,20575 -31,06867", 47.20575, -31.06867),
        ("47,20575; -31,06867", 47.20575, -31.06867),
        ("47.20575° -31.06867°", 47.20575, -31.06867),
        ("47.20575°31.06867°", 47.20575, 31.06867),
        ("+47°12.345' 31°4.12'", LATITUDE, -LONGITUDE),
        ("+47.20575-031.06867/", 47.20575, -31.06867),
        ("47.20575 N 31.06867 W", 47.20575, -31.06867),
        ("-33.8 151.2", -33.8, 151.2),
        ("-33 51.5, 151 12.6", -(33 + 51.5 / 60), 151 + 12.6 / 60),
        ("33 51.5 S 151 12.6 E", -(33 + 51.5 / 60), 151 + 12.6 / 60),
        ("-00 30, -000 30", -0.5, -0.5),
        ("0 0", 0.0, 0.0),
        ("90 N 180 W", 90.0, -180.0),
    ],
)
def test_decimal_degrees_and_signs_are_read(text: str, latitude: float, longitude: float) -> None:
    """Without letters latitude comes first, plus is north or east, and minus zero degrees keeps its sign."""
    position = parse_position(text).position
    assert position.latitude_deg == pytest.approx(latitude, abs=1e-12)
    assert position.longitude_deg == pytest.approx(longitude, abs=1e-12)


def test_iso_6709_example_of_the_standard_forms() -> None:
    """Degrees, degrees and minutes, and seconds by the number of digits: ISO 6709 annex H (from memory)."""
    for text in ("+40.20361-075.00417/", "+4012.2166-07500.2502/", "+401213.0-0750015.0/"):
        position = parse_position(text).position
        assert position.latitude_deg == pytest.approx(40.20361, abs=6e-6)
        assert position.longitude_deg == pytest.approx(-75.00417, abs=6e-6)


@pytest.mark.parametrize(
    ("text", "resolution_m"),
    [
        ("47 12.345 N 000 04.120 W", 1.852),
        ("47 12.3 N 000 04.1 W", 185.2),
        ("00 00.000 N 031 4.1 W", 185.2),
        ("60 12.34 N 031 4.1 W", 185.2 * math.cos(math.radians(60 + 12.34 / 60))),
        ("47 12 N 31 4 W", 1852.0),
        ("47 12 20.7 N 31 4 7.2 W", 185.2 / 60),
        ("47.20575 -31.06867", 1.1112),
    ],
)
def test_the_last_digit_typed_gives_the_resolution(text: str, resolution_m: float) -> None:
    """One unit of the last digit, 1852 m to the minute, the coarser axis, longitude shrunk by its latitude."""
    assert parse_position(text).resolution_m == pytest.approx(resolution_m, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("00 12.34567 N 31 4.12345 W", "00°12.34567′N 031°04.12345′W"),
        ("00 12.3456 N 31 4.1234 W", "00°12.3456′N 031°04.1234′W"),
        ("00 12.345678 N 31 4.123456 W", "00°12.345678′N 031°04.123456′W"),
        ("00 12.3456784 N 31 4.1234564 W", "00°12.345678′N 031°04.123456′W"),
        ("00 12 N 31 4 W", "00°12.000′N 031°04.000′W"),
    ],
)
def test_what_was_understood_keeps_the_digits_typed(typed: str, shown: str) -> None:
    """From a thousandth to a millionth of a minute a position is shown as finely as it was typed."""
    assert parse_position(typed).understood == shown


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "needs a latitude and a longitude"),
        ("   ", "needs a latitude and a longitude"),
        ("47 60 N 31 4 W", "its minutes are 60"),
        ("47 12 60.0 N 31 4 W", "its seconds are 60.0"),
        ("91 N 31 W", "a latitude is at most 90 degrees"),
        ("90 00.001 N 31 W", "a latitude is at most 90 degrees"),
        ("47 N 180 0.1 W", "a longitude is at most 180 degrees"),
        ("47 N 48 N", "it has two latitudes"),
        ("47 W 48 E", "it has two longitudes"),
        ("47 12.3 N", "one hemisphere letter is missing"),
        ("47 N 31 W 12 E", "two hemisphere letters"),
        ("-47 N 31 W", "the sign - and the letter N"),
        ("47 N -31 W", "the sign - and the letter W"),
        ("+47 S 31 W", r"the sign \+ and the letter S"),
        ("-131.06 47.2", "the two look swapped"),
        ("131.06, 47.2", "the two look swapped"),
        ("+131.06 +147.2", "a latitude is at most 90 degrees"),
        ("47.2", "not plain where latitude ends"),
        ("-47 12.3 31 4.1", "not plain where latitude ends"),
        ("47.2 -31.0 -12.0", "not plain where latitude ends"),
        (", 47.2, 31.0", "not plain where latitude ends"),
        ("47.2 + -31.0", "not plain where latitude ends"),
        ("47.2, 31.0, 12", "does not say which hemispheres"),
        ("47 12.3 31 4.1", "does not say which hemispheres"),
        ("47,31", "may be decimal commas"),
        ("47,20575,31,06867", "may be decimal commas"),
        ("N 47 31 W", "which numbers its letters belong to"),
        ("47.5 12 N 31 W", "its degrees have decimals, and minutes follow"),
        ("47 12.3 4 N 31 W", "its minutes have decimals, and seconds follow"),
        ("1 2 3 4 N 5 W", "degrees, minutes and seconds at most"),
        ("12'N 31W", "come in that order"),
        ("47°12'30'N 31W", "come in that order"),
        ("47 +12 N 31 W", "a sign stands once, before the degrees"),
        ("+ - 47 N 31 W", "a sign stands once, before the degrees"),
        ("N W 31", "needs a latitude and a longitude"),
        ("47 -", "needs a latitude and a longitude"),
        ("somewhere", "has no 'O' in it"),
        ("47* N 31 W", r"has no '\*' in it"),
        ("4" * 81, "at most 80 characters"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(text: str, words: str) -> None:
    """The error says what is wrong with this text, and how to write it, under the name of the entry."""
    with pytest.raises(ReadingError, match=words) as caught:
        parse_position(text, "marks[0].position")
    assert caught.value.field == "marks[0].position"
    assert caught.value.given == text
    assert caught.value.remedy.endswith(".")


@pytest.mark.parametrize(
    ("latitude", "longitude", "field"),
    [
        (90.1, 0, "latitude_deg"),
        (-90.1, 0, "latitude_deg"),
        (0, 180.1, "longitude_deg"),
        (math.nan, 0, "latitude_deg"),
        (0, math.inf, "longitude_deg"),
    ],
)
def test_a_position_off_the_earth_cannot_be_made(latitude: float, longitude: float, field: str) -> None:
    """Latitude and longitude are checked once, when the position is made."""
    with pytest.raises(ReadingError, match=field):
        Position(latitude, longitude)


@pytest.mark.parametrize(
    ("latitude", "longitude", "decimals", "text"),
    [
        (LATITUDE, LONGITUDE, 3, CANONICAL),
        (LATITUDE, LONGITUDE, 1, "47°12.3′N 031°04.1′W"),
        (LATITUDE, LONGITUDE, 0, "47°12′N 031°04′W"),
        (46 + 59.9996 / 60, -(30 + 59.9996 / 60), 3, "47°00.000′N 031°00.000′W"),
        (-(9 + 59.96 / 60), 99 + 59.96 / 60, 1, "10°00.0′S 100°00.0′E"),
        (-1e-9, -1e-9, 3, "00°00.000′N 000°00.000′E"),
        (90, 180, 2, "90°00.00′N 180°00.00′E"),
        (-90, -180, 2, "90°00.00′S 180°00.00′W"),
    ],
)
def test_a_position_is_written_one_way(latitude: float, longitude: float, decimals: int, text: str) -> None:
    """Sixty minutes carry into the next degree, and what rounds to nothing is not south or west."""
    assert format_position(Position(latitude, longitude), decimals) == text


def test_a_position_prints_itself() -> None:
    """Printing a position gives the deck log form."""
    assert str(Position(LATITUDE, LONGITUDE)) == CANONICAL


@given(st.floats(-90, 90), st.floats(-180, 180), st.integers(0, 6))
@example(59.9999999999, -59.9999999999, 3)
@example(-0.0, -180.0, 0)
def test_a_written_position_is_read_back(latitude: float, longitude: float, decimals: int) -> None:
    """Reading what was written gives the place to half the last digit, and writes the same again."""
    text = format_position(Position(latitude, longitude), decimals)
    parsed = parse_position(text)
    half_unit_deg = 0.5 * 10**-decimals / 60
    assert abs(parsed.position.latitude_deg - latitude) <= half_unit_deg + 1e-12
    assert abs(parsed.position.longitude_deg - longitude) <= half_unit_deg + 1e-12
    assert format_position(parsed.position, decimals) == text


@given(st.text(alphabet="0123456789 .,;/°′″'\"NSEWnsew+-−", max_size=40))
def test_any_text_is_a_position_or_refused(text: str) -> None:
    """Nothing typed breaks the reader, and what it accepts it also understands in its own words."""
    try:
        parsed = parse_position(text)
    except ReadingError:
        return
    again = parse_position(parsed.understood).position
    assert abs(again.latitude_deg - parsed.position.latitude_deg) <= 0.5e-3 / 60 + 1e-12
    assert abs(again.longitude_deg - parsed.position.longitude_deg) <= 0.5e-3 / 60 + 1e-12
