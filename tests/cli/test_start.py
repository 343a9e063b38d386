"""Starting the command: what help shows, what it imports, and what a slip of the fingers gets."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from tests.cli.conftest import Run
from truemile.cli.root import truemile
from truemile.cli.workbook_file import data_folder

HEAVY = ("numpy", "scipy", "pyproj", "pydantic", "sqlalchemy", "alembic", "fastapi", "uvicorn", "typst", "vl_convert")
HEADS = ["", "log", "log course", "log trial", "log run", "log mark", "log boat", "log setting", "report"]
SHOWS_IMPORTS = """
import json, sys
from truemile.cli.root import truemile
try:
    truemile(sys.argv[1:])
except SystemExit:
    pass
print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def imported_by(*words: str) -> set[str]:
    """Return the modules that a command line imports in a fresh process."""
    done = subprocess.run([sys.executable, "-c", SHOWS_IMPORTS, *words], capture_output=True, text=True, check=True)
    return set(json.loads(done.stderr.splitlines()[-1]))


@pytest.mark.parametrize("head", HEADS)
def test_help_imports_nothing_heavy(head: str) -> None:
    """Help of the command and of its groups comes without the packages that take long to import."""
    assert imported_by(*head.split(), "--help").isdisjoint(HEAVY)


@pytest.mark.parametrize("line", ["log factor", "log correct", "log course judge", "log run add", "open", "demo"])
def test_help_of_a_command_imports_nothing_heavy(line: str) -> None:
    """A command's own help needs no computing either."""
    assert imported_by(*line.split(), "--help").isdisjoint(HEAVY)


def test_the_package_itself_imports_nothing() -> None:
    """Importing the package, or the command's module, costs next to nothing."""
    code = "import sys, truemile, truemile.cli; print('click' in sys.modules, 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_help_names_every_command(run: Run) -> None:
    """The table that help is written from holds what is there, each with its line."""
    found = run("--help")
    assert found.code == 0
    for name in ("log", "open", "demo", "report", "backup", "check"):
        assert f"\n  {name} " in found.out


def every_command(group: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Walk all commands below a group."""
    yield path
    if isinstance(group, click.Group):
        context = click.Context(group)
        for name in group.list_commands(context):
            found = group.get_command(context, name)
            assert found is not None
            yield from every_command(found, (*path, name))


@pytest.mark.parametrize("path", list(every_command(truemile)), ids=" ".join)
def test_every_command_has_help(run: Run, path: tuple[str, ...]) -> None:
    """Each command says in its help what it does, and each option what it means, within 80 columns."""
    found = run("", *path, "--help")
    assert found.code == 0
    assert found.out.startswith("Usage: truemile")
    assert max(map(len, found.out.splitlines())) <= 80
    assert not [line for line in found.out.splitlines() if line.strip().startswith("--") and len(line.split()) == 1]


@pytest.mark.parametrize("path", list(every_command(truemile)), ids=" ".join)
def test_the_table_and_the_command_agree(path: tuple[str, ...]) -> None:
    """The command a table names is called so, and its help begins with a sentence."""
    command: click.Command = truemile
    for name in path:
        assert isinstance(command, click.Group)
        found = command.get_command(click.Context(command), name)
        assert found is not None
        assert found.name == name
        command = found
    assert (command.help or "").split("\n\n")[0].strip().endswith(".")


@pytest.mark.parametrize("path", list(every_command(truemile)), ids=" ".join)
def test_every_result_can_be_had_as_json(path: tuple[str, ...]) -> None:
    """Each command but the one that serves pages takes --json."""
    command: click.Command = truemile
    for name in path:
        assert isinstance(command, click.Group)
        found = command.get_command(click.Context(command), name)
        assert found is not None
        command = found
    takes_json = any("--json" in option.opts for option in command.params)
    assert takes_json is not (isinstance(command, click.Group) or path == ("open",))


def test_a_mistyped_command_suggests_the_nearest(run: Run) -> None:
    """A slip is answered with what may have been meant, as wrong usage."""
    found = run("lgo")
    assert found.code == 2
    assert found.err.endswith("Error: No such command 'lgo'. Did you mean log?\n")


def test_a_mistyped_command_below_log_is_an_error_in_json_too(run: Run) -> None:
    """A machine gets the same words in the shape of every error."""
    found = run("log cuorse --json")
    assert found.code == 2
    assert found.fault["kind"] == "WrongUsage"
    assert "Did you mean course" in found.fault["message"]
    assert found.fault["remedy"] == "See truemile log --help."


def test_a_command_unlike_any_gets_the_list(run: Run) -> None:
    """Where nothing is near, all are named."""
    assert "There are log, open, demo, report, backup, check." in run("xyzzy").err


def test_a_mistyped_option_suggests_the_nearest(run: Run) -> None:
    """The same for options."""
    found = run("log factor --distence 0.6")
    assert found.code == 2
    assert "'--distance'" in found.err
    assert run("log factor --distence 0.6 --json").fault["field"] == "--distence"


def test_an_option_without_value_is_wrong_usage(run: Run) -> None:
    """A missing value names the option."""
    found = run("log course --runs many --json")
    assert found.code == 2
    assert found.fault["field"] == "--runs"


def test_python_runs_the_package() -> None:
    """The package can be run as a module."""
    done = subprocess.run([sys.executable, "-m", "truemile", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("Truemile, version ")


def test_a_terminal_without_the_signs_of_the_trade_is_served_too() -> None:
    """Rules become question marks where an old terminal cannot show them, and nothing is lost."""
    words = ["log", "factor", "--distance", "0.60", "--run", "out 5:34 7.6", "--run", "back 5:02 7.6"]
    done = subprocess.run(
        [sys.executable, "-m", "truemile", *words],
        capture_output=True,
        env={"PYTHONIOENCODING": "latin-1", "PATH": ""},
        check=True,
    )
    assert "0.6000 ± 0.0057 nm" in done.stdout.decode("latin-1")
    assert b"  ??????" in done.stdout


def test_the_data_folder_follows_the_platform(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Each platform has its own place for a user's data (common practice, from memory)."""
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    assert data_folder("linux", {}) == tmp_path / ".local" / "share" / "truemile"
    assert data_folder("linux", {"XDG_DATA_HOME": "/data"}) == Path("/data/truemile")
    assert data_folder("darwin", {}) == tmp_path / "Library" / "Application Support" / "Truemile"
    assert data_folder("win32", {"APPDATA": "C:/Users/x/Roaming"}) == Path("C:/Users/x/Roaming/Truemile")
    assert data_folder("win32", {}) == tmp_path / "AppData" / "Roaming" / "Truemile"
