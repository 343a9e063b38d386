"""A value and its uncertainty as text, to the figures that the uncertainty allows."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

from truemile.core.errors import ReadingError


def rounded(value: float, expanded: float) -> tuple[str, str]:
    """Value and uncertainty as text: the uncertainty to two figures, the value to the same place.

    Parameters
    ----------
    value, expanded
        In the same unit.

    Returns
    -------
    tuple of str
        Value and uncertainty. Without uncertainty the value keeps up to six figures.

    Raises
    ------
    ReadingError
        A value that is not finite, or an uncertainty that is negative or not finite.

    Notes
    -----
    JCGM 100:2008 7.2.6. Halves go away from zero.

    Examples
    --------
    >>> rounded(0.93412, 0.01149)
    ('0.934', '0.011')
    >>> rounded(50000838.0, 92.5)
    ('50000838', '93')
    >>> rounded(18324.0, 1234.0)
    ('18300', '1200')
    """
    if not 0.0 <= expanded < math.inf:
        raise ReadingError(
            "expanded",
            expanded,
            "an uncertainty must be 0 or more, and finite",
            "Check the inputs of the budget.",
        )
    if not math.isfinite(value):
        raise ReadingError("value", value, "a value must be a finite number", "Check what it was worked out from.")
    if expanded == 0.0:
        return _plain(Decimal(f"{value:.6g}").normalize()), "0"
    exact = Decimal(repr(float(expanded)))
    place = exact.adjusted() - 1
    shown = _to_place(exact, place)
    if shown.adjusted() - 1 > place:
        place += 1
        shown = _to_place(exact, place)
    return _plain(_to_place(Decimal(repr(float(value))), place)), _plain(shown)


def format_with_uncertainty(value: float, expanded: float, unit: str = "") -> str:
    """Value and expanded uncertainty on one line.

    Examples
    --------
    >>> format_with_uncertainty(0.93412, 0.01149)
    '0.934 ± 0.011'
    >>> format_with_uncertainty(6.0471, 0.0996, "kn")
    '6.05 ± 0.10 kn'
    """
    shown, around = rounded(value, expanded)
    return f"{shown} ± {around} {unit}".rstrip()


def _to_place(number: Decimal, place: int) -> Decimal:
    """Round to a power of ten, whatever the number of figures that leaves."""
    steps = int(number.scaleb(-place).to_integral_value(rounding=ROUND_HALF_UP))
    return Decimal(steps).scaleb(place)


def _plain(number: Decimal) -> str:
    return format(number or abs(number), "f")
