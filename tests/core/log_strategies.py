"""Log trials made from a stated truth, for the tests of several modules."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

from truemile.core.log_runs import Direction, Run
from truemile.core.measured_course import MeasuredCourse, charted_course

NOON = datetime(2026, 5, 14, 12, 0, tzinfo=UTC)
MILE = charted_course("Hollin mile", 1.0, 0.0001)


def runs_at(
    mid_min: Sequence[float],
    ground_kn: Sequence[float],
    indicated_kn: Sequence[float],
    *,
    first: Direction = Direction.OUT,
    course: MeasuredCourse = MILE,
    counter: bool = False,
) -> list[Run]:
    """Runs by turns with these mid-run times, speeds over the ground and indicated speeds."""
    other = Direction.BACK if first is Direction.OUT else Direction.OUT
    made = []
    for i, (mid, ground, log) in enumerate(zip(mid_min, ground_kn, indicated_kn, strict=True)):
        elapsed_s = course.length_nm / ground * 3600.0
        made.append(
            Run(
                other if i % 2 else first,
                elapsed_s,
                started_at=NOON + timedelta(seconds=mid * 60.0 - elapsed_s / 2.0),
                speed_readings_kn=() if counter else (log,),
                log_stop_nm=log * elapsed_s / 3600.0 if counter else None,
            )
        )
    return made


def truth(
    factor: float, water_kn: Sequence[float], mid_min: Sequence[float], stream_kn: Callable[[float], float]
) -> tuple[list[float], list[float]]:
    """Speeds over the ground and indicated speeds of runs by turns, from a true factor and a stream in time."""
    ground = [v + (-1) ** i * stream_kn(t) for i, (v, t) in enumerate(zip(water_kn, mid_min, strict=True))]
    return ground, [v / factor for v in water_kn]
