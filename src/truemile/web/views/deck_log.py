"""The deck log: today the journal of the workbook, every entry of which can be taken back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Final

from truemile.core.errors import ReadingError
from truemile.web.formats import clock_of, day_of
from truemile.web.forms import Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.web.serve import local_address
from truemile.workbook import boats, journal
from truemile.workbook.views import EntryView

#: Entries on one page.
A_PAGE: Final = 50


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry of the journal."""

    id: Annotated[int, "Its number."]
    day: Annotated[str, "Date on ship's clock."]
    clock: Annotated[str, "Time on ship's clock."]
    author: Annotated[str, "Who made it."]
    words: Annotated[str, "What was entered."]
    standing: Annotated[bool, "Whether it counts."]
    undone_by: Annotated[int | None, "The entry that took it back."]
    undoes: Annotated[int | None, "The entry that it took back."]


@dataclass(frozen=True, slots=True)
class DeckLogPage:
    """The journal, newest first."""

    says: Annotated[str, "What this section is not yet."]
    entries: Annotated[tuple[EntryRow, ...], "The entries of this page."]
    older: Annotated[str, "Address of the older entries; empty at the end."]


def deck_log(asked: Asked) -> DeckLogPage:
    """Show the journal."""
    skipped = _skipped(asked.query.get("from", "0"))
    offset = next((boat.ship_utc_offset for boat in boats.boats(asked.workbook)), timedelta(0))
    found = journal.entries(asked.workbook, limit=skipped + A_PAGE + 1)[skipped:]
    shown = tuple(_row(entry, offset) for entry in found[:A_PAGE])
    return DeckLogPage(
        says="Watches, weather and positions are not logged here yet; what is here is every entry of this workbook,"
        " and any of them can be taken back without losing its history.",
        entries=shown,
        older=f"/deck-log?from={skipped + A_PAGE}" if len(found) > A_PAGE else "",
    )


def _skipped(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 8):
        raise ReadingError("from", text, "it is a number of entries to pass over", "Follow the links of the page.")
    return int(text)


def _row(entry: EntryView, offset: timedelta) -> EntryRow:
    return EntryRow(
        id=entry.id,
        day=day_of(entry.at, offset),
        clock=clock_of(entry.at, offset),
        author=entry.author,
        words=entry.summary,
        standing=entry.standing,
        undone_by=entry.undone_by,
        undoes=entry.undoes,
    )


def undo(asked: Asked, typed: Typed, entry_id: int) -> str:
    """Take an entry back, or bring it back if it is itself an undo."""
    made = journal.undo(asked.workbook, entry_id)
    back = local_address(typed.text("back") or "/deck-log")
    return f"{back}?done={made.id}"


_PAGE = Page("/deck-log", "Deck log", "deck_log.html", DeckLogPage, deck_log)

SECTION = Section(pages=(_PAGE,), actions=(Action("/deck-log/{entry_id:int}/undo", _PAGE, "undo", undo),))
