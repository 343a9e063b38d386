"""``truemile open``: the pages, served on this computer only."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.options import workbook_option
from truemile.cli.workbook_file import data_folder, open_to_write
from truemile.core.errors import ReadingError

if TYPE_CHECKING:
    from truemile.workbook.store import Workbook

HOST = "127.0.0.1"
USUAL_PORT = 8747


@click.command("open")
@click.option("--demo", is_flag=True, help="Open the demo workbook: invented waters, not for navigation.")
@click.option("--port", type=click.IntRange(0, 65535), help=f"Port; {USUAL_PORT}, or a free one if that is taken.")
@click.option("--browser/--no-browser", default=True, help="Show the first page at once, where there is a screen.")
@workbook_option
def open_pages(*, demo: bool, port: int | None, browser: bool, workbook_path: str | None) -> None:
    """Open the workbook in a browser. It is served on this computer only; Ctrl+C ends it."""
    if demo and workbook_path is not None and not _from_environment():
        raise ReadingError(
            "workbook", workbook_path, "the demo has a workbook of its own", "Leave out --demo or --workbook."
        )
    workbook = demo_workbook() if demo else open_to_write(workbook_path)
    with workbook, listening(port) as connection:
        serve(workbook, connection, browser=browser)


def _from_environment() -> bool:
    source = click.get_current_context().get_parameter_source("workbook_path")
    return source is click.core.ParameterSource.ENVIRONMENT


def demo_workbook() -> Workbook:
    """Open the demo workbook in the data folder; make it anew where it is missing or of another version."""
    from truemile import __version__
    from truemile.workbook.demo import make_demo
    from truemile.workbook.store import Workbook

    folder = data_folder()
    folder.mkdir(parents=True, exist_ok=True)
    file, made_by = folder / "demo.truemile", folder / "demo.version"
    if not file.exists() or not made_by.exists() or made_by.read_text().strip() != __version__:
        click.echo("Making the demo workbook …", err=True)
        _remove(file)
        make_demo(file)
        made_by.write_text(f"{__version__}\n")
    return Workbook.open(file)


def _remove(file: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        file.with_name(file.name + ending).unlink(missing_ok=True)


def listening(port: int | None) -> socket.socket:
    """Return a socket that listens on this computer only.

    Raises
    ------
    ReadingError
        If the port asked for is taken.
    """
    for wanted in (port,) if port is not None else (USUAL_PORT, 0):
        connection = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            connection.bind((HOST, wanted))
            connection.listen(128)
        except OSError:
            connection.close()
            continue
        return connection
    raise ReadingError("port", port, "another program listens there", "Choose another port, or leave it out.")


def serve(workbook: Workbook, connection: socket.socket, *, browser: bool) -> None:
    """Serve the pages until the skipper ends it."""
    import uvicorn

    from truemile.web.app import create_app

    address = f"http://{HOST}:{connection.getsockname()[1]}/"
    click.echo(f"Truemile is open at {address}")
    click.echo("On this computer only. Ctrl+C ends it.")
    if browser and has_screen():
        import webbrowser

        webbrowser.open(address)
    config = uvicorn.Config(create_app(workbook), log_level="warning", access_log=False)
    uvicorn.Server(config).run(sockets=[connection])


def has_screen(platform: str = sys.platform) -> bool:
    """True where a browser can be shown."""
    if platform in {"win32", "darwin"}:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
