"""Kill server and browser in the middle of runs, a few hundred times, and look whether a tap was lost.

Run it with::

    python bench/kills.py

A real Chromium touches the run page of a real server over a real network socket. Two hands kill at random moments and
independently: one the server's process, one the whole process group of the browser, both by SIGKILL, both started again
at once. What the page *showed* of each tap is told to this script as it appears on the screen, so that nothing that was
shown can be forgotten by the killed. At the end, with both alive, three lists must agree: what was shown, what the
browser's own database holds, and what the workbook holds.

A SIGKILL is the death of a program, not of the computer: what the operating system holds in memory survives it. That
the data is also forced to the disk (strict transactions in the browser, full synchronisation in the workbook) is stated
to both stores, and not tested here.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any
from urllib.request import urlopen

from playwright.sync_api import Error as BrowserError
from playwright.sync_api import Page, Playwright, sync_playwright

from truemile.workbook import boats, courses, instruments, log_trials
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, TrialEntry
from truemile.workbook.safekeeping import check
from truemile.workbook.store import Workbook
from truemile.workbook.taps import taps

KILLS = 300
HOST = "127.0.0.1"
PATIENCE_S = 30.0
#: A life lasts so long from the moment that it can be used.
SERVER_LIFE_S = (0.02, 2.0)
BROWSER_LIFE_S = (0.1, 2.5)
SWITCHES = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--remote-debugging-port=0",
)
#: Tells this script, by its binding, of every tap on the list of the page as it appears or changes.
WATCH = """() => {
  const list = document.querySelector("[data-part='taps']");
  const tell = () => window.shown(JSON.stringify([...list.children].map((row) => ({ ...row.dataset }))));
  new MutationObserver(tell).observe(list, { childList: true, subtree: true, attributes: true });
  tell();
}"""
#: Where a press is on the screen, scrolled into view; nothing while it is hidden.
MIDDLE = """(part) => {
  const press = document.querySelector(`[data-part='${part}']`);
  press.scrollIntoView({ block: 'center' });
  const box = press.getBoundingClientRect();
  return box.width > 0 ? [box.x + box.width / 2, box.y + box.height / 2] : null;
}"""
EVERY_TAP = """() => new Promise((resolve) => {
  const opened = indexedDB.open('truemile-capture');
  opened.onsuccess = () => {
    opened.result.transaction('taps').objectStore('taps').getAll().onsuccess = (event) => resolve(event.target.result);
  };
})"""


@dataclass
class Shown:
    """What the screen said of the taps: when each was pressed, and whether it was ever said to be on the laptop."""

    pressed_at: dict[str, set[str]] = field(default_factory=dict)
    on_laptop: set[str] = field(default_factory=set)

    def take(self, rows: str) -> None:
        """Note the list of the page."""
        for row in json.loads(rows):
            self.pressed_at.setdefault(row["tap"], set()).add(row["at"])
            if row["where"] == "laptop":
                self.on_laptop.add(row["tap"])


@dataclass(frozen=True, slots=True)
class Report:
    """What came of it."""

    server_kills: int
    browser_kills: int
    kills_in_a_run: int
    taps_shown: int
    taps_shown_on_laptop: int
    taps_in_browser: int
    taps_on_laptop: int
    lost: int
    doubled: int
    changed: int
    runs_kept: int
    runs_wrong: int
    seconds: float

    @property
    def kills(self) -> int:
        """All of them."""
        return self.server_kills + self.browser_kills

    @property
    def good(self) -> bool:
        """True where nothing was lost, doubled or changed."""
        return not (self.lost or self.doubled or self.changed or self.runs_wrong)


def begin_trial(file: Path) -> None:
    """Make a workbook with a trial that has no run."""
    with Workbook.create(file) as workbook:
        boats.add_boat(workbook, BoatEntry(name="Dunlin"))
        instruments.add_log(workbook, LogEntry(name="log", boat="1"))
        courses.add_course(workbook, CourseEntry(name="Short", distance="0.0500"))
        log_trials.start_trial(workbook, TrialEntry(instrument="1", course="1"))


def serve(file: Path, port: int) -> None:
    """Start a server for each line of input and print its process; wait for it to be killed before the next.

    Only the modules are loaded beforehand: each server is a process of its own, opens the workbook anew and shares
    nothing with the one before.
    """
    import uvicorn

    from truemile.web.app import create_app

    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            with socket.create_server((HOST, port)) as listener:
                config = uvicorn.Config(
                    create_app(Workbook.open(file)), log_level="critical", ws="none", lifespan="off"
                )
                uvicorn.Server(config).run(sockets=[listener])
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)


class Server:
    """The server's process, killed and started again by its own thread."""

    def __init__(self, file: Path, chance: random.Random, kills: int, runs: Runs) -> None:
        self.chance, self.wanted, self.runs = chance, kills, runs
        with socket.create_server((HOST, 0)) as probe:
            self.port = int(probe.getsockname()[1])
        self.kills = 0
        words = [sys.executable, __file__, "--serve", str(file), str(self.port)]
        self._mother = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self._process = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._kill_on)

    def start(self) -> None:
        """Start the process and wait until it answers."""
        if self._mother.stdin is None or self._mother.stdout is None:
            raise RuntimeError("The server cannot be spoken to.")
        self._mother.stdin.write("\n")
        self._mother.stdin.flush()
        self._process = int(self._mother.stdout.readline())
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            with suppress(OSError), urlopen(f"http://{HOST}:{self.port}/capture/clock.json", timeout=2):
                return
            time.sleep(0.01)
        raise RuntimeError("The server did not start.")

    def begin(self) -> None:
        """Start it, and the hand that kills it."""
        self.start()
        self._thread.start()

    def end_killing(self) -> None:
        """Let the last life last."""
        self._thread.join()

    def end(self) -> None:
        """Stop all."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        if self._process:
            os.kill(self._process, signal.SIGKILL)
        self._mother.kill()
        self._mother.communicate()

    def _kill_on(self) -> None:
        while self.kills < self.wanted and not self._stop.wait(self.chance.uniform(*SERVER_LIFE_S)):
            os.kill(self._process, signal.SIGKILL)
            self.kills += 1
            self.runs.note_kill()
            self.start()


@dataclass
class Runs:
    """Whether a run is open, begun and not yet kept, so that kills in the middle of one can be counted."""

    open: bool = False
    killed_in_one: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def note_kill(self) -> None:
        """Count a kill."""
        with self._lock:
            self.killed_in_one += self.open


@contextmanager
def browser_process(profile: Path) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """Start a Chromium in a process group of its own; give it and the address of its debugging port."""
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        raise SystemExit("This needs Chromium on the PATH.")
    told = profile / "DevToolsActivePort"
    told.unlink(missing_ok=True)
    words = [program, *SWITCHES, f"--user-data-dir={profile}", "about:blank"]
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(words, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True)
    try:
        until = time.monotonic() + PATIENCE_S
        while not (told.exists() and told.read_text().count("\n")) and time.monotonic() < until:
            time.sleep(0.01)
        yield process, f"http://{HOST}:{told.read_text().splitlines()[0]}"
    finally:
        kill_group(process)


def kill_group(process: subprocess.Popen[bytes]) -> None:
    """Kill a process and all that it started."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def open_page(page: Page, address: str, shown: Shown) -> None:
    """Open the run page, from the server or the browser's cache, and watch its list of taps."""
    until = time.monotonic() + PATIENCE_S
    page.expose_function("shown", shown.take)
    while True:
        try:
            page.goto(f"{address}/trials/1/run", wait_until="commit")
            page.wait_for_selector("[data-ready]", state="attached", timeout=4000)
            break
        except BrowserError:
            if not page.context.pages or time.monotonic() > until:
                raise
            time.sleep(0.05)
    page.evaluate(WATCH)


def touch_on(page: Page, runs: Runs, chance: random.Random) -> None:
    """Make runs, as a hand does, until the browser is killed."""
    while True:
        state = page.evaluate("document.querySelector('[data-part=page]').dataset.state")
        runs.open = state != "ready"
        presses = {"ready": ["start"], "stopped": ["keep"]}.get(state)
        if presses is None:
            presses = chance.choices([["read"], ["faster", "read"], ["undo"], ["stop", "stop"]], (72, 15, 8, 5))[0]
        for press in presses:
            if middle := page.evaluate(MIDDLE, press):
                page.mouse.click(*middle)


def one_life(
    playwright: Playwright, profile: Path, address: str, shown: Shown, runs: Runs, chance: random.Random
) -> bool:
    """Start a browser, make runs, kill it at a random moment; return whether its page was in use then."""
    with browser_process(profile) as (process, port):
        killed = threading.Event()
        timer: threading.Timer | None = None
        try:
            browser = playwright.chromium.connect_over_cdp(port)
            page = browser.contexts[0].pages[0]
            open_page(page, address, shown)

            def kill() -> None:
                runs.note_kill()
                killed.set()
                kill_group(process)

            timer = threading.Timer(chance.uniform(*BROWSER_LIFE_S), kill)
            timer.start()
            touch_on(page, runs, chance)
        except BrowserError:
            pass  # killed in the middle of a touch
        finally:
            if timer is not None:
                timer.join()
        return killed.is_set()


def last_life(playwright: Playwright, profile: Path, address: str, shown: Shown) -> list[dict[str, Any]]:
    """Start the browser once more, wait until nothing waits in it, and return all that it keeps."""
    with browser_process(profile) as (_, port):
        page = playwright.chromium.connect_over_cdp(port).contexts[0].pages[0]
        open_page(page, address, shown)
        page.get_by_text("All taps are on the laptop.").wait_for(timeout=60_000)
        kept: list[dict[str, Any]] = page.evaluate(EVERY_TAP)
        return kept


def kill_often(kills: int, seed: int = 11) -> Report:
    """Make runs under so many kills, two thirds of them the server's, and compare what was shown with what is there."""
    began = time.monotonic()
    chance = random.Random(seed)  # noqa: S311 - spreads the kills
    shown, runs = Shown(), Runs()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, sync_playwright() as playwright:
        file = Path(folder) / "dunlin.truemile"
        begin_trial(file)
        server = Server(file, random.Random(seed + 1), kills * 2 // 3, runs)  # noqa: S311 - the same
        profile = Path(folder) / "browser"
        profile.mkdir()
        address = f"http://{HOST}:{server.port}"
        server.begin()
        browser_kills = 0
        try:
            while browser_kills < kills - kills * 2 // 3 or server.kills < server.wanted:
                browser_kills += one_life(playwright, profile, address, shown, runs, chance)
            server.end_killing()
            kept = last_life(playwright, profile, address, shown)
        finally:
            server.end()
        return compared(file, shown, kept, (server.kills, browser_kills, runs.killed_in_one), began)


def compared(file: Path, shown: Shown, kept: list[dict[str, Any]], kills: tuple[int, int, int], began: float) -> Report:
    """Compare the three lists."""
    with Workbook.open(file) as workbook:
        there = taps(workbook, 1)
        sound = check(workbook).good
        trial = log_trials.trial(workbook, 1)
    in_book = {tap.id: (tap.pressed_at_ms, tap.kind.value, tap.value, tap.run_id) for tap in there}
    in_browser = {tap["id"]: (tap["pressed_at_ms"], tap["kind"], tap["value"], tap["run_id"]) for tap in kept}
    told = {tap: float(next(iter(times))) for tap, times in shown.pressed_at.items()}
    lost = (set(told) | set(in_browser)) - set(in_book)
    lost |= (set(told) | set(in_book)) - set(in_browser)
    changed = {tap for tap, times in shown.pressed_at.items() if len(times) > 1}
    changed |= {tap for tap in in_book if in_browser.get(tap, in_book[tap]) != in_book[tap]}
    changed |= {tap for tap, at in told.items() if tap in in_book and in_book[tap][0] != at}
    wrong = [run.id for run in trial.runs if not _is_what_was_tapped(run, in_book)]
    kept_runs = {tap[3] for tap in in_book.values() if tap[1] == "keep"}
    return Report(
        *kills,
        taps_shown=len(told),
        taps_shown_on_laptop=len(shown.on_laptop),
        taps_in_browser=len(kept),
        taps_on_laptop=len(there),
        lost=len(lost),
        doubled=len(there) - len(in_book) + len(kept) - len(in_browser),
        changed=len(changed),
        runs_kept=len(trial.runs),
        runs_wrong=len(wrong) + (not sound) + len({run.id for run in trial.runs} - kept_runs),
        seconds=time.monotonic() - began,
    )


def _is_what_was_tapped(run: Any, in_book: dict[str, tuple[float, str, str, str]]) -> bool:  # noqa: ANN401 - a view
    """Tell whether a kept run has the readings and the time of its taps that were not taken back."""
    own = sorted((tap for tap in in_book.items() if tap[1][3] == run.id), key=lambda tap: tap[1][0])
    struck: set[str] = set()
    for key, (_, kind, value, _) in reversed(own):
        if kind == "strike" and key not in struck:
            struck.add(value)
    counting = [tap for key, tap in own if key not in struck]
    starts = [tap[0] for tap in counting if tap[1] == "start"]
    stops = [tap[0] for tap in counting if tap[1] == "stop" and tap[0] >= starts[-1]]
    speeds = Counter(float(tap[2]) for tap in counting if tap[1] == "speed")
    elapsed_s = (stops[0] - starts[-1]) / 1000.0
    return abs(run.run.elapsed_s - elapsed_s) < 0.001 and Counter(run.run.speed_readings_kn) == speeds


def main() -> None:
    """Kill as often as asked and print the count."""
    parser = argparse.ArgumentParser(description="Kill server and browser in the middle of runs.")
    parser.add_argument("--kills", type=int, default=KILLS)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--serve", nargs=2, metavar=("FILE", "PORT"), help="for the script itself: be the server")
    given = parser.parse_args()
    if given.serve:
        serve(Path(given.serve[0]), int(given.serve[1]))
        return
    report = kill_often(given.kills, given.seed)
    for name, value in asdict(report).items():
        print(f"{name.replace('_', ' '):24} {value:g}")
    verdict = "none lost, doubled or changed" if report.good else "FAULTY"
    print(f"{report.kills} kills, {report.taps_on_laptop} taps: {verdict}")
    sys.exit(not report.good)


if __name__ == "__main__":
    main()
