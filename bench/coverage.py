"""Simulate thousands of log trials from a stated truth, and count how often the 95 % interval holds it.

For each scenario the table gives the share of trials whose interval holds the true factor, the mean error (bias) of the
estimate and of the hand mean, the root of the mean squared error, and the mean ± stated. Run it with::

    python bench/coverage.py            # about two minutes on two cores
    python bench/coverage.py --trials 200 --only quadratic
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from truemile.core.log_factor import factor_from_runs
from truemile.core.log_runs import Conditions, Direction, Indication, Run, Steering
from truemile.core.measured_course import charted_course

START = datetime(2026, 5, 14, 9, 0, tzinfo=UTC)
CHUNK = 50


@dataclass(frozen=True, slots=True)
class Scenario:
    """A stated truth and a way of measuring it. Stream: c(t) = Σ stream_kn[j] t^j, t in hours from the first start."""

    name: str
    runs: int
    stream_kn: tuple[float, ...] = (1.2,)
    uneven_kn: float = 0.05
    speed_kn: float = 5.5
    speed_drift_kn: float = 0.1  # sd of the boat's speed from run to run
    length_nm: float = 1.0
    precision_nm: float = 0.01
    readings: int = 10
    reading_sd_kn: float = 0.1  # scatter of a reading before it is rounded
    speed_digit_kn: float = 0.1
    counter_digit_nm: float = 0.01
    counter: bool = False
    counter_zeroed: bool = False
    across_kn: float = 0.0
    track_held: bool = False
    compass_noted: bool = True
    compass_sd_deg: float = 2.0
    start_times: bool = True
    order: str = ""  # O and B for out and back; by turns if empty
    note: str = ""


@dataclass(slots=True)
class Tally:
    """Errors and stated uncertainties of a scenario's trials."""

    error: list[float] = field(default_factory=list)
    hand_error: list[float] = field(default_factory=list)
    expanded: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Row:
    """What one scenario shows."""

    name: str
    runs: int
    trials: int
    covered_percent: float
    bias: float
    hand_bias: float
    rms: float
    hand_rms: float
    mean_expanded: float
    note: str


LINEAR, QUADRATIC = (1.2, -0.7), (1.4, -0.9, 0.4)

SCENARIOS = (
    *(Scenario("constant stream, display", n) for n in (2, 3, 4, 6)),
    *(
        Scenario("linear stream, display", n, stream_kn=LINEAR, note="two runs cannot remove it" if n == 2 else "")
        for n in (2, 3, 4, 6)
    ),
    *(
        Scenario("quadratic stream, display", n, stream_kn=QUADRATIC, note="too few runs to remove it" if n < 4 else "")
        for n in (2, 3, 4, 5, 6)
    ),
    *(Scenario("steady display, linear stream", n, stream_kn=LINEAR, reading_sd_kn=0.01) for n in (3, 4, 6)),
    *(Scenario("one reading a run, linear stream", n, stream_kn=LINEAR, readings=1) for n in (3, 4)),
    *(Scenario("counter 0.01 nm, linear stream", n, stream_kn=LINEAR, counter=True) for n in (3, 4, 6)),
    Scenario("counter 0.01 nm, zeroed", 4, stream_kn=LINEAR, counter=True, counter_zeroed=True),
    Scenario("counter 0.1 nm, linear stream", 4, stream_kn=LINEAR, counter=True, counter_digit_nm=0.1),
    Scenario("counter, strong constant stream", 2, stream_kn=(2.2,), counter=True),
    Scenario("track held, stream across, compass", 4, stream_kn=LINEAR, across_kn=1.0, track_held=True),
    Scenario(
        "track held, across, no compass", 4, stream_kn=LINEAR, across_kn=0.7, track_held=True, compass_noted=False
    ),
    Scenario("heading held, stream across", 4, stream_kn=LINEAR, across_kn=1.0),
    Scenario("no start times, linear stream", 4, stream_kn=LINEAR, start_times=False),
    Scenario("out out back back", 4, stream_kn=LINEAR, order="OOBB"),
    Scenario("half a mile, 8 kn", 4, stream_kn=LINEAR, length_nm=0.5, speed_kn=8.0),
    Scenario("uneven stream 0.10 kn", 4, stream_kn=LINEAR, uneven_kn=0.10, note="the crew allowed for 0.05"),
    Scenario("uneven stream 0.10 kn", 6, stream_kn=LINEAR, uneven_kn=0.10, note="the crew allowed for 0.05"),
    Scenario("speed drifts by 0.5 kn", 4, stream_kn=LINEAR, speed_drift_kn=0.5),
)


def simulate(scenario: Scenario, rng: np.random.Generator) -> tuple[float, list[Run]]:
    """Return a true factor and the runs that a crew would have written down."""
    factor = rng.uniform(0.85, 1.10)
    length = scenario.length_nm + rng.uniform(-0.5, 0.5) * scenario.precision_nm
    order = scenario.order or ("OB" * scenario.runs)[: scenario.runs]
    clock_h, counter = 0.0, rng.uniform(1.0, 50.0)
    runs = []
    for letter in order:
        direction = Direction.OUT if letter == "O" else Direction.BACK
        water = scenario.speed_kn + rng.normal(0.0, scenario.speed_drift_kn)
        crab = math.asin(scenario.across_kn / water) if scenario.track_held else 0.0
        uneven = rng.normal(0.0, scenario.uneven_kn)
        along = [direction.sign * c for c in scenario.stream_kn]
        hours = _duration_h(length, water * math.cos(crab) + direction.sign * uneven, along, clock_h)
        runs.append(_written_down(scenario, rng, direction, clock_h, hours, water / factor, crab, counter))
        counter += (hours + 0.1) * water / factor
        clock_h += hours + rng.uniform(2.0, 8.0) / 60.0
    return factor, runs


def _duration_h(length_nm: float, own_kn: float, along_kn: list[float], start_h: float) -> float:
    """Time over the course: the root of own T + ∫ stream = length, by Newton."""
    hours = length_nm / (own_kn + along_kn[0])
    for _ in range(30):
        end = start_h + hours
        carried = sum(c * (end ** (j + 1) - start_h ** (j + 1)) / (j + 1) for j, c in enumerate(along_kn))
        speed = own_kn + sum(c * end**j for j, c in enumerate(along_kn))
        step = (length_nm - own_kn * hours - carried) / speed
        hours += step
        if abs(step) < 1e-12:
            break
    return hours


def _written_down(
    scenario: Scenario,
    rng: np.random.Generator,
    direction: Direction,
    clock_h: float,
    hours: float,
    indicated_kn: float,
    crab_rad: float,
    counter_nm: float,
) -> Run:
    elapsed = round(hours * 3600.0 + rng.uniform(-1.0, 1.0), 1)
    heading = (64.0 if direction is Direction.OUT else 244.0) + direction.sign * math.degrees(crab_rad)
    heading = round(heading + rng.normal(0.0, scenario.compass_sd_deg)) % 360.0
    speeds: tuple[float, ...] = ()
    start = stop = None
    if scenario.counter:
        first = 0.0 if scenario.counter_zeroed else counter_nm
        start = None if scenario.counter_zeroed else _shown(first, scenario.counter_digit_nm)
        stop = _shown(first + indicated_kn * hours, scenario.counter_digit_nm)
    else:
        read = indicated_kn + rng.normal(0.0, scenario.reading_sd_kn, scenario.readings)
        speeds = tuple(_shown(v, scenario.speed_digit_kn) for v in read)
    return Run(
        direction,
        elapsed,
        started_at=START + timedelta(hours=clock_h) if scenario.start_times else None,
        speed_readings_kn=speeds,
        log_start_nm=start,
        log_stop_nm=stop,
        heading_compass_deg=heading if scenario.compass_noted else None,
    )


def _shown(value: float, digit: float) -> float:
    return round(round(value / digit) * digit, 6)


def conditions_of(scenario: Scenario) -> Conditions:
    """Return what the crew knows about the way of measuring."""
    return Conditions(
        steering=Steering.TRACK_HELD if scenario.track_held else Steering.HEADING_HELD,
        speed_resolution_kn=scenario.speed_digit_kn,
        distance_resolution_nm=scenario.counter_digit_nm,
    )


def tally(task: tuple[int, int, int]) -> tuple[int, Tally]:
    """Work out one chunk of one scenario's trials."""
    index, chunk, trials = task
    scenario = SCENARIOS[index]
    rng = np.random.default_rng([20260514, index, chunk])
    course = charted_course("simulated", scenario.length_nm, scenario.precision_nm, course_true_deg=64.0)
    conditions = conditions_of(scenario)
    indication = Indication.DISTANCE if scenario.counter else Indication.SPEED
    found = Tally()
    for _ in range(trials):
        truth, runs = simulate(scenario, rng)
        result = factor_from_runs(course, runs, conditions, indication=indication)
        found.error.append(result.factor / truth - 1.0)
        found.hand_error.append(result.hand_factor / truth - 1.0)
        found.expanded.append(result.expanded / truth)
    return index, found


def row_of(scenario: Scenario, found: Tally) -> Row:
    """Return what the trials of a scenario show, relative to the true factor."""
    error, hand, expanded = (np.asarray(v) for v in (found.error, found.hand_error, found.expanded))
    return Row(
        name=scenario.name,
        runs=scenario.runs,
        trials=error.size,
        covered_percent=100.0 * float(np.mean(np.abs(error) <= expanded)),
        bias=float(error.mean()),
        hand_bias=float(hand.mean()),
        rms=float(np.sqrt(np.mean(error**2))),
        hand_rms=float(np.sqrt(np.mean(hand**2))),
        mean_expanded=float(expanded.mean()),
        note=scenario.note,
    )


def measure(trials: int, only: str, jobs: int) -> list[Row]:
    """Return a row for each scenario whose name holds the word."""
    chosen = [i for i, scenario in enumerate(SCENARIOS) if only in scenario.name]
    chunks = max(1, math.ceil(trials / CHUNK))
    tasks = [(i, chunk, min(CHUNK, trials - chunk * CHUNK)) for i in chosen for chunk in range(chunks)]
    tallies = {i: Tally() for i in chosen}
    with ProcessPoolExecutor(jobs) as pool:
        for i, part in pool.map(tally, tasks, chunksize=4):
            tallies[i].error += part.error
            tallies[i].hand_error += part.hand_error
            tallies[i].expanded += part.expanded
    return [row_of(SCENARIOS[i], tallies[i]) for i in chosen]


def print_table(rows: list[Row]) -> None:
    """Print percent of the true factor, one line a scenario."""
    print("95 % interval and errors in percent of the true factor; bias is the mean error, rms its root mean square")
    head = f"{'scenario':36} runs  in 95 %   bias    rms | hand bias    rms | mean ±  note"
    print(f"{head}\n{'-' * len(head)}")
    for r in rows:
        print(
            f"{r.name:36} {r.runs:4d}  {r.covered_percent:5.1f} {100 * r.bias:+8.3f} {100 * r.rms:6.3f} |"
            f"  {100 * r.hand_bias:+8.3f} {100 * r.hand_rms:6.3f} | {100 * r.mean_expanded:6.3f}  {r.note}".rstrip()
        )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Coverage of the log factor's 95 % interval in simulated trials.")
    parser.add_argument("--trials", type=int, default=1000, help="trials a scenario")
    parser.add_argument("--only", default="", help="scenarios whose name holds this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    began = time.perf_counter()
    rows = measure(given.trials, given.only, given.jobs)
    if not rows:
        sys.exit(f"no scenario is called {given.only!r}")
    if given.json:
        print(json.dumps([asdict(row) for row in rows], indent=2))
        return
    print_table(rows)
    print(f"{sum(r.trials for r in rows)} trials in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
