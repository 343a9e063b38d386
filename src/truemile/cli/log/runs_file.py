"""Runs from words on the command line or from a file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from truemile.cli.log.run_words import EXAMPLE, run_boxes
from truemile.core.errors import FileError, NavigationError, ReadingError

if TYPE_CHECKING:
    from pathlib import Path

    from truemile.workbook.entries import ReadRun, RunEntry
    from truemile.workbook.runs_files import Kind, RunsFile


def read_words(words: Sequence[str], day: date, utc_offset: timedelta) -> list[tuple[RunEntry, ReadRun]]:
    """Return the runs in lines of words, as form and as understood; all faults of all lines come at once.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, with fields such as ``runs[1].elapsed``; or if there is not a line.
    """
    from truemile.core.errors import ManyFaults, gather
    from truemile.workbook.entries import RunEntry, read_entry

    if not words:
        raise ReadingError("runs", None, "no run was given", f'Give each as --run "{EXAMPLE}".')
    read: list[tuple[RunEntry, ReadRun]] = []
    faults: list[NavigationError] = []
    for number, line in enumerate(words):
        try:
            entry = read_entry(RunEntry, run_boxes(line))
            read.append((entry, entry.read(day, utc_offset)))
        except NavigationError as error:
            placed = error.renamed(lambda field, number=number: _placed(field, number))  # type: ignore[misc] # bound now
            faults.extend(placed.faults if isinstance(placed, ManyFaults) else (placed,))
    gather(faults)
    return read


def _placed(field: str, number: int) -> str:
    return f"runs[{number}]" if field == "run" else f"runs[{number}].{field}"


def read_file(file: Path, day: date, utc_offset: timedelta) -> RunsFile:
    """Return what a file of runs holds."""
    from truemile.workbook.runs_files import parse_runs_text

    content, kind = content_and_kind(file)
    return parse_runs_text(content, kind, day=day, utc_offset=utc_offset)


def content_and_kind(file: Path) -> tuple[bytes, Kind]:
    """Return a file's bytes, one more at most than a file of runs may have, and how it is to be read.

    Raises
    ------
    FileError
        If it cannot be read, or its ending says it is something else.
    """
    from truemile.workbook.runs_files import LARGEST_BYTES

    endings: dict[str, Kind] = {".csv": "csv", ".txt": "csv", ".tsv": "csv", ".toml": "toml"}
    kind = endings.get(file.suffix.lower())
    if kind is None:
        raise FileError(
            "file", str(file), "runs are read from .csv or .toml", "Save it as one of them; the ending says which."
        )
    try:
        with file.open("rb") as stream:
            return stream.read(LARGEST_BYTES + 1), kind
    except OSError as error:
        raise FileError(
            "file", str(file), f"it cannot be read ({error.strerror})", "Check the name and the folder."
        ) from error
