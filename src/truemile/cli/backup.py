"""``truemile backup``: the workbook copied whole, and the copy checked."""

from __future__ import annotations

from pathlib import Path

import click

from truemile.cli.options import json_option, workbook_option
from truemile.cli.present import show
from truemile.cli.workbook_file import open_to_read
from truemile.core.errors import WorkbookError


@click.command()
@click.argument("target", required=False, type=click.Path(path_type=Path))
@workbook_option
@json_option
def backup(*, target: Path | None, workbook_path: str | None, as_json: bool) -> None:
    """Copy the workbook whole to TARGET, a file or a folder, and check the copy.

    Without TARGET the copy lies beside the workbook, with the time in its name. It may be in use meanwhile.
    """
    from truemile.workbook import safekeeping
    from truemile.workbook.store import Workbook

    with open_to_read(workbook_path) as workbook:
        copy = safekeeping.backup(workbook, target or workbook.path.parent)
    with Workbook.open(copy) as opened:
        found = safekeeping.check(opened)
    if not found.good:
        faults = " ".join(finding.words for finding in found.findings if not finding.good)
        raise WorkbookError("target", str(copy), f"the copy is not sound: {faults}", "Copy it to another disk.")
    entries = found.counts["journal"]
    show(
        lambda: {"out": copy, "entries": entries, "good": True},
        lambda: f"Copied to {copy}\nThe copy is whole: {entries} entries.",
        as_json=as_json,
    )
