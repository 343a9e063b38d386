"""Working as ruled plain text, for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from truemile.working.lines import Kind, Line, Working

_RULE = "─"
_HEAVY = "═"


def render_text(working: Working, *, width: int = 80) -> str:
    """Return the working as text no wider than `width`.

    Each line has its number, its words and, at the right edge, its value with unit; below it stands in lighter indent
    the formula, and the formula with its numbers put in.
    """
    numbers = iter(range(1, 1 + sum(len(each.lines) for each in working.walk())))
    rows: list[str] = []
    for part in working.walk():
        if rows:
            rows.append("")
        rows += [*_wrap(part.title, width, ""), _HEAVY * width]
        for section in part.sections:
            if section.heading:
                rows += [*_wrap(section.heading, width, ""), _RULE * width]
            for line in section.lines:
                rows += _line(next(numbers), line, width)
            rows.append(_RULE * width)
        for note in part.notes:
            rows += _wrap(note, width, "    ")
    return "\n".join(rows) + "\n"


def _line(number: int, line: Line, width: int) -> Iterator[str]:
    mark = "►" if line.kind is Kind.ANSWER else " "
    value = f"{line.symbol_text} = {line.value_text}"
    words = line.words + (f" ({line.source})" if line.source else "")
    first, *more = _wrap(words, max(16, width - 6 - 2 - len(value)), "") or [""]
    yield f"{number:>3}{mark} {first}".ljust(width - len(value)) + value
    for each in more:
        yield f"     {each}"
    for each in _working(line, width):
        yield f"        {each}"


def _working(line: Line, width: int) -> list[str]:
    if not line.substitution:
        return []
    whole = " = ".join(part for part in (line.formula, line.substitution) if part)
    if len(whole) <= width - 8:
        return [whole]
    steps = [line.formula, f"= {line.substitution}"] if line.formula else [line.substitution]
    return [row for step in steps for row in _wrap(step, width - 8, "  ")]


def _wrap(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=indent, break_on_hyphens=False)
