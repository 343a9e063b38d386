"""Answers requests: calls a view, formats its context as page or twin, and takes forms."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any, TypeVar
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.assets import Bundle
from truemile.web.crew.link import CrewLink
from truemile.web.data import as_data
from truemile.web.errors import Fault, answer_error, error_data, fault_from, faults_of, status_of, wants_json
from truemile.web.forms import Form, Refused, Typed, Upload
from truemile.web.pages import Action, Asked, Download, Page
from truemile.web.shelf import Shelf
from truemile.web.shell import THEMES, Shell, make_shell, make_slate
from truemile.workbook.store import Workbook

Endpoint = Callable[[Request], Awaitable[Response]]
T = TypeVar("T")

#: A year, in seconds.
THEME_AGE = 365 * 24 * 3600


class Server:
    """Answers for one workbook.

    Parameters
    ----------
    workbook
        The data.
    clock
        Tells the time.
    bundle
        Addresses of scripts and styles.
    shelf
        Results that are only looked at.
    crew
        The crew link, if it is open.
    """

    def __init__(
        self,
        workbook: Workbook,
        *,
        clock: Callable[[], datetime],
        bundle: Bundle,
        shelf: Shelf,
        crew: CrewLink | None = None,
    ) -> None:
        self.workbook = workbook
        self.crew = crew
        self.clock = clock
        self.shelf = shelf
        self.templates = Environment(
            loader=PackageLoader("truemile.web"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.globals["asset"] = bundle.address

    async def run(self, function: Callable[..., T], *args: Any, **named: Any) -> T:  # noqa: ANN401 - handed through
        """Run something that reads or writes the workbook without holding up other requests."""
        return await run_in_threadpool(function, *args, **named)

    def page_of(self, page: Page) -> Endpoint:
        """Return the endpoint of a page."""

        async def endpoint(request: Request) -> Response:
            return await self.run(self._page, page, request, None)

        return endpoint

    def twin_of(self, page: Page) -> Endpoint:
        """Return the endpoint of a page's .json twin."""

        async def endpoint(request: Request) -> Response:
            return await self.run(self._twin, page, request)

        return endpoint

    def download_of(self, download: Download) -> Endpoint:
        """Return the endpoint of a file to take away."""

        async def endpoint(request: Request) -> Response:
            content, name = await self.run(download.make, self._asked(request), **request.path_params)
            headers = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"} if name else {}
            return Response(content, media_type=download.media_type, headers=headers)

        return endpoint

    def action_of(self, action: Action) -> Endpoint:
        """Return the endpoint of a form: it answers with the next page, or the same one with the faults marked."""

        async def endpoint(request: Request) -> Response:
            typed = await _typed(request)
            try:
                address = await self.run(action.do, self._asked(request), typed, **request.path_params)
            except NavigationError as error:
                if wants_json(request.headers):
                    raise
                refused = Refused(action.form, typed, error)
                return await self.run(self._page, action.page, request, refused)
            if wants_json(request.headers):
                return JSONResponse({"address": address}, 201)
            return RedirectResponse(address, 303)

        return endpoint

    async def change_theme(self, request: Request) -> Response:
        """Answer the day and night button where scripts do not run."""
        typed = await _typed(request)
        theme = typed.text("theme")
        if theme not in THEMES:
            raise ReadingError("theme", theme, "there is day and night", "Press the button once more.")
        response = RedirectResponse(local_address(typed.text("back")), 303)
        response.set_cookie("theme", theme, max_age=THEME_AGE, samesite="strict")
        return response

    async def problem(self, request: Request, exception: Exception) -> Response:
        """Answer an error with a page, or its data for a machine."""
        fault = fault_from(exception)
        if wants_json(request.headers, request.url.path):
            return JSONResponse(error_data(fault.error), fault.status)
        try:
            return await self.run(self._problem_page, request, fault)
        except NavigationError:
            return answer_error(fault.error, request.headers, status=fault.status)

    def _asked(self, request: Request, refused: Refused | None = None) -> Asked:
        return Asked(self.workbook, self.clock(), dict(request.query_params), refused, self.shelf, self.crew)

    def _shell(self, asked: Asked, request: Request, section: str, *, address: str, twin: bool) -> Shell:
        query = f"?{request.url.query}" if request.url.query else ""
        return make_shell(
            asked,
            section=section,
            address=address,
            twin=f"{address}.json{query}" if twin else "",
            cookies=request.cookies,
        )

    def _page(self, page: Page, request: Request, refused: Refused | None) -> Response:
        asked = self._asked(request, refused)
        # Beneath a form the parameters of its action may be more than those of its page.
        wanted = {name: value for name, value in request.path_params.items() if f"{{{name}" in page.path}
        context = page.view(asked, **wanted)
        address = request.url.path if refused is None else page.address(wanted)
        shell = self._shell(asked, request, page.section, address=address, twin=True)
        words = {name: getattr(context, name) for name in context.__dataclass_fields__}
        fault = refused.error if refused is not None else _asked_wrongly(asked, words)
        status = 200 if fault is None else status_of(fault)
        general = () if refused is None else _unplaced(refused, words)
        body = self.templates.get_template(page.template).render(shell=shell, general=general, **words)
        return HTMLResponse(body, status)

    def _twin(self, page: Page, request: Request) -> Response:
        asked = self._asked(request)
        context = page.view(asked, **request.path_params)
        fault = _asked_wrongly(asked, {name: getattr(context, name) for name in context.__dataclass_fields__})
        if fault is not None:
            return JSONResponse(error_data(fault), status_of(fault))
        return JSONResponse({"slate": as_data(make_slate(asked)), "page": as_data(context)})

    def _problem_page(self, request: Request, fault: Fault) -> Response:
        asked = self._asked(request)
        shell = self._shell(asked, request, "", address=request.url.path, twin=False)
        template = self.templates.get_template("problem.html")
        return HTMLResponse(template.render(shell=shell, faults=faults_of(fault.error), general=()), fault.status)


def _asked_wrongly(asked: Asked, words: dict[str, Any]) -> NavigationError | None:
    """Return the fault of a question that was asked in the address."""
    forms = [value for value in words.values() if isinstance(value, Form)]
    return next((form.error for form in forms if form.error is not None and asked.query), None)


def _unplaced(refused: Refused, words: dict[str, Any]) -> tuple[str, ...]:
    """Return faults that no form of the page shows, so that none is lost."""
    if any(isinstance(value, Form) and value.faults for value in words.values()):
        return ()
    return tuple(str(fault) for fault in faults_of(refused.error))


def local_address(address: str) -> str:
    """Return an address on this server, the front page for anything else."""
    safe = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if safe and address.isprintable() else "/"


async def _typed(request: Request) -> Typed:
    if request.headers.get("content-type", "").startswith("application/json"):
        return Typed(await _json_texts(request))
    values: dict[str, str] = {}
    files: dict[str, Upload] = {}
    async with request.form(max_files=4, max_fields=200, max_part_size=4 * 1024 * 1024) as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:
                    files[name] = Upload(value.filename, await value.read())
            else:
                values[name] = value
    return Typed(values, files)


async def _json_texts(request: Request) -> dict[str, str]:
    try:
        body = await request.json()
    except ValueError as error:
        raise _not_texts() from error
    if not isinstance(body, dict) or not all(isinstance(v, str | int | float) for v in body.values()):
        raise _not_texts()
    return {str(name): str(value) for name, value in body.items()}


def _not_texts() -> ReadingError:
    return ReadingError(
        "body", None, "it must be one JSON object of texts and numbers", "Send what the form of the page would send."
    )
