"""A run in one line of words, as it stands on paper: ``out 5:34 7.6 7.5 7.6 start=14:02:10 heading=064``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Final

from truemile.core.errors import ReadingError

EXAMPLE: Final = "out 5:34 7.6 7.5 7.6"

#: Words before an equals sign, and the box of the run's form that each fills.
KEYS: Final[Mapping[str, str]] = {
    "start": "started_at",
    "stop": "ended_at",
    "heading": "heading_compass",
    "rpm": "rpm",
    "speed": "speed_group",
    "by": "noted_by",
    "timed": "timed_by",
    "helm": "helm",
    "id": "id",
}


def run_boxes(words: str, field: str = "run") -> dict[str, str]:
    """Return the boxes of a run's form that a line of words fills.

    Parameters
    ----------
    words
        Direction, elapsed time, then readings of the speed display; and ``name=value`` for the rest:
        ``log=0.00/0.58`` the counter at start and stop, and the names of `KEYS`.
    field
        Name in the error.

    Raises
    ------
    ReadingError
        If a name before an equals sign is not known.

    Examples
    --------
    >>> run_boxes("out 5:34 7.6 7.5")
    {'direction': 'out', 'elapsed': '5:34', 'readings': '7.6 7.5'}
    >>> run_boxes("back 5:02 log=0.00/0.58")["log_stop"]
    '0.58'
    """
    boxes: dict[str, str] = {}
    plain: list[str] = []
    for word in words.split():
        name, equals, value = word.partition("=")
        if equals:
            boxes.update(_named(name, value, word, field))
        else:
            plain.append(word)
    boxes.update(_in_order(plain, timed="ended_at" in boxes and "started_at" in boxes))
    return boxes


def _in_order(plain: Sequence[str], *, timed: bool) -> dict[str, str]:
    """Direction, time, readings; the time may be left out where start and stop are named."""
    rest = list(plain)
    boxes = {"direction": rest.pop(0)} if rest else {}
    if rest and (not timed or any(mark in rest[0] for mark in ":'hms")):
        boxes["elapsed"] = rest.pop(0)
    if rest:
        boxes["readings"] = " ".join(rest)
    return boxes


def _named(name: str, value: str, word: str, field: str) -> dict[str, str]:
    if name == "log":
        start, slash, stop = value.partition("/")
        return {"log_start": start, "log_stop": stop} if slash else {"log_stop": start}
    if name in KEYS:
        return {KEYS[name]: value}
    near = get_close_matches(name, [*KEYS, "log"], n=1)
    raise ReadingError(
        field,
        word,
        f"the names in a run are log, {', '.join(KEYS)}",
        f"Did you mean {near[0]}?" if near else f"Write a run as: {EXAMPLE} log=0.00/0.70",
    )
