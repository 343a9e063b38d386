"""Charts of the log: the runs, the curve of the correction, the budget and the history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from truemile.core.corrections import LogCorrection
from truemile.core.factor_budget import group_of
from truemile.core.log_factor import LogFactor
from truemile.core.log_trial import TrialResult
from truemile.core.uncertainty import Budget, coverage_factor, format_with_uncertainty
from truemile.plots.spec import Spec, chart, layer, margins, quantity

_MOST_BARS = 6
_STEPS = 40


class TrialPoint(NamedTuple):
    """A trial in the history of a log: its date, factor, 95 % uncertainty and name."""

    at: datetime
    factor: float
    expanded: float
    label: str = "trial"


@dataclass(frozen=True, slots=True)
class InForce:
    """A factor and the time for which it was applied; `until` is None while it is."""

    since: datetime
    until: datetime | None
    factor: float


def runs_chart(result: TrialResult) -> Spec:
    """Return the factor of each run, the estimate with its band and the mean by hand."""
    rows = [(_run_label(result, group, run.number), run.factor) for group in _bests(result) for run in group.runs]
    estimate, hand = result.factor, result.hand_factor
    low, high = estimate - result.expanded, estimate + result.expanded
    y = quantity("factor", "factor", *margins([low, high, hand, *(f for _, f in rows)], 0.05), ".2f")
    points = [{"run": label, "factor": factor} for label, factor in rows]
    x: Spec = {
        "field": "run",
        "type": "nominal",
        "sort": None,
        "axis": {"title": None, "labelAngle": 0, "grid": False, "labelOverlap": True},
    }
    y_only = {"y": {**y, "field": "factor"}}
    text = format_with_uncertainty(estimate, result.expanded)
    layers = [
        layer([{"factor": low, "top": high}], "rect", "band", {"y": y, "y2": {"field": "top"}}),
        layer([{"factor": estimate}], "rule", "estimate", y_only),
        layer([{"factor": hand}], "rule", "by-hand", y_only),
        layer(points, "point", "reading", {"x": x, "y": y}, filled=True),
        _note(estimate, f"estimate {text}", "note-estimate", y, above=estimate >= hand),
        _note(hand, f"mean by hand {hand:.3f}", "note-by-hand", y, above=estimate < hand),
    ]
    words = (
        f"Factor of each of {len(rows)} runs, from {min(f for _, f in rows):.3f} to {max(f for _, f in rows):.3f}."
        f" Their mean by hand is {hand:.3f}; the estimate is {text}."
    )
    listed = [(label, f"{factor:.3f}") for label, factor in rows]
    listed += [("mean by hand", f"{hand:.3f}"), ("estimate", text)]
    return chart(words, layers, columns=("run", "factor"), rows=listed, height=150)


def curve_chart(result: TrialResult) -> Spec:
    """Return the correction of a trial over the indicated speed, with the engine speeds it came from."""
    points = [
        (best.mean_indicated_kn, best.water_kn, best.expanded * best.mean_indicated_kn) for best in _bests(result)
    ]
    return correction_chart(result.correction, points)


def correction_chart(correction: LogCorrection, points: Sequence[tuple[float, float, float]] = ()) -> Spec:
    """Return true less indicated speed over the indicated one, with its 95 % band, dotted where nothing was measured.

    Parameters
    ----------
    correction
        As put in force.
    points
        Indicated speed, true speed and its 95 % uncertainty of each engine speed.
    """
    first, last = _span(correction)
    curve = _curve(correction, first, last)
    ends = [v for row in curve for v in (row["low"], row["high"])] + [t - i - e for i, t, e in points]
    ends += [t - i + e for i, t, e in points] + [0.0]
    y = quantity("less", "true less shown, kn", *margins(ends, 0.2), "+.1f")
    x = quantity("shown", "shown by the log, kn", first, last, ".1f")
    readings = [{"shown": i, "less": t - i, "low": t - i - e, "high": t - i + e} for i, t, e in points]
    band = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    layers = [
        layer([{"less": 0.0}], "rule", "true", {"y": y}),
        layer(curve, "area", "band", band),
        layer(curve, "line", "beyond", {"x": x, "y": y}),
        layer([row for row in curve if row["measured"]], "line", "curve", {"x": x, "y": y}),
        layer(readings, "rule", "whisker", {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}),
        layer(readings, "point", "reading", {"x": x, "y": y}, filled=True),
    ]
    low, high = correction.lowest_kn, correction.highest_kn
    words = (
        f"True less indicated speed with its 95 % band. At {low:.1f} kn shown it is"
        f" {correction.true_kn(low) - low:+.2f} kn, at {high:.1f} kn {correction.true_kn(high) - high:+.2f} kn;"
        " outside these speeds nothing was measured."
    )
    listed = [
        (
            f"{row['shown']:.1f}",
            f"{row['shown'] + row['less']:.2f}",
            f"{row['less']:+.2f}",
            f"{row['high'] - row['less']:.2f}",
        )
        for row in curve[:: _STEPS // 8]
    ]
    return chart(words, layers, columns=("shown, kn", "true, kn", "difference, kn", "± kn"), rows=listed, height=170)


def budget_parts(budget: Budget, heading_of: Callable[[str], str] = group_of) -> list[tuple[str, float]]:
    """Return the largest parts of a budget with their shares, and the rest in one."""
    parts = budget.grouped(heading_of)
    shown = [(part.label, part.share) for part in parts[:_MOST_BARS] if part.share >= 0.005]
    rest = sum(part.share for part in parts) - sum(share for _, share in shown)
    return [*shown, ("the rest", rest)] if rest >= 0.005 else shown


def budget_chart(budget: Budget) -> Spec:
    """Return what the uncertainty is made of: the shares of its largest parts."""
    shown = budget_parts(budget)
    values = [{"part": label, "share": share, "text": f"{100 * share:.0f} %"} for label, share in shown]
    y: Spec = {
        "field": "part",
        "type": "nominal",
        "sort": None,
        "axis": {"title": None, "grid": False, "ticks": False, "domain": False, "labelLimit": 220, "labelPadding": 8},
    }
    x: Spec = {
        "field": "share",
        "type": "quantitative",
        "scale": {"domain": [0, 1.25 * max(share for _, share in shown)]},
        "axis": None,
    }
    layers = [
        layer(values, "bar", "share", {"y": y, "x": x}, height=9),
        layer(values, "text", "note", {"y": y, "x": x, "text": {"field": "text"}}, align="left", dx=5),
    ]
    words = (
        "What the uncertainty is made of: " + ", ".join(f"{label} {100 * share:.0f} %" for label, share in shown) + "."
    )
    listed = [(label, f"{100 * share:.0f} %") for label, share in shown]
    return chart(words, layers, columns=("part", "share"), rows=listed, height=22 * len(shown) + 6)


def history_chart(
    points: Sequence[TrialPoint | tuple[datetime, float, float]], in_force: Sequence[InForce] = ()
) -> Spec:
    """Return the factors of all trials over time with their ±, and what was in force.

    Parameters
    ----------
    points
        The trials, in any order.
    in_force
        What was applied and when.
    """
    ordered = sorted((TrialPoint(*point) for point in points), key=lambda point: point.at)
    ends = [v for p in ordered for v in (p.factor - p.expanded, p.factor + p.expanded)]
    y = quantity("factor", "factor", *margins([*ends, *(each.factor for each in in_force)] or [1.0], 0.05), ".2f")
    x: Spec = {
        "field": "at",
        "type": "temporal",
        "scale": {"type": "utc"},
        "axis": {"title": None, "grid": False, "format": "%-d %b %Y", "labelOverlap": True, "tickCount": 5},
    }
    values = [
        {"at": _when(p.at), "factor": p.factor, "low": p.factor - p.expanded, "high": p.factor + p.expanded}
        for p in ordered
    ]
    dates = [*(p.at for p in ordered), *(e.since for e in in_force), *(e.until for e in in_force if e.until)]
    spans = [{"at": _when(e.since), "until": _when(e.until or max(dates)), "factor": e.factor} for e in in_force]
    layers = [
        layer(spans, "rule", "estimate", {"x": x, "x2": {"field": "until"}, "y": y}),
        layer(values, "rule", "whisker", {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}),
        layer(values, "point", "reading", {"x": x, "y": y}, filled=True),
    ]
    listed = [(_day(p.at), p.label, format_with_uncertainty(p.factor, p.expanded)) for p in ordered]
    listed += [(_day(e.since), "put in force", f"{e.factor:.3f}") for e in in_force]
    words = "Factors of the trials over time: "
    words += "; ".join(f"{day}, {label}: {factor}" for day, label, factor in listed) or "none yet"
    return chart(f"{words}.", layers, columns=("date", "what", "factor"), rows=sorted(listed), height=150)


def _bests(result: TrialResult) -> list[LogFactor]:
    return [group.best for group in result.groups]


def _run_label(result: TrialResult, best: LogFactor, number: int) -> str:
    way = best.runs[number - 1].run.direction.value
    if len(result.groups) == 1:
        return f"{number} {way}"
    label = next(group.label for group in result.groups if group.best is best)
    return f"{label or '?'}: {number} {way}"


def _note(at: float, words: str, style: str, y: Spec, *, above: bool) -> Spec:
    encoding = {"y": y, "x": {"value": 4}, "text": {"field": "words"}}
    return layer([{"factor": at, "words": words}], "text", style, encoding, align="left", dy=-7 if above else 8)


def _span(correction: LogCorrection) -> tuple[float, float]:
    room = max(0.75, 0.15 * (correction.highest_kn - correction.lowest_kn))
    return max(0.5, correction.lowest_kn - room), correction.highest_kn + room


def _curve(correction: LogCorrection, first: float, last: float) -> list[dict[str, Any]]:
    k = coverage_factor(correction.dof)
    steps = [first + (last - first) * i / _STEPS for i in range(_STEPS + 1)]
    speeds = sorted({*steps, correction.lowest_kn, correction.highest_kn})
    rows = []
    for speed in speeds:
        less, around = correction.true_kn(speed) - speed, k * correction.u_true_kn(speed)
        measured = correction.covers(speed)
        rows.append({"shown": speed, "less": less, "low": less - around, "high": less + around, "measured": measured})
    return rows


def _when(at: datetime) -> str:
    return at.isoformat()


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d}"
