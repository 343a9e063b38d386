"""Results as text under 80 columns, or as JSON with the names of the fields of the core."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from pathlib import Path
from textwrap import wrap

import click

WIDTH = 78
CAUTION = "Caution: an aid only. Official charts kept up to date, look-out and local rules come first."

#: Values that a result works out on request and that a reader of JSON needs beside its fields.
_WORKED_OUT: Mapping[str, tuple[str, ...]] = {
    "Budget": ("expanded",),
    "LogCorrection": ("is_factor", "middle_kn"),
    "Run": ("logged_nm",),
    "LogFactor": ("expanded", "difference", "reads_percent_too_much"),
    "SpeedGroup": ("other_agrees",),
    "TrialResult": ("factor", "u_factor", "expanded", "quoted_at_kn", "hand_factor", "correction"),
    "Improvement": ("takes_off",),
    "CheckVerdict": ("words",),
    "CourseVerdict": ("expanded", "run_s", "level"),
    "CourseMark": ("u_place_m",),
    "CorrectionView": ("hand_factor",),
    "RunView": ("ended_at",),
}


def as_plain(value: object) -> object:
    """Return a result as dictionaries, lists, numbers and text; what is not a number becomes null."""
    if is_dataclass(value) and not isinstance(value, type):
        names = [f.name for f in fields(value) if f.repr] + list(_WORKED_OUT.get(type(value).__name__, ()))
        return {name: as_plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(as_plain(key)): as_plain(inner) for key, inner in value.items()}
    if isinstance(value, Enum):
        return as_plain(value.value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return _leaf(value)


def _leaf(value: object) -> object:
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, date | Path):
        return str(value)
    if isinstance(value, set | frozenset):
        return sorted((as_plain(inner) for inner in value), key=str)
    if isinstance(value, Sequence):
        return [as_plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} has no form in JSON yet")


def show(data: Callable[[], object], text: Callable[[], str], *, as_json: bool, caution: bool = False) -> None:
    """Print a result once, in the form asked for; a caution stands last, where people steer by the result.

    Parameters
    ----------
    data, text
        Make the two forms; only the one asked for is made.
    """
    if as_json:
        click.echo(json.dumps(as_plain(data()), ensure_ascii=False, indent=2, allow_nan=False))
        return
    click.echo(text())
    if caution:
        say_caution()


def say_caution() -> None:
    """Print the caution beside the result, not into it."""
    click.echo(CAUTION, err=True)


def ruled(heads: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1, indent: int = 2) -> str:
    """Return a table with a rule under its head; the first `left` columns stand left, the others right.

    A column that is empty in every row is left out.
    """
    kept = [i for i in range(len(heads)) if not rows or any(row[i] for row in rows)]
    cells = [[row[i] for i in kept] for row in (heads, *rows)]
    widths = [max(len(row[j]) for row in cells) for j in range(len(kept))]
    lines = []
    for row in cells:
        parts = [
            cell.ljust(width) if i < left else cell.rjust(width)
            for i, cell, width in zip(kept, row, widths, strict=True)
        ]
        lines.append((" " * indent + "  ".join(parts)).rstrip())
    rule = " " * indent + "─" * (sum(widths) + 2 * (len(widths) - 1))
    return "\n".join([lines[0], rule, *lines[1:]])


def paragraph(text: str, *, indent: int = 2, mark: str = "") -> str:
    """Return text broken to the width, a mark before its first line."""
    first = " " * indent + mark
    return "\n".join(wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first))) or first


def pairs(rows: Sequence[tuple[str, str]], *, indent: int = 2) -> str:
    """Return names and values in two columns."""
    wide = max((len(name) for name, _ in rows), default=0)
    return "\n".join(f"{' ' * indent}{name.ljust(wide)}  {value}".rstrip() for name, value in rows)
