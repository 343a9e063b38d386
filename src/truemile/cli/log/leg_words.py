"""A leg in one line of words, as it stands on paper: ``heading 035 log 5.0 sog 5.6 cog 041``."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Final

from truemile.core.errors import ReadingError

EXAMPLE: Final = "heading 035 log 5.0 sog 5.6 cog 041"

#: Words that name what follows them, and the box of the leg's form that each fills.
KEYS: Final[Mapping[str, str]] = {
    "heading": "heading",
    "log": "indicated",
    "sog": "sog",
    "cog": "cog",
    "variation": "variation",
    "start": "started_at",
    "stop": "ended_at",
    "time": "duration",
    "tack": "tack",
    "id": "id",
}
#: What numbers without names stand for, in order.
_IN_ORDER: Final = ("heading", "indicated", "sog", "cog")


def leg_boxes(words: str, field: str = "leg") -> dict[str, str]:
    """Return the boxes of a leg's form that a line of words fills.

    Parameters
    ----------
    words
        Names with what was read behind each, several readings if there are; or the four numbers alone: heading, log,
        speed over the ground, course over the ground.
    field
        Name in the error.

    Raises
    ------
    ReadingError
        If a name is not known, or numbers stand where no name says what they are.

    Examples
    --------
    >>> leg_boxes("heading 035 036 log 5.0 5.1 sog 5.6 cog 041")
    {'heading': '035 036', 'indicated': '5.0 5.1', 'sog': '5.6', 'cog': '041'}
    >>> leg_boxes("035 5.0 5.6 041 start=14:02")["started_at"]
    '14:02'
    """
    found: dict[str, list[str]] = {}
    plain: list[str] = []
    box = ""
    for word in words.replace("=", " ").split():
        if word.lower() in KEYS:
            box = KEYS[word.lower()]
            found.setdefault(box, [])
        elif word[0].isalpha() and box not in {"tack", "id"}:
            raise _unknown(word, field)
        else:
            (found[box] if box else plain).append(word)
    if plain and not 3 <= len(plain) <= len(_IN_ORDER):
        raise ReadingError(
            field,
            " ".join(plain),
            "numbers without names are heading, log, speed over the ground and course over the ground, in that order",
            f"Write a leg as: {EXAMPLE}",
        )
    return {**dict(zip(_IN_ORDER, plain, strict=False)), **{name: " ".join(said) for name, said in found.items()}}


def _unknown(word: str, field: str) -> ReadingError:
    near = get_close_matches(word.lower(), KEYS, n=1)
    return ReadingError(
        field,
        word,
        f"the names in a leg are {', '.join(KEYS)}",
        f"Did you mean {near[0]}?" if near else f"Write a leg as: {EXAMPLE}",
    )
