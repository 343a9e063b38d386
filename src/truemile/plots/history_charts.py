"""The history of a log as pictures: control charts, the trend, and how each trial agrees with the one before."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from truemile.core.constants import SECONDS_PER_DAY
from truemile.core.coverage import coverage_factor
from truemile.core.least_squares import line
from truemile.core.uncertainty import format_with_uncertainty
from truemile.plots.spec import SCHEMA, Spec, chart, layer, margins, quantity, table

if TYPE_CHECKING:
    from truemile.workbook.history import LogHistory

#: Charts of a history by the name in their address, with their headings.
HISTORY_CHARTS: Final[Mapping[str, str]] = {
    "factors": "Factors over the years",
    "weighted": "Weighted mean, for slow changes",
    "agreement": "Each trial against the one before",
}
_STEPS: Final = 12
#: Least room before the first and after the last date.
_ROOM: Final = timedelta(days=7)


def factors_chart(history: LogHistory) -> Spec:
    """Return the factors with ±, the limits of the control chart, the trend with its band, and the events."""
    points, limits = history.points, history.chart
    trend = _trend_rows(history)
    ends = [v for p in points for v in (p.factor - p.expanded, p.factor + p.expanded)]
    ends += [v for row in trend for v in (row["low"], row["high"])]
    ends += [limits.low, limits.high] if limits is not None else []
    y = quantity("factor", "factor", *margins(ends or [1.0], 0.05), ".2f")
    x = _dates(history)
    values = [
        {"at": _when(p.at), "factor": p.factor, "low": p.factor - p.expanded, "high": p.factor + p.expanded}
        for p in points
    ]
    outside = [values[i] for i in (limits.outside if limits is not None else ())]
    span = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    layers = [
        layer(trend, "area", "band", span),
        layer(trend, "line", "curve", {"x": x, "y": y}),
        *_limit_layers(y, None if limits is None else (limits.low, limits.centre, limits.high)),
        *_event_layers(history, x),
        layer(values, "rule", "whisker", span),
        layer(values, "point", "reading", {"x": x, "y": y}, filled=True),
        layer(outside, "point", "outside", {"x": x, "y": y}),
    ]
    return chart(
        _factors_words(history), layers, columns=("date", "what", "factor"), rows=_factor_rows(history), height=190
    )


def weighted_chart(history: LogHistory) -> Spec | None:
    """Return the exponentially weighted mean with its limits; None before there are two trials."""
    found, limits = history.ewma, history.chart
    if found is None or limits is None:
        return None
    y = quantity("factor", "weighted mean", *margins([*found.values, found.low, found.high], 0.02), ".3f")
    x = _dates(history)
    values = [{"at": _when(p.at), "factor": v} for p, v in zip(history.points, found.values, strict=True)]
    layers = [
        *_limit_layers(y, (found.low, limits.centre, found.high)),
        *_event_layers(history, x),
        layer(values, "line", "curve", {"x": x, "y": y}),
        layer(values, "point", "reading", {"x": x, "y": y}, filled=True),
        layer([values[i] for i in found.outside], "point", "outside", {"x": x, "y": y}),
    ]
    out = f"{len(found.outside)} outside" if found.outside else "none outside"
    words = (
        f"Exponentially weighted mean of the factors, newest {found.values[-1]:.3f}, within limits of"
        f" {found.low:.3f} to {found.high:.3f}: {out}."
    )
    rows = [
        (_day(p.at), f"{v:.4f}", "outside" if i in found.outside else "inside")
        for i, (p, v) in enumerate(zip(history.points, found.values, strict=True))
    ]
    return chart(words, layers, columns=("date", "weighted mean", "limits"), rows=rows, height=130)


def agreement_chart(history: LogHistory) -> Spec | None:
    """Return the normalised error of each trial against the one before; None before there are two trials."""
    compared = [(p, p.normalised_error) for p in history.points if p.normalised_error is not None]
    if not compared:
        return None
    x = _dates(history)
    y = quantity("error", "Eₙ", 0.0, 1.1 * max(1.2, *(error for _, error in compared)), ".1f")
    values: list[dict[str, Any]] = [{"at": _when(p.at), "error": error} for p, error in compared]
    bar = {"x": x, "y": {**y, "stack": None}}
    layers = [
        layer([each for each in values if each["error"] <= 1.0], "bar", "agrees", bar, size=7),
        layer([each for each in values if each["error"] > 1.0], "bar", "differs", bar, size=7),
        layer([{"error": 1.0}], "rule", "limit", {"y": y}),
    ]
    apart = [p for p, error in compared if error > 1.0]
    verdict = "all agree" if not apart else "not agreeing: trial " + ", ".join(str(p.trial_id) for p in apart)
    words = f"Normalised error Eₙ of each trial against the one before; up to 1 they agree. Here {verdict}."
    rows = [(_day(p.at), f"trial {p.trial_id}", f"{error:.2f}", _agrees(error)) for p, error in compared]
    return chart(words, layers, columns=("date", "trial", "Eₙ", "verdict"), rows=rows, height=90)


def history_charts(history: LogHistory) -> dict[str, Spec]:
    """Return the charts that a history has enough trials for, by name."""
    made = {
        "factors": factors_chart(history) if history.points else None,
        "weighted": weighted_chart(history),
        "agreement": agreement_chart(history),
    }
    return {name: spec for name, spec in made.items() if spec is not None}


def history_picture(history: LogHistory) -> Spec:
    """Return all charts of a history below each other, for a file of its own."""
    charts = list(history_charts(history).values())
    parts = [{name: spec[name] for name in ("width", "height", "layer")} for spec in charts]
    first = table(charts[0])
    return {
        "$schema": SCHEMA,
        "description": " ".join(str(spec["description"]) for spec in charts),
        "usermeta": {"columns": list(first.columns), "rows": [list(row) for row in first.rows]},
        "padding": 6,
        "vconcat": parts,
    }


def _factors_words(history: LogHistory) -> str:
    points, limits = history.points, history.chart
    if not points:
        return "No factor was measured yet; only events are shown."
    newest = points[-1]
    words = (
        f"Factors of {len(points)} trials as one setting would show them, newest"
        f" {format_with_uncertainty(newest.factor, newest.expanded)} on {_day(newest.at)}."
    )
    if limits is not None:
        words += f" Limits of the chart {limits.low:.3f} to {limits.high:.3f}, {len(limits.outside)} outside."
    if history.trend is not None:
        rate = 100.0 * history.trend.per_month
        words += f" Trend {rate:+.2f} ± {100.0 * history.trend.expanded_per_month:.2f} % a month."
    return words.replace("-0", "\N{MINUS SIGN}0")


def _factor_rows(history: LogHistory) -> list[tuple[str, str, str]]:
    rows = [(_day(p.at), f"trial {p.trial_id}", format_with_uncertainty(p.factor, p.expanded)) for p in history.points]
    rows += [(_day(event.at), event.words, "") for event in history.events]
    return sorted(rows)


def _dates(history: LogHistory) -> Spec:
    return {
        "field": "at",
        "type": "temporal",
        "scale": {"type": "utc", "domain": [_when(end) for end in _ends(history)], "nice": False},
        "axis": {"title": None, "grid": False, "format": "%-d %b %y", "labelOverlap": True, "tickCount": 5},
    }


def _ends(history: LogHistory) -> tuple[datetime, datetime]:
    """First and last of all that is shown, with a little room: charts of one history have one axis of time."""
    moments = [*(p.at for p in history.points), *(event.at for event in history.events)]
    first, last = min(moments), max(moments)
    room = max((last - first) * 0.05, _ROOM)
    return first - room, last + room


def _limit_layers(y: Spec, limits: tuple[float, float, float] | None) -> list[Spec]:
    if limits is None:
        return []
    low, centre, high = limits
    return [
        layer([{"factor": low}, {"factor": high}], "rule", "limit", {"y": y}),
        layer([{"factor": centre}], "rule", "true", {"y": y}),
    ]


def _event_layers(history: LogHistory, x: Spec) -> list[Spec]:
    values = [{"at": _when(event.at), "words": event.kind.value} for event in history.events]
    if not values:
        return []
    place = {"x": x, "y": {"value": 4}, "text": {"field": "words"}}
    return [
        layer(values, "rule", "event", {"x": x}),
        layer(values, "text", "note-event", place, angle=270, align="right", baseline="bottom", dx=0, dy=-3),
    ]


def _trend_rows(history: LogHistory) -> list[dict[str, Any]]:
    """The line of the trend and its 95 % band, over the trials that it goes through."""
    trend = history.trend
    if trend is None:
        return []
    points = [p for p in history.points if trend.since <= p.at <= trend.until]
    days = [_days(trend.since, p.at) for p in points]
    fitted = line(days, [p.factor for p in points], u=[p.u for p in points])
    stretch = math.sqrt(fitted.chi2 / fitted.dof) if fitted.dof else 0.0
    k = coverage_factor(math.inf)
    if stretch > 1.0:
        k = max(k, coverage_factor(float(fitted.dof)) * stretch)
    rows = []
    for step in range(_STEPS + 1):
        at = trend.since + (trend.until - trend.since) * (step / _STEPS)
        value, u = fitted.predict((1.0, _days(trend.since, at)))
        rows.append({"at": _when(at), "factor": value, "low": value - k * u, "high": value + k * u})
    return rows


def _agrees(error: float) -> str:
    return "agrees" if error <= 1.0 else "does not agree"


def _days(since: datetime, at: datetime) -> float:
    return (at - since).total_seconds() / SECONDS_PER_DAY


def _when(at: datetime) -> str:
    return at.isoformat()


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d}"
