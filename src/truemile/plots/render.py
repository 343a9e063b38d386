"""Draw a chart as SVG or PNG without a browser."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truemile.plots.theme import ThemeName, themed

#: The same as in the page's own bundle.
VEGA_LITE = "6.4"


def svg(
    spec: Mapping[str, Any], theme: ThemeName = "print", *, width: int | None = None, height: int | None = None
) -> str:
    """Return the chart as SVG text.

    Parameters
    ----------
    spec
        From `truemile.plots.log_charts`.
    theme
        Paper, or the page by day or night.
    width, height
        In pixels; the chart's own if None.
    """
    import vl_convert

    return str(vl_convert.vegalite_to_svg(_sized(spec, theme, width, height), vl_version=VEGA_LITE))


def png(
    spec: Mapping[str, Any],
    theme: ThemeName = "day",
    *,
    width: int | None = None,
    height: int | None = None,
    scale: float = 2.0,
) -> bytes:
    """Return the chart as a PNG picture, `scale` times its size in pixels."""
    import vl_convert

    drawn = vl_convert.vegalite_to_png(_sized(spec, theme, width, height), vl_version=VEGA_LITE, scale=scale)
    return bytes(drawn)


def _sized(spec: Mapping[str, Any], theme: ThemeName, width: int | None, height: int | None) -> dict[str, Any]:
    sizes = {name: value for name, value in (("width", width), ("height", height)) if value is not None}
    return {**themed(spec, theme), **sizes}
