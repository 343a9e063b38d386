"""Finds the built scripts, styles and fonts, whose names carry a hash of what is in them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from truemile.core.errors import FileError

BUNDLE = Path(__file__).parent.parent / "static" / "app"
#: Address under which the bundle is served.
PREFIX = "/assets"


@dataclass(frozen=True, slots=True)
class Bundle:
    """Addresses of the built files, by their plain names."""

    addresses: dict[str, str]

    def address(self, name: str) -> str:
        """Return the address of ``app.js``, ``app.css`` or another entry."""
        return self.addresses[name]


def read_bundle(folder: Path = BUNDLE) -> Bundle:
    """Read the manifest of the built front end.

    Raises
    ------
    FileError
        If the front end was never built, or its manifest names no script and style.
    """
    manifest = folder / "manifest.json"
    try:
        names = json.loads(manifest.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _unbuilt() from error
    if not isinstance(names, dict) or not {"app.js", "app.css"} <= names.keys():
        raise _unbuilt()
    return Bundle({str(name): f"{PREFIX}/{file}" for name, file in names.items()})


def _unbuilt() -> FileError:
    return FileError(
        "front end",
        "manifest.json",
        "the scripts and styles of the pages must have been built into the package",
        "In a clone run `python hatch_build.py`; an installed package brings them along: install it again.",
    )


class ForeverFiles(StaticFiles):
    """Serves the bundle with leave to keep it for ever: another content has another name."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Answer one file."""
        response = await super().get_response(path, scope)
        if response.status_code == 200:
            response.headers["cache-control"] = "public, max-age=31536000, immutable"
        return response
