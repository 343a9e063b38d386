"""The first page of an empty workbook."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.core.errors import NavigationError
from truemile.web.asks.boat import BOAT_BOXES, LOG_BOXES, welcome_form
from truemile.web.forms import Form, Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.workbook import boats, instruments, journal
from truemile.workbook.entries import BoatEntry, LogEntry, read_entry


@dataclass(frozen=True, slots=True)
class WelcomePage:
    """What a new skipper is asked first."""

    boat: Annotated[str, "The boat that is there already; empty in a new workbook."]
    form: Annotated[Form, "Asks for the boat and her log."]


def welcome(asked: Asked) -> WelcomePage:
    """Greet an empty workbook."""
    known = boats.boats(asked.workbook)
    return WelcomePage(
        boat=known[0].name if known else "",
        form=welcome_form().after(asked.refused_form("welcome")),
    )


def begin(asked: Asked, typed: Typed) -> str:
    """Add the boat and her log; neither if one of them cannot be."""
    workbook = asked.workbook
    boat_entry = read_entry(BoatEntry, {"name": typed.text("boat"), **typed.only(BOAT_BOXES)})
    log_entry = read_entry(LogEntry, {"name": typed.text("log"), **typed.only(LOG_BOXES)})
    try:
        boat = boats.add_boat(workbook, boat_entry)
    except NavigationError as error:
        raise error.renamed(lambda field: "boat" if field == "name" else field) from error
    try:
        log = instruments.add_log(workbook, log_entry.model_copy(update={"boat": str(boat.id)}))
    except NavigationError as error:
        journal.undo(workbook, boat.entry_id, reason="the log beside it was refused")
        raise error.renamed(lambda field: "log" if field == "name" else field) from error
    return f"/instruments/{log.id}"


_PAGE = Page("/welcome", "", "welcome.html", WelcomePage, welcome)

SECTION = Section(pages=(_PAGE,), actions=(Action("/welcome", _PAGE, "welcome", begin),))
