"""All that a recording says about the log, answer first, before anything of it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from truemile.core.errors import NavigationError
from truemile.recordings.legs import find_legs
from truemile.recordings.one_tack import single_tack_ratio
from truemile.recordings.taking import Taking, taken_of

if TYPE_CHECKING:
    from truemile.core.ground_vectors import Leg, VectorConditions
    from truemile.core.vector_round import VectorRound
    from truemile.recordings.leg_means import FoundLeg
    from truemile.recordings.legs import LegsFound
    from truemile.recordings.one_tack import SingleTack
    from truemile.recordings.recording import Recording


@dataclass(frozen=True, slots=True, eq=False)
class RecordingReport:
    """What a recording says about the log.

    Attributes
    ----------
    pieces
        Legs found, and pieces of turns if asked for, in order of time.
    taken
        Numbers, from 1, of those that were taken.
    single
        Log against ground where the recording is on one heading.
    result
        Factor, heading offset and stream; None where the pieces do not give them, and then `lacks` says why.
    answer
        The answer in plain sentences, most important first.
    """

    recording: Recording
    found: LegsFound
    pieces: tuple[FoundLeg, ...]
    taken: tuple[int, ...]
    single: SingleTack | None
    result: VectorRound | None
    lacks: NavigationError | None
    answer: tuple[str, ...]


def report_on(
    recording: Recording, how: Taking | None = None, conditions: VectorConditions | None = None
) -> RecordingReport:
    """Find the legs of a recording, and what they give.

    Parameters
    ----------
    recording
        From `truemile.recordings.read.read_recording`.
    how
        What to take from it; the usual if None.
    conditions
        How the round was made; the usual ones if None.

    Raises
    ------
    ReadingError
        If a leg is asked for that was not found.
    NotEnoughReadings
        If the headings are not true and the variation is not known.
    """
    how = how or Taking()
    found = find_legs(recording, arcs=how.arcs)
    pieces = tuple(sorted((*found.legs, *found.arcs), key=lambda piece: piece.start_s))
    taken = taken_of(len(pieces), how.only)
    legs = [pieces[n - 1].to_leg(how.ground, tack=how.tack, variation_deg=how.variation_deg) for n in taken]
    result, lacks = _solved(legs, conditions)
    single = _single(recording, found)
    no_tide = conditions is not None and conditions.tide_amplitude_kn == 0.0
    answer = _answer(found, result, single, no_tide=no_tide)
    return RecordingReport(recording, found, pieces, taken, single, result, lacks, answer)


def _solved(
    legs: Sequence[Leg], conditions: VectorConditions | None
) -> tuple[VectorRound | None, NavigationError | None]:
    from truemile.core.vector_round import solve_round

    if not legs:
        return None, None
    try:
        return solve_round(legs, conditions), None
    except NavigationError as error:
        return None, error


def _single(recording: Recording, found: LegsFound) -> SingleTack | None:
    """Log against ground, where the whole recording is steady on one heading."""
    if not found.legs or found.turns:
        return None
    try:
        return single_tack_ratio(recording)
    except NavigationError:
        return None


def _answer(
    found: LegsFound, result: VectorRound | None, single: SingleTack | None, *, no_tide: bool
) -> tuple[str, ...]:
    if result is not None:
        if result.may_be_put_in_force:
            return ()
        return (_of_refused(result),)
    if single is not None:
        return ("This recording gives no log factor.", *_of_single(single, no_tide=no_tide))
    return ("This recording gives no log factor.", *found.words)


def _of_refused(result: VectorRound) -> str:
    offset = result.heading_offset_deg
    turned = "" if offset is None else f" and a heading offset of {offset:+.1f}°".replace("-", "\N{MINUS SIGN}")
    return (
        f"A plain fit gives a factor of {result.factor:.2f}{turned}. That is not what the log does, and it cannot"
        " be put in force."
    )


def _of_single(single: SingleTack, *, no_tide: bool) -> tuple[str, ...]:
    percent = 100.0 * (1.0 / single.ratio - 1.0)
    much = f"{abs(percent):.0f} % too {'much' if percent > 0 else 'little'}"
    made = (
        f"On that one tack {single.distance_nm:.3f} nm were made good in {single.elapsed_s:.0f} s,"
        f" {single.made_good_kn:.2f} kn where the log showed {single.indicated_kn:.2f} kn: a ratio of"
        f" {single.ratio:.2f}."
    )
    if no_tide:
        said = f"In water without a stream that is the log itself: on that one tack it read {much}."
        return (made, said, *single.cannot[1:])
    return (made, f"In water without a stream the log would read {much}.", *single.cannot)
