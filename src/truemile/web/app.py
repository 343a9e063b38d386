"""Puts the sections together into one application."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Collection, Sequence
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from truemile.core.errors import NavigationError
from truemile.web.assets import BUNDLE, PREFIX, ForeverFiles, read_bundle
from truemile.web.capture.routes import install_capture
from truemile.web.crew.link import CrewLink
from truemile.web.guard import LOOPBACK, Guard
from truemile.web.pages import Section
from truemile.web.serve import Server
from truemile.web.shelf import Shelf
from truemile.web.views import SECTIONS
from truemile.workbook import boats
from truemile.workbook.clock import utc_now
from truemile.workbook.store import Workbook

__all__ = ["create_app"]


def create_app(
    workbook: Workbook | Path | str,
    *,
    hosts: Collection[str] = LOOPBACK,
    clock: Callable[[], datetime] = utc_now,
    bundle: Path = BUNDLE,
    crew: CrewLink | None = None,
) -> FastAPI:
    """Return the web application of one workbook.

    Parameters
    ----------
    workbook
        Open, or where it lies; one that is opened here is closed with the application.
    hosts
        Host names under which it may be asked for.
    clock
        Tells the time; a test hands in its own.
    bundle
        Folder of the built scripts, styles and fonts.
    crew
        The crew link, if one is served beside it.

    Raises
    ------
    FileError
        If the front end was not built.
    WorkbookError
        If the workbook cannot be opened.
    """
    files = read_bundle(bundle)
    own = not isinstance(workbook, Workbook)
    opened = Workbook.open(Path(workbook)) if not isinstance(workbook, Workbook) else workbook

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        yield
        if own:
            opened.close()

    app = FastAPI(title="Truemile", openapi_url=None, docs_url=None, redoc_url=None, lifespan=running)
    server = Server(opened, clock=clock, bundle=files, shelf=Shelf(), crew=crew)
    _install(app, server, SECTIONS)
    install_capture(app, server, clock, crew=False)
    _handle_errors(app, server)
    app.state.workbook = opened
    app.mount(PREFIX, ForeverFiles(directory=bundle), name="assets")
    app.add_middleware(Guard, hosts=hosts)
    return app


def _install(app: FastAPI, server: Server, sections: Sequence[Section]) -> None:
    def add(path: str, endpoint: Callable[..., object], *methods: str) -> None:
        app.add_api_route(path, endpoint, methods=list(methods), response_model=None, include_in_schema=False)

    async def front(_: Request) -> Response:
        ready = bool(await server.run(boats.boats, server.workbook))
        return RedirectResponse("/instruments" if ready else "/welcome", 303)

    add("/", front, "GET", "HEAD")
    add("/theme", server.change_theme, "POST")
    for section in sections:
        for page in section.pages:
            add(f"{page.path}.json", server.twin_of(page), "GET", "HEAD")
        for download in section.downloads:
            add(download.path, server.download_of(download), "GET", "HEAD")
        for page in section.pages:
            add(page.path, server.page_of(page), "GET", "HEAD")
        for action in section.actions:
            add(action.path, server.action_of(action), "POST")


def _handle_errors(app: FastAPI, server: Server) -> None:
    for kind in (NavigationError, HTTPException, RequestValidationError, Exception):
        app.add_exception_handler(kind, server.problem)
    app.add_exception_handler(404, server.problem)
    app.add_exception_handler(405, server.problem)
