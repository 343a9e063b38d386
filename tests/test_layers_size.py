"""Modules keep to one topic and functions to one page."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
MODULE_LINES = 500
BODY_LINES = 50


def bodies(source: str) -> Iterator[tuple[str, int]]:
    """Yield each function's name and the lines of its body, its sentence left out."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[1:] if ast.get_docstring(node) else node.body
            last = node.body[-1].end_lineno or node.lineno
            yield node.name, last - first[0].lineno + 1 if first else 0


def sources() -> list[tuple[str, str]]:
    """Return path and text of every module of the package and of its tests; a migration is as long as its schema."""
    paths = sorted(
        path for top in ("src", "tests") for path in (ROOT / top).rglob("*.py") if path.parent.name != "versions"
    )
    return [(path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")) for path in paths]


def test_modules_are_short() -> None:
    """No module is longer than 500 lines."""
    lengths = {path: text.count("\n") for path, text in sources()}
    assert {path: lines for path, lines in lengths.items() if lines > MODULE_LINES} == {}


def test_functions_are_short() -> None:
    """No function has more than 50 lines of body."""
    long = {f"{path} {name}": lines for path, text in sources() for name, lines in bodies(text) if lines > BODY_LINES}
    assert long == {}


def test_the_measure_leaves_the_docstring_out() -> None:
    """A body is counted from its first statement to its last line."""
    source = 'def f():\n    """Words.\n\n    More words.\n    """\n    a = [\n        1,\n    ]\n    return a\n'
    assert list(bodies(source)) == [("f", 4)]
