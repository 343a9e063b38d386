"""Simulate thousands of log trials from a stated truth, and count how often the 95 % interval holds it.

For each scenario the tables give the share of trials whose interval holds the true factor, the mean error (bias) of the
estimate and of the hand mean, the root of the mean squared error, and the mean ± stated. Run it with::

    python bench/coverage.py                        # some minutes on two cores
    python bench/coverage.py --trials 200 --only round
    python bench/coverage.py --trials 4000 --write docs/explanation/does-the-plus-minus-tell-the-truth.md
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

import numpy as np
from scenarios import COURSES, ROUNDS, WARNED, Course, Round, Scenario
from simulated import TRACK_DEG, simulate_course, simulate_round

from truemile.core.ground_vectors import VectorConditions
from truemile.core.log_runs import Conditions, Steering
from truemile.core.log_trial import analyse_trial
from truemile.core.measured_course import charted_course
from truemile.core.vector_round import solve_round

ALL: tuple[Scenario, ...] = (*COURSES, *ROUNDS, *WARNED)
CHUNK = 50
#: Between these lines the page is written by this program.
BEGIN, END = "<!-- table: {} -->", "<!-- end of table -->"


@dataclass(slots=True)
class Tally:
    """Errors and stated uncertainties of a scenario's trials, in parts of the true factor; the offset in degrees."""

    error: list[float] = field(default_factory=list)
    expanded: list[float] = field(default_factory=list)
    hand_error: list[float] = field(default_factory=list)
    offset_error: list[float] = field(default_factory=list)
    offset_expanded: list[float] = field(default_factory=list)

    def take(self, other: Tally) -> None:
        """Add another's."""
        for each in fields(self):
            getattr(self, each.name).extend(getattr(other, each.name))


@dataclass(frozen=True, slots=True)
class Row:
    """What one scenario shows."""

    table: str
    name: str
    runs: str
    trials: int
    covered_percent: float
    bias_percent: float
    rms_percent: float
    mean_expanded_percent: float
    hand_bias_percent: float | None
    hand_rms_percent: float | None
    offset_covered_percent: float | None
    note: str


def try_course(scenario: Course, rng: np.random.Generator, found: Tally) -> None:
    """Make one trial over a course and note its errors."""
    truth, runs = simulate_course(scenario, rng)
    course = charted_course("simulated", scenario.length_nm, scenario.precision_nm, course_true_deg=TRACK_DEG)
    conditions = Conditions(
        steering=Steering.TRACK_HELD if scenario.track_held else Steering.HEADING_HELD,
        speed_resolution_kn=scenario.speed_digit_kn,
        distance_resolution_nm=scenario.counter_digit_nm,
        tide_amplitude_kn=1.0 if scenario.tide_kn else 0.0,
    )
    result = analyse_trial(course, runs, conditions)
    true = truth.factor(result.quoted_at_kn)
    found.error.append(result.factor / true - 1.0)
    found.hand_error.append(result.hand_factor / true - 1.0)
    found.expanded.append(result.expanded / true)


def try_round(scenario: Round, rng: np.random.Generator, found: Tally) -> None:
    """Make one vector round and note its errors."""
    truth, legs = simulate_round(scenario, rng)
    conditions = VectorConditions(
        speed_resolution_kn=scenario.digit_kn,
        sog_resolution_kn=scenario.digit_kn,
        cog_resolution_deg=scenario.course_digit_deg,
        heading_resolution_deg=scenario.heading_digit_deg,
        tide_amplitude_kn=1.0 if scenario.tide_kn else 0.0,
    )
    result = solve_round(legs, conditions)
    true = truth.factor(0.0)
    found.error.append(result.factor / true - 1.0)
    found.expanded.append(result.expanded / true)
    if result.offset_budget is not None:
        found.offset_error.append((result.offset_budget.value - truth.offset_deg + 180.0) % 360.0 - 180.0)
        found.offset_expanded.append(result.offset_budget.expanded)


def tally(task: tuple[int, int, int]) -> tuple[int, Tally]:
    """Work out one chunk of one scenario's trials."""
    index, chunk, trials = task
    scenario = ALL[index]
    rng = np.random.default_rng([20260514, index, chunk])
    found = Tally()
    for _ in range(trials):
        if isinstance(scenario, Course):
            try_course(scenario, rng, found)
        else:
            try_round(scenario, rng, found)
    return index, found


def row_of(index: int, found: Tally) -> Row:
    """Return what the trials of a scenario show."""
    scenario = ALL[index]
    error, expanded, hand = (np.asarray(v) for v in (found.error, found.expanded, found.hand_error))
    offset = np.abs(found.offset_error) <= np.asarray(found.offset_expanded)
    return Row(
        table="course" if scenario in COURSES else "round" if scenario in ROUNDS else "warned",
        name=scenario.name,
        runs=_runs(scenario),
        trials=error.size,
        covered_percent=100.0 * float(np.mean(np.abs(error) <= expanded)),
        bias_percent=100.0 * float(error.mean()),
        rms_percent=100.0 * float(np.sqrt(np.mean(error**2))),
        mean_expanded_percent=100.0 * float(expanded.mean()),
        hand_bias_percent=100.0 * float(hand.mean()) if hand.size else None,
        hand_rms_percent=100.0 * float(np.sqrt(np.mean(hand**2))) if hand.size else None,
        offset_covered_percent=100.0 * float(offset.mean()) if offset.size else None,
        note=scenario.note,
    )


def _runs(scenario: Scenario) -> str:
    if isinstance(scenario, Round):
        return str(len(scenario.headings_deg))
    speeds = len(scenario.speeds_kn)
    return f"{speeds} × {scenario.runs}" if speeds > 1 else str(scenario.runs)


def measure(trials: int, only: str, jobs: int) -> list[Row]:
    """Return a row for each scenario whose table or name holds the word."""
    chosen = [i for i, s in enumerate(ALL) if only in s.name or only == _kind(s)]
    chunks = max(1, math.ceil(trials / CHUNK))
    tasks = [(i, chunk, min(CHUNK, trials - chunk * CHUNK)) for i in chosen for chunk in range(chunks)]
    tallies = {i: Tally() for i in chosen}
    with ProcessPoolExecutor(jobs) as pool:
        for i, part in pool.map(tally, tasks, chunksize=4):
            tallies[i].take(part)
    return [row_of(i, tallies[i]) for i in chosen]


def _kind(scenario: Scenario) -> str:
    return "warned" if scenario in WARNED else "course" if isinstance(scenario, Course) else "round"


HEADS = ("what was simulated", "runs", "in 95 %", "bias %", "rms %", "mean ± %", "hand bias %", "hand rms %")


def cells(row: Row) -> tuple[str, ...]:
    """Return a row as text; a note stands behind the name."""
    optional = ["" if v is None else f"{v:+.2f}" for v in (row.hand_bias_percent,)]
    optional += ["" if row.hand_rms_percent is None else f"{row.hand_rms_percent:.2f}"]
    if row.table == "round":
        optional = ["" if row.offset_covered_percent is None else f"{row.offset_covered_percent:.1f}"]
    name = f"{row.name} ({row.note})" if row.note else row.name
    figures = (f"{row.bias_percent + 0.0:+.3f}", f"{row.rms_percent:.2f}", f"{row.mean_expanded_percent:.2f}")
    return (name, row.runs, f"{row.covered_percent:.1f}", *figures, *optional)


def heads(table: str) -> tuple[str, ...]:
    """Return the heads of a table."""
    return (*HEADS[:1], "legs", *HEADS[2:6], "offset in 95 %") if table == "round" else HEADS


def print_tables(rows: list[Row]) -> None:
    """Print percent of the true factor, one line a scenario."""
    for table in ("course", "round", "warned"):
        lines = [heads(table), *(cells(row) for row in rows if row.table == table)]
        if len(lines) == 1:
            continue
        wide = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
        print()
        for line in lines:
            print("  ".join(c.rjust(w) if i else c.ljust(w) for i, (c, w) in enumerate(zip(line, wide, strict=True))))


def markdown(rows: Iterable[Row], table: str) -> str:
    """Return a table for the page."""
    lines = [heads(table), ("---", *["--:"] * (len(heads(table)) - 1))]
    lines += [cells(row) for row in rows if row.table == table]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def write_page(page: Path, rows: list[Row]) -> None:
    """Put the tables in their places on the page."""
    text = page.read_text(encoding="utf-8")
    for table in ("course", "round", "warned"):
        head, begin, rest = text.partition(BEGIN.format(table))
        _, end, tail = rest.partition(END)
        if not begin or not end:
            sys.exit(f"{page} has no place for the table {table!r}")
        text = f"{head}{begin}\n\n{markdown(rows, table)}\n\n{end}{tail}"
    page.write_text(text, encoding="utf-8")


def main() -> None:
    """Measure, print, and write the page if asked to."""
    parser = argparse.ArgumentParser(description="Coverage of the log factor's 95 % interval in simulated trials.")
    parser.add_argument("--trials", type=int, default=1000, help="trials a scenario")
    parser.add_argument("--only", default="", help="course, round, warned, or scenarios whose name holds this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--write", type=Path, metavar="PAGE", help="put the tables in their places on this page")
    given = parser.parse_args()
    began = time.perf_counter()
    rows = measure(given.trials, given.only, given.jobs)
    if not rows:
        sys.exit(f"no scenario is called {given.only!r}")
    if given.json:
        print(json.dumps([asdict(row) for row in rows], indent=2))
        return
    print_tables(rows)
    print(f"\n{sum(r.trials for r in rows)} trials in {time.perf_counter() - began:.0f} s")
    if given.write:
        write_page(given.write, rows)


if __name__ == "__main__":
    main()
