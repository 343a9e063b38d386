"""Asking for help loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {
    "alembic", "fastapi", "geomaglib", "jinja2", "numpy", "pydantic", "pygeomag", "pyproj", "scipy", "segno",
    "skyfield", "sqlalchemy", "starlette", "typst", "uvicorn", "vl_convert", "wmm",
}  # fmt: skip
LOADED = "import sys; print(*sorted({name.partition('.')[0] for name in sys.modules}))"


def loaded(statement: str) -> set[str]:
    """Return the packages in memory after a statement in a new process."""
    done = subprocess.run(
        [sys.executable, "-c", f"{statement}\n{LOADED}"], capture_output=True, check=True, encoding="utf-8"
    )
    return set(done.stdout.splitlines()[-1].split())


@pytest.mark.parametrize(
    "statement",
    [
        "import truemile",
        "import truemile.cli",
        "import sys\nfrom truemile.cli import main\nsys.argv[1:] = ['--help']\ntry: main()\nexcept SystemExit: pass",
    ],
)
def test_help_loads_nothing_heavy(statement: str) -> None:
    """The package, its command line and its help come without numpy, database, web and PDF parts."""
    assert loaded(statement) & HEAVY == set()


def test_a_heavy_import_would_be_seen() -> None:
    """The measure itself works: what a statement imports is found."""
    assert {"numpy", "scipy"} <= loaded("import scipy.special")
