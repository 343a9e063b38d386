"""The instruments of the boat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.web.asks.boat import LOG_BOXES, log_form
from truemile.web.forms import Form, Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.web.views.in_force import Standing, standing_of
from truemile.workbook import boats, courses, instruments, log_trials
from truemile.workbook.entries import LogEntry, read_entry
from truemile.workbook.views import InstrumentView


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One instrument of the list."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "How it is called."]
    kind: Annotated[str, "What it measures."]
    standing: Annotated[Standing | None, "The correction in force; None if there is none."]
    setting: Annotated[str, "What is set in it; empty if never noted."]
    trials: Annotated[int | None, "How many trials were made; None where a correction is in force."]


@dataclass(frozen=True, slots=True)
class InstrumentsPage:
    """The instruments of the boat."""

    boat: Annotated[str, "Name of the boat; empty in an empty workbook."]
    about: Annotated[str, "What she is."]
    instruments: Annotated[tuple[InstrumentRow, ...], "Each with its correction in force."]
    next: Annotated[str, "Address of what a skipper most likely does next; empty before there is a log."]
    next_says: Annotated[str, "What that is."]
    form: Annotated[Form | None, "Asks for another log; None before there is a boat."]


def instruments_list(asked: Asked) -> InstrumentsPage:
    """Show the instruments."""
    known = boats.boats(asked.workbook)
    if not known:
        return InstrumentsPage("", "", (), "", "", None)
    rows = tuple(_row(asked, log) for log in instruments.instruments(asked.workbook))
    form = log_form().after(asked.refused_form("log"))
    return InstrumentsPage(known[0].name, known[0].description, rows, *_next_step(asked, rows), form)


def _next_step(asked: Asked, rows: tuple[InstrumentRow, ...]) -> tuple[str, str]:
    """Return what is most likely wanted: use what is in force, or measure, or first of all a course to measure on."""
    if not rows:
        return "", ""
    measured = next((row for row in rows if row.standing is not None), None)
    if measured is not None:
        return f"/instruments/{measured.id}/use", "Correct a reading"
    if courses.courses(asked.workbook):
        return f"/instruments/{rows[0].id}/trials/new", f"Measure the {rows[0].name.lower()}"
    return "/waters", "Find a measured course"


def _row(asked: Asked, log: InstrumentView) -> InstrumentRow:
    standing = standing_of(asked, log)
    return InstrumentRow(
        id=log.id,
        name=log.name,
        kind=log.kind.value,
        standing=standing,
        setting="" if log.setting is None else str(log.setting.setting),
        # Counted only where it is asked for: a season of trials takes a while to read.
        trials=len(log_trials.trials(asked.workbook, log.id)) if standing is None else None,
    )


def add_log(asked: Asked, typed: Typed) -> str:
    """Add a log."""
    log = instruments.add_log(asked.workbook, read_entry(LogEntry, typed.only(("name", *LOG_BOXES))))
    return f"/instruments/{log.id}?done={log.entry_id}"


_PAGE = Page("/instruments", "Instruments", "instruments.html", InstrumentsPage, instruments_list)

SECTION = Section(pages=(_PAGE,), actions=(Action("/instruments", _PAGE, "log", add_log),))
