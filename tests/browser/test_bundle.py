"""The built bundle in a real browser, served under the strictest policy it is meant to live with."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Page

from hatch_build import FrontEnd

pytestmark = pytest.mark.browser

BUNDLE = FrontEnd(Path(__file__).parents[2]).bundle
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:"
TYPES = {".css": "text/css", ".html": "text/html", ".js": "text/javascript", ".woff2": "font/woff2"}


class Handler(BaseHTTPRequestHandler):
    """Serves the page given under ``/`` and the bundle beside it."""

    def __init__(self, page: str, *rest: object) -> None:
        self.page = page
        super().__init__(*rest)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        """Answer with one file and the policy."""
        name = self.path.strip("/") or "page.html"
        body = self.page.encode() if name == "page.html" else (BUNDLE / name).read_bytes()
        self.send_response(200)
        self.send_header("Content-Type", TYPES[Path(name).suffix])
        self.send_header("Content-Security-Policy", POLICY)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def served() -> Iterator[str]:
    """Serve a page that loads the whole bundle and yield its address."""
    names = json.loads((BUNDLE / "manifest.json").read_text(encoding="utf-8"))
    page = f"""<!doctype html><html lang="en"><title>Bundle</title><link rel="icon" href="data:,">
      <link rel="stylesheet" href="/{names["app.css"]}"><script type="module" src="/{names["app.js"]}"></script>
      <script type="module" src="/{names["charts.js"]}"></script><main><h1>Bundle</h1><p>0.6 nm</p></main></html>"""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Handler, page))
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_the_bundle_loads_under_a_strict_policy(page: Page, served: str) -> None:
    """Scripts and styles load with no message on the console, evaluated text and inline styles being forbidden."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(served, wait_until="networkidle")
    assert said == []
    assert page.evaluate("document.styleSheets[0].cssRules.length") > 0


@pytest.mark.parametrize("family", ["Source Serif 4", "DejaVu Mono"])
def test_the_fonts_come_from_the_bundle(page: Page, served: str, family: str) -> None:
    """Each font family is declared and can be loaded from the bundle itself."""
    page.goto(served)
    assert page.evaluate("family => document.fonts.load(`16px '${family}'`).then((faces) => faces.length)", family) > 0


def test_the_checker_finds_a_planted_fault(page: Page, served: str, axe_findings: Callable[[Page], list[str]]) -> None:
    """A picture without words is found, so that no finding elsewhere means something."""
    page.goto(served)
    assert axe_findings(page) == []
    page.evaluate("document.querySelector('p').innerHTML = '<img src=\"data:,\">'")
    assert [each.split(":")[0] for each in axe_findings(page)] == ["image-alt"]
