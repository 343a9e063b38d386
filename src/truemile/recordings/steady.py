"""Tell straight from turning: heading and speed on an even grid of seconds, and how fast each changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from truemile.core.errors import NavigationError, ReadingError, gather

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from truemile.recordings.recording import Recording

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LegSettings:
    """What counts as a steady straight leg.

    Parameters
    ----------
    shortest_s, longest_s
        A leg is at least so long; a longer one is cut into equal parts, so that a changing stream shows.
    settle_s
        Cut off after a turn: the boat gathers way again, and a satellite receiver trails by up to five seconds.
    window_s
        Heading and speed are smoothed over this time.
    most_turn_deg_s
        Smoothed heading may change so fast within a leg; the mean over the leg is held to the stricter limit of
        `truemile.core.ground_vectors.TURNING_DEG_S`.
    most_wander_deg
        Smoothed heading may stray so far from its mean.
    most_speed_change_kn_s
        Smoothed speed may change so fast.
    longest_gap_s
        Readings further apart are not joined.
    arc_s
        Length of the pieces of a turn.
    """

    shortest_s: float = 45.0
    longest_s: float = 600.0
    settle_s: float = 15.0
    window_s: float = 20.0
    most_turn_deg_s: float = 0.5
    most_wander_deg: float = 8.0
    most_speed_change_kn_s: float = 0.03
    longest_gap_s: float = 5.0
    arc_s: float = 10.0

    def __post_init__(self) -> None:
        """Refuse settings that cannot work, all faults at once."""
        faults: list[NavigationError] = []
        for name, least, most in (
            ("shortest_s", 20, 3600),
            ("longest_s", 2 * self.shortest_s, 36000),
            ("settle_s", 0, 600),
            ("window_s", 3, 120),
            ("most_turn_deg_s", 0.01, 5),
            ("most_wander_deg", 1, 45),
            ("most_speed_change_kn_s", 0.001, 1),
            ("longest_gap_s", 1, 60),
            ("arc_s", 5, 120),
        ):
            value = getattr(self, name)
            if not least <= value <= most:
                allowed = f"it is from {least:g} to {most:g}"
                faults.append(ReadingError(name, value, allowed, "Leave it out to use the usual value."))
        gather(faults)


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of a recording without gaps, second by second.

    Parameters
    ----------
    t_s
        Seconds of the recording.
    heading_deg
        Heading without the jump at north.
    smooth_deg
        The same, smoothed.
    turn_deg_s
        Rate of turn, to starboard positive.
    speed_kn
        Speed through the water.
    speed_change_kn_s
        How fast that changes.
    """

    t_s: FloatArray
    heading_deg: FloatArray
    smooth_deg: FloatArray
    turn_deg_s: FloatArray
    speed_kn: FloatArray
    speed_change_kn_s: FloatArray

    def turning(self, settings: LegSettings) -> BoolArray:
        """Say for each second whether the boat was turning."""
        import numpy as np

        return np.asarray(np.abs(self.turn_deg_s) > settings.most_turn_deg_s)

    def steady(self, settings: LegSettings) -> BoolArray:
        """Say for each second whether heading and speed were steady."""
        import numpy as np

        even = np.abs(self.speed_change_kn_s) <= settings.most_speed_change_kn_s
        return np.asarray(~self.turning(settings) & even)


def stretches(recording: Recording, settings: LegSettings) -> Iterator[Stretch]:
    """Yield the parts with heading, log and something over the ground that are long enough to be smoothed."""
    import numpy as np

    ground = np.isfinite(recording.lat) | np.isfinite(recording.sog_kn + recording.cog_true_deg)
    columns = [np.isfinite(recording.heading_deg), np.isfinite(recording.stw_kn), ground]
    cuts = [_parts(recording.t_s[there], settings.longest_gap_s) for there in columns]
    for start, stop in _common(cuts):
        grid = np.arange(np.ceil(start), np.floor(stop) + 1)
        if grid.size > settings.window_s:
            yield _stretch(recording, grid, settings)


def runs(flags: BoolArray) -> list[tuple[int, int]]:
    """Give start and stop of every run of True.

    Examples
    --------
    >>> import numpy as np
    >>> runs(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    import numpy as np

    edges = np.flatnonzero(np.diff(np.r_[False, flags, False].astype(np.int8)))
    return [(int(start), int(stop)) for start, stop in zip(edges[::2], edges[1::2], strict=True)]


def _parts(t_s: FloatArray, longest_gap_s: float) -> list[tuple[float, float]]:
    import numpy as np

    if not t_s.size:
        return []
    breaks = np.flatnonzero(np.diff(t_s) > longest_gap_s)
    firsts, lasts = np.r_[0, breaks + 1], np.r_[breaks, t_s.size - 1]
    return [(float(t_s[first]), float(t_s[last])) for first, last in zip(firsts, lasts, strict=True)]


def _common(several: list[list[tuple[float, float]]]) -> list[tuple[float, float]]:
    """Give the spans that lie within a part of every list; each list is in order of time."""
    common = several[0]
    for parts in several[1:]:
        overlap, at = [], 0
        for start, stop in common:
            while at < len(parts) and parts[at][1] < start:
                at += 1
            ahead = at
            while ahead < len(parts) and parts[ahead][0] <= stop:
                overlap.append((max(start, parts[ahead][0]), min(stop, parts[ahead][1])))
                ahead += 1
        common = overlap
    return common


def _stretch(recording: Recording, grid: FloatArray, settings: LegSettings) -> Stretch:
    import numpy as np

    near = slice(*np.searchsorted(recording.t_s, [grid[0] - 1, grid[-1] + 1], side="right"))
    t_s = recording.t_s[near]

    def on_grid(values: FloatArray, *, circle: bool = False) -> FloatArray:
        there = np.isfinite(values)
        given = np.degrees(np.unwrap(np.radians(values[there]))) if circle else values[there]
        return np.interp(grid, t_s[there], given)

    heading = on_grid(recording.heading_deg[near], circle=True)
    speed = on_grid(recording.stw_kn[near])
    half = max(1, round(settings.window_s / 2))
    smooth, turn = _fitted(heading, half)
    _, change = _fitted(speed, half)
    return Stretch(grid, heading, smooth, turn, speed, change)


def _fitted(values: FloatArray, half: int) -> tuple[FloatArray, FloatArray]:
    """Give level and slope of the straight line fitted to ``half`` values on each side.

    Notes
    -----
    Least squares on equal steps: the level is the mean, the slope ``sum(x y) / sum(x²)`` with x from -half to half.
    The first and last ``half`` values take those of the nearest whole window, the level along its line.
    """
    import numpy as np

    half = min(half, (values.size - 1) // 2)
    steps = np.arange(-half, half + 1, dtype=np.float64)
    slope = np.convolve(values, -steps / np.sum(steps**2), mode="valid")
    level = np.convolve(values, np.full(steps.size, 1 / steps.size), mode="valid")
    before = level[0] + slope[0] * steps[:half]
    after = level[-1] + slope[-1] * steps[half + 1 :]
    return np.r_[before, level, after], np.pad(slope, half, mode="edge")
