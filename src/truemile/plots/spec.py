"""What all charts share: their frame, their words for those who cannot see them, and their numbers as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

Spec = dict[str, Any]

SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v6.json"


@dataclass(frozen=True, slots=True)
class Table:
    """The numbers of a chart, as text to be read."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def chart(
    description: str, layers: Sequence[Spec], *, columns: Sequence[str], rows: Sequence[Sequence[str]], height: int
) -> Spec:
    """Return a specification whose words and table travel with it."""
    return {
        "$schema": SCHEMA,
        "description": description,
        "width": 440,
        "height": height,
        "autosize": {"type": "fit", "contains": "padding"},
        "usermeta": {"columns": list(columns), "rows": [list(row) for row in rows]},
        "layer": list(layers),
    }


def table(spec: Mapping[str, Any]) -> Table:
    """Return the numbers of a chart as a table."""
    meta = spec["usermeta"]
    return Table(tuple(meta["columns"]), tuple(tuple(row) for row in meta["rows"]))


def layer(values: Sequence[Mapping[str, Any]], mark: str, style: str, encoding: Spec, **more: Any) -> Spec:  # noqa: ANN401  what a mark takes
    """Return one layer: rows of data, how they are marked, and what stands for what."""
    return {
        "data": {"values": [dict(each) for each in values]},
        "mark": {"type": mark, "style": style, **more},
        "encoding": encoding,
    }


def quantity(field: str, title: str, low: float, high: float, number_format: str) -> Spec:
    """Return a numbered axis between two limits."""
    return {
        "field": field,
        "type": "quantitative",
        "scale": {"domain": [low, high], "nice": False, "zero": False},
        "axis": {"title": title, "format": number_format, "tickCount": 5},
    }


def margins(values: Sequence[float], least: float) -> tuple[float, float]:
    """Return limits that leave room about the values, and never show less than `least` from end to end."""
    low, high = min(values), max(values)
    room = max(0.12 * (high - low), (least - (high - low)) / 2.0)
    return low - room, high + room
