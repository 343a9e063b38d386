"""Runs in files: read from CSV and TOML, and written so that they can be read back the same."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, Literal

from truemile.core.errors import FileError, ManyFaults, NavigationError, ReadingError, gather
from truemile.core.log_runs import MOST_RUNS, Conditions, Run
from truemile.core.measured_course import MeasuredCourse, course_between
from truemile.workbook.entries import (
    CONDITION_COLUMNS,
    CourseEntry,
    MarkEntry,
    ReadRun,
    RunEntry,
    TrialEntry,
    read_entry,
)
from truemile.workbook.typed import Faults, day_of, reraised, unknown_column, yes_no

Kind = Literal["csv", "toml"]

#: A trial's file is a few kilobytes; more than this is something else.
LARGEST_BYTES: Final = 2_000_000
#: The columns of a file of runs, in the order in which they are written.
COLUMNS: Final = tuple(RunEntry.model_fields)


@dataclass(frozen=True, slots=True)
class RunsFile:
    """What a file of runs holds; `course` is None where it has none."""

    course: MeasuredCourse | None
    conditions: Conditions
    runs: tuple[Run, ...]
    entries: tuple[RunEntry, ...]


def parse_runs_text(
    text: str | bytes,
    kind: Kind = "csv",
    *,
    day: date | None = None,
    utc_offset: timedelta = timedelta(0),
) -> RunsFile:
    """Read a file of runs without a workbook.

    Parameters
    ----------
    text
        CSV with a header line; or TOML with ``[[run]]`` and perhaps ``[course]`` and ``[conditions]``.
    day, utc_offset
        For clock times without a date; a TOML file may say ``date`` itself.

    Raises
    ------
    FileError
        If it is no such file, or too large.
    ReadingError
        Or `ManyFaults`, with fields such as ``rows[3].elapsed``, if a value cannot be.
    """
    rows, table = raw_rows(text, kind)
    faults = Faults()
    if "date" in table:
        day = faults.take(lambda: day_of(str(table["date"]), "date"), day)
    course = faults.take(lambda: _course_of(table), None)
    conditions = faults.take(lambda: _conditions_of(table), Conditions())
    read = faults.take(lambda: read_rows(rows, day, utc_offset), ())
    faults.done()
    return RunsFile(course, conditions, tuple(item.run for _, item in read), tuple(entry for entry, _ in read))


def raw_rows(text: str | bytes, kind: Kind) -> tuple[list[tuple[int, Mapping[str, object]]], Mapping[str, Any]]:
    """Return the rows with their line numbers (0 where there are no lines), and the rest of a TOML file.

    Raises
    ------
    FileError
        If it is no file of runs.
    ReadingError
        If it has too many runs.
    """
    words = _decoded(text)
    if kind == "toml":
        table = _toml(words)
        runs = table.get("run", [])
        if not isinstance(runs, list) or not all(isinstance(run, dict) for run in runs):
            raise FileError("file", "run", "each run is a table of its own", "Begin every run with a line [[run]].")
        rows: list[tuple[int, Mapping[str, object]]] = [(0, run) for run in runs]
    else:
        table = {}
        rows = _csv_rows(words)
    if not rows:
        raise FileError("file", "no runs", "it holds not a single run", "Give one line a run below the header.")
    if len(rows) > MOST_RUNS:
        raise ReadingError(
            "rows",
            f"more than {MOST_RUNS}" if kind == "csv" else len(rows),
            f"a trial has at most {MOST_RUNS} runs",
            "Check that this is the right file: one line a run, not one line a second.",
        )
    return rows, table


def read_rows(
    rows: Sequence[tuple[int, Mapping[str, object]]], day: date | None, utc_offset: timedelta
) -> tuple[tuple[RunEntry, ReadRun], ...]:
    """Return each row as form and as run, with the faults of all rows at once.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, with fields such as ``rows[3].elapsed``.
    """
    read: list[tuple[RunEntry, ReadRun]] = []
    faults: list[NavigationError] = []
    for place, (line, row) in enumerate(rows):
        try:
            entry = read_entry(RunEntry, row)
            read.append((entry, entry.read(day, utc_offset)))
        except NavigationError as error:
            found = error.faults if isinstance(error, ManyFaults) else (error,)
            faults.extend(_at_line(fault.inside(f"rows[{place}]"), line) for fault in found)
    gather(faults)
    return tuple(read)


def write_csv(rows: Sequence[Mapping[str, str]]) -> str:
    """Return rows as CSV, leaving out the columns that are empty throughout."""
    used = [column for column in COLUMNS if any(row.get(column) for row in rows)]
    stream = io.StringIO()
    writer = csv.DictWriter(stream, used, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def _at_line(fault: NavigationError, line: int) -> NavigationError:
    if not line:
        return fault
    return type(fault)(fault.field, fault.given, fault.allowed, f"{fault.remedy} It is line {line} of the file.")


def _decoded(text: str | bytes) -> str:
    if len(text) > LARGEST_BYTES:
        raise FileError(
            "file",
            f"{len(text) / 1e6:.1f} MB",
            f"a file of runs has at most {LARGEST_BYTES / 1e6:g} MB",
            "Check that this is the right file: one line a run, not a recording.",
        )
    if isinstance(text, bytes):
        if text[:4] == b"PK\x03\x04":
            raise FileError(
                "file", "a spreadsheet or archive", "it must be plain text", "Save the sheet as CSV, then give that."
            )
        try:
            text = text.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise FileError(
                "file", "not UTF-8 text", "it must be plain text in UTF-8", "Save it as CSV in UTF-8."
            ) from None
    if "\x00" in text:
        raise FileError("file", "binary data", "it must be plain text", "Check that this is the right file.")
    return text.removeprefix("\ufeff")


def _toml(words: str) -> Mapping[str, Any]:
    try:
        table = tomllib.loads(words)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FileError(
            "file", str(error) or "nested too deep", "it must be TOML", "Mend the line that is named, or use CSV."
        ) from error
    known = ("course", "conditions", "run", "date")
    gather([unknown_column(name, known, table[name]) for name in table if name not in known])
    return table


def _csv_rows(words: str) -> list[tuple[int, Mapping[str, object]]]:
    lines = words.splitlines()
    header = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    mark = next((sign for sign in (";", "\t") if sign in header), ",")
    reader = csv.reader(io.StringIO(words, newline=""), delimiter=mark, strict=True)
    rows: list[tuple[int, Mapping[str, object]]] = []
    names: list[str] = []
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            if not names:
                names = _header(cells)
                continue
            rows.append((reader.line_num, _row(names, cells, reader.line_num, len(rows))))
            if len(rows) > MOST_RUNS:
                break
    except csv.Error as error:
        raise FileError(
            "file", f"line {reader.line_num}: {error}", "it must be CSV", "Mend that line, quotes above all."
        ) from error
    return rows


def _header(cells: Sequence[str]) -> list[str]:
    names = [cell.strip().lower().replace(" ", "_") for cell in cells]
    if not set(names) & set(COLUMNS):
        raise FileError(
            "file",
            ", ".join(names)[:60],
            "its first line must name the columns",
            f"Put a header above the runs, such as: {','.join(COLUMNS[1:6])}.",
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileError("file", ", ".join(twice), "each column stands once in the header", "Rename or drop one.")
    gather([unknown_column(name, COLUMNS) for name in names if name not in COLUMNS])
    return names


def _row(names: Sequence[str], cells: Sequence[str], line: int, place: int) -> Mapping[str, object]:
    if len(cells) > len(names):
        raise ReadingError(
            f"rows[{place}]",
            ", ".join(cells)[:60],
            f"it has {len(cells)} cells and the header {len(names)} columns",
            f"Put text with the separator in it into quotes. It is line {line} of the file.",
        )
    return dict(zip(names, cells, strict=False))


def _course_of(table: Mapping[str, Any]) -> MeasuredCourse | None:
    given = table.get("course")
    if given is None:
        return None
    if not isinstance(given, dict):
        raise FileError("course", given, "a course is a table", "Begin it with a line [course].")
    ends = [given.get("start"), given.get("end")]
    if ends == [None, None]:
        try:
            return read_entry(CourseEntry, given).read_charted()
        except NavigationError as error:
            raise error.inside("course") from error
    known = ("name", "start", "end", "transits")
    faults = Faults()
    faults.found.extend(
        unknown_column(name, known, given[name]).inside("course") for name in given if name not in known
    )
    start, end = (faults.take(lambda word=word: _mark_of(given.get(word), word), None) for word in ("start", "end"))  # type: ignore[misc]
    transits = faults.take(lambda: yes_no(_words(given.get("transits")), "course.transits"), False)
    first, last = faults.sure(start), faults.sure(end)
    return reraised(
        lambda: course_between(first, last, name=str(given.get("name", "")), transits=transits),
        {"length_nm": "course.end", "u_length_nm": "course.end", "end": "course.end"},
    )


def _words(value: object) -> str | None:
    return None if value is None else ("yes" if value is True else "no" if value is False else str(value))


def _mark_of(given: object, word: str) -> Any:  # noqa: ANN401
    """An end is a position as text, or a table as a mark is entered."""
    fields = given if isinstance(given, dict) else {"name": word, "position": given}
    try:
        return read_entry(MarkEntry, {"name": word, **fields}).read().mark
    except NavigationError as error:
        raise error.inside(f"course.{word}") from error


def _conditions_of(table: Mapping[str, Any]) -> Conditions:
    given = table.get("conditions", {})
    if not isinstance(given, dict):
        raise FileError("conditions", given, "conditions are a table", "Begin it with a line [conditions].")
    known = ("steering", *CONDITION_COLUMNS.values())
    gather([unknown_column(name, known, given[name]).inside("conditions") for name in given if name not in known])
    try:
        return read_entry(TrialEntry, given).read_conditions()
    except NavigationError as error:
        raise error.inside("conditions") from error
