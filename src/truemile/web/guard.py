"""The one gate before every page: who may ask, where from, how much, and what the browser may do with the answer."""

from __future__ import annotations

from collections.abc import Callable, Collection
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.errors import BodyTooLarge, Fault, answer_error, too_large

#: Host names, or what tells them.
Hosts = Collection[str] | Callable[[], Collection[str]]
#: Names under which the laptop itself is reached.
LOOPBACK = ("127.0.0.1", "localhost", "::1")
#: Methods that only look.
LOOKING = frozenset({"GET", "HEAD", "OPTIONS"})
#: Largest body taken, in bytes: a season of one-second readings fits, a film does not.
LARGEST_BODY = 64 * 1024 * 1024

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # "no-referrer" would make the browser send "Origin: null" with our own forms.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


class Guard:
    """Middleware that refuses foreign hosts and foreign writes, and sets the headers of every answer.

    Parameters
    ----------
    app
        What it guards.
    hosts
        Host names that may be asked for, or what tells them at each request; others are what a page elsewhere uses to
        reach this one.
    largest
        Largest body taken, in bytes.
    """

    def __init__(self, app: ASGIApp, hosts: Hosts = LOOPBACK, largest: int | None = None) -> None:
        self.app = app
        self._largest = largest
        self.hosts = hosts if callable(hosts) else lambda: hosts

    @property
    def largest(self) -> int:
        """Largest body taken, in bytes."""
        return LARGEST_BODY if self._largest is None else self._largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check one request and pass it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        fault = self._fault(scope["method"], scope.get("scheme", "http"), headers)
        guarded = _with_headers(send)
        if fault is not None:
            await answer_error(fault.error, headers, status=fault.status)(scope, receive, guarded)
            return
        await self.app(scope, _limited(receive, self.largest), guarded)

    def _fault(self, method: str, scheme: str, headers: Headers) -> Fault | None:
        if _host_name(headers.get("host", "")) not in {host.lower() for host in self.hosts()}:
            return Fault(_foreign_host(headers.get("host")), 421)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > self.largest:
            return Fault(too_large(length, self.largest), HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        if method in LOOKING:
            return None
        own = f"{scheme}://{headers['host']}".lower()
        if headers.get("origin", "").lower() != own:
            return Fault(_foreign_origin(headers.get("origin")), 403)
        return None


def _host_name(host: str) -> str:
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _foreign_host(host: str | None) -> NavigationError:
    return ReadingError(
        "Host",
        host,
        "these pages answer only on the laptop's own address",
        "Open the address that `truemile open` printed.",
    )


def _foreign_origin(origin: str | None) -> NavigationError:
    return ReadingError(
        "Origin",
        origin,
        "only Truemile's own pages may change the workbook",
        "Make the entry on the page itself; a program sends the address of this server as Origin.",
    )


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending


def _limited(receive: Receive, largest: int) -> Receive:
    taken = 0

    async def receiving() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > largest:
            raise BodyTooLarge(largest)
        return message

    return receiving
