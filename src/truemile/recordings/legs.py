"""Find steady straight legs in a recording, and say plainly where there is none.

A continuous turn is no leg. In a turn the boat slides outward, so her course through the water is not her heading,
and the course of a satellite receiver trails by several seconds: both look like an error of log or compass.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from truemile.recordings.leg_means import FoundLeg, leg_between
from truemile.recordings.steady import LegSettings, Stretch, runs, stretches

if TYPE_CHECKING:
    from truemile.recordings.recording import Recording

#: A change of heading of less than this is a correction of the helm, not a turn.
_LEAST_TURN_DEG: Final = 20.0
#: Log readings of a leg may scatter by this part of their mean.
_MOST_SPEED_SCATTER: Final = 0.12
#: Below this the log tells little and leeway and drift tell much.
_LEAST_SPEED_KN: Final = 1.0
#: Where course over the ground and positions differ by more, something trails.
_APART_DEG: Final = 3.0


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn between legs, or one that never ends.

    Parameters
    ----------
    start_s, stop_s
        Seconds of the recording.
    started_at
        UTC instant of the start, if the recording has a date.
    change_deg
        Change of heading, to starboard positive; may be more than a circle.
    """

    start_s: float
    stop_s: float
    started_at: datetime | None
    change_deg: float

    @property
    def rate_deg_s(self) -> float:
        """Mean rate of turn."""
        return self.change_deg / (self.stop_s - self.start_s)


@dataclass(frozen=True, slots=True)
class LegsFound:
    """What was found.

    Parameters
    ----------
    legs
        Steady straight legs in order of time.
    turns
        Turns of 20° and more.
    arcs
        Pieces of turns, if they were asked for; each is marked as turning.
    words
        What was found and what was not, in plain sentences.
    """

    legs: tuple[FoundLeg, ...]
    turns: tuple[Turn, ...]
    arcs: tuple[FoundLeg, ...]
    words: tuple[str, ...]


def find_legs(recording: Recording, settings: LegSettings | None = None, *, arcs: bool = False) -> LegsFound:
    """Find the steady straight legs of a recording.

    Parameters
    ----------
    recording
        With heading, log, and positions or speed and course over the ground.
    settings
        What counts as steady.
    arcs
        Whether to give the pieces of turns too; they are marked as turning and are no legs.

    Returns
    -------
    LegsFound
        No leg is no error: the words say why.
    """
    settings = settings or LegSettings()
    legs: list[FoundLeg] = []
    turns: list[Turn] = []
    pieces: list[FoundLeg] = []
    for stretch in stretches(recording, settings):
        found = _legs_of(recording, stretch, settings)
        legs += found
        turns += _turns_of(recording, stretch, settings)
        if arcs:
            pieces += _arcs_of(recording, stretch, found, settings)
    words = _words(recording, legs, turns, settings)
    return LegsFound(tuple(legs), tuple(turns), tuple(pieces), words)


def _legs_of(recording: Recording, stretch: Stretch, settings: LegSettings) -> list[FoundLeg]:
    legs: list[FoundLeg] = []
    for start, stop in runs(stretch.steady(settings)):
        settled = start + round(settings.settle_s) if start else start
        for first, last in _straight_parts(stretch, settled, stop, settings):
            leg = leg_between(recording, float(stretch.t_s[first]), float(stretch.t_s[last]))
            if leg is not None and _is_leg(leg):
                legs.append(leg)
    return legs


def _is_leg(leg: FoundLeg) -> bool:
    even = leg.indicated_sd_kn <= _MOST_SPEED_SCATTER * leg.indicated_kn
    return not leg.turning and even and leg.indicated_kn >= _LEAST_SPEED_KN


def _straight_parts(stretch: Stretch, start: int, stop: int, settings: LegSettings) -> list[tuple[int, int]]:
    """Cut where the smoothed heading strays from its mean, and long parts into equal ones; first and last second."""
    parts: list[tuple[int, int]] = []
    while stop - 1 - start >= settings.shortest_s:
        end = _stays_until(stretch, start, stop, settings.most_wander_deg)
        length = end - 1 - start
        if length >= settings.shortest_s:
            pieces = int(length // settings.longest_s) + 1
            bounds = [start + round(length * number / pieces) for number in range(pieces + 1)]
            parts += list(pairwise(bounds))
        start = end
    return parts


def _stays_until(stretch: Stretch, start: int, stop: int, most_wander_deg: float) -> int:
    """Give the first second from which the smoothed heading is too far from the mean of those before."""
    import numpy as np

    smooth = stretch.smooth_deg[start:stop]
    mean = np.cumsum(smooth) / np.arange(1, smooth.size + 1)
    away = np.flatnonzero(np.abs(smooth - mean) > most_wander_deg)
    return start + int(away[0]) if away.size else stop


def _turns_of(recording: Recording, stretch: Stretch, settings: LegSettings) -> list[Turn]:
    turns: list[Turn] = []
    for start, stop in runs(stretch.turning(settings)):
        change = float(stretch.smooth_deg[stop - 1] - stretch.smooth_deg[start])
        if stop - start > 1 and abs(change) >= _LEAST_TURN_DEG:
            first, last = float(stretch.t_s[start]), float(stretch.t_s[stop - 1])
            turns.append(Turn(first, last, _instant(recording, first), change))
    return turns


def _arcs_of(recording: Recording, stretch: Stretch, legs: list[FoundLeg], settings: LegSettings) -> list[FoundLeg]:
    arcs: list[FoundLeg] = []
    start, end = float(stretch.t_s[0]), float(stretch.t_s[-1])
    while start + settings.arc_s <= end:
        stop = start + settings.arc_s
        piece = leg_between(recording, start, stop)
        if piece is not None and piece.turning and not any(leg.start_s < stop and start < leg.stop_s for leg in legs):
            arcs.append(piece)
        start = stop
    return arcs


def _instant(recording: Recording, at_s: float) -> datetime | None:
    return None if recording.started_at is None else recording.started_at + timedelta(seconds=at_s)


def _words(recording: Recording, legs: list[FoundLeg], turns: list[Turn], settings: LegSettings) -> tuple[str, ...]:
    lacking = _lacking(recording)
    if lacking:
        return (f"No legs can be found: the recording has no {lacking}.",)
    words = [_how_many(legs, settings)]
    words += [_turn_words(turn) for turn in turns if not legs or abs(turn.change_deg) >= 270]
    words += [_apart_words(leg) for leg in legs if _apart(leg)]
    if legs and not turns:
        words.append("All on one heading: the stream cannot be told from an error of the log. Add another heading.")
    return tuple(words)


def _lacking(recording: Recording) -> str:
    if not recording.has_water:
        return "speed through the water"
    if not recording.has_heading:
        return "heading"
    return "" if recording.has_position or recording.has_ground else "velocity over the ground"


def _how_many(legs: list[FoundLeg], settings: LegSettings) -> str:
    if legs:
        return f"{len(legs)} steady {'leg' if len(legs) == 1 else 'legs'} found."
    return f"No steady leg: nowhere do heading and speed stay steady for {settings.shortest_s:.0f} s."


def _turn_words(turn: Turn) -> str:
    side = "starboard" if turn.change_deg > 0 else "port"
    return (
        f"A continuous turn to {side}, {abs(turn.change_deg):.0f}° in {turn.stop_s - turn.start_s:.0f} s, is no leg: "
        "in a turn the boat slides outward and the receiver's course trails, which looks like an error of the log."
    )


def _apart(leg: FoundLeg) -> float:
    """Give the angle between the two velocities over the ground where it is too large, else 0."""
    if leg.by_position is None or leg.by_sog_cog is None:
        return 0.0
    apart = abs((leg.by_position.cog_true_deg - leg.by_sog_cog.cog_true_deg + 180) % 360 - 180)
    return apart if apart > _APART_DEG else 0.0


def _apart_words(leg: FoundLeg) -> str:
    return (
        f"On the leg steered {leg.heading_deg:03.0f}° course over the ground and positions differ by "
        f"{_apart(leg):.0f}°: use the positions."
    )
