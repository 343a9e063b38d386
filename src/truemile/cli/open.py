"""``truemile open``: the pages, served on this computer only, and the crew link where phones may join."""

from __future__ import annotations

import asyncio
import os
import socket
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.options import workbook_option
from truemile.cli.workbook_file import data_folder, open_to_write
from truemile.core.errors import ReadingError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import uvicorn

    from truemile.web.crew.link import CrewLink
    from truemile.workbook.store import Workbook

HOST = "127.0.0.1"
USUAL_PORT = 8747
#: Phones come in over whichever network the boat has.
EVERYWHERE = "0.0.0.0"  # noqa: S104 (only with --crew, and behind the join code)
USUAL_CREW_PORT = 8748


@click.command("open")
@click.option("--demo", is_flag=True, help="Open the demo workbook: invented waters, not for navigation.")
@click.option("--port", type=click.IntRange(0, 65535), help=f"Port; {USUAL_PORT}, or a free one if that is taken.")
@click.option("--browser/--no-browser", default=True, help="Show the first page at once, where there is a screen.")
@click.option("--crew", is_flag=True, help="Also let phones of the crew join, over the boat's network, by a code.")
@click.option("--crew-port", type=click.IntRange(0, 65535), help=f"Port for them; {USUAL_CREW_PORT}, or a free one.")
@workbook_option
def open_pages(
    *, demo: bool, port: int | None, browser: bool, crew: bool, crew_port: int | None, workbook_path: str | None
) -> None:
    """Open the workbook in a browser. It is served on this computer only; Ctrl+C ends it.

    With --crew, phones that were given the code may time runs and post readings, and nothing else.
    """
    if demo and workbook_path is not None and not _from_environment():
        raise ReadingError(
            "workbook", workbook_path, "the demo has a workbook of its own", "Leave out --demo or --workbook."
        )
    if crew_port is not None and not crew:
        raise ReadingError("crew_port", crew_port, "phones are let in only with --crew", "Add --crew, or leave it out.")
    workbook = demo_workbook() if demo else open_to_write(workbook_path)
    with workbook, listening(port) as connection, _crew_listening(crew_port) if crew else nullcontext() as phones:
        serve(workbook, connection, browser=browser, phones=phones)


def _crew_listening(port: int | None) -> socket.socket:
    """Return a socket that listens on every network of this computer."""
    return listening(port, host=EVERYWHERE, usual=USUAL_CREW_PORT, field="crew_port")


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


def listening(port: int | None, *, host: str = HOST, usual: int = USUAL_PORT, field: str = "port") -> socket.socket:
    """Return a socket that listens, on this computer only if no other host is named.

    Raises
    ------
    ReadingError
        If the port asked for is taken.
    """
    for wanted in (port,) if port is not None else (usual, 0):
        connection = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            connection.bind((host, wanted))
            connection.listen(128)
        except OSError:
            connection.close()
            continue
        return connection
    raise ReadingError(field, port, "another program listens there", "Choose another port, or leave it out.")


def serve(workbook: Workbook, connection: socket.socket, *, browser: bool, phones: socket.socket | None = None) -> None:
    """Serve the pages, and the crew link if phones may join, until the skipper ends it."""
    import uvicorn

    from truemile.web.app import create_app
    from truemile.web.crew.app import create_crew_app
    from truemile.web.crew.link import CrewLink

    link = None if phones is None else CrewLink(phones.getsockname()[1])
    if link is not None:
        _show_crew(workbook, link)
    address = f"http://{HOST}:{connection.getsockname()[1]}/"
    click.echo(f"Truemile is open at {address}")
    click.echo("On this computer only. Ctrl+C ends it." if link is None else "Ctrl+C ends both.")
    if browser and has_screen():
        import webbrowser

        webbrowser.open(address)
    served = [(create_app(workbook, crew=link), connection)]
    if phones is not None:
        served.append((create_crew_app(workbook), phones))
    asyncio.run(
        _serve_all(
            [(uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)), sock) for app, sock in served]
        )
    )


async def _serve_all(servers: Sequence[tuple[uvicorn.Server, socket.socket]]) -> None:
    """Serve side by side; each hands a Ctrl+C on to the one before it."""
    await asyncio.gather(*(server.serve(sockets=[sock]) for server, sock in servers))


def _show_crew(workbook: Workbook, link: CrewLink) -> None:
    """Print where phones join and with which code, also as a picture to be photographed."""
    import segno

    from truemile.workbook.devices import new_join_code

    roots = link.roots()
    code = new_join_code(workbook)
    if not roots:
        click.echo("This computer is in no network that phones could join; connect it, then see /crew on its pages.")
        return
    click.echo(f"Phones of the crew join at {roots[0]}/join with the code {code.code}")
    for other in roots[1:]:
        click.echo(f"  or at {other}/join")
    click.echo(f"The code serves until {code.expires_at:%H:%M} UTC; the page /crew makes another and lets phones go.")
    segno.make(f"{roots[0]}/join#{code.code}", error="m", micro=False).terminal(out=sys.stdout, compact=True)
    click.echo("Caution: only on your own boat's network. Whoever has the code may enter runs until you end this.")


def has_screen(platform: str = sys.platform) -> bool:
    """True where a browser can be shown."""
    if platform in {"win32", "darwin"}:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
