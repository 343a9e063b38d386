"""Find what is in use by its number or its name, with the nearest names when there is none."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from truemile.core.errors import NotFound, ReadingError
from truemile.workbook.journal import standing

R = TypeVar("R", bound=Any)


def find(session: Session, kind: type[R], which: int | str | None, word: str, *, field: str | None = None) -> R:
    """Return the row in use of that number or name; the only one if `which` is None.

    Raises
    ------
    NotFound
        If there is none.
    ReadingError
        If several have that name, or none was named and there are several.
    """
    rows: Sequence[R] = session.scalars(standing(kind).order_by(kind.id)).all()
    place = field or word
    if which is None:
        return _only(rows, word, place)
    text = str(which).strip()
    fits = [row for row in rows if str(row.id) == text] or [
        row for row in rows if getattr(row, "name", "").casefold() == text.casefold()
    ]
    if len(fits) > 1:
        raise ReadingError(place, text, f"{len(fits)} of them have that name", f"Give its number: {_numbers(fits)}.")
    if not fits:
        raise NotFound(place, which, f"there is no {word} of that name or number", _near(text, rows, word))
    return fits[0]


def refuse_same_name(rows: Sequence[Any], name: str, word: str) -> None:
    """Refuse a second thing of the same name.

    Raises
    ------
    ReadingError
        If one in use is called so.
    """
    for row in rows:
        if row.name.casefold() == name.casefold():
            raise ReadingError(
                "name", name, f"there is a {word} of that name (number {row.id})", "Choose another name."
            )


def _only(rows: Sequence[R], word: str, field: str) -> R:
    if not rows:
        raise NotFound(field, None, f"there is no {word} in this workbook yet", f"Add a {word} first.")
    if len(rows) > 1:
        names = ", ".join(str(getattr(row, "name", row.id)) for row in rows[:8])
        raise ReadingError(field, None, f"there are {len(rows)}: {names}", f"Say which {word}.")
    return rows[0]


def _numbers(rows: Sequence[Any]) -> str:
    return " or ".join(str(row.id) for row in rows)


def _near(text: str, rows: Sequence[Any], word: str) -> str:
    names = {str(getattr(row, "name", "")): row for row in rows}
    folded = {name.casefold(): name for name in names if name}
    near = difflib.get_close_matches(text.casefold(), list(folded), n=1, cutoff=0.5)
    if near:
        return f"Did you mean {folded[near[0]]}?"
    return f"There are: {', '.join(names)}." if folded else f"Look at the list of what there is, or add a {word}."
