"""Whole trials: several engine speeds, both readings of the log, and what would make the factor surer."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.core.log_strategies import MILE, NOON, runs_at
from truemile.core.errors import ManyFaults, NavigationError, NotEnoughReadings
from truemile.core.improvements import improvements, way_to_halve
from truemile.core.log_factor import factor_from_runs
from truemile.core.log_runs import Conditions, Direction, Indication, Run, Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.core.measured_course import charted_course

OUT, BACK = Direction.OUT, Direction.BACK


def _at_speeds(truths: dict[float, float], *, pairs: int = 2) -> list[Run]:
    """Runs by counter at several indicated speeds, each with its own true factor; 0.4 kn of stream."""
    runs: list[Run] = []
    for i, (indicated, factor) in enumerate(truths.items()):
        water = indicated * factor
        made = runs_at(
            [20.0 * j + 200 * i for j in range(2 * pairs)],
            [water + 0.4, water - 0.4] * pairs,
            [indicated] * 2 * pairs,
            counter=True,
        )
        runs += [replace(run, speed_group=f"{1000 + 200 * i} rpm") for run in made]
    return runs


def test_one_engine_speed_gives_one_factor() -> None:
    """With one speed nothing more than a factor is supported."""
    runs = runs_at([0, 20], [6.2, 5.8], [6.4, 6.4])
    result = analyse_trial(MILE, runs)
    one = factor_from_runs(MILE, runs)
    assert result.correction.is_factor
    assert result.factor == pytest.approx(one.factor)
    assert result.expanded == pytest.approx(one.expanded)
    assert result.correction.lowest_kn == result.correction.highest_kn == pytest.approx(6.4)


def test_a_constant_factor_over_several_speeds_stays_one_factor() -> None:
    """No more curve than the data support."""
    result = analyse_trial(MILE, _at_speeds({4.0: 0.95, 5.5: 0.95, 7.0: 0.95}))
    assert result.correction.powers == (1,)
    assert result.factor == pytest.approx(0.95, abs=1e-6)
    assert "no better than chance" in result.curve.words
    assert (result.correction.lowest_kn, result.correction.highest_kn) == pytest.approx((4.0, 7.0))


def test_a_factor_that_changes_with_speed_becomes_a_line() -> None:
    """V = 0.3 + 0.9 L, far beyond the uncertainty of each speed."""
    truths = {log: (0.3 + 0.9 * log) / log for log in (3.0, 5.0, 7.0)}
    result = analyse_trial(MILE, _at_speeds(truths))
    assert result.correction.powers == (0, 1)
    assert result.correction.coefficients == pytest.approx((0.3, 0.9), abs=1e-6)
    assert result.correction.true_kn(4.0) == pytest.approx(3.9, abs=1e-6)
    covariance = np.asarray(result.correction.covariance)
    assert covariance[0, 1] < 0
    assert [c.taken for c in result.curve.candidates] == [False, True]


def test_a_bent_truth_over_five_speeds_becomes_a_curve() -> None:
    """A curve is taken only where it leaves a degree of freedom."""
    truths = {log: (0.5 + 0.6 * log + 0.05 * log**2) / log for log in (3.0, 4.0, 5.0, 6.0, 7.0)}
    result = analyse_trial(MILE, _at_speeds(truths))
    assert result.correction.powers == (0, 1, 2)
    three = analyse_trial(MILE, _at_speeds({log: truths[log] for log in (3.0, 5.0, 7.0)}))
    assert three.correction.powers == (0, 1)


def test_engine_speeds_at_which_the_log_reads_the_same_give_one_factor() -> None:
    """Two labels and one reading support no line."""
    runs = [replace(run, speed_group=label) for label in ("a", "b") for run in _at_speeds({6.0: 0.95})]
    result = analyse_trial(MILE, runs)
    assert result.correction.powers == (1,)
    assert "read the same at every engine speed" in result.curve.words


def test_the_course_length_does_not_average_down_over_speeds() -> None:
    """A common error moves the whole curve (pattern of JCGM 100 H.3.6)."""
    course = charted_course("coarse", 1.0, 0.05)
    result = analyse_trial(course, _at_speeds({4.0: 0.95, 5.5: 0.95, 7.0: 0.95}, pairs=3))
    assert result.u_factor >= 0.95 * course.u_length_nm


def test_the_surer_reading_is_used_and_the_other_kept() -> None:
    """A counter to a hundredth beats a steady display over a mile; both give one factor."""
    runs = [
        Run(OUT, 580.0, speed_readings_kn=(6.5, 6.5, 6.5), log_stop_nm=1.05),
        Run(BACK, 620.0, speed_readings_kn=(6.5, 6.5, 6.5), log_stop_nm=1.12),
    ]
    group = analyse_trial(MILE, runs).groups[0]
    assert group.best.indication is Indication.DISTANCE
    assert group.other is not None
    assert group.other.indication is Indication.SPEED
    assert group.other_agrees


def test_readings_that_disagree_are_said() -> None:
    """One sensor feeds both (common practice, no source), so a difference is a slip."""
    runs = [
        Run(OUT, 580.0, speed_readings_kn=(6.5, 6.5, 6.5), log_stop_nm=1.25),
        Run(BACK, 620.0, speed_readings_kn=(6.5, 6.5, 6.5), log_stop_nm=1.32),
    ]
    result = analyse_trial(MILE, runs)
    assert not result.groups[0].other_agrees
    assert any("disagree" in remark.words and remark.level == "caution" for remark in result.remarks)


def test_the_setting_travels_with_the_correction() -> None:
    """Otherwise a log set anew would be corrected twice."""
    setting = LogSetting(Convention.MULTIPLIER, 1.05)
    result = analyse_trial(MILE, runs_at([0, 20], [6.2, 5.8], [6.4, 6.4]), setting=setting)
    assert result.correction.setting == setting


def test_a_fault_names_the_run_as_the_reader_counts() -> None:
    """Runs of one engine speed are counted among all runs."""
    runs = [replace(run, speed_group="slow") for run in runs_at([0, 20], [4.2, 3.8], [4.0, 4.0])]
    runs += [Run(OUT, 600.0, speed_readings_kn=(6.0,), speed_group="fast"), Run(BACK, 600.0, speed_group="fast")]
    with pytest.raises(NotEnoughReadings, match=r"runs\[3\].speed_readings_kn is missing"):
        analyse_trial(MILE, runs)


def test_each_engine_speed_needs_both_ways() -> None:
    """Both lacking speeds are told at once, each by its label."""
    runs = [
        Run(OUT, 600.0, speed_readings_kn=(6.0,), speed_group="fast"),
        Run(OUT, 800.0, speed_readings_kn=(4.5,), speed_group="slow"),
    ]
    with pytest.raises(ManyFaults) as caught:
        analyse_trial(MILE, runs)
    assert [fault.field for fault in caught.value.faults] == ["runs at fast", "runs at slow"]


def test_no_runs_at_all_is_refused() -> None:
    """The remedy says what to add."""
    with pytest.raises(NavigationError, match="at least two runs"):
        analyse_trial(MILE, [])


# ---------------------------------------------------------------- what would make it surer


def _plain(
    steering: Steering = Steering.HEADING_HELD, u_length_nm: float = 0.0005, uneven_kn: float = 0.05
) -> TrialResult:
    course = replace(MILE, u_length_nm=u_length_nm)
    runs = [
        Run(d, 600.0, started_at=NOON + timedelta(minutes=14 * i), speed_readings_kn=(6.1,) * 5)
        for i, d in enumerate((OUT, BACK) * 2)
    ]
    return analyse_trial(course, runs, Conditions(steering=steering, stream_irregularity_kn=uneven_kn))


def test_improvements_come_best_first_and_help() -> None:
    """Each named change takes something off; the first takes most."""
    found = improvements(_plain())
    after = [item.expanded_after for item in found]
    assert after == sorted(after)
    assert all(item.expanded_after < item.expanded_now for item in found)


@pytest.mark.parametrize(
    ("result", "first"),
    [
        (_plain(u_length_nm=0.02), "length of the course"),
        (_plain(Steering.TRACK_HELD), "compass course"),
        (_plain(uneven_kn=0.01), "distance counter"),
    ],
    ids=["coarse course", "crab not noted", "steady display"],
)
def test_the_first_advice_is_about_the_largest_part(result: TrialResult, first: str) -> None:
    """What dominates the budget is what to mend."""
    assert first in improvements(result)[0].words or first in improvements(result)[1].words


def test_the_way_to_halve_is_worked_through() -> None:
    """The changes together bring it to half or less, or it says how far they get."""
    result = _plain(u_length_nm=0.02)
    way = way_to_halve(result)
    assert way.reached
    assert way.expanded_after <= result.expanded / 2
    assert "length of the course" in way.changes[0] or "nm" in way.changes[0]
