"""Gather values as they stream past into means of one second, so that memory grows with time and not with bytes."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from truemile.core.errors import FileError
from truemile.recordings.quantities import QUANTITIES, Quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int64]

#: All values of one second become one row.
STEP_S: Final = 1.0
#: Means that are kept in all; some 250 MB.
MOST_MEANS: Final = 6_000_000
#: Sources that are told apart.
MOST_SOURCES: Final = 64


class Means(NamedTuple):
    """Means of one quantity from one source: the second, where in it the values stood, the mean."""

    seconds: IntArray
    offset_s: FloatArray
    values: FloatArray


class Series:
    """Sums of one quantity from one source, second by second in the order of the file."""

    __slots__ = ("_angle", "_first", "_offset_s", "_other", "_second", "_sums", "count", "quantity", "source")

    def __init__(self, source: str, quantity: Quantity) -> None:
        self.source = source
        self.quantity = quantity
        self.count = 0
        self._angle = quantity.circular
        self._second = array("q")
        self._sums = array("q")
        self._offset_s = array("d")
        self._first = array("d")
        self._other = array("d")

    def add(self, seconds: float, value: float) -> bool:
        """Add one value; True if it began a new second."""
        self.count += 1
        whole = math.floor(seconds / STEP_S)
        new = not self._second or self._second[-1] != whole
        if new:
            self._second.append(whole)
            self._sums.append(0)
            self._offset_s.append(0.0)
            self._first.append(0.0)
            if self._angle:
                self._other.append(0.0)
        self._sums[-1] += 1
        self._offset_s[-1] += seconds - whole * STEP_S
        if self._angle:
            radians = math.radians(value)
            self._first[-1] += math.sin(radians)
            self._other[-1] += math.cos(radians)
        else:
            self._first[-1] += value
        return new

    @property
    def seconds(self) -> int:
        """How many seconds it covers, one that came twice counted twice."""
        return len(self._second)

    def means(self) -> Means:
        """Give the means in order of time; seconds that came twice are joined."""
        import numpy as np

        if not self._second:
            return Means(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
        second = np.array(self._second, dtype=np.int64)
        order = np.argsort(second, kind="stable")
        second = second[order]
        starts = np.flatnonzero(np.r_[True, np.diff(second) > 0])

        def total(sums: array[float] | array[int]) -> FloatArray:
            return np.add.reduceat(np.array(sums, dtype=np.float64)[order], starts)

        number = total(self._sums)
        if self._angle:
            values = np.degrees(np.arctan2(total(self._first), total(self._other)))
        else:
            values = total(self._first) / number
        return Means(second[starts], total(self._offset_s) / number, values)


@dataclass(frozen=True, slots=True)
class SourceUse:
    """Where a quantity came from, and whether it was taken or left aside for a better source."""

    source: str
    quantity: str
    values: int
    taken: bool


class Gathering:
    """Everything that a file gives, by source and quantity."""

    def __init__(self) -> None:
        self._series: dict[tuple[str, str], Series] = {}
        self._sources: set[str] = set()
        self._means = 0

    def add(self, source: str, seconds: float, values: Iterable[tuple[Quantity, float]]) -> bool:
        """Add values of one source at one time; False if there are too many sources to tell apart.

        Raises
        ------
        FileError
            If the recording is longer than can be held.
        """
        if source not in self._sources:
            if len(self._sources) >= MOST_SOURCES:
                return False
            self._sources.add(source)
        for quantity, value in values:
            key = source, quantity.name
            series = self._series.get(key)
            if series is None:
                series = self._series[key] = Series(source, quantity)
            self._means += series.add(seconds, value)
        if self._means > MOST_MEANS:
            raise FileError(
                "file",
                f"a recording with more than {MOST_MEANS:,} values, one a second",
                "one recording holds about a week of every instrument",
                "Cut the file into days and read one at a time.",
            )
        return True

    def chosen(self) -> dict[str, Series]:
        """Choose one source for each quantity: of those that run through, the one that gives most quantities."""
        breadth: dict[str, int] = {}
        for source, _ in self._series:
            breadth[source] = breadth.get(source, 0) + 1
        rivals: dict[str, list[Series]] = {}
        for series in self._series.values():
            rivals.setdefault(series.quantity.name, []).append(series)
        return {name: _best(several, breadth) for name, several in rivals.items()}

    def uses(self) -> tuple[SourceUse, ...]:
        """Say for every source and quantity whether it was taken."""
        best = self.chosen()
        order = {quantity.name: number for number, quantity in enumerate(QUANTITIES)}
        every = sorted(self._series.values(), key=lambda series: (order[series.quantity.name], series.source))
        return tuple(
            SourceUse(series.source, series.quantity.name, series.count, best[series.quantity.name] is series)
            for series in every
        )


def _best(rivals: list[Series], breadth: dict[str, int]) -> Series:
    longest = max(series.seconds for series in rivals)
    steady = [series for series in rivals if 2 * series.seconds >= longest]
    return max(steady, key=lambda series: (breadth[series.source], series.count))
