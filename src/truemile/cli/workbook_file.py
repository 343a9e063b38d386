"""Which workbook a command means, and how it is opened to read or to write."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.core.errors import WorkbookError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from truemile.workbook.store import Workbook

#: Environment variable that names the workbook where no option does.
VARIABLE = "TRUEMILE_WORKBOOK"


def data_folder(platform: str = sys.platform, environment: Mapping[str, str] = os.environ) -> Path:
    """Return the folder in which the platform keeps a user's data."""
    home = Path.home()
    if platform == "win32":
        return Path(environment.get("APPDATA") or home / "AppData" / "Roaming") / "Truemile"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "Truemile"
    return Path(environment.get("XDG_DATA_HOME") or home / ".local" / "share") / "truemile"


def chosen_place(given: str | None) -> str:
    """Return the workbook's path or address: as given, or the file in the data folder."""
    return given or str(data_folder() / "workbook.truemile")


def open_to_read(given: str | None) -> Workbook:
    """Open the workbook, which must exist.

    Raises
    ------
    WorkbookError
        If there is none.
    """
    from truemile.workbook.store import Workbook

    place = chosen_place(given)
    if _is_missing(place):
        raise WorkbookError(
            "workbook",
            place,
            "there is no workbook here yet",
            f"Name yours with --workbook or {VARIABLE}, or begin one with: truemile log boat add --name NAME",
        )
    return Workbook.open(place)


def open_to_write(given: str | None) -> Workbook:
    """Open the workbook, or begin one and say so."""
    from truemile.workbook.store import Workbook

    place = chosen_place(given)
    if not _is_missing(place):
        return Workbook.open(place)
    if not given:
        data_folder().mkdir(parents=True, exist_ok=True)
    workbook = Workbook.create(place)
    click.echo(f"New workbook: {place}", err=True)
    return workbook


def _is_missing(place: str) -> bool:
    return "://" not in place and not Path(place).exists()
