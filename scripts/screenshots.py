"""Make the pictures of the documentation from the demo workbook: docs/img/….png.

Run it as::

    python scripts/screenshots.py

It serves the demo to a Chromium of the system, on this computer only, with the clock at a fixed day of the season.
Look at the pictures before you keep them.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, sync_playwright

from truemile.web.app import create_app
from truemile.workbook.demo import make_demo

FOLDER = Path(__file__).resolve().parents[1] / "docs" / "img"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
NOW = datetime(2026, 5, 2, 14, 32, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: its name, the page, size of the window, and theme."""

    name: str
    path: str
    width: int = 1200
    height: int = 900
    night: bool = False


PICTURES = (
    Picture("trial-laptop", "/trials/1"),
    Picture("trial-phone", "/trials/1", 390, 844),
    Picture("trial-night", "/trials/1", night=True),
    Picture("judge-laptop", "/waters/courses/1"),
)


def main() -> int:
    """Take every picture, and say which."""
    chromium = next(filter(None, map(shutil.which, BROWSERS)), None)
    if chromium is None:
        print("Chromium must be on the PATH. On Debian, as root: apt-get install chromium", file=sys.stderr)
        return 1
    FOLDER.mkdir(exist_ok=True)
    with served_demo() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        for picture in PICTURES:
            take(browser, address, picture)
            print(f"docs/img/{picture.name}.png")
        browser.close()
    return 0


def take(browser: Browser, address: str, picture: Picture) -> None:
    """Open a page and keep what a window of that size shows first."""
    context = browser.new_context(
        viewport={"width": picture.width, "height": picture.height}, locale="en-GB", timezone_id="UTC"
    )
    page = context.new_page()
    page.clock.set_fixed_time(NOW)
    if picture.night:
        context.request.post(f"{address}/theme", form={"theme": "night"}, headers={"Origin": address})
    page.goto(f"{address}{picture.path}", wait_until="networkidle")
    page.screenshot(path=FOLDER / f"{picture.name}.png", animations="disabled")
    context.close()


@contextmanager
def served_demo() -> Iterator[str]:
    """Serve the demo workbook on a free port of this computer."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(make_demo(Path(folder) / "demo.truemile"), clock=lambda: NOW)
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
        thread = threading.Thread(target=server.run)
        thread.start()
        try:
            while not server.started:
                time.sleep(0.05)
            port = server.servers[0].sockets[0].getsockname()[1]
            yield f"http://127.0.0.1:{port}"
        finally:
            server.should_exit = True
            thread.join()


if __name__ == "__main__":
    sys.exit(main())
