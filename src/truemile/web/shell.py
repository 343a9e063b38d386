"""What stands around every page: slate, sections, theme, and the notice of the entry just made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from truemile.core.errors import NotFound
from truemile.web.formats import age, clock_of, pair
from truemile.web.pages import SECTIONS, Asked
from truemile.workbook import boats, journal
from truemile.workbook.slate import SlateItem, slate
from truemile.workbook.store import Workbook

THEMES = ("day", "night")


@dataclass(frozen=True, slots=True)
class InForce:
    """One correction on the slate."""

    instrument: Annotated[str, "Which instrument."]
    text: Annotated[str, "The correction in force, as a skipper says it."]
    plus_minus: Annotated[str, "Its 95 % uncertainty; empty if there is none."]
    age: Annotated[str, "How long ago it was measured; empty if never."]
    stale: Annotated[bool, "Whether it is old enough to be measured again."]


@dataclass(frozen=True, slots=True)
class Slate:
    """The strip always in view."""

    boat: Annotated[str, "Name of the boat; empty before one is noted."]
    utc: Annotated[datetime, "When the page was made."]
    utc_clock: Annotated[str, "The same as hours and minutes of UTC."]
    ship_clock: Annotated[str, "The same on the ship's clock."]
    ship_offset_min: Annotated[int, "Ship's time minus UTC, in minutes."]
    items: Annotated[tuple[InForce, ...], "Every correction in force."]


@dataclass(frozen=True, slots=True)
class SectionLink:
    """A link of the section bar."""

    name: str
    address: str
    here: bool


@dataclass(frozen=True, slots=True)
class Notice:
    """The entry just made, with the way to take it back."""

    words: str
    entry_id: int
    was_undo: bool


@dataclass(frozen=True, slots=True)
class Shell:
    """What every template gets besides its own context."""

    slate: Annotated[Slate, "The strip always in view."]
    sections: Annotated[tuple[SectionLink, ...], "The sections, and which one this page stands in."]
    theme: Annotated[str, "``day`` or ``night``."]
    address: Annotated[str, "Address of this page, to come back to."]
    twin: Annotated[str, "Address of its .json twin; empty if it has none."]
    demo: Annotated[bool, "Whether the waters are invented."]
    notice: Annotated[Notice | None, "The entry just made."]


def make_shell(asked: Asked, *, section: str, address: str, twin: str, cookies: Mapping[str, str]) -> Shell:
    """Return what stands around a page."""
    theme = cookies.get("theme", THEMES[0])
    boat = next(iter(boats.boats(asked.workbook)), None)
    return Shell(
        slate=make_slate(asked),
        sections=tuple(SectionLink(name, link, name == section) for name, link in SECTIONS),
        theme=theme if theme in THEMES else THEMES[0],
        address=address,
        twin=twin,
        demo=boat is not None and boat.demo,
        notice=_notice(asked.workbook, asked.query.get("done", "")),
    )


def make_slate(asked: Asked) -> Slate:
    """Return the strip always in view; without a boat only the time stands on it."""
    if not boats.boats(asked.workbook):
        return Slate("", asked.at, clock_of(asked.at), "", 0, ())
    now = slate(asked.workbook, asked.at, boat_id=boats.boats(asked.workbook)[0].id)
    offset = now.boat.ship_utc_offset
    return Slate(
        boat=now.boat.name,
        utc=asked.at,
        utc_clock=clock_of(asked.at),
        ship_clock=clock_of(asked.at, offset),
        ship_offset_min=now.boat.ship_utc_offset_min,
        items=tuple(_in_force(item) for item in now.items),
    )


def _in_force(item: SlateItem) -> InForce:
    text, margin = item.text, ""
    if item.plus_minus is not None:
        margin = pair(1.0, item.plus_minus)[1]
    return InForce(
        instrument=item.instrument.name.lower(),
        text=text,
        plus_minus=margin,
        age="" if item.age_days is None else age(item.age_days),
        stale=item.stale,
    )


def _notice(workbook: Workbook, done: str) -> Notice | None:
    if not done.isdigit() or len(done) > 12:
        return None
    try:
        entry = journal.entry(workbook, int(done))
    except NotFound:
        return None
    return Notice(entry.summary, entry.id, entry.undoes is not None) if entry.standing else None
