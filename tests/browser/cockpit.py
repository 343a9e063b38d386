"""A laptop that can be switched off and on again at one address, and a phone that touches its run page."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import Page, expect

from truemile.web.app import create_app
from truemile.web.crew.app import create_crew_app
from truemile.web.crew.link import CrewLink
from truemile.workbook import boats, courses, instruments, log_trials
from truemile.workbook.clock import utc_now
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, SettingEntry, TrialEntry
from truemile.workbook.store import Workbook
from truemile.workbook.tap_runs import Tap
from truemile.workbook.taps import taps

PATIENCE_S = 20.0
#: The shortest course there is, run in 8 s at 22.5 kn with a log that shows 15: a test has no quarter of an hour.
COURSE_NM = "0.0500"
RUN_S = 8.0
STEP_KN = "1"


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def begin_trial(file: Path) -> None:
    """Make a workbook with a boat, her log, a course and a trial without runs."""
    with Workbook.create(file) as workbook:
        boats.add_boat(workbook, BoatEntry(name="Dunlin"))
        instruments.add_log(workbook, LogEntry(name="log", boat="1", speed_resolution=STEP_KN))
        instruments.record_setting(workbook, 1, SettingEntry(value="1.00", convention="multiplier"))
        courses.add_course(workbook, CourseEntry(name="Short", distance=COURSE_NM, course_true="064"))
        log_trials.start_trial(workbook, TrialEntry(instrument="1", course="1", crew="Ines, Bram"))


@dataclass
class Laptop:
    """The laptop's own pages or its crew link, served at one address whenever it is on."""

    file: Path
    crew: bool = False
    clock: Callable[[], datetime] = utc_now
    port: int = field(default_factory=free_port)
    _server: uvicorn.Server | None = None
    _thread: threading.Thread | None = None
    _workbook: Workbook | None = None

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def workbook(self) -> Workbook:
        """Its workbook, while it is on."""
        assert self._workbook is not None
        return self._workbook

    @property
    def taps(self) -> tuple[Tap, ...]:
        """The taps that it has of the first trial."""
        with Workbook.open(self.file) as workbook:
            return taps(workbook, 1)

    def on(self) -> Laptop:
        """Switch it on."""
        self._workbook = Workbook.open(self.file)
        make: Any = create_crew_app if self.crew else create_app
        more = {"hosts": ["127.0.0.1"]} if self.crew else {"crew": CrewLink(self.port, lambda: ("127.0.0.1",))}
        app = make(self._workbook, clock=self.clock, **more)
        config = uvicorn.Config(
            app, port=self.port, lifespan="off", ws="none", log_level="error", timeout_graceful_shutdown=1
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        until = time.monotonic() + PATIENCE_S
        while not self._server.started and time.monotonic() < until:
            time.sleep(0.02)
        assert self._server.started
        return self

    def off(self) -> None:
        """Switch it off."""
        if self._server is None or self._thread is None:
            return
        self._server.should_exit = True
        self._thread.join(PATIENCE_S)
        self.workbook.close()
        self._server = None


@dataclass
class RunPhone:
    """A phone with the run page open."""

    page: Page

    def part(self, name: str) -> Any:
        """Return a part of the page."""
        return self.page.locator(f"[data-part='{name}']")

    def open(self, address: str, trial: int = 1) -> RunPhone:
        """Open the run page and wait until it has found what it keeps."""
        self.page.goto(f"{address}/trials/{trial}/run")
        self.ready()
        return self

    def ready(self) -> None:
        """Wait until the page has looked what is kept."""
        expect(self.part("page")).to_have_attribute("data-ready", "yes")

    def tap(self, name: str) -> None:
        """Touch a part."""
        self.part(name).tap()

    def state(self, state: str) -> None:
        """Wait for the page to be ready, running or stopped."""
        expect(self.part("page")).to_have_attribute("data-state", state)

    def faster(self) -> None:
        """Step the reading up to 15 kn."""
        while self.part("speed").inner_text() != "15":
            self.tap("faster")

    def read(self, times: int) -> None:
        """Note the speed so often."""
        for count in range(1, times + 1):
            self.tap("read")
            expect(self.part("readings").locator("li")).to_have_count(count)

    def run(self, seconds: float = RUN_S) -> None:
        """Make a whole run over the short course, with two readings of 15 kn."""
        self.tap("start")
        began = time.monotonic()
        self.state("running")
        self.faster()
        self.read(2)
        time.sleep(max(0.0, seconds - (time.monotonic() - began)))
        self.stop()
        time.sleep(1.6)  # longer than a double press
        self.tap("keep")
        self.state("ready")

    def stop(self) -> None:
        """Press STOP, and once more because the run was short."""
        self.tap("stop")
        expect(self.part("sure")).to_be_visible()
        self.tap("stop")
        self.state("stopped")

    def kept_taps(self) -> list[dict[str, Any]]:
        """Return the taps in the browser's own database."""
        found: list[dict[str, Any]] = self.page.evaluate(
            """() => new Promise((resolve, reject) => {
              const opened = indexedDB.open('truemile-capture');
              opened.onerror = () => reject(opened.error);
              opened.onsuccess = () => {
                const asked = opened.result.transaction('taps').objectStore('taps').getAll();
                asked.onsuccess = () => { opened.result.close(); resolve(asked.result); };
              };
            })"""
        )
        return found
