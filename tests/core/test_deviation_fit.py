"""Coefficients of a swing: hand rules, least squares, and what is refused, against published cases."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.core.test_deviation_curve import exact_of
from tests.reference_cases import allowance, case, facts, matches
from truemile.core.deviation_curve import (
    LETTERS,
    ApproximateCurve,
    Coefficients,
    ExactCurve,
    SharedErrors,
)
from truemile.core.deviation_fit import DeviationFit, Form, fit_deviation, heading_spread
from truemile.core.deviation_hand import Observed, Rule, hand_coefficients, hand_rule_for
from truemile.core.deviation_remarks import (
    BORROWED_LIMIT_DEG,
    BUNCHED,
    east_west,
    form_error_deg,
    refusals_of_fit,
    remarks_on_fit,
    uniqueness_remarks,
)
from truemile.core.deviation_words import CAUTION, words_on_coefficients
from truemile.core.errors import NavigationError, NoSolution, NotEnoughReadings, ReadingError

CARDINALS = [0.0, 90.0, 180.0, 270.0]
INTERCARDINALS = [45.0, 135.0, 225.0, 315.0]


def observed(entry: dict[str, Any]) -> list[Observed]:
    """Return the deviations of a case."""
    inputs = entry["inputs"]
    key = next(key for key in inputs if key.startswith("deviation_deg"))
    return [Observed(float(h), d) for h, d in zip(inputs["compass_heading_deg"], inputs[key], strict=True)]


def swung(curve: Any, headings: Any, decimals: int | None = None) -> list[Observed]:
    """Return deviations of a curve, rounded or not."""
    found = [(float(h), curve.deviation_deg(float(h))) for h in headings]
    return [Observed(h, d if decimals is None else round(d, decimals)) for h, d in found]


# ---------------------------------------------------------------- hand rules


def test_the_handbook_by_hand() -> None:
    """Case pub226-501-classical: A 1, B 12, C 8, D 5, E 1.5 by the rules of Pub. 226 art. 501."""
    entry = case("pub226-501-classical")
    found = hand_coefficients(observed(entry))
    assert found.rule is Rule.EIGHT
    assert not found.lost
    for letter, value in zip(LETTERS, found.coefficients, strict=True):
        assert matches(entry, letter, value)


def test_four_intercardinals_of_1875() -> None:
    """B is +21° 16′ from NE 24° 10′ E, SW 10° 30′ W, SE 6° 00′ E, NW 19° 30′ W [Manual1875]_, to its minute."""
    deviations = {45.0: 24 + 10 / 60, 225.0: -10.5, 135.0: 6.0, 315.0: -19.5}
    found = hand_coefficients([Observed(h, d) for h, d in deviations.items()])
    assert found.rule is Rule.INTERCARDINALS
    assert abs(found.b - (21 + 16 / 60)) <= 0.5 / 60
    assert found.e is None
    assert found.lost == "E"


def test_d_and_e_that_cannot_be_seen() -> None:
    """Case manual-1875-invisible: neither D from cardinals nor E from intercardinals; by hand or least squares."""
    answer = case("manual-1875-invisible")["answer"]
    assert (hand_coefficients([Observed(h, 1.0) for h in CARDINALS]).d is not None) is answer[
        "D_visible_on_four_cardinals"
    ]
    assert (hand_coefficients([Observed(h, 1.0) for h in INTERCARDINALS]).e is not None) is answer[
        "E_visible_on_four_intercardinals"
    ]
    for headings, letter, cure in ((CARDINALS, "D", "intercardinals"), (INTERCARDINALS, "E", "cardinals: N, E, S, W")):
        with pytest.raises(NoSolution, match=rf"do not show {letter}\. Add {cure}"):
            fit_deviation([Observed(h, 1.0) for h in headings * 3])
        assert heading_spread(headings * 3).invisible == (letter,)


@pytest.mark.parametrize("headings", [[0, 60, 120, 180, 240, 300], [1, 91, 181, 271], [0, 90, 180, 270, 0], [0, 45]])
def test_the_hand_rules_hold_for_their_points_only(headings: list[float]) -> None:
    """Other headings are refused, and least squares offered."""
    assert hand_rule_for(headings) is None
    with pytest.raises(ReadingError, match=r"hand rules hold for the eight points.*least squares"):
        hand_coefficients([Observed(h, 1.0) for h in headings])


def test_the_hand_rules_are_not_used_on_uneven_headings() -> None:
    """Cases swing-uneven-…: the rule of eight points does not apply."""
    for name in ("swing-uneven-a", "swing-uneven-half-circle"):
        assert case(name)["naive"]["eight_point_hand_rule_not_applicable"] is True
        assert fit_deviation(observed(case(name))).hand is None


@given(st.tuples(*[st.floats(-7, 7)] * 5))
def test_hand_rules_give_a_curve_back(coefficients: tuple[float, ...]) -> None:
    """On deviations without noise each rule finds what it can."""
    curve = ApproximateCurve(Coefficients(*coefficients))
    eight = hand_coefficients(swung(curve, CARDINALS + INTERCARDINALS))
    assert eight.coefficients == pytest.approx(coefficients, abs=1e-9)
    four = hand_coefficients(swung(curve, CARDINALS))
    assert (four.a, four.b, four.c, four.e) == pytest.approx([coefficients[i] for i in (0, 1, 2, 4)], abs=1e-9)
    diagonal = hand_coefficients(swung(curve, INTERCARDINALS))
    assert (diagonal.a, diagonal.b, diagonal.c, diagonal.d) == pytest.approx(coefficients[:4], abs=1e-9)


# ---------------------------------------------------------------- least squares


def test_the_handbook_by_least_squares() -> None:
    """Case pub226-501-lsq: B 11.94 and C 7.96 where the hand rules give 12 and 8, both shown."""
    entry = case("pub226-501-lsq")
    fit = fit_deviation(observed(entry), resolution_deg=0.1)
    for letter, value in zip(LETTERS, fit.coefficients, strict=True):
        assert matches(entry, letter, value)
    assert matches(entry, "residual_sd_deg", fit.residual_sd_deg)
    assert fit.dof == entry["answer"]["dof"]
    assert matches(entry, "u_A", fit.u.a)
    for value in fit.u[1:]:
        assert matches(entry, "u_BCDE", value)
    assert fit.form is Form.APPROXIMATE
    assert fit.hand is not None
    assert (fit.hand.b, fit.hand.c) == pytest.approx((12.0, 8.0))


@pytest.mark.parametrize("name", ["swing-lsq-8", "swing-lsq-16", "swing-lsq-24"])
def test_swings_on_equally_spaced_headings(name: str) -> None:
    """Coefficients, scatter and uncertainties of the cases; u(A) = s/√N and u(B … E) = s √(2/N)."""
    entry = case(name)
    fit = fit_deviation(observed(entry), resolution_deg=0.1)
    for letter, value in zip(LETTERS, fit.coefficients, strict=True):
        assert matches(entry, letter, value)
    assert matches(entry, "residual_sd_deg", fit.residual_sd_deg)
    assert fit.dof == entry["answer"]["dof"]
    for got, wanted in zip(fit.u, entry["answer"]["u"], strict=True):
        assert abs(got - wanted) <= allowance(entry, "u", wanted)
    assert fit.u.a == pytest.approx(fit.residual_sd_deg / math.sqrt(fit.spread.count))
    assert fit.spread.inflation == pytest.approx((1.0,) * 5)
    assert refusals_of_fit(fit) == ()


@pytest.mark.parametrize("name", ["swing-uneven-a", "swing-uneven-half-circle"])
def test_swings_on_uneven_headings(name: str) -> None:
    """Coefficients and conditioning of the cases; half a circle is refused, gaps of 65° are not."""
    entry = case(name)
    fit = fit_deviation(observed(entry), resolution_deg=0.1)
    for letter, value in zip(LETTERS, fit.coefficients, strict=True):
        assert matches(entry, letter, value)
    for got, wanted in zip(fit.spread.u_factors, entry["answer"]["u_factor_per_unit_sd"], strict=True):
        assert abs(got - wanted) <= allowance(entry, "u_factor_per_unit_sd", wanted)
    assert matches(entry, "condition_number", fit.spread.condition_number)
    assert fit.dof == entry["answer"]["dof"]
    refusals = refusals_of_fit(fit)
    assert bool(refusals) is name.endswith("half-circle")
    if refusals:
        assert refusals[0].about == "bunched headings"
        assert "nothing between 175 and 000" in refusals[0].words
        assert "A and B and E are up to 8 times less certain" in refusals[0].words


@given(st.floats(0, 360), st.lists(st.floats(0, 180), min_size=8, max_size=16))
def test_half_a_circle_is_always_refused(start: float, within: list[float]) -> None:
    """Headings on one side are refused, outright or with the coefficients that they leave open."""
    swing = [Observed((start + h) % 360.0, 2.0) for h in within]
    try:
        fit = fit_deviation(swing)
    except NoSolution:
        return
    assert max(fit.spread.inflation) > BUNCHED
    assert "bunched headings" in {each.about for each in refusals_of_fit(fit)}


@given(
    st.tuples(st.floats(-3, 3), st.floats(-8, 8), st.floats(-8, 8), st.floats(-4, 4), st.floats(-2, 2)),
    st.integers(6, 24),
    st.floats(0, 60),
)
def test_a_known_curve_comes_back(coefficients: tuple[float, ...], n: int, start: float) -> None:
    """From any number of equally spaced headings without noise, the coefficients are found."""
    headings = [(start + i * 360.0 / n) % 360.0 for i in range(n)]
    fit = fit_deviation(swung(ApproximateCurve(Coefficients(*coefficients)), headings), form=Form.APPROXIMATE)
    assert fit.coefficients == pytest.approx(coefficients, abs=1e-8)
    assert fit.outliers == ()


@given(
    st.tuples(
        st.floats(-0.05, 0.05),
        st.floats(-0.4, 0.4),
        st.floats(-0.4, 0.4),
        st.floats(-0.15, 0.15),
        st.floats(-0.05, 0.05),
    ),
    st.integers(6, 24),
)
def test_a_known_exact_curve_comes_back(coefficients: tuple[float, ...], n: int) -> None:
    """The exact form finds its own coefficients again."""
    try:
        curve = ExactCurve(Coefficients(*coefficients))
    except NoSolution:
        assume(False)
        return
    fit = fit_deviation(swung(curve, [i * 360.0 / n for i in range(n)]), form=Form.EXACT)
    assert fit.coefficients == pytest.approx(coefficients, abs=1e-8)


@pytest.mark.parametrize("name", ["exact-coefficients-a", "exact-coefficients-b"])
def test_beyond_20_degrees_the_exact_form_is_taken(name: str) -> None:
    """The case's deviations give its exact coefficients; the approximate form would be out by degrees."""
    entry = case(name)
    swing = [
        Observed(h, d)
        for h, d in zip(entry["inputs"]["compass_heading_deg"], entry["answer"]["deviation_deg"], strict=True)
    ]
    fit = fit_deviation(swing, resolution_deg=0.0)
    assert fit.form is Form.EXACT
    assert fit.coefficients == pytest.approx(exact_of(entry).coefficients, abs=1e-8)
    assert fit.residual_sd_deg < 1e-6
    short = fit_deviation(swing, form=Form.APPROXIMATE, resolution_deg=0.0)
    assert max(abs(each.residual_deg) for each in short.residuals) > 1.0
    assert any("exact form" in remark.words for remark in remarks_on_fit(fit))


def test_the_exact_form_s_uncertainty_is_that_of_repeated_swings() -> None:
    """Noise of 0.5° on 16 headings, again and again: coefficients and curve scatter as stated."""
    truth = exact_of(case("exact-coefficients-a"))
    rng = np.random.default_rng(4)
    headings = np.arange(16) * 22.5
    clean = truth.deviations_deg(headings)
    fits = [
        fit_deviation(
            [Observed(float(h), float(d)) for h, d in zip(headings, clean + rng.normal(0, 0.5, 16), strict=True)],
            form=Form.EXACT,
            u_reading_deg=5.0,
        )
        for _ in range(300)
    ]
    seen = np.std([fit.coefficients for fit in fits], axis=0)
    assert seen == pytest.approx(np.asarray(fits[0].u) / 10.0, rel=0.15)
    at_20 = np.std([fit.curve.deviation_deg(20.0) for fit in fits])
    stated = fits[0].curve.u_deg(20.0)
    assert stated is not None
    assert at_20 == pytest.approx(stated / 10.0, rel=0.15)


# ---------------------------------------------------------------- scatter and outliers


def test_one_bad_reading_of_eight_stands_out() -> None:
    """No residual of eight can lie beyond 2 s, since s grows with it; leaving each out in turn shows it."""
    curve = ApproximateCurve(Coefficients(0.5, 4.0, -3.0, 1.5, 0.3))
    swing = swung(curve, CARDINALS + INTERCARDINALS, 1)
    swing[2] = Observed(180.0, round(swing[2].deviation_deg + 6.0, 1))
    fit = fit_deviation(swing, resolution_deg=0.5)
    assert [each.observed.heading_compass_deg for each in fit.outliers] == [180.0]
    assert fit.outliers[0].stands_out
    assert not fit.outliers[0].over_two_s
    assert fit.outliers[0].misses_deg == pytest.approx(6.0, abs=0.3)
    remark = next(each for each in remarks_on_fit(fit) if each.about == "residuals")
    assert "On 180 the deviation lies 6." in remark.words


def test_beyond_two_s_by_the_common_rule() -> None:
    """With sixteen headings the rule of 2 s finds a bad one, and reading steps alone are none."""
    curve = ApproximateCurve(Coefficients(0.5, 4.0, -3.0, 1.5, 0.3))
    swing = swung(curve, np.arange(16) * 22.5, 0)
    assert fit_deviation(swing).outliers == ()
    swing[5] = Observed(112.5, swing[5].deviation_deg - 4.0)
    fit = fit_deviation(swing)
    assert [each.observed.heading_compass_deg for each in fit.outliers] == [112.5]
    assert fit.outliers[0].over_two_s


def test_good_swings_are_seldom_told_of_outliers() -> None:
    """Once in twenty swings at most, by chance, a good reading stands out."""
    rng = np.random.default_rng(5)
    curve = ApproximateCurve(Coefficients(0.5, 4.0, -3.0, 1.5, 0.3))
    count = 0
    for _ in range(300):
        swing = [
            Observed(each.heading_compass_deg, each.deviation_deg + rng.normal(0, 1))
            for each in swung(curve, np.arange(12) * 30.0)
        ]
        count += any(each.stands_out for each in fit_deviation(swing, resolution_deg=0.1).residuals)
    assert count <= 26  # 15 expected, and three standard deviations


def test_the_scatter_is_never_less_than_rounding() -> None:
    """Five whole degrees that happen to fit do not make a perfect compass."""
    fit = fit_deviation([Observed(h, 2.0) for h in CARDINALS + INTERCARDINALS], resolution_deg=1.0)
    assert fit.residual_sd_deg < 1e-12
    assert fit.curve.scatter_deg == pytest.approx(1.0 / math.sqrt(12.0))
    stated = fit_deviation([Observed(h, 2.0) for h in CARDINALS + INTERCARDINALS], u_reading_deg=0.7)
    assert stated.curve.scatter_deg == 0.7
    assert stated.curve.dof == math.inf
    noisy = fit_deviation(observed(case("swing-lsq-16")), u_reading_deg=0.1)
    assert noisy.curve.scatter_deg == pytest.approx(noisy.residual_sd_deg)


def test_five_readings_give_a_curve_without_a_scatter() -> None:
    """Five headings are the least ([Moncunill2023]_); nothing is left over to judge them by."""
    assert "at least five" in facts()["five-unknowns"]["statement"]
    curve = ApproximateCurve(Coefficients(0.5, 4.0, -3.0, 1.5, 0.3))
    swing = swung(curve, np.arange(5) * 72.0)
    fit = fit_deviation(swing)
    assert fit.coefficients == pytest.approx(curve.coefficients)
    assert math.isnan(fit.residual_sd_deg)
    assert [each.about for each in refusals_of_fit(fit)] == ["headings"]
    with pytest.raises(NotEnoughReadings, match="five readings leave nothing"):
        _ = fit.u
    assert refusals_of_fit(fit_deviation(swing, u_reading_deg=0.5)) == ()
    with pytest.raises(NotEnoughReadings, match="five coefficients need five"):
        fit_deviation(swing[:4])
    with pytest.raises(NotEnoughReadings, match="a swing needs headings"):
        heading_spread([])
    with pytest.raises(ReadingError, match="u_reading_deg"):
        fit_deviation(swing, u_reading_deg=0.0)


def test_a_lost_a_is_taken_as_nothing() -> None:
    """Without a known bearing A is 0, and what it may be is stated by whoever knows."""
    swing = observed(case("swing-lsq-16"))
    full = fit_deviation(swing)
    lost = fit_deviation(swing, a_lost=True, shared=SharedErrors(1.2))
    assert lost.coefficients.a == 0.0
    assert lost.coefficients[1:] == full.coefficients[1:]
    assert lost.u.a == 1.2


@pytest.mark.parametrize(
    ("heading", "deviation", "words"),
    [(361.0, 0.0, "heading_compass_deg is 361"), (0.0, 91.0, "deviation_deg is 91"), (math.nan, 0.0, "is nan")],
)
def test_what_cannot_have_been_observed(heading: float, deviation: float, words: str) -> None:
    """A heading beyond the circle and a deviation beyond 90° are slips."""
    with pytest.raises(ReadingError, match=words):
        Observed(heading, deviation)


@pytest.mark.parametrize(
    ("deviations", "words"),
    [
        ([-79, 41, -74, -19, 67, -5, 74, 48], r"no exact coefficients come near.*moved or adjusted"),
        ([3, 63, 90, 58, -3, -62, -84, -45], r"on compass heading .* no deviation answers.*moved or adjusted"),
    ],
)
def test_deviations_that_no_compass_has(deviations: list[float], words: str) -> None:
    """Where the exact form finds no answer it says so."""
    with pytest.raises(NavigationError, match=words):
        fit_deviation([Observed(45.0 * i, float(d)) for i, d in enumerate(deviations)])


# ---------------------------------------------------------------- remarks and words


def _fit(*coefficients: float, n: int = 16) -> DeviationFit:
    return fit_deviation(swung(ApproximateCurve(Coefficients(*coefficients)), np.arange(n) * 360.0 / n))


def _about(fit: DeviationFit) -> list[str]:
    return [remark.about for remark in remarks_on_fit(fit)]


def test_five_degrees_is_a_borrowed_bar() -> None:
    """Fact marshall-limit: ships are held to 5°; a yacht is told where and that she is not bound."""
    assert facts()["marshall-limit"]["values"]["limit_deg"] == BORROWED_LIMIT_DEG
    assert _about(_fit(0, 4.9, 0, 0, 0)) == []
    remarks = remarks_on_fit(_fit(0, 5.5, 0, 0, 0))
    assert [remark.about for remark in remarks] == ["size"]
    assert "reaches 5.5° E on 090" in remarks[0].words
    assert "no yacht is bound" in remarks[0].words


def test_the_approximate_form_knows_its_own_fault() -> None:
    """Fact approx-error: 10′ at 7°, 1° 30′ at 21°; remarked on where it matters."""
    values = facts()["approx-error"]["values"]
    assert round(form_error_deg(7.0) * 60.0) == values["err_at_7deg_arcmin"]
    assert round(form_error_deg(21.0) * 60.0) == values["err_at_21deg_arcmin"]
    assert _about(_fit(0, 12.0, 0, 0, 0)) == ["size", "form"]
    assert "form" not in _about(_fit(0, 6.0, 0, 0, 0))


def test_uneven_and_few_headings_are_remarked_on() -> None:
    """Two neighbours of eight missing is a caution; six headings are a note."""
    curve = ApproximateCurve(Coefficients(0, 2, 1, 0, 0))
    gap = fit_deviation(swung(curve, [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 20.0, 200.0]))
    assert "headings" in _about(gap)
    assert "nothing between 225 and 000" in remarks_on_fit(gap)[0].words
    assert _about(_fit(0, 2, 1, 0, 0, n=6)) == ["uncertainty", "headings"]  # one degree of freedom: t is 12.7
    rng = np.random.default_rng(6)
    noisy = fit_deviation([Observed(h, float(rng.normal(0, 4))) for h in CARDINALS + INTERCARDINALS])
    assert "uncertainty" in _about(noisy)


def test_a_card_that_turns_with_the_boat_is_refused() -> None:
    """Case non-invertible-curve, as a swing."""
    coefficients = Coefficients(*(case("non-invertible-curve")["inputs"][letter] for letter in "ABCDE"))
    curve = ApproximateCurve(coefficients)
    assert uniqueness_remarks(curve)[0].about == "directive force"
    fit = fit_deviation(swung(curve, np.arange(16) * 22.5), form=Form.APPROXIMATE)
    assert [each.about for each in refusals_of_fit(fit)] == ["directive force"]
    assert uniqueness_remarks(ApproximateCurve(Coefficients(0, 5, 5, 0, 0))) == ()


def test_what_each_coefficient_means() -> None:
    """Sign, place, cause and adjuster of each; one within its ± does not show."""
    fit = fit_deviation(observed(case("swing-lsq-16")))
    words = words_on_coefficients(fit.curve)
    assert [each.letter for each in words] == list(LETTERS)
    assert [each.shows for each in words] == [False, True, True, True, False]
    assert "engine" in words[1].causes
    assert "lubber line" in words[0].adjuster
    assert words[0].effect == "Adds 0.4° E on every heading."
    assert words[3].effect == "Adds 1.9° E on NE and SW and 1.9° W on SE and NW."
    assert words[4].effect == "Adds 0.5° E on north and south and 0.5° W on east and west."
    assert "licensed" in CAUTION
    nothing = words_on_coefficients(ApproximateCurve(Coefficients(0, 0.01, 0, 0, 0)))
    assert nothing[1].effect == "Adds nothing to speak of."
    assert nothing[1].expanded_deg is None


@given(st.tuples(*[st.floats(-6, 6)] * 5))
def test_the_words_say_what_the_curve_does(coefficients: tuple[float, ...]) -> None:
    """What is said of B is what the curve with B alone has on east and west; the same for C, D and E."""
    words = words_on_coefficients(ApproximateCurve(Coefficients(*coefficients)))
    for i, first in ((1, 90.0), (2, 0.0), (3, 45.0), (4, 0.0)):
        alone = ApproximateCurve(Coefficients(*(c if j == i else 0.0 for j, c in enumerate(coefficients))))
        assert words[i].effect.startswith(("Adds nothing", f"Adds {east_west(alone.deviation_deg(first))} on"))


def test_exact_coefficients_are_worded_as_angles() -> None:
    """Their uncertainty goes with them."""
    entry = case("exact-coefficients-a")
    fit = fit_deviation(swung(exact_of(entry), np.arange(16) * 22.5, 0))
    words = words_on_coefficients(fit.curve)
    assert words[1].value_deg == pytest.approx(math.degrees(math.asin(0.3)), abs=0.5)
    assert words[1].expanded_deg is not None
    assert 0.1 < words[1].expanded_deg < 1.0
