"""What is taken from a recording: which of its legs, and which of its velocities over the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from truemile.core.errors import ReadingError
from truemile.core.ground_vectors import Tack

if TYPE_CHECKING:
    from truemile.recordings.leg_means import GroundFrom


@dataclass(frozen=True, slots=True)
class Taking:
    """How legs are taken from a recording.

    Attributes
    ----------
    ground
        Which velocity over the ground: from the positions at both ends, or from speed and course over the ground.
    variation_deg
        For headings that are not true, where the recording does not tell it.
    tack
        Under sail, which no recording tells; one for the whole file.
    arcs
        Take the pieces of turns too; what comes out is shown and refused.
    only
        Numbers of the pieces to take, from 1 in order of time; all if None.
    """

    ground: GroundFrom = "position"
    variation_deg: float | None = None
    tack: Tack = Tack.POWER
    arcs: bool = False
    only: tuple[int, ...] | None = None


def taken_of(count: int, only: Sequence[int] | None) -> tuple[int, ...]:
    """Return the numbers of the pieces that are taken.

    Raises
    ------
    ReadingError
        If one was not found.

    Examples
    --------
    >>> taken_of(4, None), taken_of(4, [3, 1])
    ((1, 2, 3, 4), (1, 3))
    """
    if only is None or not count:
        return tuple(range(1, count + 1))
    unknown = sorted(number for number in only if not 1 <= number <= count)
    if unknown or not only:
        raise ReadingError(
            "take",
            ", ".join(map(str, unknown)) or None,
            f"the legs found are numbered 1 to {count}",
            "Name at least one of them, or leave it out to take all.",
        )
    return tuple(sorted(set(only)))
