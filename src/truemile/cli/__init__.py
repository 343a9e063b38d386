"""The command line: thin commands over the same use-cases that the pages call."""

from __future__ import annotations


def main() -> None:
    """Run the command ``truemile``."""
    from truemile.cli.root import truemile

    truemile()
