"""Sections whose own work is not written yet: what they will hold, and what can be done today."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.web.pages import Asked, Page, Section


@dataclass(frozen=True, slots=True)
class NotYetPage:
    """A section that is not there yet."""

    title: Annotated[str, "Name of the section."]
    says: Annotated[str, "What is not there yet, and what can be done today, in one sentence."]
    link: Annotated[str, "Address of what can be done today."]
    link_says: Annotated[str, "What stands on that link."]


def passages(_: Asked) -> NotYetPage:
    """Say what the section Passages can do today."""
    return NotYetPage(
        "Passages",
        "Passages are not planned or reckoned here yet; today you can correct any logged speed or distance with the"
        " factor in force and reckon on from that by hand.",
        "/instruments",
        "Correct a reading",
    )


def plotting_sheet(_: Asked) -> NotYetPage:
    """Say what the section Plotting sheet can do today."""
    return NotYetPage(
        "Plotting sheet",
        "Positions are not plotted here yet; today you can keep marks with their positions, and have the distance and"
        " true course between two of them worked out for a measured course.",
        "/waters",
        "Marks and measured courses",
    )


SECTION = Section(
    pages=(
        Page("/passages", "Passages", "not_yet.html", NotYetPage, passages),
        Page("/plotting-sheet", "Plotting sheet", "not_yet.html", NotYetPage, plotting_sheet),
    )
)
