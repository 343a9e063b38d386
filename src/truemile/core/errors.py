"""The one tree of errors, each of which says what was given, what is allowed and what to do.

::

    NavigationError
    ├── ReadingError          a value that cannot be right (also a ValueError)
    │   └── ManyFaults        several of them at once, each with its own field
    ├── NotEnoughReadings     the readings do not determine what was asked
    ├── NoSolution            the geometry has no answer, or more than one
    ├── FileError             a file that cannot be read or written as asked
    ├── WorkbookError         the store refuses: missing, newer, damaged, locked
    └── NotFound              no mark, course, trial or instrument of that name
"""

from __future__ import annotations

from collections.abc import Callable, Sequence


class NavigationError(Exception):
    """Root of all errors that a skipper can meet.

    Parameters
    ----------
    field
        Where the fault is, as a dotted path: ``runs[1].elapsed_s``.
    given
        What was given there.
    allowed
        What is allowed, as a clause that follows "but": ``a run must take more than 0 s``.
    remedy
        What to do next, as a full sentence.
    """

    def __init__(self, field: str, given: object, allowed: str, remedy: str) -> None:
        super().__init__(field, given, allowed, remedy)
        self.field = field
        self.given = given
        self.allowed = allowed
        self.remedy = remedy

    def __str__(self) -> str:
        """One line for terminal, page and log."""
        return f"{self.field} is {_shown(self.given)}, but {self.allowed}. {self.remedy}"

    def renamed(self, rename: Callable[[str], str]) -> NavigationError:
        """Return the same error with its field renamed, as where rows are counted otherwise."""
        return type(self)(rename(self.field), self.given, self.allowed, self.remedy)

    def inside(self, prefix: str) -> NavigationError:
        """Return the same error with its field placed under a prefix, ``runs[2]`` say."""
        return self.renamed(lambda field: f"{prefix}.{field}")


class ReadingError(NavigationError, ValueError):
    """A value that cannot be right."""


class ManyFaults(ReadingError):
    """Several faults found in one entry, so that all can be mended at once."""

    def __init__(self, faults: Sequence[NavigationError]) -> None:
        first = faults[0]
        super().__init__(first.field, first.given, first.allowed, first.remedy)
        self.args = (faults,)
        self.faults: tuple[NavigationError, ...] = tuple(faults)

    def __str__(self) -> str:
        """All faults, one a line."""
        return "\n".join(str(fault) for fault in self.faults)

    def renamed(self, rename: Callable[[str], str]) -> ManyFaults:
        """Return the same faults, each with its field renamed."""
        return ManyFaults([fault.renamed(rename) for fault in self.faults])


class NotEnoughReadings(NavigationError):
    """The readings do not determine what was asked."""


class NoSolution(NavigationError):
    """The geometry has no answer, or more than one."""


class FileError(NavigationError):
    """A file that cannot be read or written as asked."""


class WorkbookError(NavigationError):
    """The workbook refuses: it is missing, newer than this program, damaged or locked."""


class NotFound(NavigationError):
    """Nothing of that name or number is kept here."""


def gather(faults: Sequence[NavigationError]) -> None:
    """Raise what was found: nothing, the one fault, or all of them together."""
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise ManyFaults(faults)


def _shown(given: object) -> str:
    if given is None:
        return "missing"
    text = repr(given)
    return text if len(text) <= 80 else f"{text[:77]}…"
