"""A group of commands that knows their names and one-line helps, and imports a command only when it is used."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches
from importlib import import_module
from typing import Any

import click

#: From a command's name to where it lives (``module:attribute``) and its one line of help.
Table = Mapping[str, tuple[str, str]]

_NEGATIVE = re.compile(r"-(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_MINUS = "\N{MINUS SIGN}"


class LazyGroup(click.Group):
    """A group whose help is written from a table.

    Parameters
    ----------
    table
        The commands, in the order in which they are listed.
    default
        Command that is meant when the first word is an option or nothing follows, or None.
    """

    def __init__(self, *args: Any, table: Table, default: str | None = None, **kwargs: Any) -> None:  # noqa: ANN401 (click's own)
        super().__init__(*args, **kwargs)
        self.table = table
        self.default = default
        if default is not None:
            self.no_args_is_help = False

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (the signature is click's)
        """Names in the order of the table."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the command, or give None where there is none of that name."""
        if cmd_name not in self.table:
            return None
        module, _, attribute = self.table[cmd_name][0].partition(":")
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self.table.items()])

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the default command in where none is named."""
        if self.default is not None and (not args or (args[0].startswith("-") and args[0] not in {"--help", "-h"})):
            args = [self.default, *args]
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one may have been meant."""
        if args[0] not in self.table and not args[0].startswith("-"):
            near = get_close_matches(args[0], self.table, n=3, cutoff=0.5)
            hint = f"Did you mean {' or '.join(near)}?" if near else f"There are {', '.join(self.table)}."
            raise click.UsageError(f"No such command {args[0]!r}. {hint}", ctx)
        return super().resolve_command(ctx, args)


class ReadingsCommand(click.Command):
    """A command that takes ``-4.5`` for a number and not for an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write a minus in front of digits as the typographic one, which no option begins with."""
        return super().parse_args(ctx, [_MINUS + a[1:] if _NEGATIVE.fullmatch(a) else a for a in args])
