"""The demo season: invented, repeatable, and near its truth."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from truemile.core.errors import WorkbookError
from truemile.core.log_runs import Direction, Steering
from truemile.core.measured_course import charted_course
from truemile.workbook import demo
from truemile.workbook.check_trials import check_result
from truemile.workbook.courses import courses, marks
from truemile.workbook.demo import DEMO_WORDS, demo_truth, make_demo
from truemile.workbook.demo_truth import DemoCrew, DemoSpeed
from truemile.workbook.events import EventKind
from truemile.workbook.history import log_history
from truemile.workbook.log_corrections import in_force
from truemile.workbook.log_trials import export_trial, trial_result, trials
from truemile.workbook.safekeeping import check
from truemile.workbook.schema import TrialKind
from truemile.workbook.slate import slate
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import round_result, rounds


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo workbook, made once."""
    return make_demo(tmp_path_factory.mktemp("demo") / "demo.truemile")


def test_the_demo_is_marked_as_invented(season: Path) -> None:
    """The boat says so, for every page to show."""
    with Workbook.open(season) as wb:
        assert slate(wb).boat.demo
        assert slate(wb).boat.name == "Dunlin"
        assert check(wb).good
    assert "not for navigation" in DEMO_WORDS


def test_the_demo_lies_in_open_ocean_where_nobody_sails_by_it(season: Path) -> None:
    """Every mark lies near 47°10′N 031°00′W."""
    with Workbook.open(season) as wb:
        places = [mark.position for mark in marks(wb)]
        kinds = [(course.course.transits, bool(course.course.floating_marks), course.start) for course in courses(wb)]
    assert all(abs(p.latitude_deg - 47.17) < 0.1 and abs(p.longitude_deg + 31.0) < 0.1 for p in places)
    # One with transits, one charted, one with a floating mark.
    assert [kind[0] for kind in kinds] == [True, False, False]
    assert [kind[1] for kind in kinds] == [False, False, True]
    assert kinds[1][2] is None


def test_the_demo_holds_a_season(season: Path) -> None:
    """A first trial in force, a check that passes, several speeds, a held track; every run with its time."""
    with Workbook.open(season) as wb:
        found = trials(wb)
        assert [view.kind for view in found].count(TrialKind.CHECK) == 1
        assert {view.conditions.steering for view in found} == {Steering.HEADING_HELD, Steering.TRACK_HELD}
        assert max(len(trial_result(wb, view.id).groups) for view in found) == 3
        assert all(item.run.started_at for view in found for item in view.runs)
        kept = in_force(wb)
        assert kept is not None
        assert kept.trial_id == min(view.id for view in found)
        verdict = check_result(wb, next(view.id for view in found if view.kind is TrialKind.CHECK)).verdict
        assert verdict.agrees
        assert verdict.within_bar


def test_each_estimate_of_the_demo_holds_the_truth_within_its_own_uncertainty(season: Path) -> None:
    """Twelve factors of two seasons, fixed by the seed: all within their 95 % uncertainty of the stated truth."""
    truth = demo_truth()
    factors = 0
    with Workbook.open(season) as wb:
        for view in trials(wb):
            scale = truth.earlier_scale if view.began_at < truth.launched_at else 1.0
            for group in trial_result(wb, view.id).groups:
                at = view.runs[0].run.started_at or view.began_at
                true = truth.factor(group.best.mean_indicated_kn / scale, at) / scale
                assert abs(group.best.factor - true) < group.best.expanded
                factors += 1
    assert factors == 12


def test_the_round_of_the_demo_holds_the_truth(season: Path) -> None:
    """Factor, heading offset (there is none) and stream within their own 95 %; and it agrees with that day's trial."""
    truth = demo_truth()
    with Workbook.open(season) as wb:
        (view,) = rounds(wb)
        result = round_result(wb, view.id)
        points = {point.trial_id: point for point in log_history(wb).points}
    middle = view.legs[0].leg.started_at or view.began_at
    true = truth.factor(sum(item.leg.indicated_kn for item in view.legs) / len(view.legs), middle)
    assert abs(result.factor - true) < result.expanded
    assert result.offset_budget is not None
    assert abs(result.offset_budget.value) < result.offset_budget.expanded
    north, east = truth.stream(0.0, middle, 20 * 60.0)
    assert abs(result.stream_drift_kn - math.hypot(north, east)) < result.drift_budget.expanded
    assert result.may_be_put_in_force
    assert points[view.id].agrees


def test_the_history_of_the_demo_spans_two_seasons(season: Path) -> None:
    """Eleven points under one setting, with the events between them; the change of setting does not show as a jump."""
    with Workbook.open(season, clock=lambda: datetime(2026, 9, 13, 12, 0, tzinfo=UTC)) as wb:
        history = log_history(wb)
    assert len(history.points) == 11
    assert history.skipped == ()
    assert [event.kind for event in history.events] == [
        EventKind.CLEANING,
        EventKind.HAUL_OUT,
        EventKind.SETTING,
    ]
    assert history.chart is not None
    assert history.chart.from_ranges
    assert history.chart.outside == ()
    assert all(point.agrees in {True, None} for point in history.points)
    jump = history.points[5].measured_factor / history.points[4].measured_factor
    assert jump == pytest.approx(demo_truth().earlier_scale, abs=0.02)
    assert history.trend is not None
    growth = demo_truth().growth_per_day * 365.25 / 12
    assert abs(history.trend.per_month - growth) < history.trend.expanded_per_month


def test_the_demo_is_the_same_every_time(season: Path, tmp_path: Path) -> None:
    """Two makings differ in nothing."""
    again = make_demo(tmp_path / "again.truemile")
    with Workbook.open(season) as first, Workbook.open(again) as second:
        for view in trials(first):
            assert export_trial(first, view.id) == export_trial(second, view.id)


def test_a_demo_that_fails_leaves_no_half_season(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a season would look like a whole one; and an existing file is never overwritten."""

    def fail(*_: object) -> None:
        raise WorkbookError("workbook", "here", "the disk is full", "Make room.")

    monkeypatch.setattr(demo, "_make_trial", fail)
    with pytest.raises(WorkbookError, match="disk is full"):
        make_demo(tmp_path / "demo.truemile")
    assert list(tmp_path.iterdir()) == []


def test_the_truth_agrees_with_itself() -> None:
    """Indicated and true speed are each other's inverse, and the stream turns with the tide."""
    truth = demo_truth()
    at = truth.high_at
    assert truth.indicated_kn(truth.true_kn(6.3, at), at) == pytest.approx(6.3, abs=1e-12)
    along, across = truth.stream(truth.set_true_deg, at)
    assert (along, across) == pytest.approx((truth.drift_kn, 0.0), abs=1e-12)
    # Over a whole tide the mean stream is nil.
    assert truth.stream(truth.set_true_deg, at, 12.42 * 3600)[0] == pytest.approx(0.0, abs=1e-12)


def test_a_held_track_takes_longer_than_a_held_heading() -> None:
    """With the stream across, part of the speed goes into the crab: √(V² - x²) by the triangle of velocities."""
    truth = demo_truth()
    across = charted_course("Across", 1.0, 0.01, course_true_deg=truth.set_true_deg - 90.0)
    speed = (DemoSpeed("", 2200, 3.0),)
    times = []
    for steering in (Steering.TRACK_HELD, Steering.HEADING_HELD):
        run = DemoCrew(truth).runs(across, truth.high_at, speed, each=1, steering=steering)[0].read().run
        assert run.direction is Direction.OUT
        times.append(run.elapsed_s)
    assert times[0] / times[1] == pytest.approx(3.0 / (9.0 - 0.9**2) ** 0.5, abs=0.004)
