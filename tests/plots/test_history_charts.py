"""Charts of the years and of a vector round, as data first: what stands where, in words, and in both themes."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from truemile.core.ground_vectors import Leg
from truemile.core.vector_round import VectorRound, solve_round
from truemile.plots.history_charts import HISTORY_CHARTS, history_charts, history_picture
from truemile.plots.render import png, svg
from truemile.plots.round_chart import round_chart
from truemile.plots.spec import table
from truemile.workbook.boats import add_boat
from truemile.workbook.entries import BoatEntry, LogEntry
from truemile.workbook.events import record_event
from truemile.workbook.history import LogHistory, log_history
from truemile.workbook.instruments import add_log
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import LegEntry, RoundEntry, record_legs, start_round

NOW = datetime(2026, 9, 1, 12, tzinfo=UTC)


def legs(factor: float) -> list[Leg]:
    """Four legs in half a knot of stream to the east, without any error."""
    found = []
    for heading in (0.0, 180.0, 90.0, 270.0):
        radians = math.radians(heading)
        north, east = 5.0 * factor * math.cos(radians), 5.0 * factor * math.sin(radians) + 0.5
        found.append(Leg(heading, 5.0, math.hypot(north, east), math.degrees(math.atan2(east, north)) % 360.0))
    return found


@pytest.fixture
def history(tmp_path: Path) -> Iterator[LogHistory]:
    """Four rounds over two seasons: the last does not agree, and the log was cleaned before the third."""
    with Workbook.create(tmp_path / "h.truemile", clock=lambda: NOW) as workbook:
        add_boat(workbook, BoatEntry(name="Dunlin"))
        add_log(workbook, LogEntry(name="log"))
        for day, factor in (("2025-05-01", 0.95), ("2025-07-01", 0.96), ("2026-05-01", 0.95), ("2026-08-01", 1.09)):
            made = start_round(workbook, RoundEntry(date=day))
            entries = [
                LegEntry(
                    heading=f"{leg.heading_deg:g}",
                    indicated="5.0",
                    sog=f"{leg.sog_kn:.2f}",
                    cog=f"{leg.cog_true_deg:.1f}",
                )
                for leg in legs(factor)
            ]
            record_legs(workbook, made.id, entries)
        record_event(workbook, None, "cleaning", datetime(2026, 4, 1, 12, tzinfo=UTC), "weed")
        yield log_history(workbook)


@pytest.fixture
def result() -> VectorRound:
    """A round in half a knot to the east."""
    return solve_round(legs(0.95))


def test_charts_are_plain_data_with_words_and_table(history: LogHistory, result: VectorRound) -> None:
    """Each passes through JSON unchanged, says what it shows, and has its numbers as a table."""
    charts = [*history_charts(history).values(), history_picture(history), round_chart(result)]
    assert list(history_charts(history)) == list(HISTORY_CHARTS)
    for spec in charts:
        assert json.loads(json.dumps(spec)) == spec
        assert len(spec["description"]) > 40
        assert table(spec).rows


def test_events_limits_and_disagreement_are_marked(history: LogHistory) -> None:
    """The cleaning is a labelled rule, the limits are those of the history, and the last trial stands out."""
    charts = history_charts(history)
    styles = {each["mark"]["style"]: each["data"]["values"] for each in charts["factors"]["layer"]}
    assert [row["words"] for row in styles["note-event"]] == ["cleaning"]
    assert history.chart is not None
    assert [row["factor"] for row in styles["limit"]] == [history.chart.low, history.chart.high]
    assert ("2026-04-01", "cleaning: weed", "") in table(charts["factors"]).rows
    apart = {each["mark"]["style"]: each["data"]["values"] for each in charts["agreement"]["layer"]}
    assert len(apart["differs"]) == 1
    assert table(charts["agreement"]).rows[-1][-1] == "does not agree"


def test_the_trend_begins_after_the_cleaning(history: LogHistory) -> None:
    """The line goes through the trials since the reset only, and its band holds it."""
    styles = {each["mark"]["style"]: each["data"]["values"] for each in history_charts(history)["factors"]["layer"]}
    rows = styles["band"]
    assert rows[0]["at"].startswith("2026-05-01")
    assert all(row["low"] < row["factor"] < row["high"] for row in rows)


def test_the_circle_has_the_factor_for_size_and_the_stream_for_centre(result: VectorRound) -> None:
    """Every leg must end on the drawn circle: radius k L, centre at the stream."""
    layers = {each["mark"]["style"]: each for each in round_chart(result)["layer"]}
    ring = layers["circle"]["data"]["values"]
    east, north = (sum(row[name] for row in ring[:-1]) / (len(ring) - 1) for name in ("east", "north"))
    assert (east, north) == (pytest.approx(0.5, abs=1e-6), pytest.approx(0.0, abs=1e-6))
    for row in layers["ground"]["data"]["values"]:
        assert math.hypot(row["east"] - east, row["north"] - north) == pytest.approx(4.75, abs=1e-6)


def test_one_knot_is_as_long_north_as_east(result: VectorRound) -> None:
    """In a picture twice as wide as high, the axis to the east shows twice as many knots."""
    (x, y) = (round_chart(result)["layer"][0]["encoding"][name]["scale"] for name in ("x", "y"))

    def span(scale: dict[str, dict[str, str]], width: float, height: float) -> float:
        names = {"width": width, "height": height, "max": max}
        ends = [eval(scale[end]["expr"], {"__builtins__": {}}, names) for end in ("domainMin", "domainMax")]  # noqa: S307 (our own)
        return float(ends[1] - ends[0])

    for width, height in ((600.0, 300.0), (300.0, 300.0), (200.0, 300.0)):
        assert span(x, width, height) / width == pytest.approx(span(y, width, height) / height)


def test_they_are_drawn(history: LogHistory, result: VectorRound) -> None:
    """Without a browser, in print and at night."""
    assert "cleaning" in svg(history_picture(history), "print")
    assert png(round_chart(result), "night").startswith(b"\x89PNG")


def test_speeds_alone_are_drawn_on_their_fitted_courses() -> None:
    """Without courses over the ground the fitted ones serve."""
    speeds = [Leg(leg.heading_deg, leg.indicated_kn, leg.sog_kn) for leg in legs(0.95)]
    listed = table(round_chart(solve_round(speeds)))
    assert listed.rows[0][4] == ""
