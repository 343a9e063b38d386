"""The page of all commands, from their own --help."""

from __future__ import annotations

from collections.abc import Iterator

import click

from truemile.cli.root import truemile

WIDTH = 92

HEAD = """# Commands

Every command with its help, as `--help` prints it.

- Exit code 0: done. 1: refused, with field, value, what is allowed and the remedy. 2: not used as it must be.
- Commands that give results take `--json`; errors are then JSON too.
- Times, positions and numbers are written as on the page [Conventions](conventions.md).

| command | what it does |
|---|---|
"""


def write() -> dict[str, str]:
    """Return the page."""
    found = list(_walk(truemile, "truemile", None))
    rows = [f"| [`{name}`](#{_anchor(name)}) | {_first_line(command)} |" for name, command, _ in found]
    parts = [f"## {name}\n\n```text\n{help_text}\n```\n" for name, _, help_text in found]
    return {"commands.md": HEAD + "\n".join(rows) + "\n\n" + "\n".join(parts)}


def _walk(command: click.Command, name: str, parent: click.Context | None) -> Iterator[tuple[str, click.Command, str]]:
    context = click.Context(
        command, info_name=name.rsplit(maxsplit=1)[-1], parent=parent, terminal_width=WIDTH, max_content_width=WIDTH
    )
    lines = (line.rstrip() for line in command.get_help(context).splitlines())
    yield name, command, "\n".join(lines).strip()
    if isinstance(command, click.Group):
        for each in command.list_commands(context):
            below = command.get_command(context, each)
            if below is not None:
                yield from _walk(below, f"{name} {each}", context)


def _first_line(command: click.Command) -> str:
    return command.get_short_help_str(limit=200)


def _anchor(name: str) -> str:
    return name.replace(" ", "-")
