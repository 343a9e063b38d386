"""Read a CSV table: one reading a row (time, quantity, source, value), or one time a row with a column a quantity."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from truemile.core.errors import FileError
from truemile.recordings.clock import OVERTAKING_S, credible_date
from truemile.recordings.counts import Counter, LineKind
from truemile.recordings.gathering import Gathering
from truemile.recordings.pieces import Line, lines_of
from truemile.recordings.quantities import (
    COG,
    HEADING_COMPASS,
    HEADING_MAGNETIC,
    HEADING_TRUE,
    LAT,
    LON,
    SOG,
    STW,
    VARIATION,
    Quantity,
)
from truemile.recordings.recording import Recording, assemble

#: Names of columns and quantities that are understood; the unit must be in the name of a speed.
COLUMN_NAMES: Final[dict[str, Quantity]] = {
    "lat_deg": LAT,
    "lat": LAT,
    "latitude": LAT,
    "latitude_deg": LAT,
    "lon_deg": LON,
    "lon": LON,
    "longitude": LON,
    "longitude_deg": LON,
    "sog_kn": SOG,
    "speed_over_ground_kn": SOG,
    "cog_true_deg": COG,
    "course_over_ground_true_deg": COG,
    "stw_kn": STW,
    "log_kn": STW,
    "indicated_kn": STW,
    "speed_through_water_kn": STW,
    "heading_true_deg": HEADING_TRUE,
    "yaw_deg": HEADING_TRUE,
    "heading_mag_deg": HEADING_MAGNETIC,
    "heading_magnetic_deg": HEADING_MAGNETIC,
    "heading_compass_deg": HEADING_COMPASS,
    "variation_deg": VARIATION,
}
#: A speed or direction that does not say its unit or reference.
_UNSURE = re.compile(r"^(sog|stw|log|speed|cog|course|heading|hdg)(_deg)?$")
_MOST_COLUMNS: Final = 200
_MOST_LEFT_ASIDE: Final = 40
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def _unix(text: str) -> float | None:
    seconds = _number(text)
    if seconds is None or not 0 <= seconds < 4_102_444_800:  # 2100
        return None
    return seconds if credible_date(datetime.fromtimestamp(seconds, UTC).date()) else None


def _elapsed(text: str) -> float | None:
    seconds = _number(text)
    return seconds if seconds is not None and abs(seconds) < 1e9 else None


def _iso(text: str) -> float | None:
    """Read an instant with its zone; one without is not placed."""
    try:
        instant = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if instant.tzinfo is None or not credible_date(instant.date()):
        return None
    return (instant - _EPOCH).total_seconds()


def _iso_utc(text: str) -> float | None:
    """Read an instant whose column says that it is UTC."""
    plain = text.strip().upper().removesuffix("Z").removesuffix("UTC").strip()
    return _iso(plain if re.search(r"[+-]\d\d:?\d\d$", plain) else f"{plain}+00:00")


_TIME_NAMES: Final[dict[str, Callable[[str], float | None]]] = {
    "time_unix": _unix,
    "unix": _unix,
    "unix_s": _unix,
    "time_utc": _iso_utc,
    "utc": _iso_utc,
    "datetime_utc": _iso_utc,
    "time": _iso,
    "datetime": _iso,
    "timestamp": _iso,
    "t_s": _elapsed,
    "elapsed_s": _elapsed,
}


@dataclass(slots=True)
class _Layout:
    """Where in a row the time, the quantities and (one reading a row) name, source and value stand."""

    delimiter: str
    width: int
    time_at: int
    time: Callable[[str], float | None]
    columns: dict[int, Quantity]
    quantity_at: int | None
    source_at: int | None
    value_at: int | None
    left_aside: dict[str, str]

    @property
    def has_date(self) -> bool:
        return self.time is not _elapsed


def read_table(chunks: Iterable[bytes], name: str) -> Recording:
    """Read a CSV table; a row that makes no sense is counted, never fatal.

    Raises
    ------
    FileError
        If the first line names no time, or nothing that can be used.
    """
    lines = lines_of(chunks)
    first = next(lines, None)
    layout = _layout(_text(first) or "" if first else "", name)
    counter, gathering = Counter(lines=1), Gathering()
    latest: float | None = None
    for line in lines:
        counter.lines += 1
        seconds = _read_row(line, layout, counter, gathering)
        if seconds is not None:
            if latest is not None and seconds < latest - OVERTAKING_S:
                counter.add(LineKind.OUT_OF_ORDER, line.number)
            latest = seconds

    def instant(at_s: float) -> datetime | None:
        return datetime.fromtimestamp(at_s, UTC) if layout.has_date else None

    left_aside = tuple(f"{column}: {why}" for column, why in layout.left_aside.items())
    return assemble(name, "CSV", gathering, counter.close(), instant=instant, left_aside=left_aside)


def _read_row(line: Line, layout: _Layout, counter: Counter, gathering: Gathering) -> float | None:
    """Count one row and keep its readings; give its time if it had one."""
    text = _text(line)
    if text is None:
        counter.add(LineKind.NOT_TEXT, line.number)
        return None
    cells = _cells(text, layout.delimiter)
    if len(cells) < layout.width:
        counter.add(LineKind.TRUNCATED, line.number)
        return None
    seconds = layout.time(_point(cells[layout.time_at], layout.delimiter))
    if seconds is None:
        counter.add(LineKind.WRONG_VALUE, line.number)
        return None
    counter.add(_keep(cells, layout, gathering, seconds), line.number)
    return seconds


def _keep(cells: list[str], layout: _Layout, gathering: Gathering, seconds: float) -> LineKind:
    values: list[tuple[Quantity, float]] = []
    wrong = False
    for quantity, text in _readings(cells, layout):
        if not text.strip():
            continue
        value = _number(_point(text, layout.delimiter))
        if value is None or not quantity.possible(value):
            wrong = True
        else:
            values.append((quantity, value))
    source = cells[layout.source_at].strip()[:40] if layout.source_at is not None else "table"
    if values and not gathering.add(source, seconds, values):
        return LineKind.UNKNOWN
    if wrong:
        return LineKind.WRONG_VALUE
    if values:
        return LineKind.USED
    return LineKind.NOT_NEEDED if layout.quantity_at is not None else LineKind.NO_VALUES


def _readings(cells: list[str], layout: _Layout) -> Iterator[tuple[Quantity, str]]:
    if layout.quantity_at is None or layout.value_at is None:
        for at, quantity in layout.columns.items():
            yield quantity, cells[at]
        return
    name = _plain_name(cells[layout.quantity_at])
    known = COLUMN_NAMES.get(name)
    if known is not None:
        yield known, cells[layout.value_at]
    elif name not in layout.left_aside and len(layout.left_aside) < _MOST_LEFT_ASIDE:
        layout.left_aside[name] = _why_not(name)


def _layout(header: str, name: str) -> _Layout:
    """Find the columns by their names."""
    delimiter = max(",;\t", key=header.count)
    names = [_plain_name(cell) for cell in _cells(header, delimiter)][:_MOST_COLUMNS]
    time_at = next((at for at, column in enumerate(names) if column in _TIME_NAMES), None)
    place = {column: at for at, column in enumerate(names)}
    one_reading = "quantity" in place and "value" in place
    columns = {at: COLUMN_NAMES[column] for at, column in enumerate(names) if column in COLUMN_NAMES}
    if time_at is None or not (one_reading or columns):
        what = "no column of time" if time_at is None else "no column that is understood"
        raise FileError(
            "file",
            f"{name}, with {what}: {', '.join(names)[:120] or 'no names at all'}",
            "the first line of a CSV names its columns, among them the time",
            "Name the columns as time_utc, lat_deg, lon_deg, sog_kn, cog_true_deg, stw_kn, heading_true_deg.",
        )
    used = {time_at, *columns}
    aside = {} if one_reading else {column: _why_not(column) for at, column in enumerate(names) if at not in used}
    return _Layout(
        delimiter,
        len(names),
        time_at,
        _TIME_NAMES[names[time_at]],
        columns,
        place["quantity"] if one_reading else None,
        place.get("source") if one_reading else None,
        place["value"] if one_reading else None,
        aside,
    )


def _why_not(column: str) -> str:
    if _UNSURE.match(column):
        return "its name does not say the unit or the reference; name it stw_kn or heading_true_deg, say"
    return "not needed here"


def _plain_name(cell: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", cell.strip().lower()).strip("_")[:60]


def _text(line: Line) -> str | None:
    if b"\0" in line.data:
        return None
    try:
        return line.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None


def _cells(text: str, delimiter: str) -> list[str]:
    if '"' not in text:
        return text.split(delimiter)
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error:
        return []


def _point(text: str, delimiter: str) -> str:
    """Turn a decimal comma to a point, where commas do not part the columns."""
    return text if delimiter == "," else text.replace(",", ".")


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in text else None
