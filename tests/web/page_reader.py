"""Reads a page's HTML far enough to ask about its elements."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"input", "meta", "link", "br", "img", "rect", "hr"})


@dataclass
class Element:
    """An element with its attributes and all text below it."""

    tag: str
    attributes: dict[str, str]
    text: str = ""
    inside: tuple[Element, ...] = ()


@dataclass
class Reader(HTMLParser):
    """Collects the elements of a page."""

    elements: list[Element] = field(default_factory=list)
    _open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Let the base class set itself up."""
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        element = Element(tag, {name: value or "" for name, value in attrs}, inside=tuple(self._open))
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_endtag(self, tag: str) -> None:
        """Close the innermost element of that name."""
        for place in range(len(self._open) - 1, -1, -1):
            if self._open[place].tag == tag:
                del self._open[place:]
                return

    def handle_data(self, data: str) -> None:
        """Add text to all that is open."""
        for element in self._open:
            element.text += data


def read(page: str) -> Reader:
    """Read a page."""
    reader = Reader()
    reader.feed(page)
    return reader


def find(page: str, tag: str, **attributes: str) -> list[Element]:
    """Return the elements of a tag with these attributes; an underscore stands for a hyphen, a last one for none."""
    wanted = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    return [
        element
        for element in read(page).elements
        if element.tag == tag and all(element.attributes.get(name) == value for name, value in wanted.items())
    ]


def words(page: str) -> str:
    """Return the text of the sheet with single spaces."""
    (body,) = find(page, "main")
    return " ".join(body.text.split())
