"""Legs from words on the command line, from a table, or from a recording; and how they were made."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from truemile.cli.log.leg_words import EXAMPLE, KEYS, leg_boxes
from truemile.cli.options import Number, packed
from truemile.core.errors import FileError, NavigationError, ReadingError

if TYPE_CHECKING:
    from truemile.core.ground_vectors import VectorConditions
    from truemile.recordings.taking import Taking
    from truemile.workbook.round_entries import LegEntry, ReadLeg

LARGEST_TABLE: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class RoundConditionsGiven:
    """How the legs were made and read, as typed; the names are those of the round's form."""

    speed_resolution: str | None
    sog_resolution: str | None
    cog_resolution: str | None
    heading_resolution: str | None
    unevenness: str | None
    tide_amplitude: str | None
    u_deviation: str | None
    wind: str | None

    def boxes(self) -> dict[str, str]:
        """What was filled in."""
        given = {part.name: getattr(self, part.name) for part in fields(self)}
        return {name: text for name, text in given.items() if text is not None}

    def conditions(self) -> VectorConditions:
        """The conditions, the usual ones where nothing was said."""
        from truemile.workbook.entries import read_entry
        from truemile.workbook.round_entries import RoundEntry

        return read_entry(RoundEntry, self.boxes()).read_conditions()


round_conditions_options = packed(
    "conditions_given",
    RoundConditionsGiven,
    click.option("--speed-digit", "speed_resolution", metavar="KN", help="Last digit of the log's speed display."),
    click.option("--sog-digit", "sog_resolution", metavar="KN", help="Last digit of the speed over the ground."),
    click.option("--cog-digit", "cog_resolution", metavar="DEG", help="Last digit of the course over the ground."),
    click.option("--heading-digit", "heading_resolution", metavar="DEG", help="How finely the heading was read."),
    click.option("--uneven", "unevenness", metavar="KN", help="How unsteady a leg may be, usually 0.08."),
    click.option("--tide", "tide_amplitude", metavar="KN", help="Greatest rate of the tide there, usually 1, or 0."),
    click.option("--deviation", "u_deviation", metavar="DEG", help="What is left of the deviation, usually 1, or 0."),
    click.option("--wind", metavar="KN", help="True wind speed."),
)


@dataclass(frozen=True, slots=True)
class LegsGiven:
    """Where legs come from."""

    words: tuple[str, ...]
    table: Path | None
    recording: Path | None
    ground: str
    variation: float | None
    tack: str
    arcs: bool
    take: str | None

    @property
    def how(self) -> Taking:
        """How legs are taken from a recording."""
        from truemile.core.ground_vectors import Tack
        from truemile.recordings.taking import Taking

        ground = "position" if self.ground == "position" else "sog_cog"
        tack = Tack("" if self.tack == "power" else self.tack)
        only = None if self.take is None else _numbers(self.take)
        return Taking(ground, self.variation, tack, self.arcs, only)  # type: ignore[arg-type] # one of the two

    def one_source(self) -> None:
        """Refuse several sources, or none.

        Raises
        ------
        ReadingError
            If it is not exactly one.
        """
        sources = [bool(self.words), self.table is not None, self.recording is not None]
        if sum(sources) == 1:
            return
        if not any(sources):
            raise ReadingError("legs", None, "no leg was given", f'Give each as --leg "{EXAMPLE}", or a file.')
        raise ReadingError(
            "legs", "several sources", "legs come from --leg, --legs or --file", "Leave out all but one."
        )

    def entries(self) -> list[LegEntry]:
        """Return typed legs as forms.

        Raises
        ------
        FileError
            If the table cannot be read.
        ReadingError
            Or `ManyFaults`, if a leg cannot be.
        """
        boxes = _from_table(self.table) if self.table is not None else _from_words(self.words)
        return read_legs(boxes, self.variation, self.tack)


legs_options = packed(
    "legs_given",
    LegsGiven,
    click.option(
        "--leg",
        "words",
        multiple=True,
        metavar="WORDS",
        help=f'A leg: "{EXAMPLE}"; also {", ".join(key for key in KEYS if key not in EXAMPLE)}.',
    ),
    click.option("--legs", "table", type=click.Path(path_type=Path), metavar="FILE", help="A .csv, a leg a row."),
    click.option(
        "--file",
        "recording",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="A recording, CSV or NMEA 0183, in which legs are looked for.",
    ),
    click.option(
        "--ground",
        type=click.Choice(["position", "course"]),
        default="position",
        show_default=True,
        help="Of a recording: positions at both ends of a leg, or speed and course over the ground.",
    ),
    click.option(
        "--variation", type=Number("variation"), metavar="DEG", help="Where headings are magnetic; east is +."
    ),
    click.option(
        "--tack",
        type=click.Choice(["power", "port", "starboard"]),
        default="power",
        show_default=True,
        help="Of all legs that do not say it.",
    ),
    click.option("--arcs", is_flag=True, help="Of a recording: take the turns too; never put in force."),
    click.option("--take", metavar="NUMBERS", help="Of a recording: only these legs, as 1,2,4."),
)


def read_legs(boxes: Sequence[dict[str, str]], variation: float | None, tack: str) -> list[LegEntry]:
    """Return legs as forms, with variation and tack where a leg does not say its own; all faults come at once."""
    from truemile.core.errors import ManyFaults, gather
    from truemile.workbook.entries import read_entry
    from truemile.workbook.round_entries import LegEntry

    usual = {"tack": tack, **({} if variation is None else {"variation": f"{variation:g}"})}
    entries: list[LegEntry] = []
    faults: list[NavigationError] = []
    for number, each in enumerate(boxes):
        try:
            entry = read_entry(LegEntry, {**usual, **each})
            if each.get("started_at", "") == "" and each.get("ended_at", "") == "":
                entry.read()
            entries.append(entry)
        except NavigationError as error:
            placed = error.inside(f"legs[{number}]")
            faults.extend(placed.faults if isinstance(placed, ManyFaults) else (placed,))
    gather(faults)
    return entries


def read_all(entries: Sequence[LegEntry]) -> list[ReadLeg]:
    """Return legs as understood; clock times are those of today in UTC."""
    from datetime import timedelta

    from truemile.cli.options import now_utc

    return [entry.read(now_utc().date(), timedelta(0)) for entry in entries]


def _from_words(words: Sequence[str]) -> list[dict[str, str]]:
    return [leg_boxes(line, f"legs[{number}]") for number, line in enumerate(words)]


def _from_table(file: Path) -> list[dict[str, str]]:
    content = read_bytes(file, LARGEST_TABLE, "legs")
    try:
        rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig")), restkey="", strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise FileError("legs", str(file), f"it is no table ({error})", "Save it as CSV in UTF-8.") from error
    names = {name: KEYS.get(name.strip().lower(), name.strip().lower()) for name in (rows[0] if rows else {}) if name}
    unknown = [name for name, box in names.items() if box not in {*KEYS.values()}]
    if not rows or unknown:
        raise FileError(
            "legs",
            ", ".join(unknown) or str(file),
            f"the columns are {', '.join(KEYS)}, with a leg in each row",
            "Name them in the first row; heading, log and sog are needed.",
        )
    return [
        {box: (row[name] or "").strip() for name, box in names.items() if (row[name] or "").strip()} for row in rows
    ]


def read_bytes(file: Path, largest: int, field: str) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    FileError
        If it cannot be read, or is too large.
    """
    try:
        with file.open("rb") as stream:
            content = stream.read(largest + 1)
    except OSError as error:
        raise FileError(
            field, str(file), f"it cannot be read ({error.strerror})", "Check the name and the folder."
        ) from error
    if len(content) > largest:
        raise FileError(field, str(file), f"more than {largest // 1_000_000} MB are not read", "Cut it into parts.")
    return content


def _numbers(text: str) -> tuple[int, ...]:
    parts = text.replace(",", " ").split()
    if not parts or not all(part.isascii() and part.isdigit() for part in parts):
        raise ReadingError("take", text, "legs are named by their numbers", "Write them as 1,2,4.")
    return tuple(int(part) for part in parts)
