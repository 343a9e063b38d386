"""Positions on WGS84: checked, read in any common form, and written one way.

Forms that are read: degrees and minutes, degrees, minutes and seconds, or decimal degrees, with the hemisphere
letter before or after, or with signs; and ISO 6709 strings. The form that is written is ``47°12.345′N 031°04.120′W``.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, NoReturn

from truemile.core.constants import METRES_PER_MINUTE, MINUTES_PER_DEGREE
from truemile.core.errors import ReadingError
from truemile.core.numbers import DOUBLE_PRIMES, MINUS_SIGNS, SINGLE_PRIMES, THIN_SPACES, check_length, check_range

_Axis = Literal["latitude", "longitude"]

_EXAMPLE: Final = "Write it as 47°12.345′N 031°04.120′W."
_AXIS_OF: Final[dict[str, _Axis]] = {"N": "latitude", "S": "latitude", "E": "longitude", "W": "longitude"}
_MARKS: Final = ("°", "'", '"')
_PART_NAMES: Final = ("degrees", "minutes", "seconds")
_LONGEST = 80

#: Typed or pasted characters and words, and what each stands for; longer ones first.
_SPELLINGS: Final = (
    (r"\b(?:latitude|longitude|lat|long|lon)\b[.:]?", " "),
    (r"(?<![a-z])degrees?(?![a-z])|(?<![a-z])deg\.?(?![a-z])|[º˚]", "°"),
    (r"(?<![a-z])minutes?(?![a-z])|(?<![a-z])min\.?(?![a-z])", "'"),
    (r"(?<![a-z])seconds?(?![a-z])|(?<![a-z])sec\.?(?![a-z])", '"'),
    (r"(?<![a-z])north(?![a-z])", "N"),
    (r"(?<![a-z])south(?![a-z])", "S"),
    (r"(?<![a-z])east(?![a-z])", "E"),
    (r"(?<![a-z])west(?![a-z])", "W"),
    (f"[{DOUBLE_PRIMES}]", '"'),
    (f"[{SINGLE_PRIMES}]", "'"),
    ("''", '"'),
    (f"[{MINUS_SIGNS}]", "-"),
    (f"[{THIN_SPACES}]", " "),
)
_TOKEN = re.compile(
    r"(?P<number>[0-9]+(?:\.[0-9]+)?)|(?P<mark>[°'\"])|(?P<letter>[NSEW])|(?P<sign>[+-])|(?P<gap>[,;/])"
)
_ISO_6709 = re.compile(
    r"(?P<lat_sign>[+-])(?P<lat>(?:[0-9]{2}|[0-9]{4}|[0-9]{6})(?:\.[0-9]+)?)"
    r"(?P<lon_sign>[+-])(?P<lon>(?:[0-9]{3}|[0-9]{5}|[0-9]{7})(?:\.[0-9]+)?)"
    r"(?:[+-][0-9]+(?:\.[0-9]+)?)?(?:CRS[A-Z0-9_:]+)?/?"
)


@dataclass(frozen=True, slots=True)
class Position:
    """A place on WGS84, north and east positive.

    Raises
    ------
    ReadingError
        If the latitude is beyond 90 degrees or the longitude beyond 180.
    """

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        """Check both ranges."""
        check_range("latitude_deg", self.latitude_deg, -90, 90, "degrees")
        check_range("longitude_deg", self.longitude_deg, -180, 180, "degrees")

    def __str__(self) -> str:
        """Give the position as it is written in a deck log."""
        return format_position(self)


@dataclass(frozen=True, slots=True)
class ParsedPosition:
    """A position that was read, how it was understood, and how finely it was typed."""

    position: Position
    understood: str
    resolution_m: float


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class _Angle:
    """One half of a position: degrees with sign, the size of the last unit typed, and its axis if a letter said."""

    degrees: float
    unit_deg: float
    axis: _Axis | None


def parse_position(text: str, field: str = "position") -> ParsedPosition:
    """Read a position in any common form and say how it was understood.

    Parameters
    ----------
    text
        Latitude and longitude in either order if both carry a hemisphere letter, otherwise latitude first.
    field
        Name of the entry, for the error.

    Returns
    -------
    ParsedPosition
        The position, its canonical form, and the size in metres of one unit of the last digit typed (the
        coarser of the two axes).

    Raises
    ------
    ReadingError
        If the text can be read in no way, or in more than one.

    Notes
    -----
    Strings with sign and no spaces, such as ``+4712.345-03104.120/``, follow ISO 6709: the number of digits
    says whether they are degrees, degrees and minutes, or also seconds. With a letter, ``4712.345N`` is read
    the same way.

    Examples
    --------
    >>> parse_position("47 12.345 N, 31 4.12 W").understood
    '47°12.345′N 031°04.120′W'
    >>> parse_position("47.20575 -31.06867").understood
    '47°12.3450′N 031°04.1202′W'
    """
    plain = _normalised(text, field)
    iso = _ISO_6709.fullmatch(plain)
    if iso:
        halves = (
            _iso_angle(iso["lat_sign"], iso["lat"], 2, text, field),
            _iso_angle(iso["lon_sign"], iso["lon"], 3, text, field),
        )
    else:
        first, second = _split(_tokens(plain, text, field), text, field)
        halves = (_angle(first, text, field), _angle(second, text, field))
    latitude, longitude = _ordered(halves, text, field)
    position = Position(latitude.degrees, longitude.degrees)
    resolution_m = _resolution_m(latitude, longitude)
    return ParsedPosition(position, format_position(position, _decimals_for(resolution_m)), resolution_m)


def format_position(position: Position, decimals: int = 3) -> str:
    """Write a position as degrees and minutes with hemisphere letters.

    Examples
    --------
    >>> format_position(Position(47.20575, -31.068666666666665))
    '47°12.345′N 031°04.120′W'
    >>> format_position(Position(46.99999999, 0.0), decimals=1)
    '47°00.0′N 000°00.0′E'
    """
    latitude = _format_angle(position.latitude_deg, 2, "NS", decimals)
    longitude = _format_angle(position.longitude_deg, 3, "EW", decimals)
    return f"{latitude} {longitude}"


def _format_angle(degrees: float, width: int, letters: str, decimals: int) -> str:
    scale = 10**decimals
    units = round(abs(degrees) * MINUTES_PER_DEGREE * scale)
    whole, rest = divmod(units, MINUTES_PER_DEGREE * scale)
    letter = letters[1] if degrees < 0 and units else letters[0]
    minutes_width = 2 + (decimals + 1 if decimals else 0)
    return f"{whole:0{width}d}°{rest / scale:0{minutes_width}.{decimals}f}′{letter}"


def _refuse(field: str, text: str, allowed: str, remedy: str = _EXAMPLE) -> NoReturn:
    raise ReadingError(field, text, allowed, remedy)


def _normalised(text: str, field: str) -> str:
    """Return the text with one spelling for each sign, and with decimal points."""
    plain = check_length(field, text, _LONGEST, "a position")
    if not plain:
        _refuse(field, text, "a position needs a latitude and a longitude")
    for spelling, meaning in _SPELLINGS:
        plain = re.sub(spelling, meaning, plain, flags=re.IGNORECASE)
    return _with_points(plain.upper().strip(), text, field)


def _with_points(plain: str, text: str, field: str) -> str:
    """Tell decimal commas from commas between latitude and longitude."""
    tight = re.findall(r"(?<=[0-9]),(?=[0-9])", plain)
    if "." in plain or not tight:
        return plain
    if len(tight) > 2 or (len(tight) == 1 and len(re.findall("[0-9]+", plain)) == 2):
        _refuse(
            field,
            text,
            "its commas may be decimal commas or stand between latitude and longitude",
            "Use decimal points, and a space between latitude and longitude.",
        )
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", plain)


def _tokens(plain: str, text: str, field: str) -> list[_Token]:
    """Cut the text into numbers, marks, letters, signs and separators."""
    tokens: list[_Token] = []
    at = 0
    while at < len(plain):
        if plain[at].isspace():
            at += 1
            continue
        match = _TOKEN.match(plain, at)
        if match is None:
            _refuse(field, text, f"a position has no {plain[at]!r} in it")
        tokens.append(_Token(str(match.lastgroup), match[0]))
        at = match.end()
    return _without_dashes(tokens)


def _without_dashes(tokens: list[_Token]) -> list[_Token]:
    """Drop the dashes of 47-12.345N: with letters, a dash after a whole number separates."""
    if not any(token.kind == "letter" for token in tokens):
        return tokens
    kept = tokens[:1]
    for before, token in pairwise(tokens):
        if not (token.text == "-" and before.kind in ("number", "mark")):
            kept.append(token)
    return kept


def _split(tokens: list[_Token], text: str, field: str) -> tuple[list[_Token], list[_Token]]:
    """Divide the tokens between the two axes."""
    letters = [i for i, token in enumerate(tokens) if token.kind == "letter"]
    at = _split_at_letters(tokens, letters, text, field) if letters else _split_without_letters(tokens, text, field)
    halves = (_without_gap(tokens[:at]), _without_gap(tokens[at:]))
    for half in halves:
        if not any(token.kind == "number" for token in half):
            _refuse(field, text, "a position needs a latitude and a longitude")
    return halves


def _without_gap(half: list[_Token]) -> list[_Token]:
    """Drop separators, which have done their work or were typed between the parts of one axis."""
    return [token for token in half if token.kind != "gap"]


def _split_at_letters(tokens: list[_Token], letters: list[int], text: str, field: str) -> int:
    if len(letters) == 1:
        _refuse(field, text, "one hemisphere letter is missing", "Give both: N or S, and E or W.")
    if len(letters) > 2:
        _refuse(field, text, "a position has two hemisphere letters", "Give N or S once, and E or W once.")
    leading = letters[0] == 0
    trailing = letters[1] == max(i for i, token in enumerate(tokens) if token.kind != "gap")
    if leading == trailing:
        _refuse(field, text, "it is not plain which numbers its letters belong to")
    return letters[1] if leading else letters[0] + 1


def _split_without_letters(tokens: list[_Token], text: str, field: str) -> int:
    """Find where longitude begins: at its sign, after a separator, by its degree mark, or at the second of two."""
    numbers = [i for i, token in enumerate(tokens) if token.kind == "number"]
    signs = [i for i, token in enumerate(tokens) if token.kind == "sign"]
    degrees = [i for i, token in enumerate(tokens) if token.text == "°"]
    if not signs and len(numbers) > 2:
        _refuse(field, text, "it does not say which hemispheres", "Add N or S, and E or W.")
    starts = {i for i in signs if i > 0}
    starts |= {i + 1 for i, token in enumerate(tokens[:-1]) if token.kind == "gap"}
    if not starts and len(degrees) == 2:
        starts.add(degrees[1] - 1)
    if not starts and len(numbers) == 2:
        starts.add(numbers[1])
    if len(starts) != 1:
        _refuse(field, text, "it is not plain where latitude ends and longitude begins")
    return starts.pop()


def _angle(half: list[_Token], text: str, field: str) -> _Angle:
    """Read one half: sign or letter, then degrees, minutes and seconds."""
    letters = [token.text for token in half if token.kind == "letter"]
    signs = [token.text for token in half if token.kind == "sign"]
    kinds = [token.kind for token in half]
    if len(signs) > 1 or (signs and kinds.index("sign") > kinds.index("number")):
        _refuse(field, text, "a sign stands once, before the degrees")
    if letters and signs and not (signs[0] == "+" and letters[0] in "NE"):
        _refuse(
            field,
            text,
            f"the sign {signs[0]} and the letter {letters[0]} both name a hemisphere",
            "Give the sign or the letter and not both.",
        )
    numbers = _numbers_in_order(half, text, field)
    if letters and len(numbers) == 1:
        numbers = _unpacked(numbers[0], 2 if letters[0] in "NS" else 3)
    value, unit_deg = _sexagesimal(numbers, text, field)
    negative = signs == ["-"] or (bool(letters) and letters[0] in "SW")
    return _Angle(-value if negative else value, unit_deg, _AXIS_OF[letters[0]] if letters else None)


def _numbers_in_order(half: list[_Token], text: str, field: str) -> list[str]:
    """Return the numbers after checking that each mark follows its own number."""
    numbers: list[str] = []
    marked = 0
    for token in half:
        if token.kind == "number":
            numbers.append(token.text)
        elif token.kind == "mark":
            place = _MARKS.index(token.text) + 1
            if place != len(numbers) or marked == place:
                _refuse(field, text, "degrees °, minutes ′ and seconds ″ come in that order, each once")
            marked = place
    if len(numbers) > 3:
        _refuse(field, text, "latitude and longitude each have degrees, minutes and seconds at most")
    return numbers


def _sexagesimal(numbers: list[str], text: str, field: str) -> tuple[float, float]:
    """Turn degrees, minutes and seconds into degrees, with the size of the last unit typed."""
    value = 0.0
    for place, number in enumerate(numbers):
        if "." in number and place + 1 < len(numbers):
            _refuse(field, text, f"its {_PART_NAMES[place]} have decimals, and {_PART_NAMES[place + 1]} follow")
        if place and float(number) >= 60:
            _refuse(
                field,
                text,
                f"its {_PART_NAMES[place]} are {number}, and 60 {_PART_NAMES[place]} make the next unit up",
                f"Check the {_PART_NAMES[place]}: they run from 0 to under 60.",
            )
        value += float(number) / MINUTES_PER_DEGREE**place
    decimals = len(numbers[-1].partition(".")[2])
    return value, float(f"1e-{decimals}") / MINUTES_PER_DEGREE ** (len(numbers) - 1)


def _unpacked(digits: str, degree_digits: int) -> list[str]:
    """Cut 4712.345 into 47 and 12.345, and 471220.7 into three; leave a number of any other length whole."""
    whole, point, fraction = digits.partition(".")
    if len(whole) not in (degree_digits + 2, degree_digits + 4):
        return [digits]
    numbers = [whole[:degree_digits], *re.findall("..", whole[degree_digits:])]
    numbers[-1] += point + fraction
    return numbers


def _iso_angle(sign: str, digits: str, degree_digits: int, text: str, field: str) -> _Angle:
    """Read one half of an ISO 6709 string, whose number of digits says what they are."""
    value, unit_deg = _sexagesimal(_unpacked(digits, degree_digits), text, field)
    return _Angle(-value if sign == "-" else value, unit_deg, None)


def _ordered(halves: tuple[_Angle, _Angle], text: str, field: str) -> tuple[_Angle, _Angle]:
    """Put latitude first and check both limits."""
    first, second = halves
    if first.axis is not None and first.axis == second.axis:
        _refuse(
            field,
            text,
            f"it has two {first.axis}s",
            "Give one latitude, N or S, and one longitude, E or W.",
        )
    if first.axis is None and abs(first.degrees) > 90 >= abs(second.degrees):
        _refuse(
            field,
            text,
            "a latitude is at most 90 degrees, and latitude comes first; the two look swapped",
            "Put latitude first, or write the letters N or S and E or W.",
        )
    latitude, longitude = (second, first) if first.axis == "longitude" else (first, second)
    for axis, limit, angle in (("latitude", 90, latitude), ("longitude", 180, longitude)):
        if abs(angle.degrees) > limit:
            _refuse(field, text, f"a {axis} is at most {limit} degrees", f"Check the degrees of {axis}.")
    return latitude, longitude


def _resolution_m(latitude: _Angle, longitude: _Angle) -> float:
    metres_per_degree = MINUTES_PER_DEGREE * METRES_PER_MINUTE
    east_m = longitude.unit_deg * metres_per_degree * math.cos(math.radians(latitude.degrees))
    return max(latitude.unit_deg * metres_per_degree, east_m)


def _decimals_for(resolution_m: float) -> int:
    """Decimals of a minute that keep what was typed: three at least, six at most."""
    return min(6, max(3, math.ceil(-math.log10(resolution_m / METRES_PER_MINUTE))))
