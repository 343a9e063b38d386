"""Curves of deviation, against published tables and stated truths."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.reference_cases import allowance, case, handbook, is_naive, matches
from truemile.core.deviation_curve import (
    ApproximateCurve,
    Coefficients,
    ExactCurve,
    SharedErrors,
    deviation_between,
    exact_from_approximate,
    harmonics,
)
from truemile.core.deviation_table import DeviationTable
from truemile.core.errors import NavigationError, NoSolution, NotEnoughReadings, ReadingError
from truemile.core.uncertainty import coverage_factor

EIGHTH = [45.0 * i for i in range(8)]


def curve_of(entry: dict[str, Any]) -> ApproximateCurve:
    """Return the curve of a case's coefficients."""
    return ApproximateCurve(Coefficients(*(entry["inputs"][letter] for letter in "ABCDE")))


def exact_of(entry: dict[str, Any]) -> ExactCurve:
    """Return the exact curve of a case's coefficients."""
    return ExactCurve(Coefficients(*(entry["inputs"][f"exact_{letter}"] for letter in "ABCDE")))


# ---------------------------------------------------------------- the two forms


def test_the_curve_of_the_handbook_on_24_headings() -> None:
    """Case pub226-curve-24: the coefficients of Pub. 226 art. 501 give the curve on every 15°."""
    entry = case("pub226-curve-24")
    got = curve_of(entry).deviations_deg(np.asarray(entry["inputs"]["compass_heading_deg"], dtype=float))
    for found, wanted in zip(got, entry["answer"]["deviation_deg"], strict=True):
        assert abs(found - wanted) <= allowance(entry, "deviation_deg", wanted)


@pytest.mark.parametrize("name", ["exact-coefficients-a", "exact-coefficients-b"])
def test_the_exact_form(name: str) -> None:
    """Exact coefficients give the deviations of the case, and the formulas of 1875 lead to them to their 0.001."""
    entry = case(name)
    curve = exact_of(entry)
    headings = np.asarray(entry["inputs"]["compass_heading_deg"])
    for found, wanted in zip(curve.deviations_deg(headings), entry["answer"]["deviation_deg"], strict=True):
        assert abs(found - wanted) <= allowance(entry, "deviation_deg", wanted)
    around = np.arange(0.0, 360.0, 360.0 / 32)
    by_32 = np.linalg.lstsq(harmonics(around), curve.deviations_deg(around), rcond=None)[0]
    assert np.abs(by_32 - entry["answer"]["approx_A_to_E_deg_from_32_headings"]).max() <= 1e-5
    found_1875 = exact_from_approximate([float(x) for x in by_32])
    for got, wanted, truth in zip(
        found_1875, entry["answer"]["exact_from_1875_formulas"], curve.coefficients, strict=True
    ):
        assert abs(got - wanted) <= 1e-5
        assert abs(got - truth) <= 0.001


SMALL = st.floats(-0.15, 0.15)


@given(st.tuples(st.floats(-0.05, 0.05), SMALL, SMALL, SMALL, st.floats(-0.05, 0.05)), st.floats(0, 359))
def test_by_compass_and_by_magnetic_heading_one_deviation(coefficients: tuple[float, ...], heading: float) -> None:
    """The form by compass heading and the one by magnetic heading are one curve."""
    curve = ExactCurve(Coefficients(*coefficients))
    d = curve.deviation_deg(heading)
    assert curve.at_magnetic_deg(heading + d) == pytest.approx(d, abs=1e-9)
    a, b, c, dd, e = coefficients
    z, r = math.radians(heading), math.radians(d)
    right = a * math.cos(r) + b * math.sin(z) + c * math.cos(z) + dd * math.sin(2 * z + r) + e * math.cos(2 * z + r)
    assert math.sin(r) == pytest.approx(right, abs=1e-12)


@given(
    st.tuples(st.floats(-3, 3), st.floats(-12, 12), st.floats(-12, 12), st.floats(-5, 5), st.floats(-2, 2)),
    st.floats(1, 359),
)
def test_slopes_are_the_derivative(degrees: tuple[float, ...], heading: float) -> None:
    """Both forms know by how much they rise."""
    for curve in (
        ApproximateCurve(Coefficients(*degrees)),
        ExactCurve(Coefficients(*(math.sin(math.radians(x)) for x in degrees))),
    ):
        step = 1e-3
        rise = (curve.deviation_deg(heading + step) - curve.deviation_deg(heading - step)) / (2 * step)
        assert curve.slope(heading) == pytest.approx(rise, abs=1e-6)
        assert curve.deviation_deg(heading + 360.0) == pytest.approx(curve.deviation_deg(heading), abs=1e-9)


def test_small_exact_coefficients_are_the_approximate_ones() -> None:
    """Below a degree the two forms cannot be told apart."""
    degrees = (0.2, 0.7, -0.5, 0.3, 0.1)
    exact = ExactCurve(Coefficients(*(math.sin(math.radians(x)) for x in degrees)))
    assert exact.in_degrees == pytest.approx(degrees)
    at = np.arange(0.0, 360.0, 5.0)
    off = exact.deviations_deg(at) - ApproximateCurve(Coefficients(*degrees)).deviations_deg(at)
    assert np.abs(off).max() < 0.02


def test_an_exact_form_without_an_answer_is_refused() -> None:
    """A field that the iron overcomes leaves a heading with no deviation."""
    with pytest.raises(NoSolution, match=r"on compass heading .* no deviation answers.*moved or adjusted"):
        ExactCurve(Coefficients(0.0, 1.2, 0.0, 0.0, 0.0))


@pytest.mark.parametrize("name", ["non-invertible-curve", "unique-but-iteration-diverges"])
def test_where_a_magnetic_heading_has_one_compass_heading(name: str) -> None:
    """The least 1 + d' and its verdict are those of the cases."""
    entry = case(name)
    curve = curve_of(entry)
    assert matches(entry, "min_of_one_plus_slope", curve.least_one_plus_slope)
    assert curve.is_unique is entry["answer"]["unique_compass_heading_for_every_magnetic"]


@pytest.mark.parametrize(
    ("coefficients", "covariance", "words"),
    [
        ((math.nan, 0, 0, 0, 0), None, r"A is nan.*ordinary number"),
        ((0, 0, 0, 0, 0), ((1.0,),), r"five rows of five"),
    ],
)
def test_a_curve_that_is_none(coefficients: Any, covariance: Any, words: str) -> None:
    """Coefficients must be numbers, and their covariance five by five."""
    with pytest.raises(ReadingError, match=words):
        ApproximateCurve(Coefficients(*coefficients), covariance)


# ---------------------------------------------------------------- uncertainty


def _with_covariance(shared: SharedErrors) -> ApproximateCurve:
    """Eight equally spaced headings with a scatter of 1°."""
    covariance = tuple(tuple(float(x) for x in row) for row in np.diag([1 / 8, 1 / 4, 1 / 4, 1 / 4, 1 / 4]))
    return ApproximateCurve(Coefficients(1, 2, 3, 4, 5), covariance, 3.0, 1.0, shared)


def test_on_equally_spaced_headings_the_curve_is_as_uncertain_everywhere() -> None:
    """u² = 5 s²/N on every heading; with three degrees of freedom t is 3.18 ([JCGM100]_ table G.2)."""
    curve = _with_covariance(SharedErrors())
    for heading in (0.0, 17.0, 200.0):
        assert curve.u_deg(heading) == pytest.approx(math.sqrt(5 / 8))
        assert curve.expanded_deg(heading) == pytest.approx(3.182 * math.sqrt(5 / 8), rel=1e-3)
        assert curve.expanded_reading_deg(heading) == pytest.approx(3.182 * math.sqrt(13 / 8), rel=1e-3)


def test_shared_errors_add_to_a_b_and_c_and_to_every_heading() -> None:
    """What no residual shows is put in with its own degrees of freedom."""
    curve = _with_covariance(SharedErrors(0.4, 0.3))
    u = curve.u_coefficients
    assert u is not None
    assert u.a == pytest.approx(math.hypot(math.sqrt(1 / 8), 0.4))
    assert u.b == u.c == pytest.approx(math.hypot(0.5, 0.3))
    assert u.d == u.e == 0.5
    assert curve.u_deg(90.0) == pytest.approx(math.sqrt(5 / 8 + 0.25))
    known = curve.u_and_dof(90.0)
    assert known is not None
    assert known[1] == pytest.approx(3.0 * ((5 / 8 + 0.25) / (5 / 8)) ** 2)
    assert curve.expanded_deg(90.0) == pytest.approx(coverage_factor(known[1]) * known[0])


def test_a_curve_from_a_card_has_no_uncertainty() -> None:
    """Without a swing nothing is claimed."""
    curve = ApproximateCurve(Coefficients(1, 2, 3, 4, 5))
    assert (
        curve.u_coefficients is curve.u_deg(3.0) is curve.expanded_deg(3.0) is curve.expanded_reading_deg(3.0) is None
    )
    zero = replace(_with_covariance(SharedErrors()), covariance=((0.0,) * 5,) * 5)
    assert zero.expanded_deg(0.0) == 0.0


def test_the_card_by_compass_heading_with_the_magnetic_one_alongside() -> None:
    """A card of eight rows of the handbook's curve, north first."""
    rows = curve_of(case("pub226-curve-24")).card(45.0)
    assert [row.heading_compass_deg for row in rows] == EIGHTH
    assert rows[0].deviation_deg == pytest.approx(10.5)
    assert rows[7].heading_magnetic_deg == pytest.approx(308.1716, abs=1e-3)
    assert rows[0].expanded_deg is None
    heading, deviation = curve_of(case("pub226-curve-24")).largest
    assert 30.0 < heading < 60.0
    assert 20.14214 <= deviation < 20.2


@pytest.mark.parametrize("step", [0.0, -15.0, 7.0, 1.0, 120.0, math.nan])
def test_a_card_goes_round_in_equal_steps(step: float) -> None:
    """A step that does not close is refused."""
    with pytest.raises(ReadingError, match=r"step_deg.*equal steps.*22\.5"):
        curve_of(case("pub226-curve-24")).card(step)


# ---------------------------------------------------------------- tables


def test_a_table_wraps_at_north() -> None:
    """Case interpolate-across-north: between 345 and 360 the line goes on to the row of 0, not to the last row."""
    entry = case("interpolate-across-north")
    given_rows = zip(entry["inputs"]["table_compass_deg"], entry["inputs"]["table_deviation_deg"], strict=True)
    got = DeviationTable(tuple(given_rows)).deviation_deg(entry["inputs"]["at_compass_deg"])
    assert matches(entry, "deviation_deg", got)
    assert abs(got - entry["naive"]["clamped_to_last_row"]) > 1.0


@pytest.mark.parametrize("entry", handbook("deviation-table"), ids=lambda entry: entry["id"])
def test_tables_of_training_texts(entry: dict[str, Any]) -> None:
    """Interpolated, or taken from the nearest row where the text does so: the printed value within its rounding."""
    inputs = entry["inputs"]
    if entry["id"] == "cmp-21":
        table = DeviationTable(((15.0, inputs["table_value_at_015_deg_E"]), (30.0, -5.0)))
        got = {"deviation_used_deg_E": table.nearest_deg(inputs["heading_deg"])}
    elif entry["id"] == "cmp-28":
        table = DeviationTable(((45.0, inputs["deviation_at_045_deg_E"]), (90.0, 0.0)))
        deviation = table.nearest_deg(inputs["magnetic_course_deg"])
        got = {"compass_course_deg": inputs["magnetic_course_deg"] - deviation}
    else:
        rows = [(inputs[f"table_{end}_heading_deg"], inputs[f"dev_{end}_deg_E"]) for end in ("lower", "upper")]
        got = {"deviation_deg_E": DeviationTable(tuple(rows)).deviation_deg(inputs["heading_deg"])}
        assert got["deviation_deg_E"] == pytest.approx(entry["recomputed"]["deviation_deg_E"], abs=5e-4)
    for key, value in got.items():
        assert abs(value - entry["answer"][key]) <= entry["tolerance"][key]


@given(st.lists(st.tuples(st.integers(0, 35), st.floats(-20, 20)), min_size=5, unique_by=lambda row: row[0]))
def test_a_table_gives_its_own_rows_and_lies_between_them(rows: list[tuple[int, float]]) -> None:
    """On a row the line is the row; between two it is between them, north included."""
    table = DeviationTable(tuple((10.0 * h, d) for h, d in rows), 0.3)
    ordered = list(table.rows)
    for (h, d), (h2, d2) in zip(ordered, [*ordered[1:], (ordered[0][0] + 360.0, ordered[0][1])], strict=True):
        assert table.deviation_deg(h) == pytest.approx(d, abs=1e-9)
        assert table.nearest_deg(h + 1.0) == d
        assume(h2 - h <= 90.0)
        middle = table.deviation_deg(((h + h2) / 2.0) % 360.0)
        assert middle == pytest.approx((d + d2) / 2.0, abs=1e-9)
        assert table.slope(h + 1.0) == pytest.approx((d2 - d) / (h2 - h), abs=1e-9)
    assert table.expanded_deg(5.0) == pytest.approx(0.588, abs=1e-3)


def test_a_table_with_a_wide_gap_says_so() -> None:
    """A straight line over a third of the circle is no deviation."""
    table = DeviationTable(((0, 1), (30, 2), (60, 3)))
    assert table.deviation_deg(30.0) == 2.0
    with pytest.raises(NotEnoughReadings, match="nothing between 060 and 000"):
        table.deviation_deg(200.0)
    with pytest.raises(NotEnoughReadings):
        _ = table.is_unique


@pytest.mark.parametrize(
    ("rows", "error", "words"),
    [
        (((0, 1),), NotEnoughReadings, "two headings"),
        (((0, 1), (360, 2), (90, 0)), ReadingError, r"heading 000 has the deviation 1 already"),
        (((0, 1), (361, 2)), ReadingError, r"rows\[1\]\.heading_compass_deg is 361\.0"),
        (((0, 1), (90, math.nan)), ReadingError, r"rows\[1\]\.deviation_deg"),
        (((0, 1), (90, 95)), ReadingError, r"rows\[1\]\.deviation_deg is 95\.0"),
    ],
)
def test_tables_that_are_refused(rows: Any, error: type[NavigationError], words: str) -> None:
    """Each says which row is wrong."""
    with pytest.raises(error, match=words):
        DeviationTable(rows)


def test_north_may_stand_at_both_ends_of_a_table() -> None:
    """000 and 360 with one deviation are one row."""
    assert len(DeviationTable(((0, 1), (90, 2), (180, 3), (270, 2), (360, 1))).rows) == 4
    with pytest.raises(ReadingError, match="u_row_deg"):
        DeviationTable(((0, 1), (90, 2)), -1.0)


# ---------------------------------------------------------------- small things


@pytest.mark.parametrize("name", ["deviation-by-comparison-a", "deviation-by-comparison-b"])
def test_the_difference_goes_the_short_way_round(name: str) -> None:
    """009 magnetic and 358 by compass differ by 11° east."""
    entry = case(name)
    magnetic = entry["answer"]["magnetic_heading_deg"]
    got = deviation_between(magnetic, entry["inputs"]["compass_heading_deg"])
    assert matches(entry, "deviation_deg_east_positive", got)


def test_four_coefficients_are_not_five() -> None:
    """The formulas of 1875 want all five."""
    with pytest.raises(ReadingError, match="five coefficients"):
        exact_from_approximate([1.0, 2.0])


def test_the_naive_table_is_not_ours() -> None:
    """Case pub226-magnetic-to-compass: entering the curve with the magnetic heading misses by up to 4.66°."""
    entry = case("pub226-magnetic-to-compass")
    curve = curve_of(entry)
    magnetic = np.asarray(entry["inputs"]["magnetic_heading_deg"], dtype=float)
    naive = (magnetic - curve.deviations_deg(magnetic)) % 360.0
    off = np.abs((naive - np.asarray(entry["answer"]["compass_heading_deg"]) + 180.0) % 360.0 - 180.0)
    assert is_naive(entry, "worst_error_deg", float(off.max()))
