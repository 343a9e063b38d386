"""What the tests of the command line share: a runner with a data folder of its own."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from truemile.cli.root import truemile
from truemile.workbook.demo import make_demo


@dataclass(frozen=True, slots=True)
class Ran:
    """What a command did: its exit code, and what it printed where."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """The printed JSON."""
        return json.loads(self.out)

    @property
    def fault(self) -> dict[str, Any]:
        """The printed error."""
        found: dict[str, Any] = self.data["error"]
        return found


Run = Callable[..., Ran]


def expected(name: str) -> str:
    """Return an output as it was looked at and kept."""
    return (Path(__file__).parent / "expected" / name).read_text(encoding="utf-8")


@pytest.fixture
def workbook_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the workbook of this test in a folder of its own."""
    path = tmp_path / "test.truemile"
    monkeypatch.setenv("TRUEMILE_WORKBOOK", str(path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    return path


@pytest.fixture
def run(workbook_path: Path) -> Run:
    """Run a command line, written as in a shell, or with its words apart."""

    def ran(line: str, *more: str) -> Ran:
        result = CliRunner().invoke(truemile, [*shlex.split(line), *more])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(result.exit_code, result.stdout, result.stderr)

    return ran


@pytest.fixture
def done(run: Run) -> Run:
    """Run a command line that must succeed."""

    def ran(line: str, *more: str) -> Ran:
        found = run(line, *more)
        assert found.code == 0, found.out + found.err
        return found

    return ran


@pytest.fixture
def refused(run: Run) -> Run:
    """Run a command line that must be refused, with --json, and hold the text form against it."""

    def ran(line: str, *more: str) -> Ran:
        as_text, as_json = run(line, *more), run(line, *more, "--json")
        assert as_text.code == as_json.code == 1, as_text.out + as_text.err + as_json.out
        assert as_text.out == ""
        assert as_json.err == ""
        for fault in as_json.fault["faults"]:
            assert f"Refused: {fault['field']}" in as_text.err
            assert fault["allowed"] in as_text.err
            assert fault["remedy"] in as_text.err
        return as_json

    return ran


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the demo workbook once."""
    return make_demo(tmp_path_factory.mktemp("demo") / "demo.truemile")


@pytest.fixture
def demo(demo_file: Path, workbook_path: Path) -> Path:
    """Let this test have the demo workbook for its own."""
    shutil.copyfile(demo_file, workbook_path)
    return workbook_path
