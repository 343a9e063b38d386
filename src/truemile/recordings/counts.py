"""Every line of a file is counted under one heading, so that nothing is dropped in silence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

#: How many line numbers are kept for each heading.
FIRST_LINES = 5


class LineKind(StrEnum):
    """What became of a sentence, or of a line that is none."""

    USED = "used"
    NO_VALUES = "no_values"
    NOT_NEEDED = "not_needed"
    UNKNOWN = "unknown"
    PROPRIETARY = "proprietary"
    VOID = "void"
    NO_TIME = "no_time"
    WRONG_VALUE = "wrong_value"
    WRONG_CHECKSUM = "wrong_checksum"
    NO_CHECKSUM = "no_checksum"
    TRUNCATED = "truncated"
    NOT_TEXT = "not_text"
    NOT_A_SENTENCE = "not_a_sentence"
    #: Counted beside one of the others, not instead of it.
    OUT_OF_ORDER = "out_of_order"


#: Whole and undamaged, whether or not there was something in it to use.
GOOD: Final = frozenset(
    {
        LineKind.USED,
        LineKind.NO_VALUES,
        LineKind.NOT_NEEDED,
        LineKind.UNKNOWN,
        LineKind.PROPRIETARY,
        LineKind.VOID,
        LineKind.NO_TIME,
        LineKind.WRONG_VALUE,
    }
)

KIND_WORDS: Final[Mapping[LineKind, str]] = {
    LineKind.USED: "used",
    LineKind.NO_VALUES: "whole, but with empty fields",
    LineKind.NOT_NEEDED: "whole, with nothing in them that is needed here",
    LineKind.UNKNOWN: "whole, of a kind not known",
    LineKind.PROPRIETARY: "whole, of a maker's own kind",
    LineKind.VOID: "marked not valid by the instrument itself",
    LineKind.NO_TIME: "before the first clock time, so without a place in time",
    LineKind.WRONG_VALUE: "with a value that cannot be right",
    LineKind.WRONG_CHECKSUM: "with a wrong checksum",
    LineKind.NO_CHECKSUM: "without a checksum",
    LineKind.TRUNCATED: "cut off",
    LineKind.NOT_TEXT: "not text",
    LineKind.NOT_A_SENTENCE: "text that is no sentence",
    LineKind.OUT_OF_ORDER: "where the clock steps back",
}


@dataclass(frozen=True, slots=True)
class Tally:
    """How many there are of one kind, and the numbers of the first lines they stand on."""

    kind: LineKind
    count: int
    first_lines: tuple[int, ...]

    @property
    def words(self) -> str:
        """The heading in plain words."""
        return KIND_WORDS[self.kind]


@dataclass(frozen=True, slots=True)
class LineCounts:
    """All lines of a file by what became of them.

    Parameters
    ----------
    lines
        Lines that are not blank.
    tallies
        One for each kind that occurs, the used ones first. A line may hold several sentences.
    """

    lines: int
    tallies: tuple[Tally, ...]

    def count(self, kind: LineKind) -> int:
        """Give the number of one kind; 0 if there is none."""
        return next((tally.count for tally in self.tallies if tally.kind is kind), 0)

    @property
    def total(self) -> int:
        """All sentences and pieces that are none."""
        return sum(tally.count for tally in self.tallies if tally.kind is not LineKind.OUT_OF_ORDER)

    @property
    def good(self) -> int:
        """Those that are whole and undamaged."""
        return sum(tally.count for tally in self.tallies if tally.kind in GOOD)

    @property
    def faults(self) -> tuple[Tally, ...]:
        """Those that a skipper should know about."""
        quiet = {LineKind.USED, LineKind.NO_VALUES, LineKind.NOT_NEEDED}
        return tuple(tally for tally in self.tallies if tally.kind not in quiet)

    @property
    def words(self) -> tuple[str, ...]:
        """One plain sentence for each kind, with the first lines of the faults."""
        return tuple(_sentence(tally) for tally in self.tallies)


def _sentence(tally: Tally) -> str:
    if tally.kind in {LineKind.USED, LineKind.NO_VALUES, LineKind.NOT_NEEDED}:
        return f"{tally.count} {tally.words}."
    numbers = ", ".join(str(line) for line in tally.first_lines)
    more = ", …" if tally.count > len(tally.first_lines) else ""
    return f"{tally.count} {tally.words} (line {numbers}{more})."


@dataclass(slots=True)
class Counter:
    """Counts while a file is read."""

    lines: int = 0
    _counts: dict[LineKind, int] = field(default_factory=dict)
    _first: dict[LineKind, list[int]] = field(default_factory=dict)

    def add(self, kind: LineKind, line: int) -> None:
        """Count one more of a kind on this line."""
        self._counts[kind] = self._counts.get(kind, 0) + 1
        first = self._first.setdefault(kind, [])
        if len(first) < FIRST_LINES and (not first or first[-1] != line):
            first.append(line)

    def close(self) -> LineCounts:
        """Give what was counted."""
        tallies = (
            Tally(kind, self._counts[kind], tuple(self._first[kind])) for kind in LineKind if kind in self._counts
        )
        return LineCounts(self.lines, tuple(tallies))
