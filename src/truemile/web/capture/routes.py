"""The addresses of capture, on the laptop's pages and on the boat's network alike."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Final

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from truemile.core.errors import ReadingError
from truemile.web.capture.handing_in import LARGEST_TAPS_BYTES, hand_in
from truemile.web.capture.summary import summary_data
from truemile.web.errors import BodyTooLarge, error_data
from truemile.web.serve import Server

#: A page without data may be kept for a week: so it opens with the laptop gone.
KEEP_A_WEEK: Final = "private, max-age=604800"

RUN_PAGE: Final = "/trials/{trial_id:int}/run"
RUN_JSON: Final = "/trials/{trial_id:int}/run.json"
CLOCK: Final = "/capture/clock.json"
TAPS: Final = "/capture/taps"

#: What only looks, and what hands in.
GETS: Final = (RUN_PAGE, RUN_JSON, CLOCK)
POSTS: Final = (TAPS,)


def install_capture(
    app: FastAPI,
    server: Server,
    clock: Callable[[], datetime],
    *,
    crew: bool,
    sender: Callable[[Request], int | None] = lambda _: None,
) -> None:
    """Add the addresses of capture to an application.

    Parameters
    ----------
    app
        The application.
    server
        Gives templates and workbook.
    clock
        Tells the time that phones are compared with.
    crew
        Whether it is the one on the boat's network.
    sender
        Tells which joined phone sent a request.
    """
    template = server.templates.get_template("run.html")
    page = template.render(crew=crew)

    async def run_page(_: Request) -> Response:
        return HTMLResponse(page, headers={"cache-control": KEEP_A_WEEK})

    async def run_json(request: Request) -> Response:
        return JSONResponse(await server.run(summary_data, server.workbook, request.path_params["trial_id"]))

    async def clock_json(_: Request) -> Response:
        return JSONResponse({"utc_ms": clock().timestamp() * 1000.0})

    async def taps(request: Request) -> Response:
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            error = ReadingError("content-type", None, "taps come as application/json", "Load the page again.")
            return JSONResponse(error_data(error), 415)
        body = await _small_body(request)
        return JSONResponse(await server.run(hand_in, server.workbook, body, server.clock(), sent_by=sender(request)))

    _add(app, RUN_PAGE, run_page)
    _add(app, RUN_JSON, run_json)
    _add(app, CLOCK, clock_json)
    _add(app, TAPS, taps, "POST")


def _add(app: FastAPI, path: str, endpoint: Callable[[Request], Awaitable[Response]], *methods: str) -> None:
    app.add_api_route(
        path, endpoint, methods=list(methods) or ["GET", "HEAD"], response_model=None, include_in_schema=False
    )


async def _small_body(request: Request) -> bytes:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_TAPS_BYTES:
            raise BodyTooLarge(LARGEST_TAPS_BYTES)
    return bytes(body)
