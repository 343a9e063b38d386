"""What is true in the demo waters, and how a crew there would have read it: all invented, all from one seed.

Hollin Sound lies in open ocean around 47°10′N 031°00′W, where nobody can mistake it for a chart.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from truemile.core.constants import SECONDS_PER_DAY, SECONDS_PER_HOUR
from truemile.core.log_runs import Direction, Steering
from truemile.core.measured_course import MeasuredCourse
from truemile.core.times import format_elapsed
from truemile.workbook.entries import RunEntry
from truemile.workbook.round_entries import LegEntry

#: Period of the main lunar tide, in hours (from memory; here it only shapes an invented stream).
LUNAR_H: Final = 12.42
_LONGEST_RUN_S: Final = 7200.0


@dataclass(frozen=True, slots=True)
class DemoTruth:
    """What the instruments of the demo would show if they were right.

    Attributes
    ----------
    offset_kn, slope
        True speed is `offset_kn` + `slope` × indicated speed, on the day of launching.
    growth_per_day
        The paddle fouls: the true speed for one reading grows by this fraction a day.
    launched_at
        When the second season began, and fouling with it.
    cleaned_at
        The same in the season before: launched, and scrubbed in July.
    earlier_scale
        Reading of the log in that season, as it was set then, over what it is as it is set now.
    drift_kn, set_true_deg, high_at
        Strongest stream, its set, and an instant at which it runs so; it turns with the tide.
    speed_scatter_kn, reading_scatter_kn, stream_scatter_kn, timing_scatter_s
        Standard deviations of the boat's speed from run to run, of a reading, of the stream from run to run and of
        the watch.
    """

    offset_kn: float = -0.25
    slope: float = 0.97
    growth_per_day: float = 0.00008
    launched_at: datetime = datetime(2026, 4, 4, 12, 0, tzinfo=UTC)
    cleaned_at: tuple[datetime, ...] = (
        datetime(2025, 4, 5, 12, 0, tzinfo=UTC),
        datetime(2025, 7, 19, 12, 0, tzinfo=UTC),
    )
    earlier_scale: float = 0.96
    drift_kn: float = 0.9
    set_true_deg: float = 95.0
    high_at: datetime = datetime(2026, 4, 18, 9, 0, tzinfo=UTC)
    speed_scatter_kn: float = 0.02
    reading_scatter_kn: float = 0.06
    stream_scatter_kn: float = 0.03
    timing_scatter_s: float = 0.4

    def grown(self, at: datetime) -> float:
        """Return by how much fouling multiplies the true speed of a reading, since it was last clean."""
        clean = max((when for when in (*self.cleaned_at, self.launched_at) if when <= at), default=self.launched_at)
        return 1.0 + self.growth_per_day * (at - clean).total_seconds() / SECONDS_PER_DAY

    def true_kn(self, indicated_kn: float, at: datetime) -> float:
        """Return the true speed for what the log shows."""
        return (self.offset_kn + self.slope * indicated_kn) * self.grown(at)

    def indicated_kn(self, true_kn: float, at: datetime) -> float:
        """Return what the log shows at a true speed, before its display rounds."""
        return (true_kn / self.grown(at) - self.offset_kn) / self.slope

    def factor(self, indicated_kn: float, at: datetime) -> float:
        """Return the true log factor."""
        return self.true_kn(indicated_kn, at) / indicated_kn

    def stream(self, course_true_deg: float, at: datetime, span_s: float = 0.0) -> tuple[float, float]:
        """Return the stream along a course and across it to starboard, in knots, as a mean over a span of time."""
        turn = 2 * math.pi / (LUNAR_H * SECONDS_PER_HOUR)
        begin = turn * (at - self.high_at).total_seconds()
        half = turn * span_s / 2
        fade = math.sin(half) / half if half else 1.0
        strength = self.drift_kn * math.cos(begin + half) * fade
        angle = math.radians(self.set_true_deg - course_true_deg)
        return strength * math.cos(angle), strength * math.sin(angle)


@dataclass(frozen=True, slots=True)
class DemoSpeed:
    """One engine setting of the demo boat: label, revolutions, and speed through the water."""

    label: str
    rpm: int
    water_kn: float


def demo_truth() -> DemoTruth:
    """Return the truth that the demo workbook was generated from, to hold the estimates against."""
    return DemoTruth()


class DemoCrew:
    """Runs the boat over a course and writes down what a crew would have read, the same every time."""

    def __init__(self, truth: DemoTruth, seed: int = 47_031, *, counter_nm: float = 412.30, scale: float = 1.0) -> None:
        """Start with a seed, what the counter shows, and what the setting of the log makes of its readings."""
        self.truth = truth
        self._scale = scale
        # For invented readings, not for secrets.
        self._chance = random.Random(seed)  # noqa: S311
        self._counter_nm = counter_nm

    def runs(
        self,
        course: MeasuredCourse,
        start: datetime,
        speeds: tuple[DemoSpeed, ...],
        *,
        each: int = 4,
        steering: Steering = Steering.HEADING_HELD,
        turn_s: float = 210.0,
    ) -> tuple[RunEntry, ...]:
        """Return the runs of a trial, out and back by turns, as they stand on the paper."""
        entries: list[RunEntry] = []
        at = start
        for speed in speeds:
            for number in range(each):
                direction = Direction.OUT if number % 2 == 0 else Direction.BACK
                entry, at = self._run(course, at, speed, direction, steering)
                entries.append(entry)
                at += timedelta(seconds=round(turn_s + self._chance.uniform(-20, 40)))
        return tuple(entries)

    def legs(
        self, start: datetime, headings_deg: Sequence[float], water_kn: float, *, length_s: float = 150.0
    ) -> tuple[LegEntry, ...]:
        """Return the legs of a vector round, as they stand on the paper, one after the other with a minute to turn."""
        entries: list[LegEntry] = []
        at = start
        for heading_deg in headings_deg:
            entries.append(self._leg(at, heading_deg, water_kn, length_s))
            at += timedelta(seconds=length_s + 60.0)
        return tuple(entries)

    def _leg(self, at: datetime, heading_deg: float, water_kn: float, length_s: float) -> LegEntry:
        truth, gauss = self.truth, self._chance.gauss
        water = water_kn + gauss(0, truth.speed_scatter_kn)
        set_north, set_east = truth.stream(0.0, at, length_s)
        heading = math.radians(heading_deg)
        north = water * math.cos(heading) + set_north + gauss(0, truth.stream_scatter_kn)
        east = water * math.sin(heading) + set_east + gauss(0, truth.stream_scatter_kn)
        shown = truth.indicated_kn(water, at) * self._scale
        return LegEntry(
            heading=f"{round(heading_deg) % 360:03d}",
            indicated=" ".join(f"{shown + gauss(0, truth.reading_scatter_kn):.1f}" for _ in range(5)),
            sog=f"{math.hypot(north, east):.1f}",
            cog=f"{round(math.degrees(math.atan2(east, north))) % 360:03d}",
            duration=format_elapsed(length_s),
            started_at=at.isoformat(),
        )

    def _run(
        self, course: MeasuredCourse, at: datetime, speed: DemoSpeed, direction: Direction, steering: Steering
    ) -> tuple[RunEntry, datetime]:
        truth, gauss = self.truth, self._chance.gauss
        water = speed.water_kn + gauss(0, truth.speed_scatter_kn)
        uneven = gauss(0, truth.stream_scatter_kn)
        out_deg = course.course_true_deg or 0.0
        elapsed_s, across = self._crossed(course.length_nm, water, uneven, at, (out_deg, direction, steering))
        shown = truth.indicated_kn(water, at) * self._scale
        readings = [f"{shown + gauss(0, truth.reading_scatter_kn):.1f}" for _ in range(8)]
        begin_nm = self._counter_nm
        self._counter_nm += shown * elapsed_s / SECONDS_PER_HOUR
        end_nm = self._counter_nm
        self._counter_nm += shown * 0.06
        watch_s = float(round(elapsed_s + gauss(0, truth.timing_scatter_s)))
        entry = RunEntry(
            direction=direction.value,
            elapsed=format_elapsed(watch_s),
            started_at=at.isoformat(),
            readings=" ".join(readings),
            log_start=f"{begin_nm:.2f}",
            log_stop=f"{end_nm:.2f}",
            rpm=str(speed.rpm),
            heading_compass=self._heading(out_deg, direction, steering, math.degrees(math.asin(across / water))),
            speed_group=speed.label,
            noted_by="Ines",
            timed_by="Bram",
            helm="Okke",
        )
        return entry, at + timedelta(seconds=round(elapsed_s))

    def _crossed(
        self,
        length_nm: float,
        water_kn: float,
        uneven_kn: float,
        at: datetime,
        way: tuple[float, Direction, Steering],
    ) -> tuple[float, float]:
        """Return the time over the course and the stream across it, by going on until they agree."""
        out_deg, direction, steering = way
        elapsed_s, across = length_nm / water_kn * SECONDS_PER_HOUR, 0.0
        for _ in range(40):
            along, across = self.truth.stream(out_deg, at, elapsed_s)
            ahead = math.sqrt(water_kn**2 - across**2) if steering is Steering.TRACK_HELD else water_kn
            ground_kn = ahead + direction.sign * (along + uneven_kn)
            elapsed_s = min(length_nm / ground_kn * SECONDS_PER_HOUR, _LONGEST_RUN_S)
        return elapsed_s, direction.sign * across

    def _heading(self, out_deg: float, direction: Direction, steering: Steering, crab_deg: float) -> str:
        """Compass course steered; the demo compass is right, and variation there is taken as nil."""
        base = out_deg if direction is Direction.OUT else out_deg + 180.0
        aim = base - crab_deg if steering is Steering.TRACK_HELD else base
        return f"{round(aim) % 360:03d}"
