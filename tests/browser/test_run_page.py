"""The run page by touch on a phone: a whole trial with the laptop gone in the middle, and every way to lose a tap."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.browser.cockpit import Laptop, RunPhone, begin_trial
from tests.browser.looks import Watch, brightness_of, misfits_of
from tests.browser.test_pages import NIGHT_LUMINANCE
from truemile.workbook import log_trials
from truemile.workbook.clock import utc_now
from truemile.workbook.entries import RunEntry

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


def test_a_whole_trial_with_the_laptop_gone_in_the_middle(
    laptop: Laptop, phone: RunPhone, handset: BrowserContext
) -> None:
    """START with the laptop, network and laptop gone, the rest without; then all arrives and the factor appears."""
    phone.open(laptop.address)
    expect(phone.part("course")).to_contain_text("Short, 0.050 nm")
    phone.tap("start")
    phone.state("running")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    handset.set_offline(offline=True)
    laptop.off()
    phone.faster()
    phone.read(2)
    expect(phone.part("standing")).to_contain_text("2 taps kept here, waiting for the laptop.")
    expect(phone.part("readings-where")).to_have_text("Readings: 2 kept here.")
    time.sleep(5.0)
    phone.stop()
    time.sleep(1.6)
    phone.tap("keep")
    phone.state("ready")
    expect(phone.part("result")).to_contain_text("1 run more: waiting for the laptop to work it out.")
    expect(phone.part("back")).to_have_attribute("aria-pressed", "true")
    handset.set_offline(offline=False)
    again = RunPhone(handset.new_page()).open(laptop.address)
    expect(again.part("standing")).to_contain_text("4 taps kept here")
    again.run()
    laptop.on()
    expect(again.part("standing")).to_have_text("All taps are on the laptop.", timeout=40_000)
    expect(again.part("result").locator(".big")).to_have_text(re.compile(r"^[01]\.\d+ ± [0-9.]+$"))
    expect(phone.part("result").locator(".big")).to_be_visible(timeout=30_000)
    kept = {tap["id"]: tap for tap in again.kept_taps()}
    assert {tap["where"] for tap in kept.values()} == {"laptop"}
    assert {tap.id: tap.pressed_at_ms for tap in laptop.taps} == {
        key: tap["pressed_at_ms"] for key, tap in kept.items()
    }
    trial = log_trials.trial(laptop.workbook, 1)
    assert [run.run.direction.value for run in trial.runs] == ["out", "back"]
    assert [run.run.speed_readings_kn for run in trial.runs] == [(15.0, 15.0), (15.0, 15.0)]


def test_a_press_is_stamped_when_it_is_made(laptop: Laptop, phone: RunPhone) -> None:
    """The tap must carry the wall clock of the touch itself, however long the page is busy before it gets there."""
    phone.open(laptop.address)
    phone.page.evaluate(
        """() => document.addEventListener('pointerdown', (event) => {
          window.stamp = performance.timeOrigin + event.timeStamp;
          const until = performance.now() + 700;
          while (performance.now() < until);
        }, { capture: true, once: true })"""
    )
    phone.tap("start")
    phone.state("running")
    (start,) = [tap for tap in phone.kept_taps() if tap["kind"] == "start"]
    assert start["pressed_at_ms"] == pytest.approx(phone.page.evaluate("window.stamp"), abs=20.0)


def test_a_double_press_is_one_and_a_short_run_is_asked_about(laptop: Laptop, phone: RunPhone) -> None:
    """Two touches of START make one run; an early STOP asks, and the time of its first touch is what counts."""
    phone.open(laptop.address)
    box = phone.part("start").bounding_box()
    assert box is not None
    for _ in range(2):
        phone.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    phone.state("running")
    expect(phone.part("sure")).to_be_hidden()
    time.sleep(1.6)
    phone.tap("stop")
    first = time.time() * 1000.0
    expect(phone.part("sure")).to_contain_text("Press STOP again if the run is over.")
    assert [tap["kind"] for tap in phone.kept_taps()] == ["start", "direction"]
    time.sleep(1.0)
    phone.tap("stop")
    phone.state("stopped")
    stop = phone.kept_taps()[-1]
    assert stop["kind"] == "stop"
    assert stop["pressed_at_ms"] == pytest.approx(first, abs=400.0)


def test_a_question_about_stop_is_forgotten_after_a_while(laptop: Laptop, phone: RunPhone) -> None:
    """If STOP was touched by mistake the run must go on, and a later touch be asked about anew."""
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    time.sleep(1.6)
    phone.tap("stop")
    expect(phone.part("sure")).to_be_visible()
    expect(phone.part("sure")).to_be_hidden(timeout=8000)
    phone.state("running")
    assert "stop" not in [tap["kind"] for tap in phone.kept_taps()]


def test_the_last_press_can_be_taken_back_and_nothing_is_deleted(laptop: Laptop, phone: RunPhone) -> None:
    """A reading, STOP and a whole run are taken back by one press each; every tap stays on phone and laptop."""
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    phone.faster()
    phone.read(2)
    phone.part("undo").tap()
    expect(phone.part("readings").locator("li")).to_have_count(1)
    time.sleep(1.5)
    phone.stop()
    expect(phone.part("undo")).to_have_text("Take back: STOP")
    phone.tap("undo")
    phone.state("running")
    time.sleep(5.0)
    phone.stop()
    time.sleep(1.6)
    phone.tap("keep")
    phone.state("ready")
    expect(phone.part("undo")).to_contain_text("Make the last run void")
    phone.tap("undo")
    expect(phone.part("runs")).to_contain_text("void")
    expect(phone.part("undo")).to_have_text("Take back: Run void")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    assert log_trials.trial(laptop.workbook, 1).runs == ()
    phone.tap("undo")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    expect(phone.part("runs")).not_to_contain_text("void")
    time.sleep(0.5)
    (run,) = log_trials.trial(laptop.workbook, 1).runs
    assert run.run.speed_readings_kn == (15.0,)
    assert len(laptop.taps) == len(phone.kept_taps()) == 11


def test_a_page_that_cannot_keep_anything_says_so_and_does_not_pretend(laptop: Laptop, phone: RunPhone) -> None:
    """Without the browser's storage the page must say in words that nothing is kept, and START must begin no run."""
    phone.page.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { value: {"
        " open() { throw new DOMException('', 'SecurityError'); } } })"
    )
    phone.page.goto(f"{laptop.address}/trials/1/run")
    expect(phone.part("trouble")).to_contain_text("This page cannot keep anything")
    expect(phone.part("trouble")).to_contain_text("on paper")
    phone.tap("start")
    expect(phone.part("trouble")).to_contain_text("START at")
    expect(phone.part("page")).to_have_attribute("data-state", "ready")


def test_a_full_phone_says_which_press_is_not_kept(laptop: Laptop, phone: RunPhone) -> None:
    """When the storage fills up in the middle of a run, the press and its time must be named as not kept."""
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    phone.page.evaluate(
        "() => { IDBObjectStore.prototype.add = () => { throw new DOMException('', 'QuotaExceededError'); }; }"
    )
    phone.tap("read")
    expect(phone.part("trouble")).to_contain_text("is NOT kept: the storage of this device is full.")
    expect(phone.part("trouble")).to_contain_text("Log read 5 at ")
    expect(phone.part("readings").locator("li")).to_have_count(0)


def test_answers_that_are_lost_leave_each_tap_once(laptop: Laptop, phone: RunPhone) -> None:
    """If the laptop keeps the taps and its answer is lost twice, they are sent again and stand there once."""
    lost: list[str] = []

    def lose(route: Route) -> None:
        if len(lost) >= 2:
            route.continue_()
            return
        lost.append(route.request.post_data or "")
        headers = {"content-type": "application/json", "origin": laptop.address}
        body = (route.request.post_data or "").encode()
        with urlopen(Request(route.request.url, data=body, headers=headers)) as answer:  # noqa: S310 - our own server
            assert answer.status == 200
        route.abort()

    phone.page.route("**/capture/taps", lose)
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    expect(phone.part("standing")).to_contain_text("waiting for the laptop.")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.", timeout=20_000)
    assert len(lost) == 2
    assert sorted(tap.id for tap in laptop.taps) == sorted(tap["id"] for tap in phone.kept_taps())


@pytest.mark.parametrize("answer", ['{"acknowledged": [], "refused": []}', "{}", "<html>", "", '{"acknowledged": 3}'])
def test_an_answer_that_acknowledges_nothing_is_not_taken_for_one(laptop: Laptop, phone: RunPhone, answer: str) -> None:
    """Whatever stands between phone and laptop may answer 200; only an acknowledged tap is on the laptop."""
    asked: list[int] = []

    def pretend(route: Route) -> None:
        asked.append(1)
        route.fulfill(status=200, content_type="application/json", body=answer)

    phone.page.route("**/capture/taps", pretend)
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    expect(phone.part("standing")).to_contain_text("2 taps kept here")
    time.sleep(2.5)
    assert len(asked) <= 5
    assert {tap["where"] for tap in phone.kept_taps()} == {"here"}


def test_two_tabs_show_one_run_and_post_each_tap_once(laptop: Laptop, phone: RunPhone, handset: BrowserContext) -> None:
    """What is pressed in one tab must appear in the other, and both together must leave each tap once."""
    phone.open(laptop.address)
    other = RunPhone(handset.new_page()).open(laptop.address)
    phone.page.bring_to_front()
    phone.tap("start")
    other.state("running")
    other.page.bring_to_front()
    other.read(1)
    expect(phone.part("readings").locator("li")).to_have_count(1)
    expect(other.part("standing")).to_have_text("All taps are on the laptop.")
    assert sorted(tap.id for tap in laptop.taps) == sorted(tap["id"] for tap in phone.kept_taps())


def test_the_offset_of_the_phones_clock_is_measured_and_goes_with_each_tap(tmp_path: Path, phone: RunPhone) -> None:
    """Against a laptop whose clock is 7.5 s ahead, the offset must come out within its own 95 % limits."""
    begin_trial(tmp_path / "dunlin.truemile")

    def ahead() -> datetime:
        return utc_now() + timedelta(seconds=7.5)

    laptop = Laptop(tmp_path / "dunlin.truemile", clock=ahead).on()
    try:
        phone.open(laptop.address)
        time.sleep(1.5)
        phone.tap("start")
        phone.state("running")
        start = phone.kept_taps()[0]
    finally:
        laptop.off()
    assert start["clock_offset_u_ms"] < 50.0
    assert abs(start["clock_offset_ms"] - 7500.0) < 2.0 * start["clock_offset_u_ms"] + 2.0


def test_the_next_run_is_preset_to_the_other_way(laptop: Laptop, phone: RunPhone, handset: BrowserContext) -> None:
    """After a run out, whoever made it, the page must stand at back, and a choice of the hand must hold."""
    log_trials.record_run(laptop.workbook, 1, RunEntry(direction="out", elapsed="8 s", readings="15 15"))
    phone.open(laptop.address)
    expect(phone.part("back")).to_have_attribute("aria-pressed", "true")
    phone.tap("out")
    again = RunPhone(handset.new_page()).open(laptop.address)
    expect(again.part("back")).to_have_attribute("aria-pressed", "true")
    expect(phone.part("out")).to_have_attribute("aria-pressed", "true")
    phone.tap("start")
    again.state("running")
    expect(again.part("out")).to_have_attribute("aria-pressed", "true")


def test_a_lost_or_withdrawn_trial_is_told_and_taps_are_kept(laptop: Laptop, phone: RunPhone) -> None:
    """For a trial that the laptop does not have, or took out of use, the page must say so and keep every tap."""
    phone.open(laptop.address, trial=77)
    expect(phone.part("doubt")).to_contain_text("The laptop has no such trial")
    phone.tap("start")
    phone.state("running")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    log_trials.withdraw_trial(laptop.workbook, 1)
    phone.open(laptop.address)
    expect(phone.part("doubt")).to_contain_text("This trial was withdrawn")


def test_a_run_that_cannot_be_right_says_so_on_the_phone(
    laptop: Laptop, phone: RunPhone, handset: BrowserContext
) -> None:
    """A run that the laptop refuses must say why beside it, also when the page is opened again; its taps are kept."""
    phone.open(laptop.address)
    phone.tap("start")
    phone.state("running")
    phone.read(1)
    time.sleep(1.5)
    phone.stop()
    time.sleep(1.6)
    phone.tap("keep")
    phone.state("ready")
    expect(phone.part("runs")).to_contain_text("Not among the runs of the trial:")
    expect(RunPhone(handset.new_page()).open(laptop.address).part("runs")).to_contain_text("Not among the runs")
    assert log_trials.trial(laptop.workbook, 1).runs == ()
    assert len(laptop.taps) == 5


def test_counter_engine_compass_and_crew_are_noted(laptop: Laptop, phone: RunPhone) -> None:
    """Digits are set by presses alone, with the carry of a counter; names are offered and go with the run."""
    phone.open(laptop.address)
    phone.page.get_by_text("Engine setting, and who does what").tap()
    phone.part("helm").fill("Bram")
    phone.part("noted_by").fill("Ines")
    phone.part("group").fill("slow")
    assert phone.page.locator("datalist option").evaluate_all("all => all.map(each => each.value)") == ["Ines", "Bram"]
    phone.tap("start")
    phone.state("running")
    phone.page.get_by_text("Counter, engine, compass").tap()
    counter = phone.part("log_start")
    counter.get_by_role("button", name="tens, one more").tap()
    counter.get_by_role("button", name="hundredths, one less").tap()
    phone.tap("note-log_start")
    expect(phone.part("state-log_start")).to_contain_text("Noted: 9.99")
    expect(phone.part("compass").locator(".figure")).to_have_text(["0", "6", "4"])
    phone.part("compass").get_by_role("button", name="ones, one more").tap()
    phone.tap("note-compass")
    for _ in range(2):
        phone.part("rpm").get_by_role("button", name="thousands, one more").tap()
    phone.tap("note-rpm")
    counter = phone.part("log_stop")
    counter.get_by_role("button", name="tens, one more").tap()
    for _ in range(4):
        counter.get_by_role("button", name="hundredths, one more").tap()
    phone.tap("note-log_stop")
    time.sleep(6.0)
    phone.stop()
    time.sleep(1.6)
    phone.tap("keep")
    phone.state("ready")
    expect(phone.part("standing")).to_have_text("All taps are on the laptop.")
    (run,) = log_trials.trial(laptop.workbook, 1).runs
    assert (run.run.log_start_nm, run.run.log_stop_nm) == (9.99, 10.04)
    assert (run.run.heading_compass_deg, run.run.engine_rpm) == (65.0, 2000.0)
    assert (run.helm, run.noted_by, run.run.speed_group) == ("Bram", "Ines", "slow")


@THEMES
def test_the_run_page_fits_the_hand_in_every_state(
    laptop: Laptop, phone: RunPhone, handset: BrowserContext, axe_findings: Callable[[Page], list[str]], theme: str
) -> None:
    """Ready, running, stopped and kept: axe finds nothing, nothing overflows, presses are large, night is dim."""
    handset.add_cookies([{"name": "theme", "value": theme, "url": laptop.address}])
    watch = Watch()
    watch.on(phone.page)
    phone.open(laptop.address)
    found: list[str] = []

    def look(state: str) -> None:
        expect(phone.part("page")).to_have_attribute("data-state", state)
        phone.page.evaluate("() => { for (const each of document.querySelectorAll('details')) each.open = true; }")
        found.extend([*misfits_of(phone.page), *(f"{state}: {finding}" for finding in axe_findings(phone.page))])
        for mark in ("start", "stop", "keep"):
            box = phone.part(mark).bounding_box() if phone.part(mark).is_visible() else None
            assert box is None or box["height"] >= 96.0
        elapsed = phone.part("elapsed").bounding_box()
        assert elapsed is not None
        assert elapsed["height"] >= 96.0
        if theme == "night":
            brightest, not_red = brightness_of(phone.page)
            assert brightest < NIGHT_LUMINANCE
            assert not_red == 0

    look("ready")
    phone.tap("start")
    phone.state("running")
    phone.read(2)
    look("running")
    time.sleep(1.5)
    phone.stop()
    look("stopped")
    time.sleep(1.6)
    phone.tap("keep")
    look("ready")
    assert found == []
    assert [each for each in watch.complaints if not any(sign in each for sign in GONE)] == []
