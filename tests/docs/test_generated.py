"""Generated pages and the output of commands in pages are what the program gives today."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_generated_pages_and_outputs_are_up_to_date() -> None:
    """Running the generator again changes no page."""
    done = subprocess.run(
        [sys.executable, "scripts/reference", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


STALE = """
import runpy, sys
sys.path.insert(0, "scripts/reference")
import commands, pages, python_api, tables, terminal
tables.HEAD += "One line more."
commands.write = pages.write = python_api.write = dict
terminal.pages_with_commands = list
sys.argv = ["reference", "--check"]
runpy.run_path("scripts/reference/__main__.py", run_name="__main__")
"""


def test_a_page_that_is_behind_is_named_and_left_alone() -> None:
    """The check says which page is out of date, and does not mend it."""
    page = ROOT / "docs" / "reference" / "workbook-tables.md"
    before = page.read_text(encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", STALE], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "docs/reference/workbook-tables.md" in done.stderr
    assert page.read_text(encoding="utf-8") == before


def test_an_output_that_is_behind_is_renewed(tmp_path: Path) -> None:
    """Wrong output is replaced, three dots stand for anything and stay, and a file that is shown can be used."""
    page = tmp_path / "page.md"
    page.write_text(TYPED, encoding="utf-8")
    code = (
        "import pathlib, sys; sys.path.insert(0, 'scripts/reference'); import terminal;"
        f"print(terminal.renewed(pathlib.Path({str(page)!r})))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "wrong" not in done.stdout
    assert "measured course: 1.0000" in done.stdout
    assert "...\n  Log factor, by the speed display" in done.stdout
    assert "--timing 1\nmeasured course: 1.0000 ± 0.0057 nm\n...\n```" in done.stdout


TYPED = """
```csv title="runs.csv"
direction,elapsed,readings
out,9:52,6.4 6.3 6.4
back,10:35,6.3 6.4 6.4
```

```console
$ truemile log factor runs.csv --distance 1.00
wrong
$ truemile log factor runs.csv \\
    --distance 1.00
...
  Log factor, by the speed display...
...
$ truemile log factor runs.csv --distance 1.00 --timing 1
wrong too
...
```
"""
