"""Reading CSV: columns found by name, rows that make no sense counted."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.recordings.recorded_files import recorded
from truemile.core.errors import FileError
from truemile.recordings.counts import LineKind
from truemile.recordings.read import read_recording

LONG = "time_unix,quantity,source,value\n"


def test_one_reading_a_row() -> None:
    """Quantities are found by name; those not needed are listed."""
    steady = recorded("steady.csv")
    assert steady.kind == "CSV"
    assert steady.heading_reference == "magnetic"
    assert steady.variation_deg[0] == pytest.approx(3.999)
    assert "pitch_deg: not needed here" in steady.left_aside


def test_one_time_a_row_with_names_in_any_case() -> None:
    """A wide table is understood, and a column without its unit is left aside with the reason."""
    text = "Time UTC,Latitude,Longitude,SOG kn,STW,heading_true_deg\n2026-05-03 12:00:00,47.1,-31,5.5,6.1,276\n"
    recording = read_recording(text.encode(), "wide.csv")
    assert recording.started_at is not None
    assert recording.started_at.replace(microsecond=0) == datetime(2026, 5, 3, 12, tzinfo=UTC)
    assert (recording.lat[0], recording.sog_kn[0]) == (47.1, 5.5)
    assert not recording.has_water
    assert recording.left_aside[0].startswith("stw: its name does not say the unit")


def test_decimal_commas_where_semicolons_part_the_columns() -> None:
    """A table from a spreadsheet of another country is read."""
    recording = read_recording(b"t_s;stw_kn\n0,0;5,4\n1,0;5,6\n", "comma.csv")
    assert recording.stw_kn.tolist() == [5.4, 5.6]
    assert recording.started_at is None


def test_quoted_cells_and_a_byte_order_mark() -> None:
    """Quotes and the mark at the start do no harm."""
    recording = read_recording(b'\xef\xbb\xbf"t_s","stw_kn"\r\n"0","5.4"\r\n', "quoted.csv")
    assert recording.stw_kn.tolist() == [5.4]


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        ("1785732421,stw_kn,35,5.1", LineKind.USED),
        ("1785732421,stw_kn,35,", LineKind.NOT_NEEDED),
        ("1785732421,roll_deg,35,5.1", LineKind.NOT_NEEDED),
        ("1785732421,stw_kn,35,fast", LineKind.WRONG_VALUE),
        ("1785732421,stw_kn,35,nan", LineKind.WRONG_VALUE),
        ("1785732421,stw_kn,35,1_0", LineKind.WRONG_VALUE),
        ("1785732421,stw_kn,35,655.35", LineKind.WRONG_VALUE),
        ("yesterday,stw_kn,35,5.1", LineKind.WRONG_VALUE),
        ("1e300,stw_kn,35,5.1", LineKind.WRONG_VALUE),
        ("1785732421,stw_kn", LineKind.TRUNCATED),
        ("\0\0\0", LineKind.NOT_TEXT),
    ],
)
def test_rows_are_counted_under_one_heading(row: str, kind: LineKind) -> None:
    """A row that makes no sense is counted and costs no other."""
    recording = read_recording(f"{LONG}{row}\n1785732430,stw_kn,35,5.2\n".encode(), "rows.csv")
    assert recording.counts.count(kind) == 1 + (kind is LineKind.USED)
    assert recording.stw_kn[-1] == 5.2


def test_a_time_without_zone_is_not_guessed() -> None:
    """A column that does not say UTC needs the zone in each time."""
    recording = read_recording(b"time,stw_kn\n2026-05-03 12:00:00,5.1\n2026-05-03T12:00:00+02:00,5.2\n", "zones.csv")
    assert recording.counts.count(LineKind.WRONG_VALUE) == 1
    assert recording.started_at is not None
    assert recording.started_at.hour == 10


def test_rows_out_of_order_are_counted() -> None:
    """A step back of more than two seconds is a fault of the file."""
    recording = read_recording(b"t_s,stw_kn\n10,5\n9,5\n1,5\n", "order.csv")
    assert recording.counts.count(LineKind.OUT_OF_ORDER) == 1
    assert recording.t_s.tolist() == [0, 8, 9]


@pytest.mark.parametrize("text", ["a,b\n1,2\n", "time_unix,roll\n1,2\n", "stw_kn,sog_kn\n1,2\n", "hello"])
def test_a_table_of_something_else_is_refused(text: str) -> None:
    """The refusal shows the names found and the names wanted."""
    with pytest.raises(FileError, match="Name the columns as time_utc"):
        read_recording(text.encode(), "other.csv")


def test_too_many_sources_are_not_told_apart() -> None:
    """The number of sources is bounded; the rest is counted as unknown."""
    rows = "".join(f"1785732421,stw_kn,{number},5.1\n" for number in range(70))
    assert read_recording((LONG + rows).encode(), "many.csv").counts.count(LineKind.UNKNOWN) == 6
