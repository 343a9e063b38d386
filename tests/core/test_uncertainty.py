"""The uncertainty budget against the GUM's own examples, a metrology library and its own rules."""

from __future__ import annotations

import math
from statistics import correlation, fmean, stdev
from typing import Any

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference_cases import case, matches
from truemile.core.errors import ManyFaults, NoSolution, ReadingError
from truemile.core.uncertainty import (
    Budget,
    Input,
    Shape,
    coverage_factor,
    coverage_factor_with_rectangle,
    evaluate,
    from_limit,
    from_resolution,
    truncated_dof,
    welch_satterthwaite,
)

# ---------------------------------------------------------------- JCGM 100:2008 H.1, end gauge


def _gauge_inputs() -> list[Input]:
    given_ = case("gum-h1")["inputs"]
    return [
        Input("standard", given_["ls_nm"], given_["u_ls"], given_["df_ls"], unit="nm"),
        Input("difference", given_["d_nm"], given_["u_d_mean"], given_["df_d_mean"], unit="nm"),
        Input("comparator, random", 0.0, given_["u_comparator_random"], given_["df_comparator_random"]),
        Input("comparator, systematic", 0.0, given_["u_comparator_systematic"], given_["df_comparator_systematic"]),
        Input("expansion of standard", given_["alpha_s"], from_limit(given_["alpha_s_rect_halfwidth"])),
        Input("bed temperature", given_["theta"], given_["u_theta_mean"]),
        Input("temperature swing", 0.0, from_limit(given_["theta_arcsine_halfwidth"], Shape.ARCSINE)),
        Input(
            "difference of expansion",
            given_["delta_alpha"],
            from_limit(given_["delta_alpha_rect_halfwidth"]),
            given_["df_delta_alpha"],
        ),
        Input(
            "difference of temperature",
            given_["delta_theta"],
            from_limit(given_["delta_theta_rect_halfwidth"]),
            given_["df_delta_theta"],
        ),
    ]


def _gauge(x: Any) -> Any:
    standard, difference, random, systematic, alpha, bed, swing, d_alpha, d_theta = x
    return standard + difference + random + systematic - standard * (d_alpha * (bed + swing) + alpha * d_theta)


def test_gum_h1_end_gauge() -> None:
    """The gauge block of JCGM 100:2008 H.1 comes out with its length, uc, ν and U99."""
    gauge = case("gum-h1")
    budget = evaluate(_gauge, _gauge_inputs(), coverage=0.99)
    assert matches(gauge, "l_nm", budget.value)
    assert matches(gauge, "uc_nm", budget.u)
    assert round(budget.u) == gauge["answer"]["uc_nm_rounded"]
    assert matches(gauge, "nu_eff", budget.dof)
    assert truncated_dof(budget.dof) == gauge["answer"]["nu_eff_truncated"]
    assert matches(gauge, "k99", budget.coverage_factor)
    assert matches(gauge, "U99_nm_published", budget.expanded)
    assert budget.coverage_factor > coverage_factor(17, 0.99), "ν was rounded up instead of cut"


def test_gum_h1_agrees_with_gtc() -> None:
    """The measurement library GTC gives the same uncertainty and ν for the same gauge block."""
    inputs = _gauge_inputs()
    oracle = _gauge([GTC.ureal(item.value, item.u, item.dof) for item in inputs])
    budget = evaluate(_gauge, inputs)
    assert budget.u == pytest.approx(oracle.u, rel=1e-7)
    assert budget.dof == pytest.approx(oracle.df, rel=1e-7)


# ---------------------------------------------------------------- JCGM 100:2008 G.4.2


def test_gum_g42_effective_dof() -> None:
    """Three relative parts of JCGM 100:2008 G.4.2 give 1.03 %, ν 19.0 and 2.15 %."""
    product = case("gum-g42")
    inputs = [
        Input(f"part {i}", 1.0, u / 100.0, dof)
        for i, (u, dof) in enumerate(zip(product["inputs"]["u_percent"], product["inputs"]["dof"], strict=True))
    ]
    budget = evaluate(math.prod, inputs)
    assert matches(product, "uc_percent", 100.0 * budget.u)
    assert matches(product, "nu_eff", budget.dof)
    # The printed 19.0 enters the table as 19; our 18.9987 is cut to 18 by the rule of G.4.1.
    assert matches(product, "k95", coverage_factor(product["answer"]["nu_eff_published"]))
    assert matches(product, "U95_percent", 100.0 * budget.expanded)
    assert truncated_dof(budget.dof) == 18.0


@pytest.mark.parametrize(
    ("dof", "t95", "t99"),
    [(1, 12.71, 63.66), (2, 4.30, 9.92), (4, 2.78, 4.60), (9, 2.26, 3.25), (19, 2.09, 2.86), (math.inf, 1.960, 2.576)],
)
def test_t_table(dof: Any, t95: Any, t99: Any) -> None:
    """The factors are those of table G.2 of JCGM 100:2008 (from memory), to the digits printed."""
    place = 0.0005 if math.isinf(dof) else 0.005
    assert coverage_factor(dof) == pytest.approx(t95, abs=place)
    assert coverage_factor(dof, 0.99) == pytest.approx(t99, abs=place)


def test_three_runs_do_not_get_the_normal_factor() -> None:
    """With two degrees of freedom the factor is 4.30, and not the 1.96 of many readings."""
    budget = evaluate(lambda x: x[0], [Input("mean of three", 0.93, 0.01, 2)])
    assert budget.expanded == pytest.approx(0.0430, abs=0.00005)


def test_degrees_of_freedom_are_cut() -> None:
    """Degrees of freedom are cut to whole ones, but arithmetic noise does not cost one."""
    assert truncated_dof(16.75) == 16.0
    assert truncated_dof(3.9999999999) == 4.0
    assert truncated_dof(0.5) == 0.5
    assert truncated_dof(math.inf) == math.inf
    assert coverage_factor(4.9) == coverage_factor(4)


# ---------------------------------------------------------------- JCGM 100:2008 H.2, correlated readings

# Table H.2, five simultaneous readings of volts, amperes and radians (from memory).
READINGS = {
    "V": [5.007, 4.994, 5.005, 4.990, 4.999],
    "I": [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    "phase": [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
}


@pytest.mark.parametrize(
    ("model", "value", "u"),
    [
        (lambda x: x[0] / x[1] * GTC.cos(x[2]), 127.732, 0.071),
        # Printed as 0.295; GTC and we both find 0.2956 from the printed readings, so GTC alone judges this one.
        (lambda x: x[0] / x[1] * GTC.sin(x[2]), 219.847, None),
        (lambda x: x[0] / x[1], 254.260, 0.236),
    ],
    ids=["resistance", "reactance", "impedance"],
)
def test_gum_h2_correlated_inputs(model: Any, value: float, u: float | None) -> None:
    """Resistance, reactance and impedance of JCGM 100:2008 H.2 (from memory) and of GTC need the correlations."""
    inputs = [Input(name, fmean(read), stdev(read) / math.sqrt(5), 4) for name, read in READINGS.items()]
    pairs = [("V", "I"), ("V", "phase"), ("I", "phase")]
    correlations = {(one, other): correlation(READINGS[one], READINGS[other]) for one, other in pairs}
    assert [round(r, 2) for r in correlations.values()] == [-0.36, 0.86, -0.65]
    budget = evaluate(model, inputs, correlations=correlations)
    assert budget.value == pytest.approx(value, abs=0.0005)
    if u is not None:
        assert budget.u == pytest.approx(u, abs=0.0005)
    oracle = model(GTC.type_a.multi_estimate_real(list(READINGS.values())))
    assert budget.u == pytest.approx(oracle.u, rel=1e-8)
    # Five simultaneous sets carry four degrees of freedom, however many quantities each holds.
    assert budget.dof == pytest.approx(oracle.df)
    assert budget.dof == pytest.approx(4.0)
    assert evaluate(model, inputs).u != pytest.approx(oracle.u, rel=0.05), "the correlations did nothing"
    assert math.fsum(row.share for row in budget.rows) == pytest.approx(1.0)


def test_full_correlation_adds_plainly() -> None:
    """Two fully correlated parts add as they are, and cancel in a difference."""
    inputs = [Input("a", 1.0, 0.3), Input("b", 2.0, 0.4)]
    one = {("b", "a"): 1.0}
    assert evaluate(sum, inputs, correlations=one).u == pytest.approx(0.7)
    assert evaluate(lambda x: x[1] - x[0], inputs, correlations=one).u == pytest.approx(0.1)
    twins = [Input("a", 1.0, 0.3, 5), Input("b", 2.0, 0.3, 7)]
    gone = evaluate(lambda x: x[1] - x[0], twins, correlations=one)
    assert gone.u == pytest.approx(0.0, abs=1e-9)


# ---------------------------------------------------------------- EURACHEM/CITAC A1


def _citac_inputs() -> list[Input]:
    given_ = case("citac-a1")["inputs"]
    return [
        Input("mass", given_["mass_mg"], given_["u_mass"]),
        Input("purity", given_["purity"], from_limit(given_["purity_rect"])),
        Input("flask", given_["volume_ml"], from_limit(given_["flask_triangular"], Shape.TRIANGULAR)),
        Input("filling", 0.0, given_["u_repeat"]),
        Input("temperature", 0.0, from_limit(given_["temperature_rect"])),
    ]


def _citac(x: Any) -> Any:
    mass, purity, flask, filling, temperature = x
    return 1000.0 * mass * purity / (flask + filling + temperature)


def test_citac_a1_standard_solution() -> None:
    """The standard solution of the EURACHEM/CITAC guide, example A1, with its parts and GTC's answer."""
    solution = case("citac-a1")
    budget = evaluate(_citac, _citac_inputs())
    assert matches(solution, "c", budget.value)
    assert matches(solution, "u", budget.u)
    printed = {"mass": 0.49995, "temperature": 0.486284, "flask": 0.40935, "filling": 0.20054, "purity": 0.0578967}
    assert [row.label for row in budget.rows] == list(printed), "largest part first"
    for row in budget.rows:
        assert row.contribution == pytest.approx(printed[row.label], rel=2e-5)
    oracle = _citac([GTC.ureal(item.value, item.u) for item in _citac_inputs()])
    assert budget.u == pytest.approx(oracle.u, rel=1e-9)


# ---------------------------------------------------------------- the log factor


def log_factor_inputs() -> list[Input]:
    """The inputs of case log-factor-budget-a."""
    given_ = case("log-factor-budget-a")["inputs"]
    runs = range(1, 5)
    return [
        Input("course", given_["course_nm"], given_["u_course_nm"], shared=True),
        Input("display", 0.0, from_resolution(given_["log_resolution_kn"]), shared=True, shape=Shape.RECTANGULAR),
        *(Input(f"time {i}", given_["run_s"][i - 1], given_["u_run_s"], given_["df_run"]) for i in runs),
        *(Input(f"log {i}", given_["log_kn"][i - 1], given_["u_log_type_a_kn"], given_["df_log"]) for i in runs),
        *(
            Input(f"stream {i}", 0.0, given_["u_residual_current_per_run_kn"], given_["df_residual_current"])
            for i in runs
        ),
    ]


def log_factor(x: Any) -> Any:
    """Factor by mean of means over four runs."""
    course, display, times, logs, streams = x[0], x[1], x[2:6], x[6:10], x[10:14]
    weights = case("log-factor-budget-a")["inputs"]["weights"]
    over_ground = sum(w * (3600.0 * course / t + c) for w, t, c in zip(weights, times, streams, strict=True))
    return over_ground / sum(w * (log + display) for w, log in zip(weights, logs, strict=True))


def log_factor_budget() -> Budget:
    """Evaluate case log-factor-budget-a."""
    return evaluate(log_factor, log_factor_inputs())


def test_log_factor_budget() -> None:
    """The factor of a four-run trial, its ± and its parts (a synthetic case, four evaluations agree)."""
    trial = case("log-factor-budget-a")
    budget = log_factor_budget()
    assert matches(trial, "k", budget.value)
    assert matches(trial, "u_k", budget.u)
    assert matches(trial, "nu_eff", budget.dof)
    assert budget.coverage_factor == pytest.approx(trial["answer"]["k95"], abs=0.0005)
    assert matches(trial, "U95", budget.expanded)
    assert matches(trial, "component_resolution", budget.row("display").contribution)
    assert matches(trial, "component_course", budget.row("course").contribution)
    for run in (2, 3):
        assert matches(trial, "component_current_runs_2_3", budget.row(f"stream {run}").contribution)
    # The case gives one figure for runs 2 and 3, whose sensitivities are equal.
    assert matches(trial, "component_log_runs_2_3", budget.row("log 2").contribution)
    assert matches(trial, "component_time_run_3", budget.row("time 3").contribution)
    assert budget.rows[0].label == "display"


def test_log_factor_agrees_with_gtc() -> None:
    """GTC gives the same factor, u and ν for the four-run trial."""
    inputs = log_factor_inputs()
    oracle = log_factor([GTC.ureal(item.value, item.u, item.dof) for item in inputs])
    budget = log_factor_budget()
    assert budget.value == pytest.approx(oracle.x, rel=1e-12)
    assert budget.u == pytest.approx(oracle.u, rel=1e-9)
    assert budget.dof == pytest.approx(oracle.df, rel=1e-8)


def test_steady_display_does_not_average_down() -> None:
    """The display's share is that of one reading: dividing it by the root of the four runs is refused."""
    contribution = log_factor_budget().row("display").contribution
    single = case("log-factor-budget-a")["answer"]["component_resolution"]
    assert contribution == pytest.approx(single, rel=1e-6)
    assert contribution != pytest.approx(single / 2.0, rel=0.1)


def test_groups_merge_runs() -> None:
    """Lines merged by kind keep the variance, and say whether all of the group is shared."""
    budget = log_factor_budget()
    groups = budget.grouped(lambda label: label.split()[0])
    assert {row.label for row in groups} == {"course", "display", "time", "log", "stream"}
    assert math.fsum(row.share for row in groups) == pytest.approx(1.0)
    stream = next(row for row in groups if row.label == "stream")
    parts = [budget.row(f"stream {i}").contribution for i in range(1, 5)]
    assert stream.contribution == pytest.approx(math.hypot(*parts))
    assert stream.dof == pytest.approx(welch_satterthwaite(parts, [3] * 4))
    assert not stream.shared
    assert math.isnan(stream.value)
    renamed = budget.grouped({"display": "log display", "course": "log display"})
    assert next(row for row in renamed if row.label == "log display").shared
    assert budget.shared_share == pytest.approx(budget.row("display").share + budget.row("course").share)


def test_groups_keep_advice_once() -> None:
    """Advice that several lines share is said once in their group."""
    inputs = [Input(f"time {i}", 300.0, 1.0, advice="Use a stop-watch.") for i in (1, 2)]
    (row,) = evaluate(sum, inputs).grouped(lambda _: "timing")
    assert row.advice == "Use a stop-watch."


# ---------------------------------------------------------------- properties

spreads = st.floats(1e-4, 1e-1)
sizes = st.floats(0.5, 20.0)


@given(st.lists(st.tuples(sizes, spreads), min_size=1, max_size=5), st.floats(1e-3, 1e3))
def test_scale_of_the_result_is_free(parts: Any, scale: Any) -> None:
    """Stating a result in another unit multiplies value and uncertainty alike and leaves shares and ν alone."""
    inputs = [Input(f"input {i}", x, x * u, dof=5.0 + i) for i, (x, u) in enumerate(parts)]
    plain = evaluate(math.prod, inputs)
    scaled = evaluate(lambda x: scale * math.prod(x), inputs)
    assert scaled.value == pytest.approx(scale * plain.value, rel=1e-12)
    assert scaled.u == pytest.approx(scale * plain.u, rel=1e-6)
    assert scaled.dof == pytest.approx(plain.dof, rel=1e-5)


@given(st.lists(st.tuples(sizes, spreads), min_size=1, max_size=5))
def test_product_adds_relative_variances(parts: Any) -> None:
    """The relative variance of a product is the sum of its factors' (JCGM 100:2008 5.1.6), and shares sum to 1."""
    inputs = [Input(f"input {i}", x, x * u) for i, (x, u) in enumerate(parts)]
    budget = evaluate(math.prod, inputs)
    assert budget.u / budget.value == pytest.approx(math.sqrt(sum(u**2 for _, u in parts)), rel=1e-6)
    assert math.fsum(row.share for row in budget.rows) == pytest.approx(1.0, rel=1e-9)
    shares = [row.share for row in budget.rows]
    assert shares == sorted(shares, reverse=True)


@given(st.lists(st.tuples(spreads, st.floats(1.0, 200.0)), min_size=1, max_size=6))
def test_effective_dof_lies_between(parts: Any) -> None:
    """ν is at least the smallest of the parts' and at most their sum (JCGM 100:2008 G.4.1)."""
    dof = welch_satterthwaite([u for u, _ in parts], [nu for _, nu in parts])
    assert min(nu for _, nu in parts) * (1 - 1e-9) <= dof <= sum(nu for _, nu in parts) * (1 + 1e-9)


def test_exact_inputs_have_exact_result() -> None:
    """Without any uncertainty the result has none, its factor is the normal one and no line has a share."""
    budget = evaluate(lambda x: 2.0 * x[0], [Input("exact", 0.0, 0.0, 3)])
    assert (budget.value, budget.u, budget.dof, budget.expanded) == (0.0, 0.0, math.inf, 0.0)
    assert budget.rows[0].share == 0.0
    assert budget.rows[0].sensitivity == pytest.approx(2.0)


def test_interval_ends() -> None:
    """Low and high lie one expanded uncertainty off the value."""
    budget = evaluate(lambda x: x[0], [Input("k", 1.0, 0.01)])
    assert budget.low == pytest.approx(1.0 - 0.0196, abs=1e-6)
    assert budget.high == pytest.approx(1.0 + 0.0196, abs=1e-6)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"u": -0.1}, r"time\.u is -0\.1, but .* 0 or more.*limit of error"),
        ({"u": math.nan}, r"time\.u is nan, but"),
        ({"value": math.nan}, r"time\.value is nan, but a value must be a finite number"),
        ({"dof": 0.0}, r"time\.dof is 0\.0, but degrees of freedom must be more than 0"),
        ({"dof": math.nan}, r"time\.dof is nan"),
        ({"label": " "}, r"label is ' ', but every input needs a name"),
        ({"inexactness": 9.0}, r"time\.inexactness is 9\.0, but limits cannot be less certain"),
    ],
)
def test_impossible_input(fields: Any, message: Any) -> None:
    """An input that cannot be is refused with its label, value and remedy."""
    with pytest.raises(ReadingError, match=message):
        Input(**({"label": "time", "value": 300.0, "u": 1.0} | fields))


def test_all_faults_at_once() -> None:
    """Several faults of one input are told together."""
    with pytest.raises(ManyFaults) as caught:
        Input("time", math.inf, -1.0, 0.0)
    assert [fault.field for fault in caught.value.faults] == ["time.value", "time.u", "time.dof"]


PAIR = (Input("a", 1.0, 0.1), Input("b", 2.0, 0.1), Input("c", 2.0, 0.1))


@pytest.mark.parametrize(
    ("correlations", "message"),
    [
        ({("a", "x"): 0.5}, "a correlation joins two different inputs"),
        ({("a", "a"): 0.5}, "a correlation joins two different inputs"),
        ({("a", "b"): 1.5}, "between -1 and 1"),
        ({("a", "b"): math.nan}, "between -1 and 1"),
        ({("a", "b"): 0.5, ("b", "a"): 0.4}, "a pair has one correlation"),
        ({("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}, "cannot hold together"),
    ],
)
def test_impossible_correlations(correlations: Any, message: Any) -> None:
    """Correlations that name no inputs, or cannot be, are refused."""
    with pytest.raises(ReadingError, match=message):
        evaluate(sum, PAIR, correlations=correlations)


def test_labels_must_differ() -> None:
    """Two inputs of one label are refused, since the budget could not tell them apart."""
    with pytest.raises(ReadingError, match=r"inputs is 'a', but each label may occur once"):
        evaluate(sum, [PAIR[0], PAIR[0]])


def test_a_budget_needs_inputs() -> None:
    """A result of nothing is refused."""
    with pytest.raises(ReadingError, match="at least one input"):
        evaluate(sum, [])


@pytest.mark.parametrize("model", [lambda x: 1.0 / (x[0] - 1.0), lambda x: math.log(-x[0]), lambda _: math.inf])
def test_model_without_result(model: Any) -> None:
    """A model that gives no finite number is no solution, whichever way it fails."""
    with pytest.raises(NoSolution, match="these input values give no finite result"):
        evaluate(model, [PAIR[0]])


def test_own_errors_pass_through() -> None:
    """A refusal that the model itself words reaches the caller in those words."""

    def refuses(_: Any) -> Any:
        raise ReadingError("speed_kn", 0.0, "it must move", "Sail.")

    with pytest.raises(ReadingError, match=r"it must move\. Sail"):
        evaluate(refuses, [PAIR[0]])


def test_model_that_fails_nearby() -> None:
    """A model that breaks within the uncertainty of an input says which input."""
    with pytest.raises(NoSolution, match=r"^a is"):
        evaluate(lambda x: math.sqrt(x[0] - 1.0), [PAIR[0]])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: coverage_factor(0.0), "degrees of freedom must be more than 0"),
        (lambda: coverage_factor(math.nan), "degrees of freedom must be more than 0"),
        (lambda: coverage_factor(5.0, 95.0), "a coverage must be between 0 and 1"),
        (lambda: log_factor_budget().row("tide"), "label is 'tide', but the budget has only 'display'"),
    ],
)
def test_refusals(call: Any, message: Any) -> None:
    """Helpers refuse what cannot be, and say what is allowed."""
    with pytest.raises(ReadingError, match=message):
        call()


def test_a_rectangle_alone_has_no_tails() -> None:
    """K = 0.95 √3 for a rectangle by itself, and Student's t where it has no share (JCGM 100 annex G)."""
    assert coverage_factor_with_rectangle(1.0, math.inf) == pytest.approx(0.95 * math.sqrt(3))
    assert coverage_factor_with_rectangle(0.0, 7.0) == pytest.approx(coverage_factor(7.0))
    with pytest.raises(ReadingError, match=r"share is 1\.5"):
        coverage_factor_with_rectangle(1.5, 7.0)


@pytest.mark.parametrize(("share", "dof"), [(0.6, math.inf), (0.8, 12.0), (0.95, 5.0)])
def test_a_dominating_rectangle_agrees_with_drawn_values(share: float, dof: float) -> None:
    """Against the 95 % quantile of two million drawn sums (Monte Carlo with a general-purpose library, numpy)."""
    rng = np.random.default_rng(7)
    rest = rng.standard_normal(2_000_000) if math.isinf(dof) else rng.standard_t(dof, 2_000_000)
    drawn = math.sqrt(3 * share) * rng.uniform(-1, 1, 2_000_000) + math.sqrt(1 - share) * rest
    assert coverage_factor_with_rectangle(share, dof) == pytest.approx(np.quantile(np.abs(drawn), 0.95), abs=0.004)


def test_a_shaped_budget_says_what_dominates() -> None:
    """Only when asked, and only where one rectangle makes up half the variance."""
    inputs = [Input("display", 5.0, 0.03, shape=Shape.RECTANGULAR), Input("scatter", 0.0, 0.01)]
    shaped = evaluate(lambda x: x[0] + x[1], inputs, shaped=True)
    plain = evaluate(lambda x: x[0] + x[1], inputs)
    assert (shaped.dominant, plain.dominant) == ("display", "")
    assert shaped.coverage_factor < plain.coverage_factor == pytest.approx(1.96, abs=0.001)
