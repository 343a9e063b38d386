"""The pages in a real browser: laptop and phone, by day and at night."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looks import LAPTOP, PHONE, Watch, brightness_of, dress, misfits_of
from tests.browser.serving import serving
from truemile.workbook.demo import make_demo
from truemile.workbook.store import Workbook

pytestmark = pytest.mark.browser

SIZES = pytest.mark.parametrize("size", [LAPTOP, PHONE], ids=["laptop", "phone"])
THEMES = pytest.mark.parametrize("theme", ["day", "night"])
#: Luminance of the brightest ink of the night theme; white is 1.
NIGHT_LUMINANCE = 0.26

DEMO_PAGES = (
    "/welcome",
    "/instruments",
    "/instruments/1",
    "/instruments/1/use?indicated=6.3&wanted=9&logged=10&elapsed=1h40m",
    "/instruments/1/use?indicated=many&logged=0",
    "/instruments/1/trials/new",
    "/instruments/1/history",
    "/instruments/1/rounds/new",
    "/rounds/6",
    "/trials/2",
    "/trials/3",
    "/trials/4",
    "/trials/4/halving",
    "/waters",
    "/waters/marks/new?name=Wren&position=47 11 N 31 2 W&fixed=no",
    "/waters/courses/new",
    "/waters/courses/1?set=64&drift=2",
    "/waters/courses/3",
    "/passages",
    "/deck-log",
    "/plotting-sheet",
    "/recordings",
    "/class",
    "/class/trials/1",
    "/nowhere",
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo workbook, served."""
    with serving(make_demo(tmp_path_factory.mktemp("demo") / "demo.truemile")) as address:
        yield address


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[str]:
    """An empty workbook, served."""
    file = tmp_path / "empty.truemile"
    Workbook.create(file).close()
    with serving(file) as address:
        yield address


def see_charts(page: Page) -> None:
    """Go down the page until every chart on it is drawn."""
    for place in page.locator("[data-chart]").all():
        place.scroll_into_view_if_needed()
        expect(place.locator("svg")).to_be_visible()


def open_all(page: Page) -> None:
    """Open everything that is folded."""
    page.evaluate("() => { for (const each of document.querySelectorAll('details')) each.open = true; }")


@SIZES
@THEMES
def test_every_page_is_accessible_fits_the_screen_and_complains_of_nothing(
    page: Page, demo: str, axe_findings: Callable[[Page], list[str]], size: tuple[int, int], theme: str
) -> None:
    """On each page axe must find nothing, nothing may be wider than the screen, and each press must be 48 px."""
    watch = Watch()
    watch.on(page)
    dress(page, demo, size, theme)
    found: list[str] = []
    for path in DEMO_PAGES:
        page.goto(demo + path)
        see_charts(page)
        found += misfits_of(page)
        open_all(page)
        found += [*misfits_of(page), *(f"{path}: {finding}" for finding in axe_findings(page))]
    assert found == []
    assert watch.complaints == []


@pytest.mark.parametrize(
    "path", ["/trials/3", "/instruments/1", "/instruments/1/trials/new", "/recordings", "/nowhere"]
)
def test_nothing_at_night_is_bright_or_other_than_red(page: Page, demo: str, path: str) -> None:
    """Every pixel of a page at night, charts and focus included, must be dim and red."""
    dress(page, demo, PHONE, "night")
    page.goto(demo + path)
    see_charts(page)
    page.keyboard.press("Tab")
    page.locator("main a, main button, main input").first.focus()
    brightest, not_red = brightness_of(page)
    assert brightest < NIGHT_LUMINANCE
    assert not_red == 0


def test_the_theme_changes_in_place_with_its_charts_and_stays(page: Page, demo: str) -> None:
    """The button must change page and charts without a new page, and the next page must come in that theme."""
    page.goto(f"{demo}/trials/4")
    see_charts(page)
    chart = page.locator("[data-chart] svg")
    by_day = chart.inner_html()
    page.evaluate("window.stayed = true")
    page.get_by_role("button", name="Night").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "night")
    expect(page.get_by_role("button", name="Day")).to_be_visible()
    page.wait_for_function("(was) => document.querySelector('[data-chart] svg')?.innerHTML !== was", arg=by_day)
    assert page.evaluate("window.stayed")
    page.goto(f"{demo}/waters")
    assert page.evaluate("document.documentElement.dataset.theme") == "night"


def test_the_slate_stays_in_view_and_its_clock_goes(page: Page, demo: str) -> None:
    """At the foot of a long page the slate must still be at the top of the screen; the clock must show the minute."""
    page.clock.install()
    page.goto(f"{demo}/trials/3")
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    slate = page.get_by_role("banner")
    box = slate.bounding_box()
    assert box is not None
    assert box["y"] == 0
    before = slate.locator("[data-clock=utc]").inner_text()
    page.clock.run_for(61_000)
    expect(slate.locator("[data-clock=utc]")).not_to_have_text(before)
    assert re.fullmatch(r"\d\d:\d\d", slate.locator("[data-clock=utc]").inner_text())


def test_the_keyboard_comes_to_the_sheet_at_once(page: Page, demo: str) -> None:
    """The first press of Tab must offer the way past slate and sections, seen and working."""
    page.goto(f"{demo}/trials/3")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="To the sheet")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.locator("#sheet")).to_be_focused()


def test_what_would_halve_the_uncertainty_comes_into_the_margin(page: Page, demo: str) -> None:
    """The list that takes the server a moment must stand in the margin of the sheet itself."""
    page.goto(f"{demo}/trials/4")
    expect(page.get_by_label("Margin").get_by_text("To halve it:")).to_be_visible()


def test_a_long_working_is_folded_on_a_phone_only(page: Page, demo: str) -> None:
    """On the phone the runs' lines must be folded and the answer's open; on the laptop all must be open."""
    dress(page, demo, PHONE, "day")
    page.goto(f"{demo}/trials/4")
    folded = page.locator("details[data-folds]:not([open])")
    expect(page.locator("details[data-folds][open] [data-result]").first).to_be_visible()
    assert folded.count() > 3
    page.set_viewport_size({"width": LAPTOP[0], "height": LAPTOP[1]})
    page.reload()
    expect(folded).to_have_count(0)


def test_the_printed_page_shows_paper_only(page: Page, demo: str) -> None:
    """On paper there must be the answer and the working in full, and no sections, buttons or questions."""
    dress(page, demo, PHONE, "night")
    page.goto(f"{demo}/trials/4")
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    expect(page.locator(".answer").first).to_be_visible()
    expect(page.locator(".working").first).to_be_visible()
    for gone in (".sections", ".press", "form", "summary >> text=Add"):
        assert not [each for each in page.locator(gone).all() if each.is_visible()], gone
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def fill(page: Page, form: str, **answers: str) -> None:
    """Answer the questions of a form, opening its folded part where needed."""
    for name, answer in answers.items():
        field = page.locator(f"#{form}-{name}")
        if not field.is_visible():
            page.locator(f"#{form} summary").click()
        if field.evaluate("(each) => each.tagName") == "FIELDSET":
            field.locator(f"input[value='{answer}']").check()
        elif field.evaluate("(each) => each.tagName") == "SELECT":
            field.select_option(answer)
        else:
            field.fill(answer)


def add_mark(page: Page, address: str, name: str, position: str) -> None:
    """Add a mark, looking how it was understood first."""
    page.goto(f"{address}/waters/marks/new")
    fill(page, "mark", name=name, position=position, precision_m="3")
    page.get_by_role("button", name="Show how it is understood").click()
    expect(page.locator(".answer")).to_contain_text("47°12.")
    page.get_by_role("button", name="Keep this mark").click()
    expect(page.get_by_role("status")).to_contain_text(name)


def add_run(page: Page, direction: str, elapsed: str, readings: str, heading: str) -> None:
    """Write a run down, the form being open or behind its button."""
    if not page.locator("#run-elapsed").is_visible():
        page.get_by_role("link", name="Add a run").click()
    fill(page, "run", direction=direction, elapsed=elapsed, readings=readings, heading_compass=heading)
    page.get_by_role("button", name="Add this run").click()


def fit_out(page: Page, address: str) -> None:
    """Begin a workbook: boat, log, what is set in it, two marks and the course between them."""
    page.goto(address)
    fill(page, "welcome", boat="Dunlin", log="log")
    page.get_by_role("button", name="Begin this workbook").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("log")
    page.locator("summary", has_text="Note what is set").click()
    fill(page, "setting", value="1.00", set_at="2026-01-01T00:00Z")
    page.get_by_role("button", name="Note this setting").click()
    add_mark(page, address, "Gannet Pier", "47°12.000′N 031°03.000′W")
    add_mark(page, address, "Kestle Beacon", "47 12.354 N, 31 01.920 W")
    page.get_by_role("link", name="Add a measured course").click()
    fill(page, "course", name="Pier to Beacon")
    page.get_by_role("button", name="Keep this course").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pier to Beacon")
    expect(page.locator(".sub")).to_contain_text("064.3°T")


def judge_and_begin(page: Page) -> None:
    """Ask the judge of the course on the page, and begin a trial there."""
    fill(page, "plan", set="64", drift="0.4", runs="4")
    page.get_by_role("button", name="Judge again").click()
    expect(page.locator(".answer")).to_contain_text("The factor is expected to within")
    page.get_by_role("link", name="Begin a trial here").click()
    fill(page, "trial", steering="track held", crew="Ines, Bram")
    page.get_by_role("button", name="Begin this trial").click()
    expect(page.locator(".answer")).to_contain_text("No factor yet")


def make_two_runs(page: Page) -> str:
    """Write a pair of runs down, the second with a slip that is mended on the page, and return the factor."""
    add_run(page, "out", "8:42", "6.3 6.4 6.3", "055")
    expect(page.get_by_role("status")).to_be_visible()
    add_run(page, "back", "8:o3", "6.3 6.3 6.3", "253")
    expect(page.get_by_role("alert")).to_be_focused()
    assert page.locator("#run-readings").input_value() == "6.3 6.3 6.3"
    page.get_by_role("alert").get_by_role("link").first.click()
    page.locator("#run-elapsed").fill("8:03")
    page.get_by_role("button", name="Add this run").click()
    see_charts(page)
    return page.locator(".answer .big").inner_text().split(" ")[0]


@SIZES
@THEMES
def test_the_main_job_from_marks_to_report(page: Page, empty: str, size: tuple[int, int], theme: str) -> None:
    """Boat, marks, course, judge, trial, runs, factor, in force, taken away and used, as a skipper goes through it."""
    watch = Watch()
    watch.on(page)
    dress(page, empty, size, theme)
    fit_out(page, empty)
    judge_and_begin(page)
    factor = make_two_runs(page)
    assert 0.9 < float(factor) < 0.97
    page.get_by_role("link", name=f"Put {factor} in force").click()
    page.get_by_role("button", name="Put it in force").click()
    expect(page.get_by_role("banner")).to_contain_text(f"factor {float(factor):.3f}")
    with page.expect_download() as taken:
        page.get_by_role("link", name="Report, PDF").first.click()
    assert Path(taken.value.path()).read_bytes().startswith(b"%PDF-")
    page.get_by_role("link", name="log", exact=True).click()
    fill(page, "use", indicated="6.3")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".answer .big")).to_contain_text("kn")
    true_kn = float(page.locator(".answer .big").inner_text().split(" ")[0])
    assert true_kn == pytest.approx(6.3 * float(factor), abs=0.02)
    assert watch.complaints == []


def test_the_job_can_be_done_without_scripts(browser: Browser, empty: str) -> None:
    """With scripts off every form, fold and the theme must still work."""
    context = browser.new_context(java_script_enabled=False)
    try:
        page = context.new_page()
        page.goto(empty)
        page.locator("#welcome-boat").fill("Dunlin")
        page.get_by_role("button", name="Begin this workbook").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("log")
        page.get_by_role("button", name="Night").click()
        expect(page.locator("html")).to_have_attribute("data-theme", "night")
        expect(page.get_by_role("heading", level=1)).to_have_text("log")
    finally:
        context.close()
