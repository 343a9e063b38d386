"""How the browser tests start Chromium, what they refuse (the outside network) and how they ask axe."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route

from hatch_build import FrontEnd
from tests.browser.cockpit import Laptop, RunPhone, begin_trial
from tests.browser.looks import PHONE

ROOT = Path(__file__).parents[2]
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
OWN_HOSTS = ("127.0.0.1", "localhost")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Use the Chromium of the system, kept from calling home."""
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.fail("The browser tests need Chromium on the PATH. On Debian, as root: apt-get install chromium")
    switches = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
    switches += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
    return {**browser_type_launch_args, "executable_path": path, "args": switches}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """Give every page the same clock zone, language and stillness."""
    return {**browser_context_args, "locale": "en-GB", "reduced_motion": "reduce", "timezone_id": "UTC"}


@pytest.fixture
def context(context: BrowserContext) -> Iterator[BrowserContext]:
    """Refuse any request that leaves this computer, and fail the test that made one: no network is needed."""
    refused: list[str] = []

    def guard(route: Route) -> None:
        address = urlsplit(route.request.url)
        if address.scheme in ("http", "https") and address.hostname not in OWN_HOSTS:
            refused.append(route.request.url)
            route.abort()
        else:
            route.continue_()

    context.route("**/*", guard)
    yield context
    assert refused == [], "the page asked for something outside this computer"


@pytest.fixture(scope="session")
def axe_source() -> str:
    """The accessibility checker, laid by the lock file of the front end and no part of the package."""
    front_end = FrontEnd(ROOT)
    front_end.lay_packages()
    return (front_end.web / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture
def axe_findings(axe_source: str) -> Callable[[Page], list[str]]:
    """Return a function that names what axe finds wrong on a page: rule, help and the elements meant."""

    def findings(page: Page) -> list[str]:
        page.evaluate(axe_source)
        violations = page.evaluate("() => axe.run(document).then((result) => result.violations)")
        return [
            f"{each['id']}: {each['help']} at {', '.join(str(node['target'][0]) for node in each['nodes'])}"
            for each in violations
        ]

    return findings


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """A laptop that is on, with a trial that has no run."""
    begin_trial(tmp_path / "dunlin.truemile")
    made = Laptop(tmp_path / "dunlin.truemile").on()
    yield made
    made.off()


@pytest.fixture
def crew_laptop(tmp_path: Path) -> Iterator[Laptop]:
    """The same with its crew link instead of its own pages."""
    begin_trial(tmp_path / "dunlin.truemile")
    made = Laptop(tmp_path / "dunlin.truemile", crew=True).on()
    yield made
    made.off()


@pytest.fixture
def handset(browser: Browser) -> Iterator[BrowserContext]:
    """A phone; no request is intercepted, for that would switch off the browser's own cache."""
    asked: list[str] = []
    width, height = PHONE
    made = browser.new_context(
        viewport={"width": width, "height": height},
        has_touch=True,
        is_mobile=True,
        locale="en-GB",
        reduced_motion="reduce",
    )
    made.on("request", lambda request: asked.append(request.url))
    yield made
    made.close()
    assert [url for url in asked if not url.startswith(("http://127.0.0.1:", "data:"))] == []


@pytest.fixture
def phone(handset: BrowserContext) -> RunPhone:
    """The phone with an empty page."""
    page = handset.new_page()
    page.set_default_timeout(10_000)
    return RunPhone(page)
