"""Numbers as typed: what is understood, what is refused and in which words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truemile.core.errors import ReadingError
from truemile.core.numbers import (
    check_finite,
    check_length,
    check_positive,
    check_range,
    decimals_of,
    parse_number,
    precision_of,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("6.47", 6.47),
        ("6,47", 6.47),
        (" 334 ", 334.0),
        ("+3", 3.0),
        ("-3.5", -3.5),
        ("\N{MINUS SIGN}3.5", -3.5),
        ("\N{EN DASH}3.5", -3.5),
        (".6", 0.6),
        ("6.", 6.0),
        ("1\N{THIN SPACE}852", 1852.0),
        ("6\N{NARROW NO-BREAK SPACE}378\N{NO-BREAK SPACE}137,5", 6378137.5),
    ],
)
def test_a_number_is_read_as_people_type_it(text: str, value: float) -> None:
    """Decimal comma, typographic minus and thin spaces give the same number as plain typing."""
    assert parse_number(text, "speed_kn") == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a number is needed"),
        ("   ", "a number is needed"),
        ("nan", "digits and at most one decimal mark"),
        ("inf", "digits and at most one decimal mark"),
        ("1e5", "digits and at most one decimal mark"),
        ("0x10", "digits and at most one decimal mark"),
        ("1_000", "digits and at most one decimal mark"),
        ("6.4.7", "digits and at most one decimal mark"),
        ("--3", "digits and at most one decimal mark"),
        ("5 6", "digits and at most one decimal mark"),
        ("1\N{THIN SPACE}85", "digits and at most one decimal mark"),
        ("\N{ARABIC-INDIC DIGIT SIX}", "digits and at most one decimal mark"),
        (".", "digits and at most one decimal mark"),
        ("1,852.5", "one decimal mark, a comma or a point"),
        ("9" * 400, "at most 40 characters"),
    ],
)
def test_what_is_no_number_is_refused_in_words(text: str, words: str) -> None:
    """The error names the entry, what was given and what a number looks like."""
    with pytest.raises(ReadingError, match=words) as caught:
        parse_number(text, "speed_kn")
    assert caught.value.field == "speed_kn"
    assert caught.value.given == text
    assert caught.value.remedy.endswith(".")


@pytest.mark.parametrize(
    ("text", "decimals", "unit"),
    [("0.60", 2, 0.01), ("0,6", 1, 0.1), ("334", 0, 1.0), ("5.", 0, 1.0), ("1\N{THIN SPACE}852.000", 3, 0.001)],
)
def test_the_last_digit_typed_gives_the_precision(text: str, decimals: int, unit: float) -> None:
    """A zero typed at the end counts: 0.60 was read to a hundredth."""
    assert decimals_of(text) == decimals
    assert precision_of(text) == unit


def test_precision_of_no_number_is_refused_under_its_field() -> None:
    """Counting digits refuses what parsing refuses."""
    with pytest.raises(ReadingError, match="log_nm is 'half'"):
        precision_of("half", "log_nm")


@given(st.integers(-(10**9), 10**9), st.integers(0, 6))
def test_what_is_written_is_read_back(units: int, decimals: int) -> None:
    """A number written with any number of decimals is read back to the digit, with that many decimals."""
    text = f"{units / 10**decimals:.{decimals}f}"
    assert parse_number(text, "x") == float(text)
    assert decimals_of(text) == decimals


@given(st.text(max_size=60))
def test_any_text_is_a_finite_number_or_refused(text: str) -> None:
    """No text gives anything else than a finite number or a ReadingError."""
    try:
        value = parse_number(text, "x")
    except ReadingError:
        return
    assert math.isfinite(value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_checks_refuse_what_is_no_ordinary_number(value: float) -> None:
    """Infinite values and nan pass none of the three checks."""
    for check in (
        lambda: check_finite("x", value),
        lambda: check_positive("x", value),
        lambda: check_range("x", value, -1, 1),
    ):
        with pytest.raises(ReadingError, match="ordinary number"):
            check()


def test_checks_return_the_value_that_passes() -> None:
    """A value within the limits comes back unchanged, the limits themselves included."""
    assert check_finite("x", -2.5) == -2.5
    assert check_positive("x", 1e-9) == 1e-9
    assert check_range("x", 90, -90, 90) == 90
    assert check_range("x", -90, -90, 90) == -90


def test_an_entry_is_trimmed_and_kept_short() -> None:
    """Outer spaces do not count; one character too many is refused with the limit."""
    assert check_length("note", "  abc  ", 3) == "abc"
    with pytest.raises(ReadingError, match="an entry has at most 3 characters"):
        check_length("note", "abcd", 3)


@pytest.mark.parametrize("value", [0.0, -1.0])
def test_a_value_that_must_be_positive_says_its_unit(value: float) -> None:
    """Zero and negative values are refused, with the unit in words."""
    with pytest.raises(ReadingError, match="it must be more than 0 kn"):
        check_positive("speed_kn", value, "kn")


@pytest.mark.parametrize("value", [-90.001, 90.001])
def test_a_value_out_of_range_says_the_range(value: float) -> None:
    """Both limits stand in the error."""
    with pytest.raises(ReadingError, match="from -90 to 90 degrees"):
        check_range("latitude_deg", value, -90, 90, "degrees")
