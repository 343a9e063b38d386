"""The study of coverage runs, and puts its tables on the page without touching the rest."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "explanation" / "does-the-plus-minus-tell-the-truth.md"


def _run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "bench/coverage.py", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_an_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    """Of 200 simulated rounds of four legs some 95 % hold the truth: 90 to 99 % at four standard errors."""
    done = _run("--trials", "200", "--only", "four legs, 90° apart", "--json")
    (row,) = json.loads(done.stdout)
    assert row["trials"] == 200
    assert 88.0 <= row["covered_percent"] <= 100.0
    assert abs(row["bias_percent"]) < 0.5


def test_the_tables_are_put_in_their_places(tmp_path: Path) -> None:
    """Only what stands between the marks changes, and a second writing gives the same page."""
    page = tmp_path / "page.md"
    page.write_text(PAGE.read_text(encoding="utf-8"), encoding="utf-8")
    first = _run("--trials", "2", "--write", str(page))
    assert first.returncode == 0, first.stderr
    written = page.read_text(encoding="utf-8")
    assert written.count("\n| two legs, 90° apart |") == 1
    assert written.splitlines()[0] == PAGE.read_text(encoding="utf-8").splitlines()[0]
    _run("--trials", "2", "--write", str(page))
    assert page.read_text(encoding="utf-8") == written


def test_a_page_without_places_and_an_unknown_scenario_are_refused(tmp_path: Path) -> None:
    """Nothing is written where there is no mark."""
    page = tmp_path / "page.md"
    page.write_text("# A page\n", encoding="utf-8")
    assert "has no place" in _run("--trials", "1", "--only", "round", "--write", str(page)).stderr
    assert page.read_text(encoding="utf-8") == "# A page\n"
    assert "no scenario" in _run("--only", "nothing like it").stderr
