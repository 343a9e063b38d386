"""The report of a log trial: one page to sign and file."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import truemile
from truemile.core.improvements import improvements
from truemile.core.log_runs import Indication
from truemile.core.log_settings import LogSetting
from truemile.core.log_trial import SpeedGroup, TrialResult
from truemile.core.uncertainty import rounded
from truemile.plots.log_charts import budget_parts, curve_chart, runs_chart
from truemile.plots.render import svg
from truemile.reports.typeset import typeset
from truemile.reports.words import DEMO, about, cautions, day_text, hand_text, reads_text, stream_text
from truemile.working.formula import parse_formula
from truemile.working.log_factor import explain
from truemile.working.log_trial import explain_trial
from truemile.working.notation import parts, spoken

_MOST_ADVICE: Final = 3
_MOST_REMARKS: Final = 3
#: Up to so many lines of working, two for each run, are set with tall fractions.
_ROOMY: Final = 26
_RUN: Final = "Run "
#: Columns of the runs: symbol, words, and the formula that stands once above them.
_COLUMNS: Final = (
    ("t", "elapsed, min", "t"),
    ("V", "over the ground", "60 * D / t"),
    ("d", "counter, nm", "d"),
    ("L", "shown by the log", "L"),
    ("k", "factor", "V / L"),
)


@dataclass(frozen=True, slots=True)
class TrialSheet:
    """What the report of a trial is made from.

    Attributes
    ----------
    boat, instrument
        Names.
    trial
        How the trial is called in the workbook.
    day, made_at
        When the trial was made, in words, and when this sheet is.
    result
        From `truemile.core.log_trial.analyse_trial`.
    setting
        What was set in the log during the trial.
    crew, weather, remarks
        As noted.
    in_force
        What became of the result, a sentence.
    demo
        True for the invented waters.
    signatures
        Who signs.
    """

    boat: str
    instrument: str
    trial: str
    day: str
    made_at: datetime
    result: TrialResult
    setting: LogSetting | None = None
    crew: str = ""
    weather: str = ""
    remarks: str = ""
    in_force: str = "Not put in force."
    demo: bool = False
    signatures: tuple[str, ...] = field(default=("skipper", "timed and noted by"))


def set_trial(sheet: TrialSheet) -> bytes:
    """Return the report of a trial as PDF; the same sheet gives the same bytes."""
    result = sheet.result
    one = len(result.groups) == 1
    chart = runs_chart(result) if one else curve_chart(result)
    drawn = svg(chart, "print", width=190, height=150)
    return typeset("trial", trial_data(sheet), made_at=sheet.made_at, drawings={"chart": drawn})


def trial_data(sheet: TrialSheet) -> dict[str, Any]:
    """Return all that the report shows, as plain data."""
    result = sheet.result
    shown, around = rounded(result.factor, result.expanded)
    typeset_working = explain_trial(result).typeset()
    on_page = _without_runs(typeset_working)
    one = len(result.groups) == 1
    budget = budget_parts(result.groups[len(result.groups) // 2].best.budget)
    chart = runs_chart(result) if one else curve_chart(result)
    made = sheet.made_at
    return {
        "title": "Log trial",
        "author": sheet.boat,
        "date": [made.year, made.month, made.day],
        "boat": sheet.boat,
        "instrument": sheet.instrument,
        "day": sheet.day,
        "about": _about(sheet),
        "demo": sheet.demo,
        "demo_words": DEMO,
        "answer": {
            "number": shown,
            "plus_minus": around,
            "at_speed": f"true over indicated, at {result.quoted_at_kn:.1f} kn on the log",
            "words": f"{reads_text(result.factor)} {hand_text(result)}",
        },
        "roomy": sum(len(section["lines"]) for section in on_page["sections"]) + 2 * _run_count(result) <= _ROOMY,
        "groups": [_group(group) for group in result.groups],
        "working": on_page,
        "parts": [_without_runs(part) for part in typeset_working["parts"]],
        "budget": [{"label": label, "share": share, "text": f"{100 * share:.0f} %"} for label, share in budget],
        "widest": max(share for _, share in budget),
        "advice": _advice(result),
        "stream": stream_text(result.groups[0].best) if one else [],
        "chart_words": chart["description"],
        "remarks": _remarks(result),
        "cautions": cautions(result.correction),
        "in_force": sheet.in_force,
        "signatures": list(sheet.signatures),
        "provenance": f"{sheet.trial} · worked by Truemile {truemile.__version__} on {day_text(made.date())}",
    }


def _run_count(result: TrialResult) -> int:
    return sum(len(group.best.runs) for group in result.groups)


def _about(sheet: TrialSheet) -> str:
    noted = [about(sheet.result)]
    setting = "setting not noted" if sheet.setting is None else f"set in the log: {sheet.setting}"
    indication = sheet.result.groups[0].best.indication.value
    noted.append(" · ".join(part for part in (f"by the {indication}", setting, sheet.crew, sheet.weather) if part))
    return "\n".join([*noted, *([sheet.remarks] if sheet.remarks else [])])


def _group(group: SpeedGroup) -> dict[str, Any]:
    """Return the runs of one engine speed as a table of working lines."""
    working = explain(group.best)
    columns = [column for column in _COLUMNS if any(line.symbol == f"{column[0]}_1" for line in working.lines)]
    heads = []
    for symbol, words, formula in columns:
        node = parse_formula(formula)
        wide = symbol == "L" and group.best.indication is Indication.SPEED
        heads.append({"words": words, "parts": parts(node), "alt": spoken(node), "share": 2 if wide else 1})
    rows = []
    for run in group.best.runs:
        lines = [working.line(f"{symbol}_{run.number}").typeset() for symbol, _, _ in columns]
        rows.append({"label": f"{run.number} {run.run.direction.value}", "lines": lines})
    return {"label": group.label, "heads": heads, "rows": rows}


def _without_runs(working: dict[str, Any]) -> dict[str, Any]:
    """Take out the runs, which have a table of their own."""
    kept = [section for section in working["sections"] if not section["heading"].startswith(_RUN)]
    return {**working, "sections": kept}


def _advice(result: TrialResult) -> list[str]:
    def percent(expanded: float) -> str:
        return rounded(result.factor, expanded)[1]

    found = improvements(result)[:_MOST_ADVICE]
    return [f"{item.words} Then ±\N{NO-BREAK SPACE}{percent(item.expanded_after)}." for item in found]


def _remarks(result: TrialResult) -> list[dict[str, str]]:
    return [
        {"title": f"About the {remark.about}", "level": remark.level, "words": f"{remark.words} {remark.remedy}"}
        for remark in result.remarks[:_MOST_REMARKS]
    ]
