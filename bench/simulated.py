"""Simulated trials: a true factor, and what a crew would have written down."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from scenarios import Course, Round

from truemile.core.factor_budget import TIDE_H
from truemile.core.ground_vectors import Leg
from truemile.core.log_runs import Conditions, Direction, Run

START = datetime(2026, 5, 14, 9, 0, tzinfo=UTC)
OMEGA = 2.0 * math.pi / TIDE_H
TRACK_DEG = 64.0
#: How vaguely the crew knows the unevenness of the water, as the core has it.
RUN_DOF, LEG_DOF = Conditions().stream_irregularity_dof, 4.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What was true: the factor for a speed by the log, and the heading offset of a round."""

    factor: Callable[[float], float]
    offset_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Tide:
    """A stream along one direction: a steady part and a tide."""

    steady_kn: float
    amplitude_kn: float
    phase: float

    def at(self, hours: float) -> float:
        """Rate in knots."""
        return self.steady_kn + self.amplitude_kn * math.sin(OMEGA * hours + self.phase)

    def carried_nm(self, start_h: float, end_h: float) -> float:
        """How far it carries between two times."""
        swing = math.cos(OMEGA * start_h + self.phase) - math.cos(OMEGA * end_h + self.phase)
        return self.steady_kn * (end_h - start_h) + self.amplitude_kn / OMEGA * swing


def judged(rng: np.random.Generator, u: float, dof: float) -> float:
    """Return a true scatter about a judged one that is known to 1 / √(2 ν) of itself (JCGM 100 G.4.2)."""
    return float(u * math.exp(rng.normal(0.0, 1.0 / math.sqrt(2.0 * dof))))


def simulate_course(scenario: Course, rng: np.random.Generator) -> tuple[Truth, list[Run]]:
    """Return the truth and the runs that a crew would have written down."""
    slope = rng.uniform(0.85, 1.10)
    quarter = rng.uniform(0.5 * math.pi, math.pi) if scenario.fair_first else rng.uniform(0.0, 2.0 * math.pi)
    tide = Tide(scenario.steady_kn, scenario.tide_kn, quarter)
    sd = judged(rng, scenario.uneven_kn, RUN_DOF)
    length = scenario.length_nm + rng.uniform(-0.5, 0.5) * scenario.precision_nm
    deviation = rng.normal(0.0, scenario.deviation_deg)
    clock_h, counter, runs = 0.0, rng.uniform(1.0, 50.0), []
    order = scenario.order or ("OB" * scenario.runs)[: scenario.runs]
    for number, engine in enumerate(scenario.speeds_kn):
        for letter in order:
            direction = Direction.OUT if letter == "O" else Direction.BACK
            water = engine + rng.normal(0.0, scenario.speed_drift_kn)
            indicated = (water - scenario.add_kn) / slope
            crab = math.asin(scenario.across_kn / water) if scenario.track_held else 0.0
            own = water * math.cos(crab) + direction.sign * rng.normal(0.0, sd)
            hours = _duration_h(length, own, direction.sign, tide, clock_h)
            shown = _Shown(direction, clock_h, hours, indicated, crab, deviation, counter, str(number + 1))
            runs.append(_written_down(scenario, rng, shown))
            counter += (hours + 0.1) * indicated
            clock_h += hours + rng.uniform(2.0, 8.0) / 60.0
    return Truth(lambda indicated: slope + scenario.add_kn / indicated), runs


def _duration_h(length_nm: float, own_kn: float, sign: int, tide: Tide, start_h: float) -> float:
    """Time over the course: the root of own T + what the tide carries = length, by Newton."""
    hours = length_nm / (own_kn + sign * tide.at(start_h))
    for _ in range(30):
        over = own_kn * hours + sign * tide.carried_nm(start_h, start_h + hours) - length_nm
        step = over / (own_kn + sign * tide.at(start_h + hours))
        hours -= step
        if abs(step) < 1e-12:
            break
    return hours


@dataclass(frozen=True, slots=True)
class _Shown:
    direction: Direction
    clock_h: float
    hours: float
    indicated_kn: float
    crab_rad: float
    deviation_deg: float
    counter_nm: float
    group: str


def _written_down(scenario: Course, rng: np.random.Generator, shown: _Shown) -> Run:
    sign = shown.direction.sign
    elapsed = round(shown.hours * 3600.0 + rng.uniform(-1.0, 1.0), 1)
    # A deviation of opposite sign on opposite courses is what a crab angle taken from both cannot be told from.
    apart = sign * (math.degrees(shown.crab_rad) + shown.deviation_deg)
    heading = (TRACK_DEG if sign > 0 else TRACK_DEG + 180.0) + apart + rng.normal(0.0, scenario.compass_sd_deg)
    speeds: tuple[float, ...] = ()
    start = stop = None
    if scenario.counter:
        first = 0.0 if scenario.counter_zeroed else shown.counter_nm
        start = None if scenario.counter_zeroed else rounded(first, scenario.counter_digit_nm)
        stop = rounded(first + shown.indicated_kn * shown.hours, scenario.counter_digit_nm)
    else:
        read = shown.indicated_kn + rng.normal(0.0, scenario.reading_sd_kn, scenario.readings)
        speeds = tuple(rounded(v, scenario.speed_digit_kn) for v in read)
    return Run(
        shown.direction,
        elapsed,
        started_at=START + timedelta(hours=shown.clock_h) if scenario.start_times else None,
        speed_readings_kn=speeds,
        log_start_nm=start,
        log_stop_nm=stop,
        heading_compass_deg=round(heading) % 360.0 if scenario.compass_noted else None,
        speed_group=shown.group if len(scenario.speeds_kn) > 1 else "",
    )


def simulate_round(scenario: Round, rng: np.random.Generator) -> tuple[Truth, list[Leg]]:
    """Return the truth and the legs that a crew would have written down."""
    factor, offset = rng.uniform(0.85, 1.10), rng.normal(0.0, scenario.offset_deg)
    sd = judged(rng, scenario.uneven_kn, LEG_DOF)
    turned = rng.uniform(0.0, 360.0)
    b, c = rng.normal(0.0, scenario.deviation_deg, 2)
    steady = np.exp(1j * rng.uniform(0.0, 2.0 * math.pi)) * scenario.steady_kn
    tide_way = np.exp(1j * rng.uniform(0.0, 2.0 * math.pi))
    tide = Tide(0.0, scenario.tide_kn, rng.uniform(0.0, 2.0 * math.pi))
    clock_h, legs = 0.0, []
    for planned in scenario.headings_deg:
        steered = (planned + turned + rng.normal(0.0, 2.0)) % 360.0
        radians = math.radians(steered)
        true = steered + b * math.sin(radians) + c * math.cos(radians) + offset
        water = scenario.speed_kn + rng.normal(0.0, scenario.speed_drift_kn)
        hours = scenario.leg_s / 3600.0
        stream = steady + tide_way * tide.carried_nm(clock_h, clock_h + hours) / hours
        ground = water * np.exp(1j * math.radians(true)) + stream + complex(*rng.normal(0.0, sd, 2))
        course = rounded(math.degrees(math.atan2(ground.imag, ground.real)) % 360.0, scenario.course_digit_deg)
        legs.append(
            Leg(
                rounded(steered, scenario.heading_digit_deg) % 360.0,
                rounded(water / factor, scenario.digit_kn),
                rounded(abs(ground), scenario.digit_kn),
                course % 360.0 if scenario.courses_noted else None,
                duration_s=scenario.leg_s,
                started_at=START + timedelta(hours=clock_h) if scenario.start_times else None,
            )
        )
        clock_h += hours + (scenario.turn_s + rng.uniform(-20.0, 20.0)) / 3600.0
    return Truth(lambda _: factor, offset), legs


def rounded(value: float, digit: float) -> float:
    """Return a value as a display with this last digit shows it."""
    return float(round(round(value / digit) * digit, 6))
