"""The pictures of a sheet: their addresses, what they show in words, and the numbers behind them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Annotated, Any, Final

from truemile.core.errors import NotFound
from truemile.core.log_trial import TrialResult
from truemile.plots import log_charts
from truemile.plots.spec import table
from truemile.plots.theme import ThemeName, themed
from truemile.web.pages import Asked, Download
from truemile.web.worked import result_of
from truemile.workbook import log_trials


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart and the same numbers as a table."""

    heading: Annotated[str, "Heading above it."]
    address: Annotated[str, "Address of its specification."]
    says: Annotated[str, "What it shows, in words."]
    head: Annotated[tuple[str, ...], "Names of the columns."]
    rows: Annotated[tuple[tuple[str, ...], ...], "The numbers."]


#: Charts of a trial, by the name in the address, with their headings.
CHARTS: Final = {"runs": "Runs and factor", "curve": "Factor and speed", "budget": "What the ± is made of"}


def picture(heading: str, address: str, spec: dict[str, Any]) -> Picture:
    """Return a chart for the page, which draws it from its address."""
    numbers = table(spec)
    return Picture(heading, address, str(spec["description"]), numbers.columns, numbers.rows)


def pictures_of(trial_id: int, result: TrialResult) -> tuple[Picture, ...]:
    """Return the pictures of a trial: the runs, and the curve where there are several engine speeds."""
    names = ("runs", "curve") if len(result.groups) > 1 else ("runs",)
    return tuple(picture(CHARTS[name], f"/trials/{trial_id}/plots/{name}.json", _spec(name, result)) for name in names)


def _spec(name: str, result: TrialResult) -> dict[str, Any]:
    match name:
        case "runs":
            return log_charts.runs_chart(result)
        case "curve":
            return log_charts.curve_chart(result)
        case "budget":
            return log_charts.budget_chart(result.groups[0].best.budget)
        case _:
            raise NotFound("plot", name, "a trial has " + ", ".join(CHARTS), "Use one of these names.")


def chart_file(asked: Asked, spec: dict[str, Any]) -> tuple[bytes, str]:
    """Return a specification in the inks of the page's theme."""
    theme: ThemeName = "night" if asked.query.get("theme") == "night" else "day"
    return json.dumps(themed(spec, theme)).encode(), ""


def chart(asked: Asked, trial_id: int, name: str) -> tuple[bytes, str]:
    """Return the specification of one chart of a trial."""
    return chart_file(asked, _spec(name, result_of(log_trials.trial(asked.workbook, trial_id))))


DOWNLOAD = Download("/trials/{trial_id:int}/plots/{name}.json", "application/json", chart)
