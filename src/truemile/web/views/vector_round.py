"""The sheet of a vector round: answer first, then legs, picture, working, and what to do with it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Annotated, Any

from truemile.core.errors import NavigationError
from truemile.core.factor_remarks import Remark
from truemile.core.vector_budget import group_of
from truemile.core.vector_round import VectorRound
from truemile.plots.round_chart import round_chart
from truemile.web.asks.rounds import LEG_BOXES, leg_form
from truemile.web.formats import day_of, with_unit
from truemile.web.forms import Form, Typed
from truemile.web.margins import Bar, bars_of
from truemile.web.pages import Action, Asked, Download, Page, Section
from truemile.web.views import trial_force
from truemile.web.views.round_parts import (
    LegRow,
    RoundAnswer,
    answer_of,
    conditioning_words,
    leg_row,
    leg_rows,
    missing_legs,
)
from truemile.web.views.trial_charts import Picture, chart_file, picture
from truemile.web.views.trial_parts import Missing
from truemile.workbook import journal, log_corrections, vector_rounds
from truemile.workbook.entries import read_entry
from truemile.workbook.vector_rounds import LegEntry, RoundView
from truemile.working.vector_round import explain_round


@dataclass(frozen=True, slots=True)
class RecordingSays:
    """A recording that legs came from."""

    name: Annotated[str, "Name of the file."]
    about: Annotated[str, "How it was written, how long it is, and its fingerprint."]
    counts: Annotated[tuple[str, ...], "What became of its lines."]
    words: Annotated[tuple[str, ...], "What was found in it."]


@dataclass(frozen=True, slots=True)
class RoundPage:
    """A vector round of the log."""

    id: Annotated[int, "Its number."]
    title: Annotated[str, "What and when."]
    instrument_id: Annotated[int, "Number of the log."]
    instrument: Annotated[str, "Which log."]
    made: Annotated[str, "How it was made."]
    written: Annotated[tuple[str, ...], "Crew, weather and remarks."]
    withdrawn: Annotated[bool, "Whether the round was taken out of use."]
    legs: Annotated[tuple[LegRow, ...], "The legs in use."]
    withdrawn_legs: Annotated[tuple[LegRow, ...], "The legs taken out of use."]
    recordings: Annotated[tuple[RecordingSays, ...], "Recordings that legs came from."]
    missing: Annotated[tuple[Missing, ...], "What keeps the legs from giving a factor."]
    next_heading: Annotated[str, "Which heading to steer next; empty before there is a result."]
    leg_form: Annotated[Form, "Asks for the next leg."]
    answer: Annotated[RoundAnswer | None, "What the round gives; None as long as the legs give nothing."]
    refusals: Annotated[tuple[Remark, ...], "What keeps it from being put in force."]
    in_force: Annotated[str, "Since when its factor is in force; empty if it is not."]
    force: Annotated[Form | None, "Asks how to put the factor in force."]
    force_says: Annotated[str, "What each way means here, with the new setting."]
    picture: Annotated[Picture | None, "The legs over the ground."]
    working: Annotated[Mapping[str, Any] | None, "The hand lines."]
    bars: Annotated[tuple[Bar, ...], "What the uncertainty is made of."]
    conditioning: Annotated[str, "What the headings are worth."]
    cautions: Annotated[tuple[Remark, ...], "What to know before trusting it."]
    notes: Annotated[tuple[Remark, ...], "Other remarks on the evidence."]
    valid: Annotated[str, "Indicated speeds that it is valid for."]
    report: Annotated[str, "Address of the report."]


def vector_round(asked: Asked, trial_id: int) -> RoundPage:
    """Show a vector round."""
    view = vector_rounds.vector_round(asked.workbook, trial_id)
    try:
        result = vector_rounds.solved(view)
    except NavigationError as error:
        return RoundPage(**_always(asked, view, None), **_nothing(), missing=missing_legs(view, error))
    return RoundPage(**_always(asked, view, result), **_found(asked, view, result), missing=())


def _always(asked: Asked, view: RoundView, result: VectorRound | None) -> dict[str, Any]:
    return {
        "id": view.id,
        "title": f"Vector round, {day_of(view.began_at, timedelta(minutes=view.utc_offset_min))}",
        "instrument_id": view.instrument.id,
        "instrument": view.instrument.name,
        "made": _made(view),
        "written": tuple(text for text in (view.crew, view.weather, view.remarks) if text),
        "withdrawn": view.withdrawn,
        "legs": leg_rows(view, result),
        "withdrawn_legs": tuple(leg_row(leg) for leg in view.withdrawn_legs),
        "recordings": _recordings(view),
        "leg_form": _next_leg(view, result).after(asked.refused_form("leg")),
        "report": f"/rounds/{view.id}/report.pdf",
    }


def _made(view: RoundView) -> str:
    wind = view.conditions.wind_kn
    said = ["wind not noted" if wind is None else f"wind {wind:.0f} kn"]
    tide = view.conditions.tide_amplitude_kn
    said.append(f"tide up to {tide:g} kn" if tide else "no tide")
    said.append(f"log set to {view.setting}" if view.setting is not None else "setting of the log not noted")
    return ", ".join(said)


def _recordings(view: RoundView) -> tuple[RecordingSays, ...]:
    return tuple(
        RecordingSays(
            each.name,
            f"{each.kind}, {each.duration_s:.0f} s, {each.size_bytes} bytes, SHA-256 {each.sha256[:16]}…",
            tuple(each.counts.get("words", ())),
            each.words,
        )
        for each in view.recordings
    )


def _next_leg(view: RoundView, result: VectorRound | None) -> Form:
    """Ask for the next leg: on the heading advised, and the rest as on the leg before."""
    values = {"id": str(uuid.uuid4())}
    if result is not None:
        variation = view.legs[-1].leg.variation_deg
        values["heading"] = f"{(result.next_heading.heading_true_deg - variation) % 360.0:03.0f}"
    if view.legs:
        last = view.legs[-1].leg
        values["variation"] = f"{last.variation_deg:g}" if last.variation_deg else ""
        values["tack"] = last.tack.value or "power"
    return leg_form(view.id, values)


def _nothing() -> dict[str, Any]:
    empty: dict[str, Any] = dict.fromkeys(("answer", "force", "picture", "working"))
    texts = dict.fromkeys(("in_force", "force_says", "valid", "next_heading", "conditioning"), "")
    rows: dict[str, Any] = dict.fromkeys(("refusals", "bars", "cautions", "notes"), ())
    return {**empty, **texts, **rows}


def _found(asked: Asked, view: RoundView, result: VectorRound) -> dict[str, Any]:
    force, says = _force(asked, view, result)
    return {
        "answer": answer_of(result),
        "refusals": result.refusals,
        "in_force": _in_force(asked, view),
        "force": force,
        "force_says": says,
        "picture": picture("Over the ground", f"/rounds/{view.id}/plots/round.json", round_chart(result)),
        "working": explain_round(result).as_dict(),
        "bars": bars_of(result.budget, group_of),
        "conditioning": conditioning_words(result),
        "next_heading": result.next_heading.words,
        "cautions": tuple(remark for remark in result.remarks if remark.level == "caution"),
        "notes": tuple(remark for remark in result.remarks if remark.level != "caution"),
        "valid": f"{with_unit(result.lowest_kn, 1)}–{with_unit(result.highest_kn, 1, 'kn')}",
    }


def _force(asked: Asked, view: RoundView, result: VectorRound) -> tuple[Form | None, str]:
    if not result.may_be_put_in_force:
        return None, ""
    form, says = trial_force.force_form_of(asked, view, result)
    return (None if form is None else replace(form, action=f"/rounds/{view.id}/in-force")), says


def _in_force(asked: Asked, view: RoundView) -> str:
    current = log_corrections.in_force(asked.workbook, view.instrument.id, asked.at)
    if current is None or current.trial_id != view.id:
        return ""
    return day_of(current.put_at, timedelta(minutes=view.utc_offset_min))


def add_leg(asked: Asked, typed: Typed, trial_id: int) -> str:
    """Keep a leg; the same leg sent twice is kept once."""
    leg = vector_rounds.record_leg(asked.workbook, trial_id, read_entry(LegEntry, typed.only(LEG_BOXES)))
    return f"/rounds/{trial_id}?done={leg.entry_id}"


def withdraw_leg(asked: Asked, _: Typed, trial_id: int, leg_id: str) -> str:
    """Take a leg out of use; with it go those that came from the same recording."""
    vector_rounds.withdraw_leg(asked.workbook, leg_id)
    return f"/rounds/{trial_id}?done={journal.entries(asked.workbook, limit=1)[0].id}"


def put_in_force(asked: Asked, typed: Typed, trial_id: int) -> str:
    """Put a round's factor in force."""
    view = vector_rounds.vector_round(asked.workbook, trial_id)
    return f"/rounds/{trial_id}?done={trial_force.put(asked, typed, view).entry_id}"


def chart(asked: Asked, trial_id: int) -> tuple[bytes, str]:
    """Return the picture of a round."""
    return chart_file(asked, round_chart(vector_rounds.round_result(asked.workbook, trial_id)))


def report(asked: Asked, trial_id: int) -> tuple[bytes, str]:
    """Return the report of a round."""
    from truemile.reports import trial_report

    return trial_report(asked.workbook, trial_id), f"vector-round-{trial_id}.pdf"


PAGE = Page("/rounds/{trial_id:int}", "Instruments", "vector_round.html", RoundPage, vector_round)

SECTION = Section(
    pages=(PAGE,),
    actions=(
        Action("/rounds/{trial_id:int}/legs", PAGE, "leg", add_leg),
        Action("/rounds/{trial_id:int}/legs/{leg_id}/withdraw", PAGE, "withdraw", withdraw_leg),
        Action("/rounds/{trial_id:int}/in-force", PAGE, "force", put_in_force),
    ),
    downloads=(
        Download("/rounds/{trial_id:int}/report.pdf", "application/pdf", report),
        Download("/rounds/{trial_id:int}/plots/round.json", "application/json", chart),
    ),
)
