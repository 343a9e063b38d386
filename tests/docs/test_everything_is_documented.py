"""Every command, function, class, error, page, form, table and key has its place in the documentation."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import truemile.core
from truemile import api
from truemile.cli.root import truemile as root_command
from truemile.core import errors
from truemile.web.pages import SECTIONS as NAMED_SECTIONS
from truemile.web.pages import help_of
from truemile.web.views import SECTIONS
from truemile.workbook.entries import CONDITION_COLUMNS, RunEntry
from truemile.workbook.schema import Base

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
CORE = sorted(info.name for info in pkgutil.iter_modules(truemile.core.__path__))
CITED = re.compile(r"\[([A-Za-z0-9-]+)\]_")


def text_of(name: str) -> str:
    """Return a page."""
    return (DOCS / name).read_text(encoding="utf-8")


def headings_of(name: str) -> set[str]:
    """Return the headings of a page."""
    return set(re.findall(r"^#+ (.+)$", text_of(name), re.MULTILINE))


def all_commands(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    """Walk through a command and those below it."""
    yield name, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for each in command.list_commands(context):
            below = command.get_command(context, each)
            assert below is not None
            yield from all_commands(below, f"{name} {each}")


COMMANDS = list(all_commands(root_command, "truemile"))


def public_members(module_name: str) -> list[str]:
    """Return names of functions and classes defined in a module, and those it declares in ``__all__``."""
    module = importlib.import_module(f"truemile.core.{module_name}")
    return [
        name
        for name, value in vars(module).items()
        if not name.startswith("_")
        and (inspect.isfunction(value) or inspect.isclass(value))
        and value.__module__ == module.__name__
    ]


def error_classes() -> list[str]:
    """Return every error class of the tree."""
    return [
        name
        for name, value in vars(errors).items()
        if inspect.isclass(value) and issubclass(value, errors.NavigationError)
    ]


def test_every_command_has_its_help_on_the_page_of_commands() -> None:
    """A command that is added shows up in the reference with a heading of its own."""
    headings = headings_of("reference/commands.md")
    assert [name for name, _ in COMMANDS if name not in headings] == []


@pytest.mark.parametrize(("name", "command"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_every_command_and_option_says_what_it_does(name: str, command: click.Command) -> None:
    """No command and no option is without a help text."""
    assert command.help, name
    silent = [each.name for each in command.params if isinstance(each, click.Option) and not each.help]
    assert silent == []


@pytest.mark.parametrize("module_name", CORE)
def test_every_public_function_and_class_of_the_core_is_on_its_page(module_name: str) -> None:
    """Each has a heading on the page of its module."""
    headings = headings_of(f"reference/python/{module_name}.md")
    assert [name for name in public_members(module_name) if name not in headings] == []


@pytest.mark.parametrize("module_name", CORE)
def test_everything_that_a_module_of_the_core_declares_public_is_documented_somewhere(module_name: str) -> None:
    """A name in ``__all__`` has a heading on the page of the module where it is defined."""
    module = importlib.import_module(f"truemile.core.{module_name}")
    missing = []
    for name in getattr(module, "__all__", ()):
        home = getattr(getattr(module, name), "__module__", module.__name__).rpartition(".")[2]
        if name not in headings_of(f"reference/python/{home}.md"):
            missing.append(name)
    assert missing == []


def test_every_name_of_the_facade_is_on_its_page() -> None:
    """`truemile.api` and its page name the same things."""
    named = set(re.findall(r"^\| \[`(\w+)`\]", text_of("reference/python/api.md"), re.MULTILINE))
    assert named == set(api.__all__)


@pytest.mark.parametrize("module_name", CORE)
def test_every_public_function_and_class_of_the_core_has_a_docstring(module_name: str) -> None:
    """Each says in its own words what it is."""
    module = importlib.import_module(f"truemile.core.{module_name}")
    silent = [
        name
        for name in public_members(module_name)
        if not (getattr(module, name).__doc__ or "").strip() or getattr(module, name).__doc__.startswith(f"{name}(")
    ]
    assert silent == []


def test_every_error_class_has_an_example() -> None:
    """The page of errors shows each class under its own heading, with an example that raises it."""
    page = text_of("reference/errors.md")
    parts = dict(re.findall(r"^## (\w+)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL))
    assert [name for name in error_classes() if ">>>" not in parts.get(name, "")] == []


def test_every_section_and_page_of_the_web_app_is_named() -> None:
    """Sections, addresses of pages, forms and files stand on the page of pages."""
    page = text_of("reference/pages.md")
    wanted = [f"| {name} | `{path}` |" for name, path in NAMED_SECTIONS]
    for section in SECTIONS:
        wanted += [f"## {each.path}" for each in section.pages]
        wanted += [f"| `{each.path}` |" for each in (*section.actions, *section.downloads)]
    assert [each for each in wanted if each not in page] == []


def test_every_variable_of_a_page_says_what_it_is() -> None:
    """The JSON twin holds nothing that is not explained."""
    pages = [page for section in SECTIONS for page in section.pages]
    silent = [f"{page.path}: {name}" for page in pages for name, words in help_of(page.context).items() if not words]
    assert silent == []


def test_every_table_and_column_of_the_workbook_is_named() -> None:
    """Somebody who opens the file with another tool can look up what stands where."""
    page = text_of("reference/workbook-tables.md")
    missing = []
    for table in Base.metadata.sorted_tables:
        part = page.partition(f"## {table.name}\n")[2].partition("\n## ")[0]
        missing += [f"{table.name}.{column.name}" for column in table.columns if f"| `{column.name}` |" not in part]
    assert missing == []


def test_every_column_of_a_file_of_runs_is_described() -> None:
    """The page of file formats names each column and each condition."""
    page = text_of("reference/file-formats.md")
    wanted = [*RunEntry.model_fields, *CONDITION_COLUMNS.values(), "steering"]
    assert [name for name in wanted if f"`{name}`" not in page] == []


def cited_keys() -> dict[str, str]:
    """Return every key that code cites, and where first."""
    found: dict[str, str] = {}
    for folder in ("src", "tests", "bench", "scripts"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                words = node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""
                for key in CITED.findall(words):
                    found.setdefault(key, str(path.relative_to(ROOT)))
            comments = "\n".join(re.findall(r"#.*", path.read_text(encoding="utf-8")))
            for key in CITED.findall(comments):
                found.setdefault(key, str(path.relative_to(ROOT)))
    return found


def test_every_source_that_the_code_cites_is_in_the_bibliography() -> None:
    """A key in the code leads to a source."""
    known = headings_of("references.md")
    assert {key: where for key, where in cited_keys().items() if key not in known} == {}
    assert "JCGM100" in cited_keys()


def test_every_source_says_how_it_is_known() -> None:
    """Each entry of the bibliography says whether it was read or recalled, except definitions and tools."""
    page = text_of("references.md")
    parts = dict(re.findall(r"^### ([\w-]+)\n(.*?)(?=^#|\Z)", page, re.MULTILINE | re.DOTALL))
    silent = [key for key, words in parts.items() if not re.search(r"\*(.*\b)?([Rr]ead|memory)\b", words)]
    assert set(silent) <= {"GTC", "Karney2013", "WGS84", "ISO6709", "IHO1929", "SI-Brochure", "Yard1959"}


def test_the_program_s_own_words_are_in_the_glossary() -> None:
    """Whoever meets one of our names can look it up."""
    page = text_of("glossary.md").lower()
    own = ["workbook", "slate", "working", "margin", "trial", "sheet", "in force", "ladder", "course judge", "class"]
    own += ["vector round", "round", "tap", "outbox", "crew link", "join code", "event"]
    assert [word for word in own if f"**{word}**" not in page] == []
