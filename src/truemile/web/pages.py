"""What a page is: a view, a declared context, a template; and the actions and files that hang on it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, get_type_hints

from truemile.core.errors import NavigationError
from truemile.web.crew.link import CrewLink
from truemile.web.forms import Refused, Typed
from truemile.workbook.store import Workbook

#: The sections of the workbook, in their order, with the address of each.
SECTIONS: Final = (
    ("Instruments", "/instruments"),
    ("Waters", "/waters"),
    ("Passages", "/passages"),
    ("Deck log", "/deck-log"),
    ("Plotting sheet", "/plotting-sheet"),
    ("Recordings", "/recordings"),
    ("Class", "/class"),
)


def help_of(context: type) -> dict[str, str]:
    """Return what each variable of a page's context is: the sentence beside its type."""
    hints = get_type_hints(context, include_extras=True)
    return {name: next(iter(getattr(hint, "__metadata__", ())), "") for name, hint in hints.items()}


@dataclass(frozen=True, slots=True)
class Asked:
    """What a view may know of the request.

    Parameters
    ----------
    workbook
        The data.
    at
        When it was asked; the only clock of a view.
    query
        What stands after the ? of the address.
    refused
        The form that was just refused, with everything typed in it, or None.
    shelf
        What is held only while the program runs.
    crew
        The crew link, if it is open.
    """

    workbook: Workbook
    at: datetime
    query: Mapping[str, str]
    refused: Refused | None = None
    shelf: Any = None
    crew: CrewLink | None = None

    def refused_form(self, name: str) -> Refused | None:
        """Return what was typed in the named form if it was refused."""
        return self.refused if self.refused is not None and self.refused.form == name else None


@dataclass(frozen=True, slots=True)
class Page:
    """A page and its .json twin.

    Parameters
    ----------
    path
        Address, in the notation of the router.
    section
        Which of the sections it stands in; empty for none.
    template
        Template that formats the context.
    context
        The dataclass that the view returns; the twin is made of the same.
    view
        Makes the context.
    """

    path: str
    section: str
    template: str
    context: type
    view: Callable[..., Any]

    def address(self, parameters: Mapping[str, object]) -> str:
        """Return where this page stands for given parameters of its path."""
        return re.sub(r"{(\w+)(?::\w+)?}", lambda found: str(parameters[found[1]]), self.path)


@dataclass(frozen=True, slots=True)
class Action:
    """Something that changes the workbook: a form sent by POST.

    Parameters
    ----------
    path
        Address.
    page
        The page that carries the form, shown again with all that was typed when the entry is refused.
    form
        Name of the form on that page.
    do
        Makes the entry and returns the address to go on to.
    """

    path: str
    page: Page
    form: str
    do: Callable[..., str]


@dataclass(frozen=True, slots=True)
class Download:
    """A file to take away, or a chart specification.

    Parameters
    ----------
    path
        Address.
    media_type
        What it is.
    make
        Returns the content and the name under which it is saved (empty to show it in place).
    """

    path: str
    media_type: str
    make: Callable[..., tuple[bytes, str]]


@dataclass(frozen=True, slots=True)
class Section:
    """All that one part of the site serves."""

    pages: tuple[Page, ...] = ()
    actions: tuple[Action, ...] = ()
    downloads: tuple[Download, ...] = ()


__all__ = ["SECTIONS", "Action", "Asked", "Download", "NavigationError", "Page", "Section", "Typed", "help_of"]
