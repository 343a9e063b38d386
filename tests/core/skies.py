"""The whole of DE421 for published cases from years before the bundled excerpt, and the cases themselves."""

from __future__ import annotations

import atexit
import tomllib
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from skyfield.api import load, load_file

from truemile.core.sky import Sky

REFERENCE = Path(__file__).parents[1] / "reference" / "sun.toml"


@cache
def whole_sky() -> Sky:
    """Return the sky of 1900 to 2053 from the ephemeris that the excerpt was cut from."""
    kernel = load_file(str(files("skyfield_data") / "data" / "de421.bsp"))
    atexit.register(kernel.close)
    return Sky(load.timescale(builtin=True), kernel, date(1900, 1, 1), date(2053, 10, 1))


@cache
def published(name: str) -> dict[str, Any]:
    """Return a table of published values."""
    return dict(tomllib.loads(REFERENCE.read_text(encoding="utf-8"))[name])


def rows(name: str) -> list[dict[str, Any]]:
    """Return the rows of a table by the names of its columns."""
    table = published(name)
    return [dict(zip(table["columns"], row, strict=True)) for row in table["rows"]]


def utc(text: str) -> datetime:
    """Read an instant of universal time."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
