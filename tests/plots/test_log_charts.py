from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from tests.working.trials import demo_course, demo_runs
from truemile.core.corrections import LogCorrection
from truemile.core.log_runs import Conditions, Steering
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.plots.log_charts import (
    InForce,
    TrialPoint,
    budget_chart,
    correction_chart,
    curve_chart,
    history_chart,
    runs_chart,
)
from truemile.plots.render import png, svg
from truemile.plots.spec import margins, table
from truemile.plots.theme import COLOURS, themed

LINE = LogCorrection((0, 1), (0.31, 0.91), ((0.01, -0.0015), (-0.0015, 0.0003)), 12.0, 3.0, 7.5)


@pytest.fixture(scope="module")
def result() -> TrialResult:
    """The demo trial of four runs."""
    return analyse_trial(demo_course(), demo_runs(4), Conditions(steering=Steering.TRACK_HELD))


def _history() -> dict[str, Any]:
    days = [datetime(2026, month, 3, tzinfo=UTC) for month in (9, 3, 6)]
    points = [TrialPoint(day, 0.93 + day.month / 1000, 0.02, f"Trial {day.month}") for day in days]
    spans = [InForce(days[1], days[2], 0.933), InForce(days[2], None, 0.936)]
    return history_chart(points, spans)


@pytest.fixture
def charts(result: TrialResult) -> dict[str, dict[str, Any]]:
    """One of each chart."""
    return {
        "runs": runs_chart(result),
        "curve": curve_chart(result),
        "line": correction_chart(LINE, [(3.0, 3.04, 0.1), (7.5, 7.13, 0.15)]),
        "budget": budget_chart(result.groups[0].best.budget),
        "history": _history(),
    }


def test_every_chart_is_plain_data_with_words_and_table(charts: dict[str, dict[str, Any]]) -> None:
    """A chart passes through JSON unchanged, says in words what it shows, and has its numbers as a table."""
    for spec in charts.values():
        assert json.loads(json.dumps(spec)) == spec
        assert len(spec["description"]) > 40
        listed = table(spec)
        assert listed.rows
        assert all(len(row) == len(listed.columns) for row in listed.rows)


def test_every_chart_is_drawn_in_every_theme(charts: dict[str, dict[str, Any]]) -> None:
    """The drawing takes each chart in each theme, in the colours of that theme and in no other."""
    for theme, ink in COLOURS.items():
        allowed = {ink.ink, ink.pencil, ink.rule, ink.accent, ink.caution}
        for spec in charts.values():
            drawn = svg(spec, theme)
            assert drawn.startswith("<svg")
            used = {part.split('"')[0] for mark in ("fill=", "stroke=") for part in drawn.split(f'{mark}"')[1:]}
            assert {colour for colour in used if colour not in {"none", "transparent"}} <= allowed
            assert "DejaVu Sans Mono" in drawn


def test_drawing_is_the_same_each_time(charts: dict[str, dict[str, Any]]) -> None:
    """One chart gives one drawing."""
    assert svg(charts["runs"]) == svg(charts["runs"])


def test_drawn_runs_chart_carries_its_text(charts: dict[str, dict[str, Any]], result: TrialResult) -> None:
    """The estimate, the mean by hand and each run are named in the drawing."""
    drawn = svg(charts["runs"])
    for text in ("1 out", "4 back", f"estimate {result.factor:.3f}", f"mean by hand {result.hand_factor:.3f}"):
        assert text in drawn


def test_picture_has_the_size_asked_for(charts: dict[str, dict[str, Any]]) -> None:
    """A PNG is as wide as asked, times its scale."""
    picture = png(charts["runs"], "night", width=300, height=120, scale=2.0)
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(picture[16:20], "big") == 600


def test_runs_table_ends_with_the_two_means(charts: dict[str, dict[str, Any]], result: TrialResult) -> None:
    """The table of the runs lists each factor, then the mean by hand, then the estimate with its ±."""
    rows = table(charts["runs"]).rows
    assert len(rows) == 6
    assert rows[4] == ("mean by hand", f"{result.hand_factor:.3f}")
    assert "±" in rows[5][1]


def test_line_is_dotted_outside_the_speeds_measured(charts: dict[str, dict[str, Any]]) -> None:
    """The full line covers the calibrated speeds and no more; the dotted one goes beyond on both sides."""
    beyond, measured = (charts["line"]["layer"][i]["data"]["values"] for i in (2, 3))
    assert (measured[0]["shown"], measured[-1]["shown"]) == (3.0, 7.5)
    assert beyond[0]["shown"] < 3.0
    assert beyond[-1]["shown"] > 7.5


def test_curve_table_adds_up(charts: dict[str, dict[str, Any]]) -> None:
    """True speed is shown speed and difference, to the rounding of the table."""
    for shown, true, less, _ in table(charts["line"]).rows:
        assert float(true) - float(shown) == pytest.approx(float(less), abs=0.06)


def test_budget_shares_add_up(charts: dict[str, dict[str, Any]]) -> None:
    """The shares of the budget add up to the whole, to their rounding."""
    assert sum(float(share[:-2]) for _, share in table(charts["budget"]).rows) == pytest.approx(100, abs=3)


def test_several_speeds_are_named_on_the_runs_chart() -> None:
    """Runs at several engine speeds carry the label of their speed."""
    from dataclasses import replace

    slow = [replace(run, speed_group="1500 rpm") for run in demo_runs(2, timed=False)]
    fast = [
        replace(run, speed_group="2100 rpm", elapsed_s=run.elapsed_s * 0.8, speed_readings_kn=(7.9, 8.0))
        for run in demo_runs(2, timed=False)
    ]
    result = analyse_trial(demo_course(), slow + fast, Conditions(steering=Steering.TRACK_HELD))
    assert table(runs_chart(result)).rows[0][0] == "1500 rpm: 1 out"


def test_history_is_in_order_of_time(charts: dict[str, dict[str, Any]]) -> None:
    """Trials and corrections are listed by date whatever order they came in."""
    days = [row[0] for row in table(charts["history"]).rows]
    assert days == sorted(days)
    assert "put in force" in charts["history"]["description"]


def test_history_without_trials_is_drawn() -> None:
    """A log without trials has an empty chart that says so, and a plain row of numbers makes a point."""
    assert "none yet" in history_chart([])["description"]
    assert svg(history_chart([])).startswith("<svg")
    assert table(history_chart([(datetime(2026, 5, 1, tzinfo=UTC), 0.93, 0.01)])).rows == (
        ("2026-05-01", "trial", "0.930 ± 0.010"),
    )


def test_themes_only_add_configuration(charts: dict[str, dict[str, Any]]) -> None:
    """A theme changes nothing of the chart itself."""
    dressed = themed(charts["runs"], "night")
    assert {key: value for key, value in dressed.items() if key != "config"} == charts["runs"]


def test_margins_never_close() -> None:
    """One value alone still gets an axis."""
    assert margins([0.9], 0.05) == pytest.approx((0.875, 0.925))
