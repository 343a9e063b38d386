"""``truemile report``: PDF sheets from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run


def test_a_trial_is_written(demo: Path, done: Run, tmp_path: Path) -> None:
    """The report is a PDF, and its place is told."""
    target = tmp_path / "trial.pdf"
    told = done("report trial 1 --out", str(target)).out
    assert target.read_bytes().startswith(b"%PDF-")
    assert told.startswith(f"Wrote {target} (")


def test_the_card_is_written(demo: Path, done: Run, tmp_path: Path) -> None:
    """The correction card is a PDF; a machine gets its size."""
    target = tmp_path / "card.pdf"
    data = done("report card --json --log log --out", str(target)).data
    assert data == {"out": str(target), "bytes": target.stat().st_size}
    assert target.read_bytes().startswith(b"%PDF-")


def test_names_are_given_where_none_is(demo: Path, done: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --out the sheets lie here, named after what they are."""
    monkeypatch.chdir(tmp_path)
    done("report trial 2")
    done("report card")
    assert {file.name for file in tmp_path.glob("*.pdf")} == {"trial-2.pdf", "correction-card.pdf"}


@pytest.mark.parametrize(
    ("line", "field"),
    [("report trial 99 --out x.pdf", "trial"), ("report card --log Lgo --out x.pdf", "instrument")],
)
def test_what_is_not_there(demo: Path, refused: Run, line: str, field: str) -> None:
    """A trial or log that is not kept is told."""
    assert refused(line).fault["field"] == field


def test_a_place_that_cannot_be_written(demo: Path, refused: Run, tmp_path: Path) -> None:
    """The fault names the file, and no part of it is left."""
    fault = refused("report trial 1 --out", str(tmp_path / "no" / "trial.pdf")).fault
    assert (fault["field"], fault["kind"]) == ("out", "FileError")


def test_plots_are_drawn(demo: Path, done: Run, refused: Run, tmp_path: Path) -> None:
    """The runs are drawn as SVG or PNG by the ending; another ending is refused."""
    for name, begins in (("runs.svg", b"<svg"), ("runs.png", b"\x89PNG")):
        target = tmp_path / name
        done("log trial show 1 --plot", str(target))
        assert target.read_bytes().startswith(begins)
    assert refused("log trial show 1 --plot runs.gif").fault["field"] == "plot"
