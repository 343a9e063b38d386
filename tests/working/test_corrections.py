from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.working.trials import check_every_line, demo_course
from truemile.core.check_trial import check_verdict
from truemile.core.corrections import LogCorrection, corrected_distance, corrected_speed, indicated_for
from truemile.core.errors import NoSolution
from truemile.core.log_settings import Convention, LogSetting, reading_under, setting_for
from truemile.core.measured_course import CourseMark, charted_course, course_between
from truemile.core.position import Position
from truemile.working.check_trial import explain_check
from truemile.working.corrections import explain_distance, explain_indicated, explain_setting, explain_speed
from truemile.working.course import explain_course
from truemile.working.lines import Kind, Working

NOW = LogSetting(Convention.MULTIPLIER, 1.05)
FACTOR = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4, LogSetting(Convention.MULTIPLIER, 1.0))
LINE = LogCorrection((0, 1), (0.31, 0.91), ((0.01, -0.0015), (-0.0015, 0.0003)), 12.0, 3.0, 7.5)
CURVE = LogCorrection(
    (0, 1, 2),
    (0.31, 0.91, 0.008),
    ((0.04, -0.01, 0.0008), (-0.01, 0.003, -0.0002), (0.0008, -0.0002, 0.00003)),
    9,
    3.0,
    7.5,
)
ALL = pytest.mark.parametrize("correction", [FACTOR, LINE, CURVE], ids=["factor", "line", "curve"])


def _agrees(working: Working, symbol: str, core: float) -> None:
    check_every_line(working)
    line = working.line(symbol)
    assert line.kind is Kind.ANSWER
    assert abs(line.value - core) <= 1.0000001 * 10.0**-line.decimals


def _same_plus_minus(working: Working, symbol: str) -> None:
    printed_with_answer = working.line(symbol).plus_minus
    places = len(printed_with_answer.partition(".")[2])
    assert round(working.line("U").value, places) == float(printed_with_answer)


@ALL
@given(tenths=st.integers(20, 120))
@settings(max_examples=60, deadline=None)
def test_speed(correction: LogCorrection, tenths: int) -> None:
    """The hand lines from shown to true speed, and to its ±, agree with the correction for factor, line and curve."""
    found = corrected_speed(correction, tenths / 10)
    working = explain_speed(correction, found)
    _agrees(working, "W", found.value)
    _same_plus_minus(working, "W")
    assert (not found.inside) == ("Outside" in " ".join(working.notes))


@pytest.mark.parametrize(
    ("wanted", "now"),
    [
        (LogSetting(Convention.MULTIPLIER, 1.0), LogSetting(Convention.MULTIPLIER, 1.07)),
        (LogSetting(Convention.PERCENT, -4.0), LogSetting(Convention.PERCENT, 6.5)),
        (LogSetting(Convention.PULSES_PER_NM, 20000), LogSetting(Convention.PULSES_PER_NM, 21413)),
    ],
)
def test_another_setting_is_taken_out_first(wanted: LogSetting, now: LogSetting) -> None:
    """A reading under another setting is brought back to that of the trial, in each convention."""
    from dataclasses import replace

    correction = replace(FACTOR, setting=wanted)
    found = corrected_speed(correction, 6.3, setting=now)
    working = explain_speed(correction, found, setting=now)
    _agrees(working, "W", found.value)
    assert working.line("L_m").value == pytest.approx(found.reduced, abs=0.01)
    distance = corrected_distance(correction, 4.82, setting=now)
    _agrees(explain_distance(correction, distance, setting=now), "D", distance.value)
    back = explain_indicated(correction, 6.0, setting=now)
    _agrees(back, "L_n", reading_under(indicated_for(correction, 6.0), wanted, now))


def test_the_plus_minus_is_the_one_of_its_own_lines() -> None:
    """A distance whose ± falls between two digits prints the same ± with the answer and at the end of its lines."""
    measured = LogCorrection(
        (1,), (0.815465,), ((0.0068**2,),), 140.0, 7.5, 7.6, LogSetting(Convention.MULTIPLIER, 1.0)
    )
    for thousandths in range(10_000, 10_200, 5):
        found = corrected_distance(measured, thousandths / 1000)
        working = explain_distance(measured, found)
        _same_plus_minus(working, "D")


@ALL
@given(hundredths=st.integers(20, 40_000), tenths=st.integers(20, 110))
@settings(max_examples=60, deadline=None)
def test_distance(correction: LogCorrection, hundredths: int, tenths: int) -> None:
    """The hand lines from logged to true distance agree with the correction."""
    minutes = max(1, round(60 * (hundredths / 100) / (tenths / 10)))
    found = corrected_distance(correction, hundredths / 100, elapsed_h=minutes / 60)
    _agrees(explain_distance(correction, found, elapsed_h=minutes / 60), "D", found.value)


def test_distance_without_time() -> None:
    """One factor needs no time, and the working says that the speed is not known."""
    found = corrected_distance(FACTOR, 10.0)
    working = explain_distance(FACTOR, found)
    _agrees(working, "D", found.value)
    assert "speed is not known" in working.notes[0]


@ALL
@given(tenths=st.integers(20, 90))
@settings(max_examples=40, deadline=None)
def test_back_to_the_log(correction: LogCorrection, tenths: int) -> None:
    """The hand lines from a wanted true speed to the reading agree with the inverse of the correction."""
    _agrees(explain_indicated(correction, tenths / 10), "L", indicated_for(correction, tenths / 10))


def test_back_to_the_log_without_answer() -> None:
    """A speed that no reading gives is refused as in the computing."""
    falling = LogCorrection((0, 1), (9.0, -0.5), ((0.01, 0.0), (0.0, 0.001)), 5.0, 3.0, 6.0)
    with pytest.raises(NoSolution, match="no single reading"):
        explain_indicated(falling, 6.0)


@pytest.mark.parametrize(
    "current",
    [
        LogSetting(Convention.MULTIPLIER, 1.05),
        LogSetting(Convention.PERCENT, -3.0),
        LogSetting(Convention.PULSES_PER_NM, 20000),
    ],
    ids=str,
)
@given(factor=st.floats(0.6, 1.6))
@settings(max_examples=60, deadline=None)
def test_new_setting(current: LogSetting, factor: float) -> None:
    """The hand lines to the new setting agree with it in each convention, and so does what is left over."""
    new = setting_for(factor, current)
    working = explain_setting(factor, current, new)
    _agrees(working, "k_x", new.leftover_factor)


@given(factor=st.floats(0.9, 1.1), expanded=st.floats(0.004, 0.05), speed=st.floats(3.0, 14.0))
@settings(max_examples=80, deadline=None)
def test_check_trial(factor: float, expanded: float, speed: float) -> None:
    """The hand lines of a check trial give its error, and their words its verdict."""
    verdict = check_verdict(factor, expanded, speed)
    working = explain_check(verdict)
    _agrees(working, "x", verdict.error_kn)
    said = [note.rsplit(" ", 1)[1] for note in working.notes if note.endswith(("pass.", "fail."))]
    assert said == ["pass." if verdict.agrees else "fail.", "pass." if verdict.within_bar else "fail."]


def test_course_between_the_demo_marks() -> None:
    """The plane lines of a measured course give the length and course of the geodesic."""
    course = demo_course()
    working = explain_course(course)
    _agrees(working, "D", course.length_nm)
    _agrees(working, "C", course.course_true_deg or 0.0)


@given(
    latitude=st.floats(-70, 70),
    longitude=st.floats(-180, 180),
    north=st.floats(-0.06, 0.06),
    east=st.floats(-0.06, 0.06),
)
@settings(max_examples=150, deadline=None)
def test_any_course(latitude: float, longitude: float, north: float, east: float) -> None:
    """Length and course agree with the geodesic [GeographicLib through PROJ] on every coast, past the date line too."""
    if abs(north) + abs(east) < 0.01:
        north += 0.01
    end = (longitude + east + 540) % 360 - 180
    course = course_between(
        CourseMark("A", Position(latitude, longitude), u_m=3.0),
        CourseMark("B", Position(latitude + north, end), u_m=3.0),
    )
    working = explain_course(course)
    _agrees(working, "D", course.length_nm)
    assert working.line("C").kind is Kind.ANSWER
    turned = (working.line("C").value - (course.course_true_deg or 0.0) + 180.0) % 360.0 - 180.0
    assert abs(turned) <= 0.1000001


def test_course_near_the_pole_is_given() -> None:
    """Where the plane no longer serves, the geodesic is given without lines."""
    course = course_between(
        CourseMark("A", Position(89.95, 0.0), u_m=3.0), CourseMark("B", Position(89.95, 120.0), u_m=3.0)
    )
    working = explain_course(course)
    assert [line.kind for line in working.lines] == [Kind.GIVEN, Kind.GIVEN]
    assert "geodesic" in working.lines[0].source


def test_charted_course_is_given() -> None:
    """A charted distance has nothing to work out."""
    working = explain_course(charted_course("Harbour mile", 1.0, 0.01, course_true_deg=64.0))
    assert [line.value_text for line in working.lines] == ["1.000 ± 0.006 nm", "64.0°"]
