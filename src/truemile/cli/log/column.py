"""A column of a table corrected piece by piece, so that its length does not matter to the memory."""

from __future__ import annotations

import csv
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from truemile.core.errors import FileError, NavigationError, ReadingError
from truemile.core.numbers import parse_number
from truemile.core.times import require_aware

if TYPE_CHECKING:
    from truemile.workbook.store import Workbook

#: Rows at a time.
PIECE: Final = 20_000
#: More than this is not a table to be corrected in one go.
MOST_ROWS: Final = 5_000_000
#: A line longer than this is no line of a table.
LONGEST_CELL: Final = 10_000

_PLAIN = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")


@dataclass(frozen=True, slots=True)
class Table:
    """An open table: its header, where the two columns stand, and its rows still to come."""

    header: list[str]
    place: int
    time_place: int | None
    mark: str
    rows: Iterator[list[str]]


def correct_table(
    workbook: Workbook,
    log_name: str | None,
    source: Path,
    column: str | None,
    time_column: str | None,
    at: datetime,
    out: Path | None,
) -> dict[str, Any]:
    """Write the table with three columns added, all of it or nothing.

    Returns
    -------
    dict
        How many rows it has, how many lie outside the measured speeds, and where it was written.

    Raises
    ------
    FileError
        If the table cannot be read or written.
    ReadingError
        If a row holds no speed; the field names it.
    """
    with tempfile.TemporaryFile("w+", encoding="utf-8", newline="") as part:
        try:
            with source.open(encoding="utf-8-sig", newline="") as stream:
                table = _opened(stream, source, column, time_column)
                rows, outside = _copy(workbook, log_name, table, at, part)
        except UnicodeDecodeError as error:
            raise _no_table(source, "it must be plain text in UTF-8", "Save the sheet as CSV in UTF-8.") from error
        except csv.Error as error:
            raise _no_table(source, f"it must be CSV ({error})", "Check that this is the right file.") from error
        except OSError as error:
            raise _no_table(source, f"it cannot be read ({error.strerror})", "Check the name.") from error
        part.seek(0)
        _deliver(part, out)
    return {"rows": rows, "outside": outside, "out": None if out is None else str(out)}


def _no_table(source: Path, allowed: str, remedy: str) -> FileError:
    return FileError("csv", str(source), allowed, remedy)


def _opened(stream: IO[str], source: Path, column: str | None, time_column: str | None) -> Table:
    first = stream.readline(LONGEST_CELL)
    if "\x00" in first or not first.strip():
        raise _no_table(source, "its first line must name the columns", "Check that this is the right file.")
    mark = next((sign for sign in (";", "\t") if sign in first), ",")
    header = [cell.strip() for cell in next(csv.reader([first], delimiter=mark))]
    place = _place(header, "column", column)
    time_place = None if time_column is None else _place(header, "time_column", time_column)
    return Table(header, place, time_place, mark, csv.reader(stream, delimiter=mark, strict=True))


def _place(header: Sequence[str], field: str, name: str | None) -> int:
    from difflib import get_close_matches

    if name in header:
        return header.index(name)
    near = get_close_matches(name or "", header, n=1)
    listed = ", ".join(header)[:120]
    raise ReadingError(
        field,
        name,
        "it must be a column of the table",
        f"Did you mean {near[0]}?" if near else f"Its columns are: {listed}.",
    )


def _copy(workbook: Workbook, log_name: str | None, table: Table, at: datetime, part: IO[str]) -> tuple[int, int]:
    writer = csv.writer(part, delimiter=table.mark, lineterminator="\n")
    stem = table.header[table.place].removesuffix("_kn")
    writer.writerow([*table.header, f"{stem}_true_kn", f"{stem}_plus_minus_kn", f"{stem}_inside"])
    done = outside = 0
    while piece := list(islice(table.rows, PIECE)):
        if done + len(piece) > MOST_ROWS:
            raise ReadingError(
                "csv", f"more than {MOST_ROWS} rows", f"a table has at most {MOST_ROWS} rows", "Split the file."
            )
        added, beyond = _corrected(workbook, log_name, table, piece, done, at)
        writer.writerows([*row, *more] for row, more in zip(piece, added, strict=True))
        done += len(piece)
        outside += beyond
    if not done:
        raise FileError("csv", "a header alone", "a table has rows below its header", "Check that it is complete.")
    return done, outside


def _corrected(
    workbook: Workbook, log_name: str | None, table: Table, piece: Sequence[list[str]], done: int, at: datetime
) -> tuple[list[tuple[str, str, str]], int]:
    """Return the three new cells of each row, empty where nothing was read, and how many are outside."""
    from truemile.workbook.log_corrections import correct_column

    read = [(i, row) for i, row in enumerate(piece) if len(row) > table.place and row[table.place].strip()]
    added = [("", "", "")] * len(piece)
    if not read:
        return added, 0
    numbers = [done + i for i, _ in read]
    speeds = [_speed(row[table.place], number, table) for (_, row), number in zip(read, numbers, strict=True)]
    instants = (
        at
        if table.time_place is None
        else [_instant(row, number, table) for (_, row), number in zip(read, numbers, strict=True)]
    )
    try:
        found = correct_column(workbook, log_name, speeds, at=instants)
    except NavigationError as error:
        raise error.renamed(lambda field: _in_table(field, numbers, table)) from error
    results = zip(found.true_kn.tolist(), found.expanded_kn.tolist(), found.inside.tolist(), strict=True)
    for (i, _), (true, expanded, inside) in zip(read, results, strict=True):
        added[i] = (f"{true:.3f}", f"{expanded:.3f}", "yes" if inside else "no")
    return added, int((~found.inside).sum())


def _speed(text: str, number: int, table: Table) -> float:
    text = text.strip()
    if _PLAIN.fullmatch(text):
        return float(text)
    return parse_number(text, f"rows[{number}].{table.header[table.place]}")


def _instant(row: Sequence[str], number: int, table: Table) -> datetime:
    place = table.time_place or 0
    field = f"rows[{number}].{table.header[place]}"
    text = row[place].strip() if len(row) > place else ""
    try:
        return require_aware(datetime.fromisoformat(text), field)
    except ValueError as error:
        if isinstance(error, NavigationError):
            raise
        raise ReadingError(field, text, "a time has date and zone", "Write it as 2026-05-14T13:32:00Z.") from None


def _in_table(field: str, numbers: Sequence[int], table: Table) -> str:
    """A row of the piece, counted as a row of the table."""
    head, bracket, rest = field.partition("[")
    if head != "rows" or not bracket:
        return field
    return f"rows[{numbers[int(rest.partition(']')[0])]}].{table.header[table.place]}"


def _deliver(part: IO[str], out: Path | None) -> None:
    if out is None:
        shutil.copyfileobj(part, sys.stdout)
        return
    waiting = out.with_name(f".{out.name}.part")
    try:
        with waiting.open("w", encoding="utf-8", newline="") as target:
            shutil.copyfileobj(part, target)
        waiting.replace(out)
    except OSError as error:
        waiting.unlink(missing_ok=True)
        raise FileError(
            "out", str(out), f"it cannot be written ({error.strerror})", "Choose a folder where you may write."
        ) from error
