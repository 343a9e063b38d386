"""The application of the crew link: join page, trials to run, run page, capture, built files, and nothing else."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qs

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.assets import BUNDLE, PREFIX, ForeverFiles, read_bundle
from truemile.web.capture.routes import install_capture
from truemile.web.crew.addresses import fresh_addresses
from truemile.web.crew.brake import WrongCodes
from truemile.web.crew.gate import COOKIE, JOIN, CrewGate, device_of
from truemile.web.errors import BodyTooLarge, error_data, fault_from, faults_of, wants_json
from truemile.web.formats import day_of
from truemile.web.guard import Guard
from truemile.web.serve import Server
from truemile.web.shelf import Shelf
from truemile.web.shell import THEMES
from truemile.workbook import boats, log_trials
from truemile.workbook.clock import utc_now
from truemile.workbook.devices import join
from truemile.workbook.schema import TrialKind
from truemile.workbook.store import Workbook

#: Half a season, in seconds; the laptop can let a phone go at any time.
COOKIE_AGE: Final = 180 * 24 * 3600
#: Nothing larger is taken on the boat's network.
LARGEST_BODY: Final = 1024 * 1024
LARGEST_FORM: Final = 4096
#: So many trials are offered, the newest.
MOST_TRIALS: Final = 8


@dataclass(frozen=True, slots=True)
class TrialToRun:
    """A trial that can be run from a phone."""

    id: int
    name: str
    about: str


def create_crew_app(
    workbook: Workbook,
    *,
    hosts: Collection[str] | None = None,
    clock: Callable[[], datetime] = utc_now,
    seconds: Callable[[], float] = time.monotonic,
    bundle: Path = BUNDLE,
) -> FastAPI:
    """Return the application that is served on the boat's network.

    Parameters
    ----------
    workbook
        Open; whoever opened it closes it.
    hosts
        Names and addresses under which it may be asked for; this computer's own addresses if None, as they are by then.
    clock
        Tells the time.
    seconds
        Counts seconds for the braking of wrong codes.
    bundle
        Folder of the built scripts, styles and fonts.

    Raises
    ------
    FileError
        If the front end was not built.
    """
    server = Server(workbook, clock=clock, bundle=read_bundle(bundle), shelf=Shelf())
    app = FastAPI(title="Truemile crew link", openapi_url=None, docs_url=None, redoc_url=None)
    door = _Door(server, WrongCodes(seconds))
    add = app.add_api_route
    add("/", door.trials, methods=["GET", "HEAD"], response_model=None, include_in_schema=False)
    add(JOIN, door.join_page, methods=["GET", "HEAD"], response_model=None, include_in_schema=False)
    add(JOIN, door.join, methods=["POST"], response_model=None, include_in_schema=False)
    install_capture(app, server, clock, crew=True, sender=_sender)
    app.mount(PREFIX, ForeverFiles(directory=bundle), name="assets")
    for kind in (NavigationError, HTTPException, RequestValidationError, Exception, 404, 405):
        app.add_exception_handler(kind, door.problem)
    app.add_middleware(CrewGate, workbook=workbook, stranger=door.stranger, seconds=seconds)
    app.add_middleware(Guard, hosts=fresh_addresses(seconds) if hosts is None else hosts, largest=LARGEST_BODY)
    return app


def _sender(request: Request) -> int | None:
    device = device_of(request)
    return None if device is None else device.id


class _Door:
    """What a phone sees besides the run page."""

    def __init__(self, server: Server, wrong: WrongCodes) -> None:
        self.server = server
        self.wrong = wrong

    async def trials(self, request: Request) -> Response:
        """List the trials to run."""
        device = device_of(request)
        words = await self.server.run(_trials, self.server.workbook)
        name = "" if device is None else device.name
        return self._page("crew_trials.html", request, HTTPStatus.OK, name=name, **words)

    async def join_page(self, request: Request) -> Response:
        """Ask for the code."""
        return self._page("join.html", request, HTTPStatus.OK, faults=(), name="", code="")

    def stranger(self, request: Request) -> Response:
        """Ask for the code, wherever the phone wanted to go."""
        return self._page("join.html", request, HTTPStatus.UNAUTHORIZED, faults=(), name="", code="")

    async def join(self, request: Request) -> Response:
        """Let a phone in, if its code is right."""
        typed = await _form(request)
        address = request.client.host if request.client is not None else ""
        wait_s = self.wrong.wait_s(address)
        if wait_s:
            return self._join_refused(request, typed, _wait(wait_s), HTTPStatus.TOO_MANY_REQUESTS, wait_s)
        try:
            joined = await self.server.run(
                join, self.server.workbook, typed.get("code"), typed.get("name"), self.server.clock()
            )
        except ReadingError as error:
            return self._join_refused(request, typed, error, HTTPStatus.UNPROCESSABLE_ENTITY)
        self.wrong.was_right(address)
        response = RedirectResponse("/", HTTPStatus.SEE_OTHER)
        response.set_cookie(COOKIE, joined.token, max_age=COOKIE_AGE, httponly=True, samesite="strict")
        return response

    async def problem(self, request: Request, exception: Exception) -> Response:
        """Answer an error."""
        fault = fault_from(exception)
        if wants_json(request.headers, request.url.path) or request.method not in {"GET", "HEAD"}:
            return JSONResponse(error_data(fault.error), fault.status)
        faults = tuple(str(each) for each in faults_of(fault.error))
        return self._page("crew_problem.html", request, fault.status, faults=faults)

    def _join_refused(
        self, request: Request, typed: dict[str, str], error: NavigationError, status: int, wait_s: int = 0
    ) -> Response:
        faults = tuple(f"{fault.allowed[0].upper()}{fault.allowed[1:]}. {fault.remedy}" for fault in faults_of(error))
        # A code that was not even looked at need not be read from the laptop once more.
        code = "" if any(fault.field == "code" for fault in faults_of(error)) else typed.get("code", "")
        page = self._page("join.html", request, status, faults=faults, name=typed.get("name", ""), code=code)
        if wait_s:
            page.headers["retry-after"] = str(wait_s)
        return page

    def _page(self, template: str, request: Request, status: int, **words: Any) -> Response:  # noqa: ANN401
        theme = request.cookies.get("theme", THEMES[0])
        theme = theme if theme in THEMES else THEMES[0]
        return HTMLResponse(self.server.templates.get_template(template).render(theme=theme, **words), status)


def _wait(wait_s: int) -> ReadingError:
    return ReadingError("code", None, "too many wrong codes were tried", f"Wait {wait_s} s, then try again.")


async def _form(request: Request) -> dict[str, str]:
    """Read the two boxes of the join page, and no more than they can hold."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_FORM:
            raise BodyTooLarge(LARGEST_FORM)
    found = parse_qs(body.decode("utf-8", "replace"))
    return {name: values[0] for name, values in found.items()}


def _trials(workbook: Workbook) -> dict[str, Any]:
    offered = [
        TrialToRun(
            trial.id,
            f"{trial.instrument.name}, {day_of(trial.began_at, timedelta(minutes=trial.utc_offset_min))}",
            f"{trial.course.name} · {len(trial.runs)} run{'' if len(trial.runs) == 1 else 's'}",
        )
        for trial in log_trials.trials(workbook)
        if trial.kind is not TrialKind.VECTOR_ROUND and not trial.correction_ids
    ]
    boat = next(iter(boats.boats(workbook)), None)
    return {
        "trials": tuple(offered[:MOST_TRIALS]),
        "boat": "" if boat is None else boat.name,
        "demo": boat is not None and boat.demo,
    }
