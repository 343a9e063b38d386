"""Colours and faces of the charts, for paper, for the page by day and for the page by night.

A chart says what each mark is (`style`: band, curve, reading, mean …); the theme says how that looks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

ThemeName = Literal["print", "day", "night"]

#: Carried by the PDF writer itself; a browser has the same face among the page's own.
FACE: Final = "DejaVu Sans Mono"


@dataclass(frozen=True, slots=True)
class Colours:
    """The few inks that everything is drawn with."""

    ink: str
    pencil: str
    rule: str
    accent: str
    caution: str
    band_opacity: float


COLOURS: Final[Mapping[ThemeName, Colours]] = {
    "print": Colours("#1E2A38", "#59616E", "#D9CDB4", "#1F6F78", "#9A4A12", 0.18),
    "day": Colours("#1E2A38", "#59616E", "#D9CDB4", "#1F6F78", "#9A4A12", 0.18),
    "night": Colours("#DC5443", "#CD4B3B", "#4A1A14", "#DC5443", "#E0573F", 0.28),
}


def config(theme: ThemeName) -> dict[str, Any]:
    """Return the Vega-Lite configuration of a theme."""
    ink = COLOURS[theme]
    size = 9 if theme == "print" else 11
    face = FACE if theme == "print" else f"{FACE}, ui-monospace, monospace"
    return {
        "background": None,
        "font": face,
        "view": {"stroke": None},
        "axis": {
            "domainColor": ink.pencil,
            "domainWidth": 0.7,
            "gridColor": ink.rule,
            "gridWidth": 0.6,
            "tickColor": ink.pencil,
            "tickWidth": 0.7,
            "tickSize": 4,
            "labelColor": ink.pencil,
            "labelFontSize": size,
            "titleColor": ink.pencil,
            "titleFontSize": size,
            "titleFontWeight": "normal",
            "titlePadding": 6,
        },
        "style": {
            "band": {"color": ink.accent, "fillOpacity": ink.band_opacity, "strokeOpacity": 0},
            "curve": {"color": ink.accent, "strokeWidth": 1.6},
            "beyond": {"color": ink.accent, "strokeWidth": 1.2, "strokeDash": [2, 3]},
            "estimate": {"color": ink.accent, "strokeWidth": 1.6},
            "by-hand": {"color": ink.caution, "strokeWidth": 1.2, "strokeDash": [5, 3]},
            "reading": {"color": ink.ink, "size": 38, "opacity": 1},
            "whisker": {"color": ink.ink, "strokeWidth": 1.1},
            "share": {"color": ink.accent},
            "limit": {"color": ink.pencil, "strokeWidth": 1.1, "strokeDash": [6, 3]},
            "event": {"color": ink.caution, "strokeWidth": 0.9, "strokeDash": [1, 2]},
            "outside": {"color": ink.caution, "size": 130, "strokeWidth": 1.6, "filled": False},
            "agrees": {"color": ink.accent},
            "differs": {"color": ink.caution},
            "stream": {"color": ink.accent, "strokeWidth": 2.4},
            "ground": {"color": ink.ink, "strokeWidth": 1.0},
            "circle": {"color": ink.pencil, "strokeWidth": 0.9},
            "note-event": {"color": ink.caution, "fontSize": size - 1, "font": face},
            "true": {"color": ink.pencil, "strokeWidth": 0.8},
            "note-estimate": {"color": ink.accent, "fontSize": size, "font": face},
            "note-by-hand": {"color": ink.caution, "fontSize": size, "font": face},
            "note": {"color": ink.ink, "fontSize": size, "font": face},
        },
    }


def themed(spec: Mapping[str, Any], theme: ThemeName) -> dict[str, Any]:
    """Return the specification with the theme's configuration put in."""
    return {**spec, "config": config(theme)}
