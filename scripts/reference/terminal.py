"""What is typed in a terminal in the pages: run afresh, and the output compared or renewed.

A fenced block of kind ``console`` holds commands. Lines that begin with ``$`` are run in order, all those of a page in
one empty folder; what stands below them is the output. Three dots stand for anything. A block of kind ``csv`` or
``toml`` with a title is a file that is put into that folder first. A page that says ``<!-- terminal: demo -->`` finds
the demo workbook there.
"""

from __future__ import annotations

import doctest
import re
import shlex
import tempfile
import textwrap
from collections.abc import Iterator
from contextlib import chdir
from functools import cache
from pathlib import Path

from click.testing import CliRunner

from truemile.cli.root import truemile
from truemile.workbook.demo import make_demo
from truemile.workbook.safekeeping import backup
from truemile.workbook.store import Workbook

ROOT = Path(__file__).resolve().parents[2]
_BLOCK = re.compile(
    r"^(?P<indent> *)(?P<fence>```+)(?P<kind>\w+)(?P<rest>[^\n]*)\n(?P<body>.*?)^(?P=indent)(?P=fence)$",
    re.MULTILINE | re.DOTALL,
)
_TITLE = re.compile(r'title="(?P<name>[^"]+)"')
_CHECKER = doctest.OutputChecker()
_ENVIRONMENT = {"TRUEMILE_WORKBOOK": "dunlin.truemile", "COLUMNS": "88", "NO_COLOR": "1", "XDG_DATA_HOME": "data"}


@cache
def _demo_workbook() -> bytes:
    """Return the demo workbook, whole in one file."""
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.truemile"
        with Workbook.open(make_demo(Path(folder) / "demo.truemile")) as workbook:
            backup(workbook, whole)
        return whole.read_bytes()


def pages_with_commands() -> list[Path]:
    """Return the pages in which commands are typed."""
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return [page for page in pages if page.exists() and "```console" in page.read_text(encoding="utf-8")]


def renewed(page: Path) -> str:
    """Return the text of a page with the output of its commands as it is now."""
    text = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        if "<!-- terminal: demo -->" in text:
            Path(_ENVIRONMENT["TRUEMILE_WORKBOOK"]).write_bytes(_demo_workbook())
        return _BLOCK.sub(_renew_block, text)


def _renew_block(match: re.Match[str]) -> str:
    title = _TITLE.search(match["rest"])
    body = textwrap.dedent(match["body"])
    if match["kind"] in {"csv", "toml"} and title:
        Path(title["name"]).write_text(body, encoding="utf-8")
    if match["kind"] != "console":
        return match[0]
    parts = []
    for command, shown in _commands(body):
        parts.append(command + _merged(shown, _run(command)))
    fence = match["fence"]
    return textwrap.indent(f"{fence}console{match['rest']}\n{''.join(parts)}{fence}", match["indent"])


def _merged(shown: str, got: str) -> str:
    """Return what was shown if it still fits, else the new output, cut and dotted where the old one was."""
    if _fits(shown, got):
        return shown
    old, new = shown.splitlines(keepends=True), got.splitlines(keepends=True)
    if old and old[-1] == "...\n":
        new = [*new[: len(old) - 1], "...\n"]
    if len(old) == len(new):
        new = [before if _fits(before, after) else after for before, after in zip(old, new, strict=True)]
    return "".join(new)


def _fits(shown: str, got: str) -> bool:
    return _CHECKER.check_output(shown, got, doctest.ELLIPSIS)


def _commands(body: str) -> Iterator[tuple[str, str]]:
    """Each command with its continuation lines, and the output below it."""
    command, shown, going_on = "", "", False
    for line in body.splitlines(keepends=True):
        if line.startswith("$ ") and not going_on:
            if command:
                yield command, shown
            command, shown = line, ""
            going_on = line.rstrip().endswith("\\")
        elif going_on:
            command += line
            going_on = line.rstrip().endswith("\\")
        else:
            shown += line
    if command:
        yield command, shown


def _run(command: str) -> str:
    words = shlex.split(command.removeprefix("$ ").replace("\\\n", " "))
    if words[0] == "cat":
        return Path(words[1]).read_text(encoding="utf-8")
    if words[0] != "truemile":
        raise ValueError(f"a page can run truemile and cat only, and this is {words[0]}")
    result = CliRunner(env=_ENVIRONMENT).invoke(truemile, words[1:], prog_name="truemile")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    lines = (line.rstrip() for line in result.output.splitlines())
    return "".join(f"{line}\n" for line in lines).rstrip("\n") + "\n"
