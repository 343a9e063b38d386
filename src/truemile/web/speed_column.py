"""A table with a column of indicated speeds: read, corrected, and written again with three columns more."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

from truemile.core.errors import FileError, ReadingError, gather
from truemile.core.numbers import parse_number
from truemile.web.forms import Upload
from truemile.workbook.log_corrections import ColumnView, correct_column
from truemile.workbook.store import Workbook
from truemile.workbook.views import InstrumentView

#: Most rows of one file: a week of one-second readings.
MOST_ROWS: Final = 700_000
#: Rows shown before the file is taken away.
SHOWN: Final = 8
#: Faults of single rows that are listed; more of them mean that it is the wrong column.
MOST_FAULTS: Final = 5
USUAL_NAME: Final = "indicated_kn"
ADDED: Final = ("true_kn", "plus_minus_kn", "inside_measured_range")


@dataclass(frozen=True, slots=True)
class Preview:
    """What a corrected file looks like."""

    column: Annotated[str, "Name of the column that was corrected."]
    rows: Annotated[int, "How many rows it has."]
    outside: Annotated[int, "How many lie outside the speeds that were measured."]
    first: Annotated[tuple[tuple[str, str, str, str], ...], "First rows: read, true, ±, and whether inside."]


@dataclass(frozen=True, slots=True)
class CorrectedColumn:
    """A corrected file."""

    given: str
    name: str
    log: str
    content: bytes
    preview: Preview


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read."""

    names: list[str]
    rows: list[list[str]]
    mark: str


def correct_file(
    workbook: Workbook, log: InstrumentView, upload: Upload, column: str, *, at: datetime
) -> CorrectedColumn:
    """Return a file with true speed, ± and range beside its column of indicated speeds.

    Raises
    ------
    FileError
        If it is no table.
    ReadingError
        If it has no such column, or a row holds no speed.
    NotFound
        If no correction is in force.
    """
    table = read_table(upload.content)
    place = place_of(column, table.names)
    speeds = read_speeds(table, place)
    found = correct_column(workbook, log.id, speeds, at=at)
    stem = upload.name.rpartition(".")[0] or upload.name
    return CorrectedColumn(
        given=upload.name,
        name=f"{''.join(sign if sign.isalnum() or sign in '-_' else '-' for sign in stem)[:60]}-corrected.csv",
        log=log.name,
        content=_written(table, found),
        preview=_preview(table.names[place], found),
    )


def read_table(content: bytes) -> Table:
    """Read a CSV table with commas, semicolons or tabs between its cells.

    Raises
    ------
    FileError
        If it is no text, has no rows, or too many.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(
            "file", "not text", "a table is text in UTF-8", "Export it as CSV, and choose that file."
        ) from error
    head = text.partition("\n")[0]
    mark = next((sign for sign in (";", "\t") if sign in head), ",")
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark) if any(map(str.strip, row))]
    except csv.Error as error:
        raise FileError("file", str(error), "it must be a table", "Export it as CSV, and choose that file.") from error
    if len(rows) < 2:
        raise FileError(
            "file", f"{len(rows)} rows", "a table has its names in the first row and readings below", "Add that row."
        )
    if len(rows) - 1 > MOST_ROWS:
        raise FileError(
            "file", f"{len(rows) - 1} rows", f"at most {MOST_ROWS} rows are taken at once", "Split it, a week each."
        )
    return Table([name.strip() for name in rows[0]], rows[1:], mark)


def place_of(column: str, names: list[str]) -> int:
    """Return which column is meant.

    Raises
    ------
    ReadingError
        If there is none of that name, or none was named and it is not plain.
    """
    folded = [name.casefold() for name in names]
    wanted = column.casefold() or USUAL_NAME
    if wanted in folded:
        return folded.index(wanted)
    if not column and len(names) == 1:
        return 0
    raise ReadingError(
        "column", column or None, f"the columns are {', '.join(names[:20])}", "Write one of these names."
    )


def read_speeds(table: Table, place: int) -> list[float]:
    """Return the speeds of a column.

    Raises
    ------
    ReadingError
        If a row holds none; several at once, but not more than a few.
    """
    speeds: list[float] = []
    faults: list[ReadingError] = []
    for number, row in enumerate(table.rows):
        text = row[place] if place < len(row) else ""
        try:
            speeds.append(parse_number(text, "column"))
        except ReadingError:
            faults.append(
                ReadingError("column", text, f"row {number + 2} must hold a speed in knots", "Mend it, or take it out.")
            )
            if len(faults) >= MOST_FAULTS:
                break
    gather(faults)
    return speeds


def _written(table: Table, found: ColumnView) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=table.mark, lineterminator="\n")
    writer.writerow([*table.names, *ADDED])
    width = len(table.names)
    for row, true, margin, inside in zip(table.rows, found.true_kn, found.expanded_kn, found.inside, strict=True):
        cells = (row + [""] * width)[:width]
        writer.writerow([*cells, f"{true:.3f}", f"{margin:.3f}", "yes" if inside else "no"])
    return stream.getvalue().encode()


def _preview(column: str, found: ColumnView) -> Preview:
    rows = zip(found.indicated_kn, found.true_kn, found.expanded_kn, found.inside, strict=True)
    first = tuple(
        (f"{read:g}", f"{true:.2f}", f"{margin:.2f}", "yes" if inside else "no")
        for (read, true, margin, inside), _ in zip(rows, range(SHOWN), strict=False)
    )
    return Preview(column, int(found.inside.size), int((~found.inside).sum()), first)
