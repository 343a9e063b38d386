"""The hand lines behind the length and course of a measured course between two marks."""

from __future__ import annotations

import math

from truemile.core.angles import wrap_180
from truemile.core.constants import METRES_PER_NM, WGS84_A_M, WGS84_F
from truemile.core.measured_course import CourseMark, MeasuredCourse
from truemile.core.position import Position, format_position
from truemile.working.hand import Carried, Hand, settle
from truemile.working.lines import Kind, Working


def explain_course(course: MeasuredCourse) -> Working:
    """Return the lines from the two positions to length and true course, or the charted length as given.

    Notes
    -----
    By hand the course lies on the plane that touches the earth in its middle: metres north and east from the lengths
    of a minute of latitude and longitude there. Over the few miles of a measured course that agrees with the geodesic
    to a metre; near a pole it does not, and the geodesic is then given without lines.
    """
    start, end = course.start, course.end
    if start is None or end is None or course.course_true_deg is None:
        return settle(lambda carried: _write_given(course, carried, "charted")).working()
    hand = settle(lambda carried: _write_marks(course, start, end, carried))
    working = hand.working()
    if working.misses:
        return settle(lambda carried: _write_given(course, carried, "geodesic on WGS 84, by the program")).working()
    return working


def metres_per_minute(latitude_deg: float) -> tuple[float, float]:
    """Return the lengths of a minute of latitude and of longitude on WGS 84, in metres.

    Examples
    --------
    >>> [round(each, 1) for each in metres_per_minute(47.2)]
    [1852.9, 1262.9]
    """
    latitude = math.radians(latitude_deg)
    e2 = WGS84_F * (2.0 - WGS84_F)
    w = math.sqrt(1.0 - e2 * math.sin(latitude) ** 2)
    minute = math.pi / 10_800.0
    return minute * WGS84_A_M * (1.0 - e2) / w**3, minute * WGS84_A_M * math.cos(latitude) / w


def _write_given(course: MeasuredCourse, carried: Carried, source: str) -> Hand:
    hand = Hand(f"Measured course, {course.name}", carried)
    length, u = course.length_nm, course.u_length_nm
    hand.given("D", "length of the course", length, 3, "nm", source=source, plus_minus=f"{2 * u:.3f}")
    if course.course_true_deg is not None:
        hand.given("C", "true course out", course.course_true_deg, 1, "°", source=source)
    return hand


def _write_marks(course: MeasuredCourse, start: CourseMark, end: CourseMark, carried: Carried) -> Hand:
    hand = Hand(f"Measured course, {course.name}", carried)
    hand.section(f"From {start.name} to {end.name}")
    first, second = start.position, end.position
    hand.note(f"{start.name} {format_position(first)}, {end.name} {format_position(second)}.")
    for number, position in ((1, first), (2, second)):
        hand.given(f"phi_{number}", f"latitude {number}, in minutes, north above 0", position.latitude_deg * 60, 3, "′")
        hand.given(
            f"lam_{number}", f"longitude {number}, in minutes, east above 0", position.longitude_deg * 60, 3, "′"
        )
    middle = (first.latitude_deg + second.latitude_deg) / 2.0
    per_latitude, per_longitude = metres_per_minute(middle)
    hand.given("M", f"a minute of latitude at {middle:.2f}°", per_latitude, 1, "m", source="WGS 84")
    hand.given("P", "a minute of longitude there", per_longitude, 1, "m", source="WGS 84")
    turn = _turn(first, second)
    hand.line("N", "northing", "(phi_2 - phi_1) * M", 0, "m")
    easting_m = hand.line("E", "easting", f"(lam_2 - lam_1{turn}) * P", 0, "m")
    hand.section("Length and course")
    around = f"{2 * course.u_length_nm:.3f}"
    hand.line(
        "D",
        "length of the course",
        f"hypot(N, E) / {METRES_PER_NM:.0f}",
        3,
        "nm",
        core=course.length_nm,
        kind=Kind.ANSWER,
        plus_minus=around,
    )
    half, direction = _convergence_and_direction(first, second)
    # A course due south may come out as 180 or as minus 180.
    straight = abs(direction) if easting_m == 0 else direction
    leaving = hand.line("A", "direction in the middle of the course", "atan2(E, N)", 2, "°", core=straight)
    formula = f"(lam_2 - lam_1{turn}) / 120 * sin({middle:.2f})"
    leaving -= hand.line("h", "half the convergence of the meridians", formula, 3, "°", core=half)
    whole = " + 360" if leaving < 0 else ""
    # The two may fall on either side of north.
    true = leaving % 360.0 + float(wrap_180((course.course_true_deg or 0.0) - leaving))
    hand.line("C", "true course on leaving the first mark", f"A - h{whole}", 1, "°", core=true, kind=Kind.ANSWER)
    return hand


def _turn(first: Position, second: Position) -> str:
    """Return what brings a difference of longitude across the 180th meridian back within half a turn."""
    apart = second.longitude_deg - first.longitude_deg
    return " - 21600" if apart > 180 else " + 21600" if apart < -180 else ""


def _convergence_and_direction(first: Position, second: Position) -> tuple[float, float]:
    middle = (first.latitude_deg + second.latitude_deg) / 2.0
    per_latitude, per_longitude = metres_per_minute(middle)
    apart = float(wrap_180(second.longitude_deg - first.longitude_deg))
    direction = math.atan2(apart * per_longitude, (second.latitude_deg - first.latitude_deg) * per_latitude)
    return apart / 2.0 * math.sin(math.radians(middle)), math.degrees(direction)
