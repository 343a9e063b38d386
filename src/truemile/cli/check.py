"""``truemile check``: whether the workbook is sound, and whether this program has what it needs."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec

import click

from truemile import __version__
from truemile.cli.errors import REFUSED
from truemile.cli.options import json_option, workbook_option
from truemile.cli.present import paragraph, show
from truemile.cli.workbook_file import chosen_place, open_to_read
from truemile.core.errors import NavigationError

#: What is imported only when used, and what would be missed without it.
NEEDED = {
    "numpy": "every calculation",
    "scipy": "coverage factors",
    "pyproj": "distances between marks",
    "sqlalchemy": "the workbook",
    "fastapi": "the pages",
    "typst": "PDF reports",
    "vl_convert": "plots in files",
}


@dataclass(frozen=True, slots=True)
class Looked:
    """One thing that was looked at."""

    subject: str
    good: bool
    words: str


@click.command()
@workbook_option
@json_option
def check(*, workbook_path: str | None, as_json: bool) -> None:
    """Check that the workbook is sound and that this program has what it needs.

    The exit code is 1 where something is wrong.
    """
    found = [*_program(), *_workbook(workbook_path)]
    good = all(item.good for item in found)
    wide = max(len(item.subject) for item in found)
    rows = [
        paragraph(item.words, mark=f"{'well' if item.good else 'BAD':4}  {item.subject.ljust(wide)}  ")
        for item in found
    ]
    closing = "All is well." if good else "Something is wrong: see the lines marked BAD."
    show(
        lambda: {"version": __version__, "workbook": chosen_place(workbook_path), "good": good, "findings": found},
        lambda: f"Truemile {__version__}, workbook {chosen_place(workbook_path)}\n" + "\n".join([*rows, closing]),
        as_json=as_json,
    )
    if not good:
        click.get_current_context().exit(REFUSED)


def _program() -> list[Looked]:
    missing = {name: use for name, use in NEEDED.items() if find_spec(name) is None}
    words = ", ".join(f"{name} for {use}" for name, use in missing.items())
    packages = Looked("packages", not missing, f"Missing: {words}." if missing else "All are installed.")
    return [packages, _pages()]


def _pages() -> Looked:
    from truemile.web import assets

    try:
        assets.read_bundle(assets.BUNDLE)
    except NavigationError as error:
        return Looked("pages", good=False, words=f"{error.allowed}. {error.remedy}")
    return Looked("pages", good=True, words="Scripts and styles are in place.")


def _workbook(workbook_path: str | None) -> list[Looked]:
    from truemile.workbook import safekeeping

    try:
        with open_to_read(workbook_path) as workbook:
            found = safekeeping.check(workbook)
    except NavigationError as error:
        return [Looked("workbook", good=False, words=f"{error.allowed}. {error.remedy}")]
    entries = Looked("entries", good=True, words=f"{found.counts['journal']} in the journal.")
    return [*(Looked(item.subject, item.good, item.words) for item in found.findings), entries]
