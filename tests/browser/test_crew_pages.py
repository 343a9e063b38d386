"""The crew link in a browser: a phone joins by a code, runs a trial, is let go, and the laptop shows who is there."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.cockpit import Laptop, RunPhone
from tests.browser.looks import brightness_of, misfits_of
from tests.browser.test_pages import NIGHT_LUMINANCE
from truemile.workbook import devices

pytestmark = pytest.mark.browser

THEMES = pytest.mark.parametrize("theme", ["day", "night"])
#: What a browser itself writes when a server is gone.
GONE = (
    "ERR_CONNECTION_REFUSED",
    "ERR_INTERNET_DISCONNECTED",
    "ERR_CONNECTION_RESET",
    "ERR_FAILED",
    "ERR_EMPTY_RESPONSE",
)


def join(phone: RunPhone, laptop: Laptop) -> None:
    """Join as from the QR code."""
    code = devices.new_join_code(laptop.workbook).code
    phone.page.goto(f"{laptop.address}/join#{code}")
    expect(phone.page.locator("#code")).to_have_value(code)
    assert "#" not in phone.page.url
    phone.page.locator("#name").fill("Bram")
    phone.page.get_by_role("button", name="Join").tap()
    expect(phone.page.get_by_role("heading", level=1)).to_contain_text("Dunlin")


def test_a_phone_joins_runs_is_let_go_and_joins_again(crew_laptop: Laptop, phone: RunPhone) -> None:
    """A phone let go in the middle of a run says so and keeps its taps; they arrive once it has joined again."""
    join(phone, crew_laptop)
    phone.page.locator("a.entry").tap()
    phone.ready()
    phone.tap("start")
    phone.state("running")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    (device,) = devices.devices(crew_laptop.workbook)
    assert device.taps == 2
    devices.revoke(crew_laptop.workbook, device.id)
    phone.read(1)
    expect(phone.part("standing")).to_have_text("The laptop has let this phone go. 1 tap kept here.")
    phone.part("rejoin").get_by_role("link").tap()
    expect(phone.page.locator("#code")).to_be_visible()
    join(phone, crew_laptop)
    phone.open(crew_laptop.address)
    phone.state("running")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.", timeout=20_000)
    assert len(crew_laptop.taps) == 3


def test_the_crews_page_opens_without_laptop_and_holds_the_running_run(
    crew_laptop: Laptop, phone: RunPhone, handset: BrowserContext
) -> None:
    """With the laptop gone the page must open from the browser's cache with its run still running."""
    join(phone, crew_laptop)
    phone.open(crew_laptop.address)
    phone.tap("start")
    phone.state("running")
    phone.page.close()
    crew_laptop.off()
    again = RunPhone(handset.new_page()).open(crew_laptop.address)
    again.state("running")
    expect(again.part("course")).to_contain_text("Short")
    seconds = again.part("elapsed").inner_text()
    assert re.fullmatch(r"0:\d\d\.\d", seconds)
    expect(again.part("elapsed")).not_to_have_text(seconds)


@THEMES
def test_the_pages_of_the_crew_link_fit_the_hand(
    crew_laptop: Laptop, phone: RunPhone, handset: BrowserContext, axe_findings: Callable[[Page], list[str]], theme: str
) -> None:
    """Join page, refused join and list of trials: axe finds nothing, nothing overflows, night is dim and red."""
    handset.add_cookies([{"name": "theme", "value": theme, "url": crew_laptop.address}])
    found: list[str] = []

    def look() -> None:
        found.extend([*misfits_of(phone.page), *axe_findings(phone.page)])
        if theme == "night":
            brightest, not_red = brightness_of(phone.page)
            assert brightest < NIGHT_LUMINANCE
            assert not_red == 0

    phone.page.goto(f"{crew_laptop.address}/join")
    look()
    phone.page.get_by_role("button", name="Join").tap()
    expect(phone.page.get_by_role("alert")).to_be_visible()
    look()
    join(phone, crew_laptop)
    look()
    assert found == []


@THEMES
def test_the_laptops_page_of_the_crew_link_fits(
    laptop: Laptop, page: Page, axe_findings: Callable[[Page], list[str]], theme: str
) -> None:
    """Code and QR by day and at night: axe finds nothing, nothing overflows, and the night stays dim."""
    page.context.add_cookies([{"name": "theme", "value": theme, "url": laptop.address}])
    page.goto(f"{laptop.address}/crew")
    page.get_by_role("button", name="Make a code").click()
    expect(page.locator(".joincode")).to_have_text(re.compile(r"^[A-Z3-9]{6}$"))
    expect(page.locator(".qr svg")).to_be_visible()
    assert [*misfits_of(page), *axe_findings(page)] == []
    if theme == "night":
        assert brightness_of(page)[0] < NIGHT_LUMINANCE
