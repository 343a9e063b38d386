"""The laptop's page of the crew link: code, phones, and letting them go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

import segno

from truemile.core.errors import ReadingError
from truemile.web.crew.link import CrewLink
from truemile.web.formats import clock_of, day_of
from truemile.web.forms import Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.workbook import boats, devices


@dataclass(frozen=True, slots=True)
class Way:
    """One address under which phones reach the laptop."""

    address: Annotated[str, "To be typed on the phone."]
    picture: Annotated[str, "The same with the code as a QR drawing; empty without a code."]


@dataclass(frozen=True, slots=True)
class PhoneRow:
    """A phone of the crew."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "Whose it is."]
    joined: Annotated[str, "When it joined."]
    taps: Annotated[int, "How many taps it sent."]
    last: Annotated[str, "When it last sent one; empty if never."]


@dataclass(frozen=True, slots=True)
class CrewPage:
    """The crew link as the laptop shows it."""

    open: Annotated[bool, "Whether the crew link is open."]
    ways: Annotated[tuple[Way, ...], "Where phones reach it, best first."]
    code: Annotated[str, "The code that counts now; empty if none does."]
    until: Annotated[str, "Until when, on ship's clock."]
    phones: Annotated[tuple[PhoneRow, ...], "Phones that have joined."]


def crew_page(asked: Asked) -> CrewPage:
    """Show the crew link."""
    link = asked.crew
    boat = next(iter(boats.boats(asked.workbook)), None)
    offset = timedelta(0) if boat is None else boat.ship_utc_offset
    code = None if link is None else devices.join_code(asked.workbook, asked.at)
    return CrewPage(
        open=link is not None,
        ways=() if link is None else _ways(link, "" if code is None else code.code),
        code="" if code is None else code.code,
        until="" if code is None else clock_of(code.expires_at, offset),
        phones=tuple(_row(phone, offset) for phone in devices.devices(asked.workbook)),
    )


def _row(phone: devices.DeviceView, offset: timedelta) -> PhoneRow:
    last = phone.last_tap_at
    return PhoneRow(
        id=phone.id,
        name=phone.name,
        joined=f"{day_of(phone.joined_at, offset)}, {clock_of(phone.joined_at, offset)}",
        taps=phone.taps,
        last="" if last is None else f"{day_of(last, offset)}, {clock_of(last, offset)}",
    )


def _ways(link: CrewLink, code: str) -> tuple[Way, ...]:
    return tuple(Way(root, qr_drawing(f"{root}/join#{code}") if code else "") for root in link.roots())


def qr_drawing(address: str) -> str:
    """Return an address as a QR drawing, coloured by the style sheet alone.

    Examples
    --------
    >>> qr_drawing("http://192.168.1.5:8748/join#ACDEFG").startswith("<svg viewBox=")
    True
    """
    code = segno.make(address, error="m", micro=False)
    drawing: str = code.svg_inline(omitsize=True, border=4, svgclass=None, lineclass="dark")
    return drawing


def new_code(asked: Asked, _: Typed) -> str:
    """Make a code; an earlier one no longer counts."""
    if asked.crew is None:
        raise ReadingError(
            "crew link", None, "a code is of use only while it is open", "Start with `truemile open --crew`."
        )
    devices.new_join_code(asked.workbook, asked.at)
    return "/crew"


def let_go(asked: Asked, _: Typed, device_id: int) -> str:
    """Let a phone go, from its next request on."""
    phone = devices.revoke(asked.workbook, device_id)
    return f"/crew#phones-{phone.id}"


PAGE = Page("/crew", "", "crew.html", CrewPage, crew_page)

SECTION = Section(
    pages=(PAGE,),
    actions=(
        Action("/crew/code", PAGE, "code", new_code),
        Action("/crew/phones/{device_id:int}/let-go", PAGE, "phones", let_go),
    ),
)
