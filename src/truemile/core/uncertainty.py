"""What a result's uncertainty is made of: inputs, sensitivities, budget and coverage factor.

The method is the one of JCGM 100:2008 (the GUM): each input has a standard uncertainty and degrees
of freedom, the model says how much of it reaches the result, the variances add, the effective
degrees of freedom follow Welch and Satterthwaite and give the factor to 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from truemile.core.coverage import (
    coverage_factor,
    coverage_factor_with_rectangle,
    truncated_dof,
    welch_satterthwaite,
)
from truemile.core.errors import NoSolution, ReadingError, gather
from truemile.core.plus_minus import format_with_uncertainty, rounded
from truemile.core.type_b import (
    Shape,
    from_expanded,
    from_inexact_limit,
    from_limit,
    from_resolution,
)

__all__ = [
    "Budget",
    "BudgetRow",
    "Input",
    "Shape",
    "coverage_factor",
    "coverage_factor_with_rectangle",
    "evaluate",
    "format_with_uncertainty",
    "from_expanded",
    "from_inexact_limit",
    "from_limit",
    "from_resolution",
    "rounded",
    "truncated_dof",
    "welch_satterthwaite",
]

#: A rectangular input with this part of the variance shapes the result, and the t table would overstate it.
DOMINATES = 0.5

Model = Callable[[Sequence[float]], float]
Correlations = Mapping[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that enters a result, with what is not known about it.

    Parameters
    ----------
    label
        What a person calls it, unique in a budget: ``display, 0.1 kn``.
    value, u
        Best value and its standard uncertainty, in the same unit.
    dof
        Degrees of freedom of ``u``; infinite when it is taken as known.
    shared
        The same error enters every run, so more runs do not make it smaller.
    unit
        Unit of ``value`` and ``u``, for the reader.
    shape
        Shape of the distribution, which only a Monte Carlo propagation looks at.
    advice
        What would make this one smaller, for the reader.
    inexactness
        Only for a curvilinear trapezoid: by how much each limit may itself be wrong.
    """

    label: str
    value: float
    u: float
    dof: float = math.inf
    shared: bool = False
    unit: str = ""
    shape: Shape = Shape.NORMAL
    advice: str = ""
    inexactness: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be an input."""
        faults: list[ReadingError] = []
        if not self.label.strip():
            faults.append(ReadingError("label", self.label, "every input needs a name", "Say what this input is."))
        field = self.label.strip() or "input"
        if not math.isfinite(self.value):
            faults.append(
                ReadingError(
                    f"{field}.value",
                    self.value,
                    "a value must be a finite number",
                    "Check the reading it was worked out from.",
                )
            )
        faults += self._spread_faults(field)
        gather(faults)

    def _spread_faults(self, field: str) -> list[ReadingError]:
        faults: list[ReadingError] = []
        if not 0.0 <= self.u < math.inf:
            faults.append(
                ReadingError(
                    f"{field}.u",
                    self.u,
                    "a standard uncertainty must be 0 or more, and finite",
                    "Give half the limit of error, or the scatter of repeated readings.",
                )
            )
        if not self.dof > 0.0:
            faults.append(
                ReadingError(
                    f"{field}.dof",
                    self.dof,
                    "degrees of freedom must be more than 0",
                    "Take at least two readings, or state the uncertainty as known.",
                )
            )
        if not 0.0 <= self.inexactness <= 1.5 * abs(self.u):
            faults.append(
                ReadingError(
                    f"{field}.inexactness",
                    self.inexactness,
                    "limits cannot be less certain than they are wide",
                    "Give wider limits, or a smaller inexactness of the limits.",
                )
            )
        return faults


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of a budget: an input, or several of them merged, and what it does to the result.

    ``contribution`` is in the unit of the result; ``share`` is the part of the result's variance.
    """

    label: str
    value: float
    u: float
    dof: float
    shared: bool
    unit: str
    sensitivity: float
    contribution: float
    share: float
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """A result with its uncertainty and what that is made of, largest part first.

    ``dominant`` names the rectangular input that makes up half the variance or more, if there is one: the coverage
    factor is then that of a rectangle and a Student t together.
    """

    value: float
    u: float
    dof: float
    coverage_factor: float
    rows: tuple[BudgetRow, ...]
    coverage: float = 0.95
    dominant: str = ""

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U: coverage factor times the standard uncertainty."""
        return self.coverage_factor * self.u

    @property
    def low(self) -> float:
        """Lower end of the interval that U gives."""
        return self.value - self.expanded

    @property
    def high(self) -> float:
        """Upper end of the interval that U gives."""
        return self.value + self.expanded

    @property
    def shared_share(self) -> float:
        """Part of the variance that is common to all runs and that more runs do not reduce."""
        return math.fsum(row.share for row in self.rows if row.shared)

    def row(self, label: str) -> BudgetRow:
        """Return the line with this label."""
        for row in self.rows:
            if row.label == label:
                return row
        raise ReadingError(
            "label",
            label,
            "the budget has only " + ", ".join(repr(row.label) for row in self.rows),
            "Ask for one of these.",
        )

    def grouped(self, groups: Mapping[str, str] | Callable[[str], str]) -> tuple[BudgetRow, ...]:
        """Merge lines that belong together, ``timing, run 1`` and ``timing, run 2`` say.

        Parameters
        ----------
        groups
            From a line's label to the label of its group: a mapping (a label that it does not
            hold stays by itself), or a function.

        Returns
        -------
        tuple of BudgetRow
            Largest share first; the shares add up to what they added up to before. A merged
            line has no value of its own (NaN), sensitivity 1, and is in the unit of the result.
        """
        members: dict[str, list[BudgetRow]] = {}
        for row in self.rows:
            name = groups(row.label) if callable(groups) else groups.get(row.label, row.label)
            members.setdefault(name, []).append(row)
        merged = (self._merged(name, rows) for name, rows in members.items())
        return _by_share(merged)

    def _merged(self, name: str, rows: list[BudgetRow]) -> BudgetRow:
        if len(rows) == 1:
            return replace(rows[0], label=name)
        share = math.fsum(row.share for row in rows)
        contribution = self.u * math.sqrt(max(share, 0.0))
        parts = [row.contribution for row in rows]
        advice = dict.fromkeys(row.advice for row in rows if row.advice)
        return BudgetRow(
            label=name,
            value=math.nan,
            u=contribution,
            dof=welch_satterthwaite(parts, [row.dof for row in rows]),
            shared=all(row.shared for row in rows),
            unit="",
            sensitivity=1.0,
            contribution=contribution,
            share=share,
            advice=" ".join(advice),
        )


def evaluate(
    model: Model,
    inputs: Sequence[Input],
    *,
    correlations: Correlations | None = None,
    coverage: float = 0.95,
    shaped: bool = False,
) -> Budget:
    """Work out a result and its uncertainty budget.

    Parameters
    ----------
    model
        Function of the input values, in the order of ``inputs``.
    inputs
        What enters the result.
    correlations
        Correlation coefficients of pairs of labels; pairs not named are independent.
    coverage
        Probability that the expanded uncertainty stands for.
    shaped
        True to take the coverage factor of a rectangle and a Student t together where one rectangular input makes up
        half the variance or more; False for Student's t always, as JCGM 100 annex G has it.

    Returns
    -------
    Budget
        Value, standard uncertainty, degrees of freedom, factor and lines.

    Raises
    ------
    ReadingError
        Two inputs have one label, a correlation names no input or is impossible.
    NoSolution
        The model gives no finite number at or near the input values.

    Notes
    -----
    u² = Σ cᵢcⱼuᵢuⱼrᵢⱼ, JCGM 100:2008 eq. (10) and (13). The sensitivities cᵢ are worked out by
    central differences (5.1.3, note 2) at two steps of a quarter and an eighth of uᵢ, which
    cancels the cubic term. Welch–Satterthwaite holds for independent inputs only (G.4.1): inputs that are
    correlated are taken as one part, with the smallest of their degrees of freedom.

    Examples
    --------
    >>> course = Input("course length", 0.6, 0.002, unit="nm")
    >>> timing = Input("stop-watch", 334.0, 0.6, unit="s")
    >>> budget = evaluate(lambda x: 3600 * x[0] / x[1], [course, timing])
    >>> format_with_uncertainty(budget.value, budget.expanded, "kn")
    '6.467 ± 0.048 kn'
    >>> budget.rows[0].label
    'course length'
    """
    _check_labels(inputs)
    links = _checked_links(inputs, correlations or {})
    values = [item.value for item in inputs]
    value = _finite(model, values, "the result")
    slopes = [_sensitivity(model, values, i, item) for i, item in enumerate(inputs)]
    signed = [slope * item.u for slope, item in zip(slopes, inputs, strict=True)]
    pulled = _pulled(signed, links)
    variance = max(math.fsum(part * pull for part, pull in zip(signed, pulled, strict=True)), 0.0)
    dof = _effective_dof(signed, pulled, [item.dof for item in inputs], links)
    rows = _by_share(
        BudgetRow(
            label=item.label,
            value=item.value,
            u=item.u,
            dof=item.dof,
            shared=item.shared,
            unit=item.unit,
            sensitivity=slope,
            contribution=abs(part),
            share=part * pull / variance if variance > 0.0 else 0.0,
            advice=item.advice,
        )
        for item, slope, part, pull in zip(inputs, slopes, signed, pulled, strict=True)
    )
    rectangles = {item.label for item in inputs if item.shape is Shape.RECTANGULAR}
    dominant = next(
        (r for r in rows[:1] if shaped and r.label in rectangles and r.share >= DOMINATES and not links), None
    )
    return Budget(
        value=value,
        u=math.sqrt(variance),
        dof=dof,
        coverage_factor=_factor(rows, dominant, dof, coverage),
        rows=rows,
        coverage=coverage,
        dominant=dominant.label if dominant else "",
    )


def _dominant(rows: Sequence[BudgetRow], inputs: Sequence[Input]) -> BudgetRow | None:
    rectangles = {item.label for item in inputs if item.shape is Shape.RECTANGULAR}
    return rows[0] if rows[0].label in rectangles and rows[0].share >= DOMINATES else None


def _factor(rows: Sequence[BudgetRow], dominant: BudgetRow | None, dof: float, coverage: float) -> float:
    if dominant is None:
        return coverage_factor(dof, coverage)
    rest = [row for row in rows if row is not dominant]
    rest_dof = welch_satterthwaite([row.contribution for row in rest], [row.dof for row in rest])
    return coverage_factor_with_rectangle(min(dominant.share, 1.0), rest_dof, coverage)


def _by_share(rows: Iterable[BudgetRow]) -> tuple[BudgetRow, ...]:
    return tuple(sorted(rows, key=lambda row: -row.share))


def _check_labels(inputs: Sequence[Input]) -> None:
    if not inputs:
        raise ReadingError("inputs", inputs, "a budget needs at least one input", "Name what enters the result.")
    seen: set[str] = set()
    for item in inputs:
        if item.label in seen:
            raise ReadingError(
                "inputs",
                item.label,
                "each label may occur once in a budget",
                "Number them, as in 'timing, run 1' and 'timing, run 2'.",
            )
        seen.add(item.label)


def _finite(model: Model, values: Sequence[float], field: str) -> float:
    try:
        result = float(model(values))
    except (ArithmeticError, ValueError) as error:
        if isinstance(error, ReadingError):
            raise
        result = math.nan
    if not math.isfinite(result):
        raise NoSolution(
            field,
            list(values),
            "these input values give no finite result",
            "Look for a time, speed or distance of 0 among them.",
        )
    return result


def _sensitivity(model: Model, values: Sequence[float], i: int, item: Input) -> float:
    """Slope of the model along one input, from differences at two steps."""
    step = max(0.25 * item.u, 1e-7 * abs(item.value))
    if step == 0.0:
        step = 1e-4
    coarse = _difference(model, values, i, step, item.label)
    fine = _difference(model, values, i, 0.5 * step, item.label)
    return (4.0 * fine - coarse) / 3.0


def _difference(model: Model, values: Sequence[float], i: int, step: float, label: str) -> float:
    above, below = list(values), list(values)
    above[i] += step
    below[i] -= step
    rise = _finite(model, above, label) - _finite(model, below, label)
    return rise / (above[i] - below[i])


Links = Mapping[tuple[int, int], float]


def _checked_links(inputs: Sequence[Input], correlations: Correlations) -> Links:
    """Correlations by index, each pair once with the lower index first."""
    place = {item.label: i for i, item in enumerate(inputs)}
    links: dict[tuple[int, int], float] = {}
    for (one, other), r in correlations.items():
        if one not in place or other not in place or one == other:
            raise ReadingError(
                "correlations",
                (one, other),
                "a correlation joins two different inputs of the budget",
                "Use the labels of the inputs, letter for letter.",
            )
        pair = (min(place[one], place[other]), max(place[one], place[other]))
        if not -1.0 <= r <= 1.0 or links.get(pair, r) != r:
            raise ReadingError(
                f"correlations.{one}, {other}",
                r,
                "a pair has one correlation, between -1 and 1",
                "Give the coefficient once.",
            )
        links[pair] = r
    _check_possible(len(inputs), links)
    return links


def _check_possible(size: int, links: Links) -> None:
    """Refuse correlations that cannot hold together, which would make a variance negative."""
    if not links:
        return
    import numpy as np  # budgets without correlations need no matrices

    matrix = np.eye(size)
    for (i, j), r in links.items():
        matrix[i, j] = matrix[j, i] = r
    if float(np.linalg.eigvalsh(matrix)[0]) < -1e-9 * size:
        raise ReadingError(
            "correlations",
            sorted(links.values()),
            "these coefficients cannot hold together",
            "Work them out from one common set of readings.",
        )


def _pulled(signed: Sequence[float], links: Links) -> list[float]:
    """For each part, itself and what its correlated partners add alongside it."""
    pulled = list(signed)
    for (i, j), r in links.items():
        pulled[i] += r * signed[j]
        pulled[j] += r * signed[i]
    return pulled


def _effective_dof(signed: Sequence[float], pulled: Sequence[float], dofs: Sequence[float], links: Links) -> float:
    """Welch–Satterthwaite over clusters of correlated inputs, each taken as one part."""
    leader = list(range(len(signed)))
    for i, j in links:
        old, new = leader[j], leader[i]
        leader = [new if k == old else k for k in leader]
    variances: dict[int, float] = {}
    fewest: dict[int, float] = {}
    for i, head in enumerate(leader):
        variances[head] = variances.get(head, 0.0) + signed[i] * pulled[i]
        if signed[i] != 0.0:
            fewest[head] = min(fewest.get(head, math.inf), dofs[i])
    parts = [math.sqrt(max(variance, 0.0)) for variance in variances.values()]
    return welch_satterthwaite(parts, [fewest.get(head, math.inf) for head in variances])
