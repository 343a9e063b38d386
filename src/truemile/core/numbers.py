"""Numbers as people type them: read, counted for digits and checked, with words when they cannot be right."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Final

from truemile.core.errors import ReadingError, gather

#: Dashes that stand for a minus sign in typed or pasted text.
MINUS_SIGNS: Final = "\N{MINUS SIGN}\N{EN DASH}\N{FIGURE DASH}\N{FULLWIDTH HYPHEN-MINUS}"
#: Most characters of one number, time or bearing.
LONGEST_ENTRY: Final = 40
#: Characters typed or pasted for the prime of minutes, and for the double prime of seconds.
SINGLE_PRIMES: Final = (
    "'\N{PRIME}\N{MODIFIER LETTER PRIME}\N{RIGHT SINGLE QUOTATION MARK}\N{LEFT SINGLE QUOTATION MARK}"
    "\N{ACUTE ACCENT}\N{GRAVE ACCENT}"
)
DOUBLE_PRIMES: Final = (
    '"\N{DOUBLE PRIME}\N{MODIFIER LETTER DOUBLE PRIME}\N{RIGHT DOUBLE QUOTATION MARK}\N{LEFT DOUBLE QUOTATION MARK}'
)
#: Spaces that group digits in threes and never separate two numbers.
THIN_SPACES: Final = "\N{NO-BREAK SPACE}\N{THIN SPACE}\N{NARROW NO-BREAK SPACE}\N{FIGURE SPACE}"

_PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_GROUPED_NUMBER = re.compile(rf"[+-]?[0-9]{{1,3}}(?:[{THIN_SPACES}][0-9]{{3}})+(?:[.,][0-9]*)?")


def parse_number(text: str, field: str) -> float:
    """Read one number as a person types it.

    Parameters
    ----------
    text
        Digits with at most one decimal mark, point or comma. A typographic minus and thin spaces
        between groups of three digits are understood.
    field
        Name of the entry, for the error.

    Returns
    -------
    float
        A finite number.

    Raises
    ------
    ReadingError
        If the text is empty, is no number, or has both a comma and a point.

    Examples
    --------
    >>> parse_number("6,47", "speed_kn")
    6.47
    >>> parse_number("\N{MINUS SIGN}3.5", "deviation_deg")
    -3.5
    """
    return float(_canonical(text, field))


def decimals_of(text: str, field: str = "number") -> int:
    """Count the digits typed after the decimal mark.

    Raises
    ------
    ReadingError
        If the text is no number.

    Examples
    --------
    >>> decimals_of("0.60"), decimals_of("334")
    (2, 0)
    """
    return len(_canonical(text, field).partition(".")[2])


def precision_of(text: str, field: str = "number") -> float:
    """Give the size of one unit of the last digit typed.

    Raises
    ------
    ReadingError
        If the text is no number.

    Examples
    --------
    >>> precision_of("0.60")
    0.01
    >>> precision_of("334")
    1.0
    """
    return float(f"1e-{decimals_of(text, field)}")


def check_length(field: str, text: str, longest: int = LONGEST_ENTRY, what: str = "an entry") -> str:
    """Return the text without outer spaces if it is short enough to be what was asked for.

    Raises
    ------
    ReadingError
        If it is longer, as a pasted page would be.
    """
    trimmed = text.strip()
    if len(trimmed) > longest:
        raise ReadingError(
            field,
            text,
            f"{what} has at most {longest} characters",
            "Enter only what was read.",
        )
    return trimmed


def check_finite(field: str, value: float) -> float:
    """Return the value if it is an ordinary number.

    Raises
    ------
    ReadingError
        If it is infinite or not a number.
    """
    if not math.isfinite(value):
        raise ReadingError(
            field, value, "it must be an ordinary number", "Enter the value as read from the instrument."
        )
    return value


def check_positive(field: str, value: float, unit: str = "") -> float:
    """Return the value if it is an ordinary number above zero.

    Raises
    ------
    ReadingError
        If it is zero, negative, infinite or not a number.
    """
    check_finite(field, value)
    if value <= 0:
        raise ReadingError(field, value, f"it must be more than {_with_unit(0, unit)}", "Check the entry and its sign.")
    return value


def check_range(field: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Return the value if it is an ordinary number from low to high, both included.

    Raises
    ------
    ReadingError
        If it lies outside, is infinite or not a number.
    """
    check_finite(field, value)
    if not low <= value <= high:
        raise ReadingError(
            field,
            value,
            f"it must be from {low:g} to {_with_unit(high, unit)}",
            "Check the entry, its sign and its unit.",
        )
    return value


Limit = tuple[str, float, float, str]
"""Name of a field, its least and greatest value, and the remedy for one outside."""


def check_limits(thing: object, limits: Iterable[Limit]) -> None:
    """Refuse the fields of a record that lie outside their limits, all at once; a field left out (None) passes.

    Raises
    ------
    ReadingError
        If a field is outside or not a number; `ManyFaults` if several are.
    """
    values = [(getattr(thing, name), name, low, high, remedy) for name, low, high, remedy in limits]
    gather(
        [
            ReadingError(name, value, f"it must lie between {low:g} and {high:g}", remedy)
            for value, name, low, high, remedy in values
            if value is not None and not low <= value <= high
        ]
    )


def _with_unit(value: float, unit: str) -> str:
    return f"{value:g} {unit}".rstrip()


def _canonical(text: str, field: str) -> str:
    """Return the number with an ASCII sign, a decimal point and no grouping."""
    trimmed = check_length(field, text, what="a number")
    for sign in MINUS_SIGNS:
        trimmed = trimmed.replace(sign, "-")
    if not trimmed:
        raise ReadingError(field, text, "a number is needed", "Enter digits, such as 6.47.")
    if "," in trimmed and "." in trimmed:
        raise ReadingError(
            field,
            text,
            "a number has one decimal mark, a comma or a point, and not both",
            "Leave out the mark between thousands: write 1852.5.",
        )
    if _GROUPED_NUMBER.fullmatch(trimmed):
        trimmed = re.sub(f"[{THIN_SPACES}]", "", trimmed)
    plain = trimmed.replace(",", ".")
    if not _PLAIN_NUMBER.fullmatch(plain):
        raise ReadingError(
            field, text, "a number has digits and at most one decimal mark", "Enter digits only, such as 6.47."
        )
    return plain
