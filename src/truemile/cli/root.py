"""The command ``truemile``: the table of its commands, and what happens to an error."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from truemile import __version__
from truemile.cli.errors import REFUSED, show_refusal, show_wrong_usage
from truemile.cli.lazy import LazyGroup
from truemile.core.errors import NavigationError

COMMANDS = {
    "log": ("truemile.cli.log:log", "Measure the log, keep its factor, correct what it shows."),
    "open": ("truemile.cli.open:open_pages", "Open the workbook in a browser, on this computer only."),
    "demo": ("truemile.cli.demo:demo", "Show the main job here: from a measured course to a corrected speed."),
    "report": (
        "truemile.cli.report:report",
        "Write a trial, the history of the log, or the correction card, as a PDF.",
    ),
    "backup": ("truemile.cli.backup:backup", "Copy the workbook whole to another file, and check the copy."),
    "check": ("truemile.cli.check:check", "Check the workbook and what this program needs."),
}


class Root(LazyGroup):
    """The outermost group, where every error ends."""

    def main(  # type: ignore[override] # it always leaves
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        **extra: Any,  # noqa: ANN401 (click's own)
    ) -> NoReturn:
        """Run, print an error in the form asked for, and leave with its exit code."""
        given = list(sys.argv[1:] if args is None else args)
        as_json = "--json" in given
        extra["standalone_mode"] = False
        _never_fail_to_print()
        try:
            code = super().main(given, prog_name or "truemile", **extra)
        except click.Abort:
            click.echo("Stopped.", err=True)
            code = REFUSED
        except click.ClickException as error:
            code = show_wrong_usage(error, as_json=as_json)
        except NavigationError as error:
            code = show_refusal(error, as_json=as_json)
        sys.exit(code if isinstance(code, int) else 0)


def _never_fail_to_print() -> None:
    """Let a terminal that has no ± or ° show a question mark in its place."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


@click.group(
    cls=Root,
    table=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Every command takes --help; those that give results take --json.",
)
@click.version_option(__version__, prog_name="Truemile")
def truemile() -> None:
    """Measure each instrument of the boat, correct every reading, say how sure the answer is."""
