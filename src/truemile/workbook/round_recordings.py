"""Legs of a vector round found in a recorded file."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy.orm import Session

from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.ground_vectors import Leg
from truemile.recordings.taking import Taking, taken_of
from truemile.workbook import journal
from truemile.workbook.round_entries import ReadLeg
from truemile.workbook.round_rows import LegView, RecordingView, add_leg, recording_view
from truemile.workbook.schema import RecordingRow, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import legs_of, round_row

if TYPE_CHECKING:
    from truemile.recordings.leg_means import FoundLeg
    from truemile.recordings.legs import LegsFound
    from truemile.recordings.recording import Recording

_IDS: Final = uuid.UUID("0b6c4f1e-6a52-5b0e-8a63-0e5f0f6b4c21")


@dataclass(frozen=True, slots=True)
class TakenRecording:
    """A recording that was taken into a round, and the legs that were found in it."""

    recording: RecordingView
    legs: tuple[LegView, ...]


def take_recording(
    wb: Workbook,
    trial_id: int,
    data: bytes,
    name: str,
    how: Taking | None = None,
    *,
    author: str | None = None,
) -> TakenRecording:
    """Find the legs of a recorded file and keep them; of the file itself name, SHA-256 and counts are kept.

    Parameters
    ----------
    how
        What to take from it; the usual if None.

    Raises
    ------
    FileError
        If it is no recording.
    NotEnoughReadings
        If there is no leg in it; the error says why.
    NotFound
        If there is no such round.
    ReadingError
        If the file was taken into this round before, or a leg cannot be.
    """
    from truemile.recordings.legs import find_legs
    from truemile.recordings.read import read_recording

    how = how or Taking()
    recording = read_recording(data, name)
    found = find_legs(recording, arcs=how.arcs)
    pieces = sorted((*found.legs, *found.arcs), key=lambda piece: piece.start_s)
    pieces = [pieces[number - 1] for number in taken_of(len(pieces), how.only)]
    if not pieces:
        raise NotEnoughReadings(
            "recording",
            name,
            f"no leg was found in it. {' '.join(found.words).rstrip('.')}",
            "Record steady legs of one minute and more, with log, heading and positions, on two headings at least.",
        )
    legs = [(piece, piece.to_leg(how.ground, tack=how.tack, variation_deg=how.variation_deg)) for piece in pieces]
    with wb.writing() as session:
        row = round_row(session, trial_id)
        return _taken(session, wb, row, _File(data, name, recording, found), legs, how.ground, author)


@dataclass(frozen=True, slots=True)
class _File:
    """A recorded file as read."""

    data: bytes
    name: str
    recording: Recording
    found: LegsFound

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def _taken(
    session: Session,
    wb: Workbook,
    row: Trial,
    file: _File,
    legs: Sequence[tuple[FoundLeg, Leg]],
    ground: str,
    author: str | None,
) -> TakenRecording:
    sha256 = file.sha256
    _refuse_twice(session, row, sha256, file.name)
    words = f"{len(legs)} {'leg' if len(legs) == 1 else 'legs'} of the recording {file.name} in round {row.id}"
    written = journal.note(session, wb, "take recording", ("recordings", ""), words, author=author)
    kept = RecordingRow(
        trial_id=row.id,
        name=file.name,
        sha256=sha256,
        size_bytes=len(file.data),
        kind=file.recording.kind,
        started_at=file.recording.started_at,
        duration_s=file.recording.duration_s,
        counts=_counts(file.recording),
        words=list(file.found.words),
        entry_id=written.id,
    )
    journal.keep(session, written, kept)
    ids: list[str] = []
    for piece, leg in legs:
        # A recording that was taken back and is taken again brings new legs: the old ones stay in the history.
        leg_id = str(uuid.uuid5(_IDS, f"{kept.id} {piece.start_s:.3f} {piece.stop_s:.3f}"))
        add_leg(session, row, ReadLeg(leg_id, leg, _where(piece, ground)), written, kept.id)
        ids.append(leg_id)
    return TakenRecording(recording_view(kept), legs_of(session, wb, row, ids))


def _refuse_twice(session: Session, row: Trial, sha256: str, name: str) -> None:
    query = journal.standing(RecordingRow).where(RecordingRow.trial_id == row.id, RecordingRow.sha256 == sha256)
    before = session.scalars(query).first()
    if before is not None:
        raise ReadingError(
            "recording",
            name,
            f"the same file is in round {row.id} already, as {before.name}",
            f"Its legs would count twice. To take it otherwise, undo entry {before.entry_id} first.",
        )


def _counts(recording: Recording) -> dict[str, Any]:
    counts = recording.counts
    kinds = {tally.kind.value: tally.count for tally in counts.tallies}
    return {"lines": counts.lines, "kinds": kinds, "words": list(counts.words)}


def _where(piece: FoundLeg, ground: str) -> dict[str, str]:
    """Say where in the recording a leg is, and what its velocity over the ground was taken from."""
    return {
        "start_s": f"{piece.start_s:.1f}",
        "stop_s": f"{piece.stop_s:.1f}",
        "ground": ground,
        "heading_reference": piece.heading_reference,
        "readings": str(piece.readings),
    }
