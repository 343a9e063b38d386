"""The gate of the crew link: without a token that stands nothing passes but the join page and the built files."""

from __future__ import annotations

import time
from collections.abc import Callable
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.assets import PREFIX
from truemile.web.crew.brake import Brake
from truemile.web.errors import answer_error, error_data, wants_json
from truemile.workbook.devices import DeviceView, device_for
from truemile.workbook.store import Workbook

COOKIE: Final = "crew"
JOIN: Final = "/join"
#: A joined phone may ask so often at once, and so often a second: a page asks far less.
BURST: Final = 120
PER_S: Final = 20.0


class CrewGate:
    """Middleware that knows each phone by its cookie, at every request anew: one let go is stopped at once.

    Parameters
    ----------
    app
        What it guards.
    workbook
        Knows the phones.
    stranger
        Makes the page that is shown to everybody else.
    seconds
        Counts seconds for the braking of phones that ask too often.
    """

    def __init__(
        self,
        app: ASGIApp,
        workbook: Workbook,
        stranger: Callable[[Request], Response],
        seconds: Callable[[], float] = time.monotonic,
    ) -> None:
        self.app = app
        self.workbook = workbook
        self.stranger = stranger
        self.brake = Brake(BURST, PER_S, seconds)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass or not."""
        if scope["type"] != "http" or _is_open(scope["path"]):
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        try:
            device = await run_in_threadpool(device_for, self.workbook, token_of(request.headers))
        except NavigationError as error:
            await answer_error(error, request.headers, path=scope["path"])(scope, receive, send)
            return
        if device is None:
            await self._refused(request)(scope, receive, send)
            return
        wait_s = self.brake.wait_s(str(device.id))
        if wait_s:
            await _too_often(wait_s)(scope, receive, send)
            return
        scope.setdefault("state", {})["device"] = device
        await self.app(scope, receive, send)

    def _refused(self, request: Request) -> Response:
        if request.method not in {"GET", "HEAD"} or wants_json(request.headers, request.url.path):
            return JSONResponse(error_data(_not_joined()), HTTPStatus.UNAUTHORIZED)
        return self.stranger(request)


def device_of(request: Request) -> DeviceView | None:
    """Return the phone that a request came from."""
    device = getattr(request.state, "device", None)
    return device if isinstance(device, DeviceView) else None


def token_of(headers: Headers) -> str | None:
    """Return the token of the cookie, if there is one."""
    try:
        cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return None if cookie is None else cookie.value


def _is_open(path: str) -> bool:
    return path == JOIN or path.startswith(f"{PREFIX}/")


def _not_joined() -> ReadingError:
    return ReadingError(
        "phone", None, "this phone has not joined, or was let go", "Join with the code that the laptop shows."
    )


def _too_often(wait_s: float) -> Response:
    error = ReadingError("request", None, "this phone asks too often", "Wait a moment; nothing is lost.")
    headers = {"retry-after": str(max(1, round(wait_s)))}
    return JSONResponse(error_data(error), HTTPStatus.TOO_MANY_REQUESTS, headers)
