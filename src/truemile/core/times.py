"""Elapsed times and clock times as they are written down, and the rule that an instant carries its zone."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import Final, NoReturn

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import ReadingError
from truemile.core.numbers import DOUBLE_PRIMES, MINUS_SIGNS, SINGLE_PRIMES, check_length, check_positive

_ELAPSED_REMEDY: Final = "Write it as 5:34 or 5 min 34 s."
_CLOCK_REMEDY: Final = "Write it as 14:32:10 or 1432."
_LONGEST_RUN = timedelta(hours=12)
_WESTERNMOST, _EASTERNMOST = timedelta(hours=-12), timedelta(hours=14)

_WITH_COLONS = re.compile(r"(?:(?P<h>[0-9]{1,5}):(?=[0-9]+:))?(?P<m>[0-9]{1,4}):(?P<s>[0-9]{1,2}(?:\.[0-9]{1,9})?)")
_WITH_UNITS = re.compile(
    r"(?:(?P<h>[0-9]{1,5}(?:\.[0-9]{1,9})?)\s*(?:h|hrs?|hours?)\.?)?\s*"
    r"(?:(?P<m>[0-9]{1,5}(?:\.[0-9]{1,9})?)\s*(?:m|mins?|minutes?|'(?!'))\.?)?\s*"
    r"(?:(?P<s>[0-9]{1,7}(?:\.[0-9]{1,9})?)\s*(?:s|secs?|seconds?|\"|'')\.?)?"
)
_CLOCK = re.compile(
    r"(?P<h>[0-9]{1,2}):(?P<m>[0-9]{2})(?::(?P<s>[0-9]{2})(?P<f>[.,][0-9]{1,6})?)?"
    r"|(?P<hh>[0-9]{2})(?P<mm>[0-9]{2})(?:(?P<ss>[0-9]{2})(?P<ff>[.,][0-9]{1,6})?)?"
)
_UTC_SUFFIX = re.compile(r"\s*(?:z|utc|gmt)$", re.IGNORECASE)


def parse_elapsed(text: str, field: str = "elapsed") -> float:
    """Read an elapsed time and give it in seconds.

    Parameters
    ----------
    text
        Minutes and seconds with a colon (``5:34``, ``5:34.2``), hours too (``1:05:34``), or with units
        (``5m34s``, ``5 min 34 s``, ``5'34"``, ``334 s``).
    field
        Name of the entry, for the error.

    Returns
    -------
    float
        Seconds, more than 0.

    Raises
    ------
    ReadingError
        If the text is a number without unit, zero, negative, or no time at all.

    Examples
    --------
    >>> parse_elapsed("5:34"), parse_elapsed("5 min 34,2 s"), parse_elapsed("334 s")
    (334.0, 334.2, 334.0)
    """
    plain = _plain(check_length(field, text, what="an elapsed time"))
    if not plain:
        _refuse(field, text, "an elapsed time is needed", _ELAPSED_REMEDY)
    if plain.startswith("-"):
        _refuse(field, text, "an elapsed time is not negative", "Enter the time from start to finish.")
    if re.fullmatch(r"[0-9.]+", plain):
        _refuse(field, text, "a number alone may be minutes or seconds", f"{_ELAPSED_REMEDY[:-1]}, or add s or min.")
    match = _WITH_COLONS.fullmatch(plain) or _WITH_UNITS.fullmatch(plain)
    if match is None:
        _refuse(field, text, "an elapsed time has minutes and seconds", _ELAPSED_REMEDY)
    seconds = _seconds_of(match, text, field)
    if seconds <= 0:
        _refuse(field, text, "an elapsed time is more than 0 s", "Enter the time from start to finish.")
    return seconds


def format_elapsed(elapsed_s: float, decimals: int | None = None) -> str:
    """Write an elapsed time as minutes and seconds, with hours from one hour on.

    Parameters
    ----------
    elapsed_s
        Seconds, more than 0.
    decimals
        Decimals of the seconds; if None, one when there is a tenth to show and none otherwise.

    Raises
    ------
    ReadingError
        If the time is not an ordinary number above zero.

    Examples
    --------
    >>> format_elapsed(334), format_elapsed(334.2), format_elapsed(3934)
    ('5:34', '5:34.2', '1:05:34')
    """
    check_positive("elapsed_s", elapsed_s, "s")
    if decimals is None:
        decimals = 0 if round(elapsed_s * 10) % 10 == 0 else 1
    scale = 10**decimals
    whole_minutes, rest = divmod(round(elapsed_s * scale), 60 * scale)
    hours, minutes = divmod(whole_minutes, 60)
    seconds = f"{rest / scale:0{decimals + 3 if decimals else 2}.{decimals}f}"
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes}:{seconds}"


def parse_clock(text: str, day: date, utc_offset: timedelta = timedelta(0), field: str = "clock") -> datetime:
    """Read a clock time of a given day and give the instant in UTC.

    Parameters
    ----------
    text
        Such as ``14:32:10``, ``14:32``, ``1432`` or ``143210``; ending in Z, UTC or GMT it is UTC
        whatever the offset.
    day
        The date on the same clock.
    utc_offset
        Ship's time minus UTC, from -12 h to +14 h.
    field
        Name of the entry, for the error.

    Raises
    ------
    ReadingError
        If the text is no time of day, or the offset is out of range.

    Examples
    --------
    >>> parse_clock("1432", date(2026, 5, 3), timedelta(hours=-2)).isoformat()
    '2026-05-03T16:32:00+00:00'
    """
    if not _WESTERNMOST <= utc_offset <= _EASTERNMOST:
        raise ReadingError(
            "utc_offset", str(utc_offset), "ship's time is from 12 h behind UTC to 14 h ahead", "Check its sign."
        )
    plain = check_length(field, text, what="a clock time")
    said_utc = _UTC_SUFFIX.search(plain)
    match = _CLOCK.fullmatch(plain[: said_utc.start()] if said_utc else plain)
    if match is None:
        _refuse(field, text, "a clock time has hours and minutes, and seconds if read", _CLOCK_REMEDY)
    local = datetime.combine(day, _time_of(match, text, field), tzinfo=UTC)
    return local if said_utc else local - utc_offset


def elapsed_between(start: datetime, stop: datetime, field: str = "stop") -> float:
    """Give the seconds from start to stop; a stop before the start is taken to be past midnight.

    Raises
    ------
    ReadingError
        If an instant has no zone, both are the same, or the stop past midnight would be more than 12 h later.

    Examples
    --------
    >>> day = date(2026, 5, 3)
    >>> elapsed_between(parse_clock("23:58:00", day), parse_clock("00:03:34", day))
    334.0
    """
    elapsed = require_aware(stop, field) - require_aware(start, "start")
    if elapsed < timedelta(0):
        elapsed += timedelta(days=1)
        if not timedelta(0) < elapsed <= _LONGEST_RUN:
            _refuse_order(start, stop, field)
    if not elapsed:
        raise ReadingError(field, stop.isoformat(), "it is the same instant as the start", "Check both readings.")
    return elapsed.total_seconds()


def require_aware(instant: datetime, field: str) -> datetime:
    """Return the instant in UTC.

    Raises
    ------
    ReadingError
        If it has no zone.
    """
    if instant.utcoffset() is None:
        raise ReadingError(
            field,
            instant.isoformat(),
            "it does not say in which zone",
            "Give the time with its zone: add tzinfo=datetime.UTC, or the offset of ship's time.",
        )
    return instant.astimezone(UTC)


def _refuse(field: str, text: str, allowed: str, remedy: str) -> NoReturn:
    raise ReadingError(field, text, allowed, remedy)


def _refuse_order(start: datetime, stop: datetime, field: str) -> NoReturn:
    raise ReadingError(
        field,
        stop.isoformat(),
        f"it is before the start {start.isoformat()}, and past midnight it would be over 12 h later",
        "Check that start and stop were not exchanged, and give dates for a long run.",
    )


def _plain(text: str) -> str:
    """Return the text in lower case with ASCII primes, minus and decimal points."""
    plain = text.lower().replace(",", ".")
    plain = re.sub(f"[{MINUS_SIGNS}]", "-", plain)
    plain = re.sub(f"[{DOUBLE_PRIMES}]", '"', plain)
    return re.sub(f"[{SINGLE_PRIMES}]", "'", plain)


def _seconds_of(match: re.Match[str], text: str, field: str) -> float:
    """Add up the parts, each below 60 if a larger one stands before it."""
    given = [(unit, match[unit]) for unit in "hms" if match[unit] is not None]
    words = {"h": "hours", "m": "minutes", "s": "seconds"}
    total = 0.0
    for at, (unit, number) in enumerate(given):
        if "." in number and at + 1 < len(given):
            _refuse(
                field, text, f"its {words[unit]} have decimals, and {words[given[at + 1][0]]} follow", _ELAPSED_REMEDY
            )
        if at and float(number) >= 60:
            _refuse(
                field,
                text,
                f"its {words[unit]} are {number}, and 60 {words[unit]} make the next unit up",
                f"Check the {words[unit]}: they run from 0 to under 60.",
            )
        total += float(number) * {"h": SECONDS_PER_HOUR, "m": 60.0, "s": 1.0}[unit]
    return total


def _time_of(match: re.Match[str], text: str, field: str) -> time:
    hour, minute, second = (
        int(match[colon] or match[packed] or 0) for colon, packed in (("h", "hh"), ("m", "mm"), ("s", "ss"))
    )
    fraction = (match["f"] or match["ff"] or ".0")[1:]
    if hour > 23 or minute > 59 or second > 59:
        _refuse(field, text, "a day has 24 hours of 60 minutes of 60 seconds", "Midnight is 00:00 of the next day.")
    return time(hour, minute, second, int(fraction.ljust(6, "0")))
