"""The only place that turns errors into answers: one page and one JSON shape for all of them."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from html import escape
from http import HTTPStatus
from typing import Any

from fastapi.exceptions import RequestValidationError
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from truemile.core.errors import (
    ManyFaults,
    NavigationError,
    NotFound,
    ReadingError,
    WorkbookError,
)

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Fault:
    """An error and the HTTP status that goes with it."""

    error: NavigationError
    status: int


class BodyTooLarge(HTTPException):
    """The body of a request grew beyond the limit while it was read."""

    def __init__(self, limit: int) -> None:
        super().__init__(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        self.limit = limit


def status_of(error: NavigationError) -> int:
    """Return the HTTP status of an error."""
    match error:
        case NotFound():
            return HTTPStatus.NOT_FOUND
        case WorkbookError():
            return HTTPStatus.SERVICE_UNAVAILABLE
        case _:
            return HTTPStatus.UNPROCESSABLE_ENTITY


def faults_of(error: NavigationError) -> tuple[NavigationError, ...]:
    """Return the single faults of an error, itself if there is one only."""
    return error.faults if isinstance(error, ManyFaults) else (error,)


def error_data(error: NavigationError) -> dict[str, Any]:
    """Return the one shape in which machines are told of an error."""
    return {"error": {**_single(error), "faults": [_single(fault) for fault in faults_of(error)]}}


def _single(error: NavigationError) -> dict[str, Any]:
    return {
        "kind": type(error).__name__,
        "field": error.field,
        "given": _plain(error.given),
        "allowed": error.allowed,
        "remedy": error.remedy,
        "message": str(error),
    }


def _plain(given: object) -> object:
    return given if given is None or isinstance(given, str | int | bool) else str(given)


def wants_json(headers: Headers, path: str = "") -> bool:
    """Tell a machine from a browser: by the address it asked for, or by what it accepts."""
    return path.endswith(".json") or headers.get("accept", "").startswith("application/json")


def answer_error(error: NavigationError, headers: Headers, *, path: str = "", status: int | None = None) -> Response:
    """Return a bare answer for an error met where no page can be made."""
    code = status_of(error) if status is None else status
    if wants_json(headers, path):
        return JSONResponse(error_data(error), code)
    words = "".join(f"<p>{escape(str(fault))}</p>" for fault in faults_of(error))
    page = f'<!doctype html><html lang="en"><title>Truemile: refused</title><h1>This was refused</h1>{words}</html>'
    return HTMLResponse(page, code)


def fault_from(exception: Exception) -> Fault:
    """Translate whatever was raised while answering into one of our errors."""
    match exception:
        case NavigationError():
            return Fault(exception, status_of(exception))
        case RequestValidationError():
            return Fault(_bad_address(exception), HTTPStatus.NOT_FOUND)
        case BodyTooLarge():
            return Fault(too_large("more", exception.limit), exception.status_code)
        case HTTPException(status_code=HTTPStatus.METHOD_NOT_ALLOWED):
            return Fault(_wrong_method(), HTTPStatus.METHOD_NOT_ALLOWED)
        case HTTPException(status_code=HTTPStatus.NOT_FOUND):
            return Fault(_no_page(), HTTPStatus.NOT_FOUND)
        case HTTPException():
            return Fault(_refused(str(exception.detail)), exception.status_code)
        case _:
            log.error("unexpected error while answering", exc_info=exception)
            return Fault(_unexpected(exception), HTTPStatus.INTERNAL_SERVER_ERROR)


def too_large(length: str, limit: int) -> NavigationError:
    """Return the error for a body that is larger than is taken at once."""
    return ReadingError(
        "body", length, f"at most {limit} bytes are taken at once", "Split the file, a season at a time."
    )


def _bad_address(error: RequestValidationError) -> NavigationError:
    first = error.errors()[0]
    field = str(first["loc"][-1])
    return NotFound(field, first.get("input"), "it must be the number of an entry", "Follow the links of the sections.")


def _no_page() -> NavigationError:
    return NotFound("address", None, "there is no page there", "Choose one of the sections above.")


def _wrong_method() -> NavigationError:
    return ReadingError("method", None, "this address is for something else", "Use the buttons of the pages.")


def _refused(detail: str) -> NavigationError:
    return ReadingError("request", detail[:80], "it could not be read", "Send the form again from its page.")


def _unexpected(exception: Exception) -> NavigationError:
    return NavigationError(
        "page",
        type(exception).__name__,
        "this page could not be made, which is a fault of the program",
        "What was entered before is kept. Go back and try once more; the program's own log says more.",
    )
