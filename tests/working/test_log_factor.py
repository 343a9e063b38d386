from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, reject, settings

from tests.working.trials import check_every_line, demo_course, demo_runs, trials
from truemile.core.errors import NoSolution
from truemile.core.log_factor import LogFactor, factor_from_runs
from truemile.core.log_runs import Conditions, Direction, Run, Steering
from truemile.core.log_trial import analyse_trial
from truemile.core.measured_course import charted_course
from truemile.core.uncertainty import rounded
from truemile.working.lines import Kind
from truemile.working.log_factor import explain
from truemile.working.log_trial import explain_trial

HELD = Conditions(steering=Steering.TRACK_HELD)


def _check_results(result: LogFactor) -> None:
    working = explain(result)
    check_every_line(working)
    shown, around = rounded(result.factor, result.expanded)
    step = 1.0000001 * 10.0 ** -working.line("k").decimals
    assert abs(working.line("k").value - float(shown)) <= step
    assert working.line("k").plus_minus == around
    assert abs(working.line("U").value - float(around)) <= step
    assert working.line("k_h").value == pytest.approx(result.hand_factor, abs=0.001)
    assert working.line("S").value == pytest.approx(result.stream_along_kn, abs=0.01)


@given(trial=trials())
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_printed_line_is_what_a_calculator_gives(trial: tuple) -> None:
    """Each substitution of each made-up trial gives the printed value, and the results are the program's."""
    course, runs, conditions = trial
    _check_results(factor_from_runs(course, runs, conditions))


@pytest.mark.parametrize("n", [2, 3, 4])
@pytest.mark.parametrize("timed", [True, False])
def test_demo_runs(n: int, timed: bool) -> None:
    """Two to four runs, at equal intervals or not, are worked out to the program's digits."""
    _check_results(factor_from_runs(demo_course(), demo_runs(n, timed=timed), HELD))


def test_common_practice_run() -> None:
    """0.6 nm in 5 min 34 s is 6.47 kn and 7.6 kn on the log makes the factor 0.851; common practice, no source."""
    run = Run(Direction.OUT, 334.0, speed_readings_kn=(7.6,))
    course = charted_course("Mile", 0.60, 0.01)
    working = explain(factor_from_runs(course, [run, replace(run, direction=Direction.BACK)]))
    assert round(working.line("V_1").value, 2) == 6.47
    assert working.line("V_1").substitution.startswith("60 × 0.60 / 5.56")
    assert working.line("k_1").value_text == "0.851"


def test_common_practice_mean() -> None:
    """Run factors of 0.85 and 0.86 average 0.855 on the printed line; common practice, no source."""
    course = charted_course("Mile", 1.0, 0.01)
    runs = [
        Run(Direction.OUT, 600.0, speed_readings_kn=(6.0 / 0.85,)),
        Run(Direction.BACK, 600.0, speed_readings_kn=(6.0 / 0.86,)),
    ]
    working = explain(factor_from_runs(course, runs))
    assert working.line("k_h").number_text == "0.855"


def test_means_of_neighbours_are_shown_for_equal_intervals() -> None:
    """Three runs without start times are averaged by neighbours, and then once more."""
    working = explain(factor_from_runs(demo_course(), demo_runs(3, timed=False), HELD))
    assert [line.symbol for line in working.lines if line.symbol.startswith("V_")] == [
        "V_1",
        "V_2",
        "V_3",
        "V_12",
        "V_23",
    ]
    assert working.line("G").formula == "(V₁₂ + V₂₃) / 2"


def test_unequal_intervals_show_their_weights() -> None:
    """Three runs at unequal intervals are weighted by divided differences, and the weights add up to 1."""
    working = explain(factor_from_runs(demo_course(), demo_runs(3), HELD))
    weights = [line.value for line in working.lines if line.symbol.startswith("w_")]
    assert sum(weights) == pytest.approx(1.0, abs=0.0002)
    assert working.line("r_1").formula == "100 / |(T₁ − T₂) × (T₁ − T₃)|"


def test_more_runs_than_the_stream_needs_take_weights_from_the_fit() -> None:
    """Six runs are weighted by least squares, and the working says where the weights come from."""
    runs = [*demo_runs(4, timed=False), *demo_runs(2, timed=False)]
    working = explain(factor_from_runs(demo_course(), runs, HELD))
    assert working.line("w_6").kind is Kind.GIVEN
    assert "fit" in working.line("w_6").source
    check_every_line(working)


def test_many_readings_are_added_up_first() -> None:
    """Forty readings are not written out: their sum is given and divided."""
    runs = [replace(run, speed_readings_kn=(6.3, 6.4) * 20) for run in demo_runs(2)]
    working = explain(factor_from_runs(demo_course(), runs, HELD))
    assert working.line("L_1").substitution == "254.0 / 40"
    check_every_line(working)


def test_reasons_for_the_difference_from_the_hand_mean() -> None:
    """The crab moves the demo factor by more than a hundredth, and a note says why."""
    notes = " ".join(explain(factor_from_runs(demo_course(), demo_runs(2), HELD)).notes)
    assert "+0.012" in notes
    assert "9° off" in notes


def test_unnoted_crab_is_said() -> None:
    """Without compass courses no crab line is written, and a note says so."""
    runs = [replace(run, heading_compass_deg=None) for run in demo_runs(2)]
    working = explain(factor_from_runs(demo_course(), runs, HELD))
    assert "No crab angle was noted" in " ".join(working.notes)
    assert working.line("k").formula == "G / L"


def test_noted_crab_is_given() -> None:
    """A crab angle noted as such is a given line."""
    conditions = Conditions(steering=Steering.TRACK_HELD, crab_deg=9.0)
    working = explain(factor_from_runs(demo_course(), demo_runs(2), conditions))
    assert working.line("a").source == "as noted"
    check_every_line(working)


@given(trial=trials(most_runs=3), other=trials(most_runs=3), third=trials(most_runs=2))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_trial_at_several_speeds(trial: tuple, other: tuple, third: tuple) -> None:
    """A trial at three engine speeds has a part for each and its curve, every line of which a calculator gives."""
    course, conditions = trial[0], trial[2]
    runs = [
        replace(
            run,
            speed_group=label,
            elapsed_s=max(10.0, round(run.elapsed_s * course.length_nm / of.length_nm)),
            log_start_nm=None,
            log_stop_nm=None,
            speed_readings_kn=run.speed_readings_kn or (round((run.logged_nm or 1.0) / run.elapsed_h, 1),),
        )
        for label, (of, some, _) in (("slow", trial), ("cruise", other), ("fast", third))
        for run in some
    ]
    runs = [replace(run, started_at=None) for run in runs]
    try:
        result = analyse_trial(course, runs, conditions)
    except NoSolution:
        reject()  # the three "speeds" happened to be one and the same
    working = explain_trial(result)
    check_every_line(working)
    assert len(working.parts) == 3
    shown, around = rounded(result.factor, result.expanded)
    line = working.line("k")
    assert abs(line.value - float(shown)) <= 1.0000001 * 10.0**-line.decimals
    assert line.plus_minus == around


def test_trial_at_one_speed_is_its_factor() -> None:
    """A trial at one engine speed is explained by its factor alone."""
    result = analyse_trial(demo_course(), demo_runs(2), HELD)
    working = explain_trial(result)
    assert working.parts == ()
    assert working.title == "Log trial, Gannet Pier to Kestle Beacon"


def test_the_largest_trial_is_worked_out() -> None:
    """Two hundred runs, the most that a trial may have, settle in few rounds and hold on every line."""
    runs = [replace(run, started_at=None) for run in demo_runs(2)] * 100
    working = explain(factor_from_runs(demo_course(), runs, HELD))
    assert len(working.lines) > 1000
    check_every_line(working)
