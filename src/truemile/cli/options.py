"""Options that mean the same in every command, each declared once, and readings typed as on paper."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, timedelta
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from truemile.cli.workbook_file import VARIABLE

if TYPE_CHECKING:
    from truemile.core.log_runs import Conditions

    _ParamType = click.ParamType[Any]
else:
    _ParamType = click.ParamType  # generic in newer releases of click only

Command = TypeVar("Command", bound=Callable[..., Any])


class Number(_ParamType):
    """A number as typed, with point or comma; its fault is a refusal with a remedy, not wrong usage.

    Parameters
    ----------
    field
        Name of the entry in the error: ``speed_kn``.
    """

    name = "number"

    def __init__(self, field: str) -> None:
        self.field = field

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ARG002
        """Read it with the same words as everywhere."""
        if isinstance(value, int | float):
            return float(value)
        from truemile.core.numbers import parse_number

        return parse_number(str(value), self.field)


class Elapsed(_ParamType):
    """An elapsed time such as 5:34 or 1h20m, in seconds."""

    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ARG002
        """Read it with the same words as everywhere."""
        if isinstance(value, int | float):
            return float(value)
        from truemile.core.times import parse_elapsed

        return parse_elapsed(str(value))


class Moment(_ParamType):
    """A date and time with its zone, such as 2026-05-14T13:32Z."""

    name = "instant"

    def __init__(self, field: str) -> None:
        self.field = field

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> datetime:  # noqa: ARG002
        """Read ISO 8601 and insist on the zone."""
        if isinstance(value, datetime):
            return value
        from truemile.core.errors import ReadingError
        from truemile.core.times import require_aware

        try:
            instant = datetime.fromisoformat(str(value).strip())
        except ValueError:
            raise ReadingError(
                self.field, value, "a moment is a date and a time with its zone", "Write it as 2026-05-14T13:32Z."
            ) from None
        return require_aware(instant, self.field)


class Day(_ParamType):
    """A date such as 2026-05-14."""

    name = "date"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> date:  # noqa: ARG002
        """Read ISO 8601."""
        if isinstance(value, date):
            return value
        from truemile.core.errors import ReadingError

        try:
            return date.fromisoformat(str(value).strip())
        except ValueError:
            raise ReadingError("day", value, "a date has year, month and day", "Write it as 2026-05-14.") from None


class UtcOffset(_ParamType):
    """Ship's time minus UTC, such as +1, -2 or +05:30."""

    name = "offset"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> timedelta:  # noqa: ARG002
        """Read hours, or hours and minutes."""
        if isinstance(value, timedelta):
            return value
        from truemile.core.numbers import check_range, parse_number

        hours, colon, minutes = str(value).strip().partition(":")
        whole = parse_number(hours, "utc_offset")
        part = parse_number(minutes, "utc_offset") / 60.0 if colon else 0.0
        west = hours.strip()[:1] in "-\N{MINUS SIGN}"
        return timedelta(hours=check_range("utc_offset", whole - part if west else whole + part, -12, 14, "h"))


def json_option(command: Command) -> Command:
    """Let the command print its result for a machine."""
    return click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")(command)


def workbook_option(command: Command) -> Command:
    """Let the command be told which workbook to use."""
    return click.option(
        "--workbook",
        "workbook_path",
        envvar=VARIABLE,
        metavar="FILE",
        help=f"Your workbook; else {VARIABLE}, else the one in your data folder.",
    )(command)


def working_option(command: Command) -> Command:
    """Let the command show its working."""
    return click.option("--working", is_flag=True, help="Show the hand lines behind the result.")(command)


def plot_option(command: Command) -> Command:
    """Let the command draw a picture."""
    return click.option("--plot", type=click.Path(path_type=Path), metavar="FILE", help="Draw it to an .svg or .png.")(
        command
    )


def log_option(command: Command) -> Command:
    """Let the command be told which log is meant where the boat has several."""
    return click.option("--log", "log_name", metavar="NAME", help="Which log, by name or number; the only one if not.")(
        command
    )


def by_option(command: Command) -> Command:
    """Let the command note who made the entry."""
    return click.option("--by", "author", metavar="WHO", help="Who makes this entry.")(command)


def out_option(words: str, default: str | None = None) -> Callable[[Command], Command]:
    """Let the command be told where to write a file."""
    return click.option(
        "--out",
        type=click.Path(path_type=Path),
        default=default,
        show_default=default is not None,
        metavar="FILE",
        help=words,
    )


def box(flag: str, name: str, words: str, metavar: str = "TEXT") -> Callable[[Command], Command]:
    """Declare an option that fills one box of a form, as typed."""
    return click.option(flag, name, metavar=metavar, help=words)


def filled(boxes: Mapping[str, str | None]) -> dict[str, str]:
    """Return the boxes of a form in which something was written."""
    return {name: text for name, text in boxes.items() if text is not None}


def packed(name: str, maker: type, *options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Declare several options that enter the command as one argument.

    Parameters
    ----------
    name
        Of the command's argument.
    maker
        A dataclass with a field for each option.
    """
    parts = [part.name for part in fields(maker)]

    def decorate(command: Command) -> Command:
        @wraps(command)
        def with_one(*args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 (passes on what click gives)
            kwargs[name] = maker(**{part: kwargs.pop(part) for part in parts})
            return command(*args, **kwargs)

        made = cast("Command", with_one)
        for option in reversed(options):
            made = option(made)
        return made

    return decorate


@dataclass(frozen=True, slots=True)
class ConditionsGiven:
    """How the runs were made and how finely things were read, as typed; the names are those of the trial's form."""

    steering: str | None
    speed_resolution: str | None
    distance_resolution: str | None
    timing_limit: str | None
    stream_irregularity: str | None
    tide_amplitude: str | None
    crab: str | None
    u_crab: str | None
    crossing: str | None

    def boxes(self) -> dict[str, str]:
        """What was filled in."""
        given = {part.name: getattr(self, part.name) for part in fields(self)}
        return {name: text for name, text in given.items() if text is not None}

    def conditions(self, usual: Conditions | None = None) -> Conditions:
        """The conditions, the usual ones where nothing was said."""
        from truemile.workbook.entries import TrialEntry, read_entry

        return read_entry(TrialEntry, self.boxes()).read_conditions(usual)


conditions_options = packed(
    "conditions_given",
    ConditionsGiven,
    click.option(
        "--track-held",
        "steering",
        flag_value="track held",
        help="The track was held from mark to mark.",
    ),
    click.option(
        "--heading-held",
        "steering",
        flag_value="heading held",
        help="The compass course was held, square to the transits (the usual way).",
    ),
    click.option("--speed-digit", "speed_resolution", metavar="KN", help="Last digit of the speed display."),
    click.option("--distance-digit", "distance_resolution", metavar="NM", help="Last digit of the distance counter."),
    click.option("--timing", "timing_limit", metavar="S", help="The elapsed time is right within this, usually 1."),
    click.option(
        "--uneven-stream", "stream_irregularity", metavar="KN", help="Unevenness of the stream, usually 0.05."
    ),
    click.option(
        "--tide",
        "tide_amplitude",
        metavar="KN",
        help="Greatest rate of the tidal stream there, usually 1, 0 where there is no tide.",
    ),
    click.option("--crab", metavar="DEG", help="Angle between heading and track where the track was held."),
    click.option("--crab-within", "u_crab", metavar="DEG", help="Standard uncertainty of that angle, usually 2."),
    click.option("--crossing", metavar="DEG", help="Angle off the square at which transits were crossed."),
)


def now_utc() -> datetime:
    """Return the time of the computer's clock."""
    return datetime.now(UTC)
