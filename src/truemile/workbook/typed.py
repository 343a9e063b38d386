"""Text as typed on a page, at the command line, in a CSV or TOML file, turned into values, all faults at once."""

from __future__ import annotations

import difflib
import re
import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Annotated, Any, Final, TypeVar, cast

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from truemile.core.errors import ManyFaults, NavigationError, ReadingError, gather
from truemile.core.numbers import check_range, parse_number
from truemile.core.times import parse_clock

T = TypeVar("T")
D = TypeVar("D")
M = TypeVar("M", bound="Entry")
E = TypeVar("E", bound=StrEnum)

#: Longest text of any one box.
LONGEST_TEXT: Final = 4000
_YES: Final = frozenset({"yes", "y", "true", "1", "on"})
_NO: Final = frozenset({"no", "n", "false", "0", "off"})


def as_text(value: object) -> str | None:
    """Return a value of any boundary as typed text, and an empty box as None."""
    match value:
        case None:
            return None
        case bool():
            return "yes" if value else "no"
        case str():
            return value.strip() or None
        case datetime() | date() | time():
            return value.isoformat()
        case int() | float():
            return str(value)
        case list() | tuple():
            parts = [as_text(part) for part in value]
            return " ".join(part for part in parts if part) or None
    raise ValueError("must be text or a number")


Text = Annotated[str | None, BeforeValidator(as_text)]


class Entry(BaseModel):
    """A form as filled in: text only, unknown boxes refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def read_entry(kind: type[M], given: Mapping[str, object]) -> M:
    """Return a form from a mapping of any boundary.

    Raises
    ------
    ReadingError
        If it has a box that the form does not know, or one that holds neither text nor number; `ManyFaults` for
        several.
    """
    try:
        return kind.model_validate(dict(given))
    except ValidationError as error:
        faults = [_fault(kind, dict(given), item["loc"], item["type"]) for item in error.errors()]
        raise (faults[0] if len(faults) == 1 else ManyFaults(faults)) from error


def _fault(kind: type[Entry], given: Mapping[str, object], loc: Sequence[int | str], trouble: str) -> NavigationError:
    field = str(loc[0]) if loc else "entry"
    if trouble == "extra_forbidden":
        return unknown_column(field, tuple(kind.model_fields), given.get(field))
    return ReadingError(field, given.get(field), "it must be text or a number", "Write one value there.")


def unknown_column(field: str, known: Sequence[str], given: object = None) -> ReadingError:
    """Return the error for a box or column that nobody knows, with the nearest name that is known."""
    near = difflib.get_close_matches(field, known, n=1)
    return ReadingError(
        field,
        given,
        f"there is no column {field!r}" if field else "a column has no name",
        f"Did you mean {near[0]}?" if near else f"Known are: {', '.join(known)}.",
    )


class Faults:
    """Gathers the faults of one form while its boxes are read."""

    def __init__(self) -> None:
        """Start with none."""
        self.found: list[NavigationError] = []

    def take(self, read: Callable[[], T], otherwise: D) -> T | D:
        """Return what reading gives; on a fault note it and return the other value."""
        try:
            return read()
        except ManyFaults as error:
            self.found.extend(error.faults)
        except NavigationError as error:
            self.found.append(error)
        return otherwise

    def add(self, field: str, given: object, allowed: str, remedy: str) -> None:
        """Note a fault."""
        self.found.append(ReadingError(field, given, allowed, remedy))

    def done(self) -> None:
        """Raise what was found, if anything."""
        gather(self.found)

    def sure(self, value: T | None) -> T:
        """Raise what was found, if anything; return a value that only a fault can have left missing."""
        self.done()
        return cast("T", value)


def needed(text: str | None, field: str, remedy: str) -> str:
    """Return the text.

    Raises
    ------
    ReadingError
        If the box is empty.
    """
    if text is None:
        raise ReadingError(field, None, "it must be filled in", remedy)
    return short(text, field)


def short(text: str | None, field: str, longest: int = LONGEST_TEXT) -> str:
    """Return the text, or none as empty.

    Raises
    ------
    ReadingError
        If it is longer than a remark can be.
    """
    if text is not None and len(text) > longest:
        raise ReadingError(field, f"{len(text)} characters", f"at most {longest} fit", "Shorten it.")
    return text or ""


def number(text: str | None, field: str, low: float, high: float, unit: str = "") -> float | None:
    """Return a number within limits, or None for an empty box.

    Raises
    ------
    ReadingError
        If it is no number or outside.
    """
    return None if text is None else check_range(field, parse_number(text, field), low, high, unit)


def yes_no(text: str | None, field: str, *, empty: bool = False) -> bool:
    """Return what was answered.

    Raises
    ------
    ReadingError
        If it is neither yes nor no.
    """
    if text is None:
        return empty
    word = text.lower()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise ReadingError(field, text, "it is yes or no", "Write yes or no.")


def choice(text: str | None, field: str, kind: type[E], empty: E | None = None) -> E:
    """Return the member whose value, or beginning of it, was typed.

    Raises
    ------
    ReadingError
        If none or several begin so.
    """
    if text is None and empty is not None:
        return empty
    word = (text or "").lower().replace("_", " ")
    fits = [member for member in kind if member.value == word] or [
        member for member in kind if word and member.value.startswith(word)
    ]
    if len(fits) != 1:
        allowed = " or ".join(member.value for member in kind)
        raise ReadingError(field, text, f"it is {allowed}", f"Write {allowed}.")
    return fits[0]


def instant(text: str, field: str, day: date | None, utc_offset: timedelta) -> datetime:
    """Return an instant in UTC from an ISO time with zone, or a clock time of a given day.

    Raises
    ------
    ReadingError
        If it is neither, or a date and time without zone.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is not None and len(text) > len("20260514"):
        if found.utcoffset() is None:
            raise ReadingError(
                field,
                text,
                "a date and time must say its zone",
                "Add Z for UTC or the offset, as in 2026-05-14T13:32:00+01:00.",
            )
        return found.astimezone(UTC)
    if day is None:
        raise ReadingError(
            field, text, "a clock time alone belongs to no day", "Write date, time and zone: 2026-05-14T13:32:00Z."
        )
    return parse_clock(text, day, utc_offset, field)


def day_of(text: str, field: str) -> date:
    """Return a date.

    Raises
    ------
    ReadingError
        If it is not written as year, month, day.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ReadingError(field, text, "a date is year, month and day", "Write it as 2026-05-14.") from None


def several_numbers(text: str | None, field: str) -> tuple[tuple[float, ...], tuple[str, ...]]:
    """Return numbers separated by spaces, semicolons or new lines, and each as typed.

    Notes
    -----
    A comma separates too if a space follows it, or where the numbers have decimal points; otherwise it is the
    decimal mark.

    Raises
    ------
    ReadingError
        If one of them is no number.

    Examples
    --------
    >>> several_numbers("6,3 6,4; 6,3", "readings")[0]
    (6.3, 6.4, 6.3)
    >>> several_numbers("6.3, 6.4", "readings")[0]
    (6.3, 6.4)
    """
    if text is None:
        return (), ()
    separators = r"[\s;]+|,\s+" if "." not in text else r"[\s;,]+"
    typed = tuple(part for part in re.split(separators, text.strip()) if part)
    return tuple(parse_number(part, field) for part in typed), typed


def identity(text: str | None, field: str = "id") -> str:
    """Return an id as given, in its one spelling, or a new one.

    Raises
    ------
    ReadingError
        If it is no UUID.
    """
    if text is None:
        return str(uuid.uuid4())
    try:
        return str(uuid.UUID(text))
    except ValueError:
        raise ReadingError(
            field, text, "an id is a UUID of 32 hexadecimal digits", "Leave it empty to get a new one."
        ) from None


def renamed(error: NavigationError, names: Mapping[str, str]) -> NavigationError:
    """Return an error of the core with its fields called as the column of the form."""

    def column(field: str) -> str:
        head, dot, last = field.rpartition(".")
        name = names.get(last.partition("[")[0])
        return field if name is None else f"{head}{dot}{name}"

    return error.renamed(column)


def reraised(read: Callable[[], T], names: Mapping[str, str]) -> T:
    """Return what reading gives; faults are raised with the form's own names."""
    try:
        return read()
    except NavigationError as error:
        raise renamed(error, names) from error


def plain(value: Any) -> Any:  # noqa: ANN401
    """Return a value as it can stand in JSON."""
    match value:
        case datetime() | date():
            return value.isoformat()
        case StrEnum():
            return value.value
        case Mapping():
            return {str(key): plain(item) for key, item in value.items()}
        case list() | tuple():
            return [plain(item) for item in value]
    return value
