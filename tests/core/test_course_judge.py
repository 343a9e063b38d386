"""The course judge, the measured course, and the check trial."""

from __future__ import annotations

import math

import pytest

from tests.reference_cases import case, facts, matches
from truemile.core.check_trial import BAR_KN, BAR_RELATIVE, check_verdict
from truemile.core.constants import ADMIRALTY_MILE_FT, FOOT_M, METRES_PER_NM
from truemile.core.course_judge import RunPlan, check_marks, judge_course
from truemile.core.errors import ManyFaults, NoSolution, ReadingError
from truemile.core.factor_remarks import GOOD_LENGTH_NM, SHORT_RUN_S
from truemile.core.log_runs import Conditions, Steering
from truemile.core.measured_course import CourseMark, MeasuredCourse, charted_course, course_between
from truemile.core.position import Position

PIER = CourseMark("Gannet Pier", Position(47.2000, -31.0500), 3.0)
BEACON = CourseMark("Kestle Beacon", Position(47.2059, -31.0320), 3.0)
LEDGE = CourseMark("Wren Ledge", Position(47.2059, -31.0320), 3.0, fixed=False)
COURSE = course_between(PIER, BEACON, transits=True)
HELD = Conditions(steering=Steering.TRACK_HELD)


def _levels(course: MeasuredCourse, plan: RunPlan, *, insist: bool = False) -> dict[str, str]:
    return {f.subject: f.level for f in judge_course(course, plan, insist=insist).findings}


# ---------------------------------------------------------------- the course


def test_two_marks_known_to_three_metres() -> None:
    """3 m at each end are 4.2 m along the course: 0.23 % of a mile (worked in the methods of JCGM 100 5.1.2)."""
    assert COURSE.u_length_nm * METRES_PER_NM == pytest.approx(3.0 * math.sqrt(2.0))
    assert COURSE.name == "Gannet Pier to Kestle Beacon"


def test_an_admiralty_mile_is_longer() -> None:
    """Case uk-measured-mile-6080ft (from memory): the length is an input, not a constant."""
    entry = case("uk-measured-mile-6080ft")
    length_m = ADMIRALTY_MILE_FT * FOOT_M
    assert matches(entry, "length_m", length_m)
    course = charted_course("old mile", length_m / METRES_PER_NM, 0.001)
    assert matches(entry, "ratio_to_international", course.length_nm)


def test_the_same_place_twice_is_no_course() -> None:
    """Two names at one position are caught."""
    with pytest.raises(ReadingError, match=r"end is 'again'.*two different marks.*Choose another"):
        course_between(PIER, CourseMark("again", PIER.position, 3.0))


@pytest.mark.parametrize(
    ("length", "precision", "words"),
    [
        (1852.0, 1.0, r"length_nm is 1852\.0.*metres were typed as miles"),
        (0.0, 0.01, r"length_nm is 0\.0"),
        (math.nan, 0.01, r"length_nm is nan"),
        (0.6, 0.0, r"precision_nm is 0"),
        (1.0, 1.0, r"u_length_nm is 0\.29.*Type all digits"),
    ],
)
def test_a_length_that_cannot_be_is_refused(length: float, precision: float, words: str) -> None:
    """Each refusal names field, value and remedy."""
    with pytest.raises(ReadingError, match=words):
        charted_course("wrong", length, precision)


def test_both_faults_of_a_course_are_told() -> None:
    """All at once."""
    with pytest.raises(ManyFaults, match="length_nm"):
        MeasuredCourse("wrong", math.nan, -1.0)


# ---------------------------------------------------------------- the judge


def test_floating_marks_are_refused_unless_insisted_on() -> None:
    """With insisting, the swing enters the length and the finding stays poor."""
    floating = course_between(PIER, LEDGE)
    with pytest.raises(ReadingError, match=r"between fixed marks, and Wren Ledge floats.*insist"):
        judge_course(floating, RunPlan(6.0))
    verdict = judge_course(floating, RunPlan(6.0), insist=True)
    assert verdict.level == "poor"
    assert floating.u_length_nm > 3 * COURSE.u_length_nm
    check_marks(COURSE)


def test_half_a_mile_is_the_common_bar() -> None:
    """Half a mile or more (common practice, no source); runs of 5 to 10 minutes (fact trial-duration)."""
    assert GOOD_LENGTH_NM == 0.5
    assert 60 * facts()["trial-duration"]["values"]["minimum_min"] == SHORT_RUN_S
    short = charted_course("short", 0.3, 0.001, course_true_deg=64.0)
    levels = _levels(short, RunPlan(6.0))
    assert levels["length"] == "fair"
    assert levels["time"] == "fair"
    assert _levels(COURSE, RunPlan(6.0))["length"] == "good"


def test_a_stream_across_matters_only_where_the_track_is_held() -> None:
    """Case cross-current-a: on transits with the heading held it drops out."""
    held = RunPlan(5.0, stream_set_true_deg=154.3, stream_drift_kn=1.0, conditions=HELD)
    square = RunPlan(5.0, stream_set_true_deg=154.3, stream_drift_kn=1.0)
    assert _levels(COURSE, held)["stream across"] == "poor"
    assert _levels(COURSE, square)["stream across"] == "good"
    verdict = judge_course(COURSE, held)
    assert verdict.crab_deg == pytest.approx(case("cross-current-a")["answer"]["crab_angle_deg"], abs=0.1)
    assert verdict.expanded > judge_course(COURSE, square).expanded


def test_a_strong_stream_makes_runs_unequal() -> None:
    """The times out and back follow from the stream along the course."""
    verdict = judge_course(COURSE, RunPlan(5.0, stream_set_true_deg=64.3, stream_drift_kn=2.0))
    out, back = verdict.run_s
    assert back / out == pytest.approx(7 / 3, rel=1e-3)
    assert {f.subject: f.level for f in verdict.findings}["stream along"] == "fair"


def test_more_runs_and_a_counter_are_surer() -> None:
    """The judge works the planned trial through, so its expectations move as the plan does."""
    two = judge_course(COURSE, RunPlan(6.0, runs=2)).expanded
    six = judge_course(COURSE, RunPlan(6.0, runs=6)).expanded
    counted = judge_course(COURSE, RunPlan(6.0, runs=6, counter=True)).expanded
    assert counted < six < two


def test_a_stream_that_cannot_be_stemmed_has_no_solution() -> None:
    """The remedy is to wait."""
    with pytest.raises(NoSolution, match=r"stream_drift_kn is 7\.0.*slacker water"):
        judge_course(COURSE, RunPlan(5.0, stream_set_true_deg=64.3, stream_drift_kn=7.0))


def test_a_stream_on_a_course_of_unknown_direction_is_refused() -> None:
    """A charted distance may come without its course."""
    with pytest.raises(ReadingError, match="course_true_deg is missing"):
        judge_course(charted_course("mile", 1.0, 0.01), RunPlan(5.0, stream_set_true_deg=10.0, stream_drift_kn=1.0))


def test_all_faults_of_a_plan_are_told() -> None:
    """A form can mark every wrong field."""
    with pytest.raises(ManyFaults) as caught:
        RunPlan(0.0, runs=1, readings_per_run=0)
    assert [f.field for f in caught.value.faults] == ["speed_kn", "runs", "readings_per_run"]


def test_single_marks_and_a_held_heading_do_not_go_together() -> None:
    """Without transits a boat set sideways passes the mark on another line."""
    bare = course_between(PIER, BEACON)
    assert _levels(bare, RunPlan(6.0))["steering"] == "fair"
    assert _levels(COURSE, RunPlan(6.0))["steering"] == "good"
    assert _levels(COURSE, RunPlan(6.0, conditions=HELD))["steering"] == "fair"


# ---------------------------------------------------------------- the check


def test_the_bar_is_the_borrowed_one() -> None:
    """Fact sdme-accuracy: MSC.1/Circ.1575 table C-1 footnote 11, quoting MSC.96(72)."""
    values = facts()["sdme-accuracy"]["values"]
    assert (values["relative"], values["floor_kn"]) == (BAR_RELATIVE, BAR_KN)
    assert check_verdict(1.0, 0.01, values["crossover_kn"]).bar_kn == pytest.approx(0.2)
    assert check_verdict(1.0, 0.01, 20.0).bar_kn == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("factor", "expanded", "agrees", "within", "words"),
    [
        (1.004, 0.01, True, True, "Pass against its own ±"),
        (1.02, 0.01, False, True, "Put the new factor in force"),
        (0.94, 0.01, False, False, "Fail against 2 % or 0.2 kn"),
        (0.97, 0.08, True, True, "too uncertain to prove it"),
    ],
)
def test_a_check_says_pass_or_fail_twice(
    factor: float, expanded: float, agrees: bool, within: bool, words: str
) -> None:
    """Against its own uncertainty, and against the bar."""
    verdict = check_verdict(factor, expanded, 6.0)
    assert (verdict.agrees, verdict.within_bar) == (agrees, within)
    assert words in verdict.words


def test_a_check_allows_for_what_it_checks_as_well() -> None:
    """Two measurements of one log differ by both their errors: normalised error En of ISO/IEC 17043 (from memory)."""
    alone = check_verdict(1.014, 0.011, 6.0)
    together = check_verdict(1.014, 0.011, 6.0, expanded_in_force=0.011)
    assert (alone.agrees, together.agrees) == (False, True)
    assert together.expanded_together == pytest.approx(0.011 * math.sqrt(2))
    assert "that of the factor in force together" in together.words
    with pytest.raises(ReadingError, match="expanded_in_force is -1"):
        check_verdict(1.0, 0.01, 6.0, expanded_in_force=-1.0)


def test_a_check_of_nothing_is_refused() -> None:
    """The remedy is to work it out again."""
    with pytest.raises(ReadingError, match="factor is nan"):
        check_verdict(math.nan, 0.01, 6.0)
