"""Trials made up at random for the tests of working, and a check of every printed line."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from tests.working.by_hand import keyed_in
from truemile.core.log_runs import Conditions, Direction, Run, Steering
from truemile.core.measured_course import CourseMark, MeasuredCourse, charted_course, course_between
from truemile.core.position import Position
from truemile.working.lines import Kind, Working

START = datetime(2026, 5, 14, 13, 32, tzinfo=UTC)


def demo_course() -> MeasuredCourse:
    """A course between two marks of the demo waters."""
    return course_between(
        CourseMark("Gannet Pier", Position(47.2000, -31.0500), u_m=3.0),
        CourseMark("Kestle Beacon", Position(47.2059, -31.0320), u_m=3.0),
    )


def demo_runs(n: int, *, timed: bool = True) -> list[Run]:
    """Up to four runs, track held across a stream."""
    rows = [
        ("out", 522, 0.0, (6.3, 6.4, 6.3), 64.0),
        ("back", 483, 14.0, (6.3, 6.3, 6.3), 262.0),
        ("out", 530, 27.5, (6.3, 6.4, 6.2), 64.5),
        ("back", 478, 42.0, (6.3, 6.2, 6.3), 262.0),
    ]
    return [
        Run(
            Direction(way),
            float(seconds),
            START + timedelta(minutes=minutes) if timed else None,
            readings,
            heading_compass_deg=heading,
        )
        for way, seconds, minutes, readings, heading in rows[:n]
    ]


def check_every_line(working: Working) -> None:
    """Key every printed substitution into the tests' own calculator and compare with the printed value."""
    for part in working.walk():
        assert part.misses == ()
        for line in part.lines:
            assert line.number_text.replace("−", "-") == f"{line.value:.{line.decimals}f}"
            if line.kind is Kind.GIVEN:
                assert line.substitution == ""
                continue
            assert abs(keyed_in(line.substitution) - line.value) <= 1.0000001 * 10.0**-line.decimals, line


@st.composite
def trials(draw: Any, most_runs: int = 7) -> tuple[MeasuredCourse, list[Run], Conditions]:
    """A course, runs both ways in a smoothly changing stream, and the conditions."""
    tenths = draw(st.integers(5, 30))
    course = charted_course("Harbour mile", tenths / 10 + draw(st.integers(0, 99)) / 1000, 0.01)
    speed, factor = draw(st.floats(3.5, 9.0)), draw(st.floats(0.8, 1.25))
    stream, change = draw(st.floats(-1.2, 1.2)), draw(st.floats(-0.8, 0.8))
    n = draw(st.integers(2, most_runs))
    timed, counter, held = draw(st.booleans()), draw(st.booleans()), draw(st.booleans())
    crab = draw(st.integers(0, 20)) if held else 0
    axis, crossing = draw(st.integers(0, 359)), draw(st.sampled_from([0.0, 0.0, 5.0]))
    runs, clock = [], 0.0
    for i in range(n):
        way = Direction.OUT if i % 2 == 0 else Direction.BACK
        ground = max(1.5, speed + way.sign * (stream + change * clock / 3600))
        elapsed = round(course.length_nm / ground * 3600 + draw(st.integers(-5, 5)), draw(st.integers(0, 1)))
        shown = speed / factor + draw(st.floats(-0.1, 0.1))
        readings = tuple(round(shown + d / 10, 1) for d in draw(st.lists(st.integers(-1, 1), min_size=1, max_size=14)))
        logged = max(0.02, round(shown * elapsed / 3600, 2))
        zero = draw(st.sampled_from([0.0, 12.34]))
        course_steered = (axis + crab) % 360 if way is Direction.OUT else (axis + 180 - crab) % 360
        runs.append(
            Run(
                way,
                elapsed,
                START + timedelta(seconds=clock) if timed else None,
                () if counter else readings,
                log_start_nm=(zero or None) if counter else None,
                log_stop_nm=round(zero + logged, 2) if counter else None,
                heading_compass_deg=float(course_steered),
            )
        )
        clock = round(clock + elapsed + draw(st.integers(120, 900)))
    steering = Steering.TRACK_HELD if held else Steering.HEADING_HELD
    return course, runs, Conditions(steering=steering, crossing_deg=crossing)
