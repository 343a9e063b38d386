"""Measure what is promised about speed, and print each figure beside its promise.

Run it with::

    python bench/speed.py

Commands are timed as processes, from start to exit; pages as the server's own time, in process, over the demo workbook.
The first answer of a process is not counted for pages: it fills caches that stay.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import httpx

from truemile.reports import correction_card, trial_report
from truemile.web.app import create_app
from truemile.workbook.demo import make_demo
from truemile.workbook.store import Workbook

HELP_S, CALCULATION_S, PAGE_S, SHEET_S = 0.3, 1.0, 0.1, 1.0
RUNS = ("--run", "out 9:52 6.4 6.3 6.4 6.4", "--run", "back 10:35 6.3 6.4 6.4 6.3", "--run", "out 9:58 6.4 6.3 6.4")
READ_AT = "2026-05-20T12:00Z"


@dataclass(frozen=True, slots=True)
class Figure:
    """One thing that was timed: the middle and the slowest of some repetitions, beside what is promised."""

    what: str
    times: int
    median_s: float
    slowest_s: float
    promise_s: float

    @property
    def ratio(self) -> float:
        """Part of the promise that is used up; above 1 it is broken."""
        return self.median_s / self.promise_s


def timed(what: str, promise_s: float, times: int, do: Callable[[], object]) -> Figure:
    """Time something several times."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        do()
        taken.append(time.perf_counter() - began)
    return Figure(what, times, statistics.median(taken), max(taken), promise_s)


def commands(folder: Path, demo: Path, times: int) -> Iterator[Figure]:
    """Time the command as a skipper starts it."""
    environment = {**os.environ, "TRUEMILE_WORKBOOK": str(demo), "XDG_DATA_HOME": str(folder)}

    def run(*words: str) -> None:
        subprocess.run(
            [sys.executable, "-m", "truemile", *words], env=environment, check=True, capture_output=True, text=True
        )

    for words, promise in (
        (("--help",), HELP_S),
        (("log", "--help"), HELP_S),
        (("log", "factor", "--help"), HELP_S),
        (("log", "factor", "--distance", "1.00", *RUNS), CALCULATION_S),
        (("log", "course", "--distance", "0.60", "--speed", "6"), CALCULATION_S),
        (("log", "correct", "6.3", "--at", READ_AT), CALCULATION_S),
        (("log", "trial", "show", "1"), CALCULATION_S),
    ):
        shown = " ".join(words if words[-1] == "--help" else (word for word in words[:3] if word[0] not in "-1"))
        yield timed(f"truemile {shown}", promise, times, lambda words=words: run(*words))


def pages(workbook: Workbook, times: int) -> Iterator[Figure]:
    """Time every page that can be reached from the front page by links."""
    client = httpx.AsyncClient(
        transport=httpx.ASGITransport(create_app(workbook)), base_url="http://127.0.0.1", follow_redirects=True
    )
    with asyncio.Runner() as runner:

        def get(address: str) -> httpx.Response:
            return runner.run(client.get(address))

        for address in reachable(get):
            yield timed(f"page {address}", PAGE_S, times, lambda address=address: get(address))
        runner.run(client.aclose())


def reachable(get: Callable[[str], httpx.Response], most: int = 40) -> list[str]:
    """Return the pages of this server that links lead to, each kind once."""
    waiting, seen, kinds = ["/"], [], set()
    while waiting and len(seen) < most:
        address = waiting.pop(0)
        answer = get(address)
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        if address != "/":
            seen.append(address)
        for found in re.findall(r'<a[^>]*href="(/[^"#?]*)', answer.text):
            kind = re.sub(r"[0-9a-f-]{8,}|[0-9]+", "N", found)
            if kind not in kinds and not found.endswith((".json", ".pdf", ".csv", ".svg", ".png")):
                kinds.add(kind)
                waiting.append(found)
    return seen


def sheets(workbook: Workbook, times: int) -> Iterator[Figure]:
    """Time the PDF sheets."""
    yield timed("PDF, report of a trial", SHEET_S, times, lambda: trial_report(workbook, 1))
    yield timed("PDF, correction card", SHEET_S, times, lambda: correction_card(workbook, 1))


def measure(times: int) -> list[Figure]:
    """Measure everything over a fresh demo workbook."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        demo = make_demo(folder / "demo.truemile")
        figures = list(commands(folder, demo, times))
        with Workbook.open(demo) as workbook:
            figures += pages(workbook, 2 * times)
            figures += sheets(workbook, times)
    return figures


def print_table(figures: list[Figure]) -> None:
    """Print milliseconds, one line a figure."""
    head = f"{'what':44} times  median  slowest  promise  used"
    print(f"{head}\n{'-' * len(head)}")
    for f in figures:
        broken = "  BROKEN" if f.ratio > 1 else ""
        print(
            f"{f.what[:44]:44} {f.times:5d} {1000 * f.median_s:7.0f} {1000 * f.slowest_s:8.0f}"
            f" {1000 * f.promise_s:8.0f} {100 * f.ratio:4.0f} %{broken}"
        )
    print("milliseconds")


def main() -> None:
    """Measure and print; the exit code is 1 where a promise is broken."""
    parser = argparse.ArgumentParser(description="Measure what is promised about speed.")
    parser.add_argument("--times", type=int, default=5, help="repetitions")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    figures = measure(given.times)
    if given.json:
        print(json.dumps([{**asdict(f), "ratio": f.ratio} for f in figures], indent=2))
    else:
        print_table(figures)
    if any(f.ratio > 1 for f in figures):
        sys.exit(1)


if __name__ == "__main__":
    main()
