"""The clock of a recording: the times in the sentences, or those that a logger put before them.

Inside, seconds count from midnight of a first day whose date may come later in the file, or never.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

from truemile.core.constants import SECONDS_PER_DAY

#: A receiver that has not yet learnt the date sends one from the last century.
FIRST_DATE: Final = date(2000, 1, 1)
LAST_DATE: Final = date(2099, 12, 31)
#: Sentences of one second may overtake each other by this much.
OVERTAKING_S: Final = 2.0

_HALF_DAY_S: Final = SECONDS_PER_DAY / 2
_EPOCH: Final = date(1970, 1, 1).toordinal()

_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})[T: ](\d{2}):(\d{2}):(\d{2})(\.\d{1,9})?Z?\b")
_DAY_OF_YEAR = re.compile(r"\b(\d{2})\+(\d{3}):(\d{2}):(\d{2}):(\d{2})(\.\d{1,9})?\b")
_UNIX = re.compile(r"(?:^|\bc:|\")(\d{9,10}(?:\.\d{1,9})?)(?=[,;\s\"*]|$)")


def credible_date(day: date) -> bool:
    """Say whether a date can be that of a recording."""
    return FIRST_DATE <= day <= LAST_DATE


def logger_time_s(prefix: bytes) -> float | None:
    """Read the time that a logger put before a sentence, in seconds since 1970 UTC.

    Examples
    --------
    >>> logger_time_s(b"2018-12-06T00:00:00.5Z "), logger_time_s(b"18+232:09:47:37.125 ")
    (1544054400.5, 1534758457.125)
    >>> logger_time_s(b"1534758457.125,"), logger_time_s(b"# a remark ")
    (1534758457.125, None)
    """
    text = prefix[-80:].decode("ascii", "replace")
    if found := _UNIX.search(text):
        seconds = float(found[1])
        return seconds if credible_date(datetime.fromtimestamp(seconds, UTC).date()) else None
    try:
        if found := _ISO.search(text):
            day = date(int(found[1]), int(found[2]), int(found[3]))
            parts, fraction = found.group(4, 5, 6), found[7]
        elif found := _DAY_OF_YEAR.search(text):
            day = date(2000 + int(found[1]), 1, 1) + timedelta(days=int(found[2]) - 1)
            parts, fraction = found.group(3, 4, 5), found[6]
        else:
            return None
        of_day = time(int(parts[0]), int(parts[1]), int(parts[2]))
    except ValueError:
        return None
    if not credible_date(day):
        return None
    return (day.toordinal() - _EPOCH) * SECONDS_PER_DAY + seconds_of_day(of_day) + float(fraction or 0)


def seconds_of_day(of_day: time) -> float:
    """Give the seconds since midnight."""
    return of_day.hour * 3600.0 + of_day.minute * 60.0 + of_day.second + of_day.microsecond / 1e6


class RecordingClock:
    """Follow the time through a file, past midnight, and see where it steps back.

    The first line with a time decides: with a time of the logger before it, the logger's times count throughout;
    otherwise those in the sentences, and a sentence without one gets the last.
    """

    def __init__(self) -> None:
        self._by_logger: bool | None = None
        self._day = 0
        self._of_day_s: float | None = None
        self._first_ordinal: int | None = None
        self._now_s: float | None = None

    @property
    def now_s(self) -> float | None:
        """Seconds since midnight of the first day, or None before the first time."""
        return self._now_s

    def hear_logger(self, unix_s: float) -> bool:
        """Take the time that stands before a sentence; True if the clock steps back."""
        if self._by_logger is False:
            return False
        self._by_logger = True
        days, of_day_s = divmod(unix_s, SECONDS_PER_DAY)
        return self._set(of_day_s, _EPOCH + int(days))

    def hear_sentence(self, of_day: time, day: date | None) -> bool:
        """Take the time in a sentence, with its date if it has one; True if the clock steps back."""
        if self._by_logger:
            return False
        self._by_logger = False
        return self._set(seconds_of_day(of_day), day.toordinal() if day and credible_date(day) else None)

    def instant(self, seconds: float) -> datetime | None:
        """Give the instant of a number of seconds on this clock, or None if no date was ever given."""
        if self._first_ordinal is None:
            return None
        days, of_day_s = divmod(seconds, SECONDS_PER_DAY)
        midnight = datetime.combine(date.fromordinal(self._first_ordinal + int(days)), time(), tzinfo=UTC)
        return midnight + timedelta(seconds=of_day_s)

    def _set(self, of_day_s: float, ordinal: int | None) -> bool:
        before = self._now_s
        day = self._day_of(of_day_s)
        if ordinal is not None:
            if self._first_ordinal is None:
                self._first_ordinal = ordinal - day
            day = ordinal - self._first_ordinal
        self._day, self._of_day_s = day, of_day_s
        self._now_s = day * SECONDS_PER_DAY + of_day_s
        return before is not None and self._now_s < before - OVERTAKING_S

    def _day_of(self, of_day_s: float) -> int:
        """Give the day, if a step of more than half a day means that midnight was passed."""
        if self._of_day_s is None:
            return self._day
        step = of_day_s - self._of_day_s
        return self._day + (step < -_HALF_DAY_S) - (step > _HALF_DAY_S)
