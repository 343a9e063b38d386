"""A column of a table, corrected with ``truemile log correct --csv``."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from tests.cli.conftest import Run

WHEN = "--at 2026-04-20T10:00Z"


@pytest.fixture
def table(tmp_path: Path, demo: Path) -> Path:
    """Keep a small table beside the demo workbook."""
    file = tmp_path / "table.csv"
    file.write_text('at,log_kn,note\n2026-04-20T10:00Z,6.3,a\n2026-04-20T10:01Z,,b\n2026-04-20T10:02Z,9.0,"c, d"\n')
    return file


def rows_of(text: str, mark: str = ",") -> list[dict[str, str]]:
    """Return a table's rows."""
    return list(csv.DictReader(io.StringIO(text), delimiter=mark))


def test_three_columns_are_added(table: Path, done: Run) -> None:
    """The table comes out as it was, with true speed, ± and range behind; an empty cell stays empty."""
    found = done(f"log correct --column log_kn {WHEN} --csv", str(table))
    rows = rows_of(found.out)
    one = done(f"log correct 6.3 9 --json {WHEN}").data["corrected"]
    assert list(rows[0]) == ["at", "log_kn", "note", "log_true_kn", "log_plus_minus_kn", "log_inside"]
    assert [row["note"] for row in rows] == ["a", "b", "c, d"]
    assert float(rows[0]["log_true_kn"]) == pytest.approx(one[0]["corrected"]["value"], abs=5e-4)
    assert float(rows[2]["log_plus_minus_kn"]) == pytest.approx(one[1]["corrected"]["expanded"], abs=5e-4)
    assert [row["log_inside"] for row in rows] == ["yes", "", "no"]
    assert found.err.splitlines()[0] == "3 rows, 1 outside the measured speeds."
    assert found.err.splitlines()[1].startswith("Caution: ")


def test_the_table_is_written_to_a_file(table: Path, done: Run, tmp_path: Path) -> None:
    """With --out it goes there, and a machine gets the count."""
    target = tmp_path / "out.csv"
    data = done(f"log correct --column log_kn {WHEN} --json --csv", str(table), "--out", str(target)).data
    assert data == {"rows": 3, "outside": 1, "out": str(target)}
    assert len(rows_of(target.read_text())) == 3


def test_each_row_has_its_own_time(table: Path, done: Run) -> None:
    """With a time column each row is corrected by what was in force then."""
    by_row = done("log correct --column log_kn --time-column at --csv", str(table)).out
    assert by_row == done(f"log correct --column log_kn {WHEN} --csv", str(table)).out


def test_semicolons_and_decimal_commas(table: Path, done: Run) -> None:
    """A table of the continent is read, and written with its own separator."""
    table.write_text("\ufefflog;x\n6,3;1\n")
    rows = rows_of(done(f"log correct --column log {WHEN} --csv", str(table)).out, ";")
    assert rows[0]["log_inside"] == "yes"
    assert list(rows[0])[2] == "log_true_kn"


def test_a_long_table_is_corrected_piece_by_piece(table: Path, done: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces join without a seam."""
    monkeypatch.setattr("truemile.cli.log.column.PIECE", 7)
    table.write_text("log_kn\n" + "".join(f"{5 + i % 20 / 10:.1f}\n" for i in range(100)))
    rows = rows_of(done(f"log correct --column log_kn {WHEN} --csv", str(table)).out)
    assert len(rows) == 100
    assert rows[93]["log_true_kn"] == rows[13]["log_true_kn"]


def test_a_bad_row_is_named_as_in_the_table(table: Path, refused: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows are counted over all pieces, empty ones too, and nothing is written."""
    monkeypatch.setattr("truemile.cli.log.column.PIECE", 7)
    for bad in ("600", "x", "nan", "-6.3"):
        table.write_text("log_kn,b\n" + "6.3,1\n" * 20 + ",1\n" + f"{bad},1\n")
        target = Path(f"{table}.x")
        fault = refused(f"log correct --column log_kn {WHEN} --csv", str(table), "--out", str(target)).fault
        assert fault["field"] == "rows[21].log_kn"
        assert not target.exists()


@pytest.mark.parametrize(
    ("content", "options", "field", "allowed"),
    [
        ("log_kn\n", "", "csv", "rows below its header"),
        ("", "", "csv", "name the columns"),
        ("lg_kn\n6.3\n", "", "column", "a column of the table"),
        ("log_kn\n6.3\n", "--time-column at", "time_column", "a column of the table"),
        ("log_kn,at\n6.3,noon\n", "--time-column at", "rows[0].at", "date and zone"),
        ("log_kn,at\n6.3,2026-04-20T10:00\n", "--time-column at", "rows[0].at", "zone"),
        ('log_kn\n"6.3\n', "", "csv", "must be CSV"),
    ],
)
def test_tables_that_cannot_be(table: Path, refused: Run, content: str, options: str, field: str, allowed: str) -> None:
    """The fault says what is wrong with the table."""
    table.write_text(content)
    fault = refused(f"log correct --column log_kn {options} {WHEN} --csv", str(table), "--out", str(table) + ".x").fault
    assert fault["field"] == field
    assert allowed in fault["allowed"]
    assert not Path(f"{table}.x").exists()


def test_files_that_are_no_table(table: Path, refused: Run, tmp_path: Path) -> None:
    """Missing, a folder, not text, a target that cannot be written: each is told."""
    binary = tmp_path / "picture.csv"
    binary.write_bytes(b"\x89PNG\xff\xfe\n\x00")
    for file in (tmp_path / "missing.csv", tmp_path, binary):
        fault = refused(f"log correct --column log_kn {WHEN} --csv", str(file), "--out", str(tmp_path / "o")).fault
        assert (fault["field"], fault["kind"]) == ("csv", "FileError")
    fault = refused(f"log correct --column log_kn {WHEN} --csv", str(table), "--out", str(tmp_path / "no" / "o")).fault
    assert fault["field"] == "out"


def test_a_table_in_json_needs_a_file(table: Path, run: Run) -> None:
    """The table itself is no JSON, so it needs a place of its own."""
    assert run(f"log correct --column log_kn {WHEN} --json --csv", str(table)).fault["field"] == "out"


def test_too_many_rows(table: Path, refused: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """There is an end to what is corrected in one go, and it is told."""
    monkeypatch.setattr("truemile.cli.log.column.MOST_ROWS", 50)
    table.write_text("log_kn\n" + "6.3\n" * 51)
    fault = refused(f"log correct --column log_kn {WHEN} --csv", str(table), "--out", str(table) + ".x").fault
    assert (fault["field"], fault["remedy"]) == ("csv", "Split the file.")
