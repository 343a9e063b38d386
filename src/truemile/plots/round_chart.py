"""A vector round as a picture: what was made good on each leg, on the circle that factor and stream draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean
from typing import TYPE_CHECKING, Any, Final

from truemile.core.uncertainty import format_with_uncertainty
from truemile.plots.spec import Spec, chart, layer

if TYPE_CHECKING:
    from truemile.core.vector_round import VectorRound

_STEPS: Final = 72
_ROOM: Final = 1.15


def round_chart(result: VectorRound) -> Spec:
    """Return the legs over the ground, the circle of the boat through the water, and the stream with its ±.

    Parameters
    ----------
    result
        From `truemile.core.vector_round.solve_round`.

    Notes
    -----
    East to the right, north up, both to one scale whatever the shape of the picture.
    """
    north, east = result.fit.value("north"), result.fit.value("east")
    radius = result.factor * fmean(leg.leg.indicated_kn for leg in result.legs)
    circle = _ring(east, north, radius, radius, 0.0)
    around = _ring(east, north, *_stream_ellipse(result), math.radians(result.stream_set_deg))
    legs = _leg_rows(result)
    x, y = _axes([*circle, *legs, {"east": 0.0, "north": 0.0}])
    vector = {"x": x, "y": y, "x2": {"field": "east_from"}, "y2": {"field": "north_from"}}
    closed = {"x": x, "y": y, "order": {"field": "i", "type": "quantitative"}}
    streams = [{"east": east, "north": north, "east_from": 0.0, "north_from": 0.0}]
    place = {"x": {**x, "field": "east_label"}, "y": {**y, "field": "north_label"}, "text": {"field": "label"}}
    layers = [
        layer(circle, "line", "circle", closed),
        layer(around, "line", "beyond", closed),
        layer(legs, "rule", "ground", vector),
        layer(streams, "rule", "stream", vector),
        layer([{"east": 0.0, "north": 0.0}], "point", "note", {"x": x, "y": y}, shape="cross", size=60),
        layer(legs, "point", "reading", {"x": x, "y": y}, filled=True),
        layer(legs, "text", "note", place),
    ]
    return chart(_words(result), layers, columns=_COLUMNS, rows=_rows(result), height=300)


_COLUMNS: Final = ("leg", "heading true", "log, kn", "made good, kn", "made good", "off the fit, kn")


def _rows(result: VectorRound) -> list[tuple[str, ...]]:
    rows = []
    for each in result.legs:
        leg = each.leg
        course = "" if leg.cog_true_deg is None else f"{leg.cog_true_deg:03.0f}°"
        speeds = (f"{leg.indicated_kn:.2f}", f"{leg.sog_kn:.2f}")
        rows.append((str(each.number), f"{leg.heading_true_deg:03.0f}°", *speeds, course, f"{each.residual_kn:.2f}"))
    stream = format_with_uncertainty(result.stream_drift_kn, result.drift_budget.expanded, "kn")
    return [*rows, ("stream", "", "", stream, f"{result.stream_set_deg:03.0f}°", "")]


def _words(result: VectorRound) -> str:
    factor = format_with_uncertainty(result.factor, result.expanded)
    stream = format_with_uncertainty(result.stream_drift_kn, result.drift_budget.expanded, "kn")
    return (
        f"What was made good on {len(result.legs)} legs, as arrows from one point. Their ends lie about a circle whose"
        f" size shows the factor, {factor}, and whose centre shows the stream, {stream} towards"
        f" {result.stream_set_deg:03.0f}°."
    )


def _stream_ellipse(result: VectorRound) -> tuple[float, float]:
    """± of the stream along itself and across."""
    along = result.drift_budget.expanded
    if result.set_expanded_deg is None:
        return along, along
    return along, result.stream_drift_kn * math.sin(math.radians(result.set_expanded_deg))


def _ring(east: float, north: float, along: float, across: float, set_rad: float) -> list[dict[str, float]]:
    """Points of an ellipse whose first half-axis lies along a direction."""
    rows = []
    for i in range(_STEPS + 1):
        turn = 2.0 * math.pi * i / _STEPS
        a, b = along * math.cos(turn), across * math.sin(turn)
        rows.append(
            {
                "i": float(i),
                "east": east + a * math.sin(set_rad) + b * math.cos(set_rad),
                "north": north + a * math.cos(set_rad) - b * math.sin(set_rad),
            }
        )
    return rows


def _leg_rows(result: VectorRound) -> list[dict[str, Any]]:
    rows = []
    for each in result.legs:
        # Where no course was noted the fitted one serves to draw it.
        course = each.leg.cog_true_deg if each.leg.cog_true_deg is not None else each.fitted_cog_deg
        along = (math.sin(math.radians(course)), math.cos(math.radians(course)))
        speed = each.leg.sog_kn
        beyond = speed + 0.07 * max(other.leg.sog_kn for other in result.legs)
        rows.append(
            {
                "east": speed * along[0],
                "north": speed * along[1],
                "east_from": 0.0,
                "north_from": 0.0,
                "east_label": beyond * along[0],
                "north_label": beyond * along[1],
                "label": str(each.number),
            }
        )
    return rows


def _axes(rows: Sequence[dict[str, Any]]) -> tuple[Spec, Spec]:
    """Axes of one scale: the height of the picture is filled, and its width shows as much more as it is wider."""
    easts, norths = [row["east"] for row in rows], [row["north"] for row in rows]
    half = _ROOM * max(max(easts) - min(easts), max(norths) - min(norths)) / 2.0
    east, north = (max(easts) + min(easts)) / 2.0, (max(norths) + min(norths)) / 2.0

    def axis(field: str, title: str, middle: float, shape: str) -> Spec:
        return {
            "field": field,
            "type": "quantitative",
            "scale": {
                "domainMin": {"expr": f"{middle} - {half} * {shape}"},
                "domainMax": {"expr": f"{middle} + {half} * {shape}"},
                "nice": False,
                "zero": False,
            },
            "axis": {"title": title, "format": "~g", "tickCount": 6},
        }

    wider, higher = "max(1, width / height)", "max(1, height / width)"
    return axis("east", "east, kn", east, wider), axis("north", "north, kn", north, higher)
