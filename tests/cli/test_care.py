"""``truemile backup`` and ``check``."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def test_a_backup_is_whole(demo: Path, done: Run, tmp_path: Path) -> None:
    """The copy holds what the workbook holds, and is checked."""
    target = tmp_path / "copy.truemile"
    data = done("backup --json", str(target)).data
    assert data["good"] is True
    listing = done("log trial --json").data
    assert done("log trial --json --workbook", str(target)).data == listing
    assert data["entries"] == len(done("log history --json --limit 1000").data["entries"])


def test_without_target_the_copy_lies_beside_the_workbook(demo: Path, done: Run) -> None:
    """Its name carries the time."""
    told = done("backup").out
    copies = list(demo.parent.glob("test.*Z.truemile"))
    assert len(copies) == 1
    assert str(copies[0]) in told


def test_nothing_is_overwritten(demo: Path, refused: Run, tmp_path: Path) -> None:
    """A file that is there stays."""
    target = tmp_path / "notes.txt"
    target.write_text("notes")
    assert "there already" in refused("backup", str(target)).fault["allowed"]
    assert target.read_text() == "notes"


def test_a_sound_workbook(demo: Path, done: Run) -> None:
    """Everything that was looked at is well."""
    found = done("check")
    assert found.out.endswith("All is well.\n")
    data = done("check --json").data
    assert data["good"] is True
    assert {"packages", "pages", "file", "raw readings", "journal"} <= {item["subject"] for item in data["findings"]}


def test_a_tampered_workbook(demo: Path, run: Run) -> None:
    """Where the guard of the raw readings is gone, the check says so and fails."""
    with sqlite3.connect(demo) as connection:
        connection.execute("DROP TRIGGER readings_no_update")
    found = run("check")
    assert found.code == 1
    assert "BAD   raw readings" in found.out
    assert "readings_no_update" in found.out
    assert run("check --json").data["good"] is False


def test_a_missing_workbook(run: Run) -> None:
    """The rest is still looked at."""
    found = run("check")
    assert found.code == 1
    assert "well  packages" in found.out
    assert "there is no workbook here yet" in found.out


def test_a_missing_package_is_named(demo: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A package that is not installed is told with what it is for."""
    monkeypatch.setitem(__import__("truemile.cli.check", fromlist=["NEEDED"]).NEEDED, "no_such_package", "nothing")
    assert "no_such_package for nothing" in run("check").out


def test_missing_pages_are_named(demo: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without the built front end the check says so."""
    monkeypatch.setattr("truemile.web.assets.BUNDLE", tmp_path / "nowhere")
    assert "BAD   pages" in run("check").out
