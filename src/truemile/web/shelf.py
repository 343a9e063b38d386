"""A short shelf for results that are only looked at and taken away, never kept in the workbook."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

from truemile.core.errors import NotFound

#: As many results are kept; the oldest makes room.
ROOM = 8


@dataclass(frozen=True, slots=True)
class Kept:
    """A result on the shelf."""

    name: str
    content: bytes
    facts: object


class Shelf:
    """Keeps the last few results while the program runs."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Kept] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, kept: Kept) -> str:
        """Keep a result and return the word to ask for it by."""
        word = secrets.token_urlsafe(9).replace("-", "x").replace("_", "y")
        with self._lock:
            self._kept[word] = kept
            while len(self._kept) > ROOM:
                self._kept.popitem(last=False)
        return word

    def take(self, word: str) -> Kept:
        """Return a result.

        Raises
        ------
        NotFound
            If it made room for others, or the program was started again.
        """
        with self._lock:
            kept = self._kept.get(word)
        if kept is None:
            raise NotFound(
                "result",
                word,
                f"only the last {ROOM} results are held, and only while the program runs",
                "Hand in the file once more.",
            )
        return kept
