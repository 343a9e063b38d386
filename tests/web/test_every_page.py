"""What must hold for every page, action and file of the site: walked over the route table."""

from __future__ import annotations

import dataclasses
import re
import sqlite3
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute

from tests.recordings.recorded_files import file_bytes
from tests.web.conftest import Client
from tests.web.page_reader import find, read
from truemile.web.capture import routes as capture
from truemile.web.pages import Action, Download, Page, help_of
from truemile.web.views import SECTIONS

PAGES = [page for section in SECTIONS for page in section.pages]
ACTIONS = [action for section in SECTIONS for action in section.actions]
DOWNLOADS = [download for section in SECTIONS for download in section.downloads]
#: What stands for each parameter of a path in the demo workbook.
EXAMPLES = {
    "instrument_id": "1",
    "trial_id": "3",
    "course_id": "1",
    "entry_id": "47",
    "device_id": "1",
    "leg_id": "none",
    "word": "none",
}
#: The vector round of the demo.
ROUND = "6"


def filled(path: str, **more: str) -> str:
    """Return a path with its parameters put in."""
    values = {**EXAMPLES, **more}
    if path.startswith("/rounds/{trial_id"):
        values["trial_id"] = ROUND
    return re.sub(r"{(\w+)(?::\w+)?}", lambda found: values[found[1]], path)


def shelf_word(client: Client) -> str:
    """Have a file corrected and return the word of its result."""
    answer = client.post("/recordings", {"log": "1"}, files={"file": ("a.csv", b"indicated_kn\n6.3\n")})
    return str(answer.headers["location"].rpartition("/")[2])


def recording_word(client: Client) -> str:
    """Have a recording looked at and return the word of what was found."""
    answer = client.post("/instruments/1/rounds/recording", {}, files={"file": ("s.nmea", file_bytes("sailing.nmea"))})
    return str(answer.headers["location"].rpartition("/")[2])


def address_of(item: Page | Action | Download, client: Client) -> str:
    """Return an address of the demo under which a page, action or file is found."""
    more = {"word": "none", "name": "curve", "run_id": "none"}
    if item.path.startswith("/rounds/recordings/"):
        more = {"word": recording_word(client)}
    elif "{word}" in item.path:
        more = {"word": shelf_word(client), "name": "a-corrected.csv"}
    elif "/instruments/" in item.path:
        more = {"name": "factors"}
    return filled(item.path, **more)


def everything_in(file: Path) -> list[str]:
    """Return all rows of a workbook as text."""
    connection = sqlite3.connect(file)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


def routes(client: Client, method: str) -> Iterator[APIRoute]:
    """Go through the routes of a method."""
    for route in client.app.routes:
        if isinstance(route, APIRoute) and method in route.methods:
            yield route


def test_the_route_table_holds_a_twin_for_every_page_and_nothing_undeclared(shown: Client) -> None:
    """Every GET address must be a declared page, its .json twin, a declared file, or the front door."""
    gets = {route.path for route in routes(shown, "GET")}
    pages = {page.path for page in PAGES}
    twins = {f"{path}.json" for path in pages}
    assert gets == pages | twins | {download.path for download in DOWNLOADS} | {"/"} | set(capture.GETS)


def test_the_route_table_holds_no_undeclared_writing(shown: Client) -> None:
    """Every address that takes a POST must be a declared action, or the theme."""
    posts = {route.path for route in routes(shown, "POST")}
    assert posts == {action.path for action in ACTIONS} | {"/theme"} | set(capture.POSTS)
    for method in ("PUT", "DELETE", "PATCH"):
        assert not list(routes(shown, method))


@pytest.mark.parametrize("sheet", PAGES, ids=lambda sheet: sheet.path)
def test_a_page_and_its_twin_are_made_of_one_context(shown: Client, sheet: Page) -> None:
    """The page must link its twin, and the twin must hold every variable of the declared context and the slate."""
    address = address_of(sheet, shown)
    answer = shown.get(address)
    assert answer.status_code == 200
    (link,) = find(answer.text, "link", rel="alternate")
    assert link.attributes["href"] == f"{address}.json"
    twin = shown.get(link.attributes["href"])
    assert twin.headers["content-type"] == "application/json"
    assert set(twin.json()) == {"slate", "page"}
    assert set(twin.json()["page"]) == {field.name for field in dataclasses.fields(sheet.context)}


def contexts_below(kind: Any) -> Iterator[type]:
    """Go through the dataclasses of the web layer that a context is made of."""
    ours = getattr(kind, "__module__", "").startswith("truemile.web.")
    if ours and dataclasses.is_dataclass(kind) and kind.__module__ != "truemile.web.forms":
        yield kind
        for hint in typing.get_type_hints(kind).values():
            yield from contexts_below(hint)
    for inner in typing.get_args(kind):
        yield from contexts_below(inner)


@pytest.mark.parametrize("sheet", PAGES, ids=lambda sheet: sheet.path)
def test_every_variable_of_a_context_is_explained(sheet: Page) -> None:
    """Each variable, also of the rows inside, must carry a sentence that says what it is."""
    for context in {*contexts_below(sheet.context)}:
        unexplained = [name for name, words in help_of(context).items() if not words.endswith(".")]
        assert unexplained == [], context.__name__


@pytest.mark.parametrize("sheet", PAGES, ids=lambda sheet: sheet.path)
def test_a_page_brings_nothing_that_the_policy_forbids(shown: Client, sheet: Page) -> None:
    """No inline script, style or handler, no address of another host, one h1, a language and a title."""
    text = shown.get(address_of(sheet, shown)).text
    elements = read(text).elements
    for element in elements:
        assert element.tag != "style"
        assert "style" not in element.attributes
        assert not [name for name in element.attributes if name.startswith("on")]
        assert element.tag != "script" or element.attributes["src"].startswith("/assets/")
        for name in ("href", "src", "action"):
            assert not element.attributes.get(name, "/").startswith(("http", "//"))
    assert len([element for element in elements if element.tag == "h1"]) == 1
    assert find(text, "html")[0].attributes["lang"] == "en"
    assert find(text, "title")[0].text.endswith("· Truemile")


@pytest.mark.parametrize("sheet", PAGES, ids=lambda sheet: sheet.path)
def test_every_question_of_a_page_has_its_label(shown: Client, sheet: Page) -> None:
    """Every field must have a label of its own, and every identifier must be unique on the page."""
    text = shown.get(address_of(sheet, shown)).text
    elements = read(text).elements
    identifiers = [element.attributes["id"] for element in elements if "id" in element.attributes]
    assert len(identifiers) == len(set(identifiers))
    labelled = {element.attributes.get("for") for element in elements if element.tag == "label"}
    for element in elements:
        if element.tag in ("input", "select", "textarea") and element.attributes.get("type") not in ("hidden", "radio"):
            assert element.attributes["id"] in labelled
        for described in element.attributes.get("aria-describedby", "").split():
            assert described in identifiers


def test_looking_changes_nothing(shown: Client) -> None:
    """Every GET address, asked for once, must leave each row of the workbook as it was."""
    shelf, found = shelf_word(shown), recording_word(shown)
    before = everything_in(shown.app.state.workbook.path)
    for route in routes(shown, "GET"):
        name = "factors" if "/instruments/" in route.path else "runs"
        word = found if route.path.startswith("/rounds/") else shelf
        answer = shown.get(filled(route.path, word=word, name=name))
        assert answer.status_code in (200, 303), route.path
    assert everything_in(shown.app.state.workbook.path) == before


@pytest.mark.parametrize(
    "origin", [None, "null", "http://127.0.0.1:1", "https://127.0.0.1:8470", "http://evil.example"]
)
@pytest.mark.parametrize("path", [*(action.path for action in ACTIONS), "/theme"])
def test_a_write_from_elsewhere_is_refused(shown: Client, path: str, origin: str | None) -> None:
    """A POST must carry this server's own Origin; without it nothing may be changed."""
    before = everything_in(shown.app.state.workbook.path)
    headers = {} if origin is None else {"origin": origin}
    answer = shown.ask("POST", filled(path, run_id="none"), headers={**headers, "accept": "application/json"})
    assert answer.status_code == 403
    assert answer.json()["error"]["field"] == "Origin"
    assert everything_in(shown.app.state.workbook.path) == before


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "10.0.0.7:8470", "", "[::1", "localhost:99@x"]
)
def test_another_host_name_is_refused(shown: Client, host: str) -> None:
    """A name that is not the laptop's own must get no page, whatever it resolves to."""
    for path in ("/instruments", "/instruments.json", "/trials/3/runs.csv", "/assets/manifest.json"):
        assert shown.get(path, headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8470", "LOCALHOST", "[::1]:8470"])
def test_the_laptops_own_names_are_answered(shown: Client, host: str) -> None:
    """Loopback under any of its names, on any port, must be answered."""
    assert shown.get("/instruments", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "path", ["/instruments", "/instruments.json", "/nothing", "/trials/3/runs.csv", "/assets/manifest.json"]
)
def test_every_answer_carries_the_policy(shown: Client, path: str) -> None:
    """Pages, data, errors and files alike must tell the browser to trust nothing but this server's own files."""
    headers = shown.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_only_the_bundle_may_be_kept_by_the_browser(shown: Client) -> None:
    """A page must never be stored, while a bundled file, whose name holds its hash, may be kept for ever."""
    page = shown.get("/instruments")
    assert page.headers["cache-control"] == "no-store"
    (sheet,) = find(page.text, "link", rel="stylesheet")
    style = shown.get(sheet.attributes["href"])
    assert style.headers["content-type"].startswith("text/css")
    assert "immutable" in style.headers["cache-control"]


@pytest.mark.parametrize("download", DOWNLOADS, ids=lambda download: download.path)
def test_a_file_comes_with_a_name_or_as_data_for_a_chart(shown: Client, download: Download) -> None:
    """A file to take away must be saved under a name of its own; a chart must be a specification with its words."""
    answer = shown.get(address_of(download, shown))
    assert answer.status_code == 200
    assert len(answer.content) > 20
    if "/plots/" in download.path:
        assert answer.json()["description"]
        assert answer.json()["config"]
    else:
        assert answer.headers["content-disposition"].startswith("attachment; filename*=UTF-8''")
    if download.media_type == "application/pdf":
        assert answer.content.startswith(b"%PDF-")
