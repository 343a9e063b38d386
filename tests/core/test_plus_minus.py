"""A value and its uncertainty as text, to two figures of the uncertainty."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truemile.core.errors import ReadingError
from truemile.core.plus_minus import format_with_uncertainty, rounded


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (0.93412, 0.01149, "0.934 ± 0.011"),
        (6.0471, 0.0996, "6.05 ± 0.10"),
        (6.0471, 0.00996, "6.047 ± 0.010"),
        (50000838.0, 92.5, "50000838 ± 93"),
        (18324.0, 1234.0, "18300 ± 1200"),
        (18324.0, 995.0, "18300 ± 1000"),
        (3.2, 123.0, "0 ± 120"),
        (-0.001, 0.25, "0.00 ± 0.25"),
        (-1.005, 0.25, "-1.01 ± 0.25"),
        (1.5, 0.0, "1.5 ± 0"),
        (1234567.0, 0.0, "1234570 ± 0"),
        (1.0, 1e-9, "1.0000000000 ± 0.0000000010"),
        (0.0, 0.0, "0 ± 0"),
        (0.95, 1.0, "1.0 ± 1.0"),
    ],
)
def test_two_figures_of_uncertainty(value: Any, expanded: Any, text: Any) -> None:
    """The uncertainty has two figures and the value ends at the same place (JCGM 100:2008 7.2.6)."""
    assert format_with_uncertainty(value, expanded) == text


def test_unit_follows() -> None:
    """A unit stands once, behind the uncertainty."""
    assert format_with_uncertainty(6.47, 0.05, "kn") == "6.470 ± 0.050 kn"


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_rounding_moves_little(value: Any, expanded: Any) -> None:
    """Neither text is off by more than half of its last place, which is at most 5 % of the uncertainty."""
    shown, around = rounded(value, expanded)
    assert abs(float(around) - expanded) <= 0.0501 * expanded
    assert abs(float(shown) - value) <= 0.0501 * expanded + 1e-9 * abs(value)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rounded(math.nan, 0.1), "a value must be a finite number"),
        (lambda: rounded(1.0, math.inf), "an uncertainty must be 0 or more, and finite"),
    ],
)
def test_refusals(call: Any, message: str) -> None:
    """A value or uncertainty that is no number is refused."""
    with pytest.raises(ReadingError, match=message):
        call()
