"""The report of a vector round: one page to sign and file, set like that of a trial."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import truemile
from truemile.core.log_settings import LogSetting
from truemile.core.uncertainty import Budget, rounded
from truemile.core.vector_budget import group_of
from truemile.core.vector_round import VectorRound
from truemile.plots.log_charts import budget_parts
from truemile.plots.render import svg
from truemile.plots.round_chart import round_chart
from truemile.reports.typeset import typeset
from truemile.reports.words import DEMO, cautions, day_text, reads_text
from truemile.working.formula import parse_formula
from truemile.working.lines import Working
from truemile.working.notation import parts, spoken
from truemile.working.vector_round import explain_round

_MOST_REMARKS: Final = 3
_ROOMY: Final = 26
#: Beyond so many legs the working is on pages of its own, and the table shows only the first of them.
_MOST_LEGS: Final = 12
_LEG: Final = "Leg "
_SUBSCRIPTS: Final = "₀₁₂₃₄₅₆₇₈₉"
_COLUMNS: Final = (
    ("h", "heading true"),
    ("L", "shown by the log"),
    ("V", "over the ground"),
    ("C", "course over the ground"),
)


@dataclass(frozen=True, slots=True)
class RoundSheet:
    """What the report of a vector round is made from.

    Attributes
    ----------
    boat, instrument
        Names.
    trial
        How the round is called in the workbook.
    day, made_at
        When the round was made, in words, and when this sheet is.
    result
        From `truemile.core.vector_round.solve_round`.
    setting
        What was set in the log during the round.
    noted
        Crew, weather, remarks, recordings: as noted.
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
    result: VectorRound
    setting: LogSetting | None = None
    noted: tuple[str, ...] = ()
    in_force: str = "Not put in force."
    demo: bool = False
    signatures: tuple[str, ...] = field(default=("skipper", "noted by"))


def set_round(sheet: RoundSheet) -> bytes:
    """Return the report of a vector round as PDF; the same sheet gives the same bytes."""
    drawn = svg(round_chart(sheet.result), "print", width=210, height=190)
    return typeset("trial", round_data(sheet), made_at=sheet.made_at, drawings={"chart": drawn})


def round_data(sheet: RoundSheet) -> dict[str, Any]:
    """Return all that the report shows, as plain data."""
    result, made = sheet.result, sheet.made_at
    shown, around = rounded(result.factor, result.expanded)
    working = explain_round(result)
    on_page = _without_legs(working.typeset())
    budget = budget_parts(result.budget, group_of)
    return {
        "title": "Vector round",
        "author": sheet.boat,
        "date": [made.year, made.month, made.day],
        "boat": sheet.boat,
        "instrument": sheet.instrument,
        "day": sheet.day,
        "about": _about(sheet),
        "demo": sheet.demo,
        "demo_words": DEMO,
        "answer": {"number": shown, "plus_minus": around, "at_speed": _at_speed(result), "words": _words(result)},
        "roomy": sum(len(section["lines"]) for section in on_page["sections"]) + 2 * len(result.legs) <= _ROOMY,
        "runs_title": "Legs"
        if len(result.legs) <= _MOST_LEGS
        else f"The first {_MOST_LEGS} of {len(result.legs)} legs",
        "run_word": "leg",
        "chart_title": "Over the ground",
        "groups": [_legs(result, working)],
        "working": on_page if len(result.legs) <= _MOST_LEGS else {"sections": [], "notes": on_page["notes"]},
        "parts": [],
        "budget": [{"label": label, "share": share, "text": f"{100 * share:.0f} %"} for label, share in budget],
        "widest": max(share for _, share in budget),
        "advice": [result.next_heading.words],
        "stream": _stream(result),
        "chart_words": round_chart(result)["description"],
        "remarks": _remarks(result),
        "cautions": [*cautions(result.correction), "In light wind and under power; a look-out who does nothing else."],
        "in_force": sheet.in_force,
        "signatures": list(sheet.signatures),
        "provenance": f"{sheet.trial} · worked by Truemile {truemile.__version__} on {day_text(made.date())}",
    }


def _at_speed(result: VectorRound) -> str:
    low, high = f"{result.lowest_kn:.1f}", f"{result.highest_kn:.1f}"
    return f"true over indicated, at {low if low == high else f'{low} to {high}'} kn on the log"


def _words(result: VectorRound) -> str:
    if not result.may_be_put_in_force:
        return "Refused: " + " ".join(result.reasons)
    said = [reads_text(result.factor)]
    if result.offset_budget is not None:
        said.append(f"Heading offset {_with_margin(result.offset_budget, '°')}, to add to the heading.")
    if result.leeway_budget is not None:
        said.append(f"Leeway {_with_margin(result.leeway_budget, '°')}.")
    state = result.conditioning
    said.append(f"{state.legs} headings, worth {state.strength:.1f} where 1 and more is good.")
    return " ".join(said)


def _stream(result: VectorRound) -> list[str]:
    drift = _with_margin(result.drift_budget, " kn")
    if result.set_expanded_deg is None:
        return [f"{drift}, too weak to have a set."]
    return [f"{drift}, sets {result.stream_set_deg:03.0f}° ± {result.set_expanded_deg:.0f}°."]


def _with_margin(budget: Budget, unit: str) -> str:
    number, around = rounded(budget.value, budget.expanded)
    return f"{number} ± {around}{unit}".replace("-", "\N{MINUS SIGN}")


def _about(sheet: RoundSheet) -> str:
    setting = "setting not noted" if sheet.setting is None else f"set in the log: {sheet.setting}"
    wind = sheet.result.conditions.wind_kn
    said = [sheet.result.method.value, setting, "wind not noted" if wind is None else f"wind {wind:.0f} kn"]
    return "\n".join([" · ".join(said), *sheet.noted])


def _legs(result: VectorRound, working: Working) -> dict[str, Any]:
    """Return the legs as a table of working lines."""
    symbols = {line.symbol for line in working.lines}
    columns = [column for column in _COLUMNS if f"{column[0]}_1" in symbols]
    heads = []
    for symbol, words in columns:
        node = parse_formula(symbol)
        heads.append({"words": words, "parts": parts(node), "alt": spoken(node), "share": 1})
    rows = []
    for leg in result.legs[:_MOST_LEGS]:
        lines = [working.line(f"{symbol}_{leg.number}").typeset() for symbol, _ in columns]
        rows.append({"label": str(leg.number), "lines": lines})
    return {"label": "", "heads": heads, "rows": rows}


def _without_legs(working: dict[str, Any]) -> dict[str, Any]:
    """Keep of each leg only what is not in the table: its components."""
    shown = {symbol for symbol, _ in _COLUMNS}
    sections = []
    for section in working["sections"]:
        if section["heading"].partition(",")[0].rstrip("0123456789") == _LEG:
            kept = [line for line in section["lines"] if line["symbol"].rstrip(_SUBSCRIPTS) not in shown]
            sections.append({**section, "lines": kept})
        else:
            sections.append(section)
    return {**working, "sections": [section for section in sections if section["lines"]]}


def _remarks(result: VectorRound) -> list[dict[str, str]]:
    return [
        {"title": f"About the {remark.about}", "level": remark.level, "words": f"{remark.words} {remark.remedy}"}
        for remark in result.remarks[:_MOST_REMARKS]
    ]
