"""The import rules catch what they are written for."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LAYERS = ("cli", "web", "reports", "plots", "workbook", "recordings", "exercises", "working", "core")


@pytest.fixture
def skeleton(tmp_path: Path) -> Path:
    """A package with our layers and nothing in them, under our own rules."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for layer in ("", *LAYERS):
        folder = tmp_path / "truemile" / layer
        folder.mkdir()
        (folder / "__init__.py").write_text("", encoding="utf-8")
    return tmp_path


def verdict(tree: Path) -> tuple[int, str]:
    """Return the exit code of the import checker and what it said."""
    command = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    done = subprocess.run(
        [sys.executable, "-c", command, "--no-cache"],
        capture_output=True, check=False, cwd=tree, encoding="utf-8", env=environment,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def test_empty_layers_keep_the_rules(skeleton: Path) -> None:
    """With nothing imported no rule is broken, so what is caught below is the planted import."""
    code, said = verdict(skeleton)
    assert code == 0, said


@pytest.mark.parametrize(
    ("place", "line"),
    [
        ("core", "import truemile.working"),
        ("core", "import sqlite3"),
        ("core", "from pathlib import Path"),
        ("core", "import time"),
        ("working", "import truemile.workbook"),
        ("workbook", "import truemile.plots"),
        ("recordings", "import truemile.exercises"),
        ("cli", "import truemile.web"),
        ("web", "import truemile.cli"),
    ],
)
def test_a_wrong_import_is_caught(skeleton: Path, place: str, line: str) -> None:
    """An import that goes up, sideways between the two faces, or from the core to files and clock breaks a rule."""
    (skeleton / "truemile" / place / "planted.py").write_text(line + "\n", encoding="utf-8")
    code, said = verdict(skeleton)
    assert code == 1
    assert "BROKEN" in said


def test_a_package_outside_the_layers_is_caught(skeleton: Path) -> None:
    """A new package must be given its place among the layers."""
    (skeleton / "truemile" / "elsewhere.py").write_text("", encoding="utf-8")
    code, said = verdict(skeleton)
    assert code == 1
    assert "elsewhere" in said
