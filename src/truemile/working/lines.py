"""Working as data: the lines a navigator writes, each worked out from the printed numbers of the lines above it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Any

from truemile.working.formula import Node, Symbol
from truemile.working.notation import number_text, parts, spoken, symbol_text


class Kind(StrEnum):
    """What a line is for: a given, a step, a step that tables show too, or the answer."""

    GIVEN = "given"
    WORKED = "worked"
    SHOWN = "shown"
    ANSWER = "answer"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of working.

    Parameters
    ----------
    symbol
        Name of the quantity in the formulas, ``V_1``.
    words
        What it is.
    formula, substitution
        In plain text, with symbols and with the printed numbers; both empty for a given value.
    value
        The printed number.
    unit
        After the value; empty for a ratio.
    decimals
        Digits printed after the point.
    kind
        Given, worked or an answer.
    source
        Where a given value comes from.
    plus_minus
        Printed 95 % uncertainty, or empty.
    formula_node, substitution_node
        The same two as structure, for a typesetter.
    """

    symbol: str
    words: str
    formula: str
    substitution: str
    value: float
    unit: str
    decimals: int
    kind: Kind = Kind.WORKED
    source: str = ""
    plus_minus: str = ""
    formula_node: Node | None = None
    substitution_node: Node | None = None

    @property
    def symbol_text(self) -> str:
        """The symbol with its subscript."""
        return symbol_text(self.symbol)

    @property
    def number_text(self) -> str:
        """The printed number, with a true minus sign."""
        return number_text(printed(self.value, self.decimals))

    @property
    def value_text(self) -> str:
        """The printed number with its ± and its unit."""
        around = f" ± {self.plus_minus}" if self.plus_minus else ""
        return with_unit(self.number_text + around, self.unit)

    @property
    def alt(self) -> str:
        """The whole line in words, for a screen reader."""
        said = [" ".join(self.symbol.split("_"))]
        if self.formula_node is not None and self.formula:
            said.append(f"equals {spoken(self.formula_node)},")
        if self.substitution_node is not None:
            said.append(f"{'that is' if self.formula else 'equals'} {spoken(self.substitution_node)},")
        number = printed(self.value, self.decimals).replace("-", "minus ")
        said.append(f"{'gives' if self.substitution_node is not None else 'equals'} {number}")
        if self.plus_minus:
            said.append(f"plus or minus {self.plus_minus}")
        return " ".join([*said, _SPOKEN_UNITS.get(self.unit, self.unit)]).strip()

    def as_dict(self) -> dict[str, Any]:
        """The line for JSON and for a page's template."""
        return {
            "symbol": self.symbol_text,
            "words": self.words,
            "formula": self.formula,
            "substitution": self.substitution,
            "value": self.value,
            "number": self.number_text,
            "unit": self.unit,
            "decimals": self.decimals,
            "plus_minus": self.plus_minus,
            "value_text": self.value_text,
            "kind": self.kind.value,
            "source": self.source,
            "alt": self.alt,
        }

    def typeset(self) -> dict[str, Any]:
        """The line for a typesetter: as `as_dict`, with formula and substitution as nested parts."""
        return {
            **self.as_dict(),
            "symbol_parts": parts(Symbol(self.symbol)),
            "formula_parts": None if self.formula_node is None or not self.formula else parts(self.formula_node),
            "substitution_parts": None if self.substitution_node is None else parts(self.substitution_node),
        }


@dataclass(frozen=True, slots=True)
class Section:
    """Lines that belong together under a heading, a run say."""

    heading: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Working:
    """The hand lines behind one result.

    Attributes
    ----------
    title
        What is worked out.
    sections
        The lines in order, under their headings.
    notes
        What a reader should know about them, a sentence each.
    parts
        Further workings with symbols of their own, one an engine speed say.
    misses
        Lines whose hand value is not what the program says to the last printed digit; empty but for freak cases, and
        then a note says so.
    """

    title: str
    sections: tuple[Section, ...]
    notes: tuple[str, ...] = ()
    parts: tuple[Working, ...] = ()
    misses: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines of this working, without its parts."""
        return tuple(line for section in self.sections for line in section.lines)

    @property
    def answers(self) -> tuple[Line, ...]:
        """The lines that give a result, those of the parts after the working's own."""
        return tuple(line for working in self.walk() for line in working.lines if line.kind is Kind.ANSWER)

    def walk(self) -> Iterator[Working]:
        """Go through this working and its parts, outermost first."""
        yield self
        for part in self.parts:
            yield from part.walk()

    def line(self, symbol: str) -> Line:
        """Return the line that gives a symbol its value."""
        return next(line for line in self.lines if line.symbol == symbol)

    def as_dict(self) -> dict[str, Any]:
        """The working for JSON and for a page's template; the lines are numbered through."""
        return self.numbered(iter(range(1, 1 + sum(len(each.lines) for each in self.walk()))), typeset=False)

    def typeset(self) -> dict[str, Any]:
        """The working for a typesetter; the lines are numbered through."""
        return self.numbered(iter(range(1, 1 + sum(len(each.lines) for each in self.walk()))), typeset=True)

    def numbered(self, numbers: Iterator[int], *, typeset: bool) -> dict[str, Any]:
        """The working as plain data, its lines numbered from an iterator that the parts share."""
        sections = [
            {
                "heading": section.heading,
                "lines": [
                    {"number_of_line": next(numbers), **(line.typeset() if typeset else line.as_dict())}
                    for line in section.lines
                ],
            }
            for section in self.sections
        ]
        return {
            "title": self.title,
            "sections": sections,
            "notes": list(self.notes),
            "parts": [part.numbered(numbers, typeset=typeset) for part in self.parts],
        }


def printed(value: float, decimals: int) -> str:
    """Return a number as a calculator rounds it: halves away from zero, after twelve figures.

    Examples
    --------
    >>> printed(0.8550000000000001, 2), printed(-0.04, 1), printed(6.0, 2)
    ('0.86', '0.0', '6.00')
    """
    number = Decimal(f"{value:.12g}").quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    return format(abs(number) if number == 0 else number, "f")


def with_unit(number: str, unit: str) -> str:
    """Return a number with its unit: a degree sign stands close, everything else apart."""
    return f"{number}{unit}" if unit[:1] in {"", "°", "′"} else f"{number} {unit}"


_SPOKEN_UNITS = {
    "kn": "knots",
    "nm": "nautical miles",
    "min": "minutes",
    "h": "hours",
    "m": "metres",
    "°": "degrees",
    "%": "percent",
}
