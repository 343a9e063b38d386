"""Standard uncertainties from limits and resolutions, by the divisors of JCGM 100:2008."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.reference_cases import case, matches
from truemile.core.errors import ReadingError
from truemile.core.uncertainty import Shape, from_expanded, from_inexact_limit, from_limit, from_resolution


def test_type_b_divisors() -> None:
    """Limits turn into standard uncertainties by the divisors of JCGM 100:2008 4.3.7, 4.3.9 and F.2.2."""
    divisors = case("type-b-divisors")
    for key, shape in (
        ("rectangular", Shape.RECTANGULAR),
        ("triangular", Shape.TRIANGULAR),
        ("arcsine", Shape.ARCSINE),
        ("normal_95", Shape.NORMAL),
    ):
        assert matches(divisors, key, from_limit(divisors["inputs"]["half_width"], shape))
    assert matches(divisors, "resolution_full_width", from_resolution(divisors["inputs"]["half_width"]))
    assert from_expanded(0.02, 2.0) == 0.01
    assert from_inexact_limit(1.0, 0.0) == pytest.approx(from_limit(1.0))


@pytest.mark.parametrize("speed", [4, 5, 8])
def test_resolution_of_a_tenth_of_a_knot(speed: Any) -> None:
    """A display of 0.1 kn has u = 0.029 kn (JCGM 100:2008 F.2.2.1), whatever the speed."""
    display = case(f"resolution-0p1kn-at-{speed}kn")
    u = from_resolution(display["inputs"]["resolution_kn"])
    assert matches(display, "u_kn", u)
    assert matches(display, "u_relative", u / display["inputs"]["speed_kn"])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: from_limit(-1.0), "half_width is -1.0, but it must be 0 or more"),
        (lambda: from_limit(1.0, Shape.CURVILINEAR_TRAPEZOID), "one limit does not describe it"),
        (lambda: from_inexact_limit(1.0, -1.0), "inexactness is -1.0"),
        (lambda: from_resolution(math.nan), "step is nan"),
        (lambda: from_expanded(-0.1), "expanded is -0.1"),
        (lambda: from_expanded(0.1, 0.0), "a coverage factor must be more than 0"),
    ],
)
def test_refusals(call: Any, message: str) -> None:
    """Negative limits and impossible factors are refused by name."""
    with pytest.raises(ReadingError, match=message):
        call()
