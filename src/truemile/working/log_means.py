"""The weighted means of a trial in hand lines: means of neighbours, divided differences, or weights from a fit."""

from __future__ import annotations

import math
from enum import Enum, auto
from itertools import pairwise

from truemile.core.log_factor import LogFactor
from truemile.core.mean_of_means import binomial_weights, divided_difference_weights
from truemile.working.hand import Hand
from truemile.working.minutes import in_minutes

_NEAR = 1e-9


class Way(Enum):
    """How the weights of the runs are got by hand."""

    NEIGHBOURS = auto()
    DIFFERENCES = auto()
    FIT = auto()


def way_of(result: LogFactor) -> Way:
    """Return how a navigator would weight these runs."""
    weights = result.weights.weights
    n = len(weights)
    total = 2 ** (n - 1)
    if n <= 4 and _alike(weights, [b / total for b in binomial_weights(n)]):
        return Way.NEIGHBOURS
    middles = [run.mid_h for run in result.runs]
    if n <= 4 and len(set(middles)) == n and _alike(weights, divided_difference_weights(middles)):
        return Way.DIFFERENCES
    return Way.FIT


def write_weights(hand: Hand, result: LogFactor) -> None:
    """Write the lines that give the weights, if any are needed."""
    match way_of(result):
        case Way.NEIGHBOURS:
            return
        case Way.DIFFERENCES:
            _write_differences(hand, result)
        case Way.FIT:
            hand.section("Weights of the runs")
            for run, weight in zip(result.runs, result.weights.weights, strict=True):
                n = run.number
                hand.given(f"w_{n}", f"weight of run {n}", weight, 4, source=_fit_words(result))


def write_mean(hand: Hand, result: LogFactor, each: str, symbol: str, words: str, core: float) -> None:
    """Write the weighted mean of one quantity, ``V_1``, ``V_2`` … of the runs."""
    numbers = [run.number for run in result.runs]
    if way_of(result) is Way.NEIGHBOURS:
        _write_neighbours(hand, result, each, symbol, words)
        return
    formula = " + ".join(f"w_{n} * {each}_{n}" for n in numbers)
    hand.line(symbol, f"{words}, weighted", formula, 2, "kn", core=core)


def _fit_words(result: LogFactor) -> str:
    what = ("constant", "steadily changing", "curving")[result.weights.degree]
    return f"from the fit of a {what} stream"


def _alike(one: tuple[float, ...], other: list[float] | tuple[float, ...]) -> bool:
    return all(abs(a - b) < _NEAR for a, b in zip(one, other, strict=True))


def _write_neighbours(hand: Hand, result: LogFactor, each: str, symbol: str, words: str) -> None:
    """Means of neighbours, their means, and so on to one."""
    row = [(run.number, run.number, f"{each}_{run.number}") for run in result.runs]
    values = [run.ground_kn if each == "V" else run.indicated_kn for run in result.runs]
    while len(row) > 1:
        last = len(row) == 2
        values = [(a + b) / 2.0 for a, b in pairwise(values)]
        pairs = list(pairwise(row))
        row = []
        for (first, _, left), (_, end, right) in pairs:
            name = symbol if last else f"{each}_{first}{end}"
            said = (
                words
                if last
                else f"mean of runs {first} and {end}"
                if end - first == 1
                else f"mean of runs {first} to {end}"
            )
            hand.line(name, said, f"({left} + {right}) / 2", 2, "kn", core=values[len(row)])
            row.append((first, end, name))


def _write_differences(hand: Hand, result: LogFactor) -> None:
    hand.section("Weights of the runs, which came at unequal intervals")
    first = result.runs[0].run
    numbers = [run.number for run in result.runs]
    for result_of_run in result.runs:
        n, run = result_of_run.number, result_of_run.run
        words = f"middle of run {n}, after that of the first"
        if n == numbers[0] or run.started_at is None or first.started_at is None:
            hand.given(f"T_{n}", words, result_of_run.mid_h * 60.0, 2, "min")
            continue
        later = in_minutes((run.started_at - first.started_at).total_seconds())
        formula = f"{later} + (t_{n} - t_{numbers[0]}) / 2"
        hand.line(f"T_{n}", words, formula, 2, "min", core=result_of_run.mid_h * 60.0)
    middles = [run.mid_h * 60.0 for run in result.runs]
    products = [math.prod(abs(t - u) for u in middles if u != t) for t in middles]
    scale = 10.0 ** math.floor(math.log10(min(products)))
    for n, product in zip(numbers, products, strict=True):
        spans = " * ".join(f"(T_{n} - T_{m})" for m in numbers if m != n)
        formula = f"{scale:.0f} / abs({spans})" if scale >= 1 else f"1 / abs({spans})"
        hand.line(f"r_{n}", f"one over its spans, run {n}", formula, 4, core=max(scale, 1.0) / product)
    total = " + ".join(f"r_{n}" for n in numbers)
    for n, weight in zip(numbers, result.weights.weights, strict=True):
        hand.line(f"w_{n}", f"weight of run {n}", f"r_{n} / ({total})", 4, core=weight)
