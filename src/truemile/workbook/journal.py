"""The journal: every change in words, and undo that keeps the history.

An entry counts while it stands. Undoing it adds an entry that says so, and takes what it added out of use; undoing
the undo brings it back. Nothing is ever deleted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, TypeVar

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import NotFound, ReadingError
from truemile.workbook.schema import (
    Base,
    Boat,
    Correction,
    Course,
    Device,
    Entered,
    Event,
    Instrument,
    Journal,
    LegRow,
    Mark,
    Reading,
    RecordingRow,
    RoundDetails,
    RunRow,
    Setting,
    ShipTime,
    Trial,
    TrialDetails,
)
from truemile.workbook.store import Workbook
from truemile.workbook.typed import plain
from truemile.workbook.views import EntryView

R = TypeVar("R", bound=Entered)

#: What undoing takes out of use.
FACTS: Final[tuple[type[Any], ...]] = (
    Boat,
    ShipTime,
    Instrument,
    Setting,
    Mark,
    Course,
    Trial,
    TrialDetails,
    RunRow,
    Reading,
    Correction,
    Device,
    Event,
    RoundDetails,
    RecordingRow,
    LegRow,
)
#: What must not lose its footing: the column that leans on a table, and how to call the row that leans.
_LEANS: Final[tuple[tuple[str, Any, str], ...]] = (
    ("boats", Instrument.boat_id, "instrument"),
    ("instruments", Trial.instrument_id, "trial"),
    ("marks", Course.start_id, "course"),
    ("marks", Course.end_id, "course"),
    ("courses", Trial.course_id, "trial"),
    ("trials", Correction.trial_id, "correction"),
    ("settings", Correction.new_setting_id, "correction"),
    ("instruments", Event.instrument_id, "event"),
    ("recordings", LegRow.recording_id, "leg"),
)


def entries(
    wb: Workbook, *, subject: str | None = None, subject_id: str | int | None = None, limit: int | None = None
) -> tuple[EntryView, ...]:
    """Return the journal, newest first, of everything or of one table or row."""
    query = sa.select(Journal).order_by(Journal.id.desc())
    if subject is not None:
        query = query.where(Journal.subject == subject)
    if subject_id is not None:
        query = query.where(Journal.subject_id == str(subject_id))
    with wb.reading() as session:
        return tuple(_views(session, session.scalars(query.limit(limit)).all()))


def entry(wb: Workbook, entry_id: int) -> EntryView:
    """Return one entry.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    with wb.reading() as session:
        return next(_views(session, [_found(session, entry_id)]))


def undo(wb: Workbook, entry_id: int, *, author: str | None = None, reason: str = "") -> EntryView:
    """Take what an entry added out of use, or bring it back if the entry is itself an undo.

    Returns
    -------
    EntryView
        The new entry, which can be undone in turn.

    Raises
    ------
    NotFound
        If there is no such entry.
    ReadingError
        If it does not count any more, or other things that count rest on it.
    """
    with wb.writing() as session:
        target = _found(session, entry_id)
        return next(_views(session, [undo_within(session, wb, target, author=author, reason=reason)]))


def undo_within(session: Session, wb: Workbook, target: Journal, *, author: str | None, reason: str = "") -> Journal:
    """Undo an entry inside a change that is being made."""
    if not target.standing:
        by = _undone_by(session, [target.id]).get(target.id)
        raise ReadingError(
            "entry",
            target.id,
            "it is undone already" if by is None else f"it is undone already, by entry {by}",
            "Choose another entry." if by is None else f"Undo entry {by} to bring it back.",
        )
    first = target
    while first.undoes_id is not None:
        first = _found(session, first.undoes_id)
    before = first.standing
    _turn(session, target, standing=False)
    if before is first.standing:
        words = f"Undid entry {target.id}, without effect: {first.summary}"
    else:
        words = f"{'Brought back' if first.standing else 'Took back'}: {first.summary}"
    return note(
        session,
        wb,
        "undo",
        (target.subject, target.subject_id),
        words + (f" ({reason})" if reason else ""),
        author=author,
        detail={"reason": reason} if reason else {},
        undoes=target.id,
    )


def note(
    session: Session,
    wb: Workbook,
    action: str,
    subject: tuple[str, str | int],
    summary: str,
    *,
    author: str | None = None,
    detail: Mapping[str, Any] | None = None,
    undoes: int | None = None,
) -> Journal:
    """Add an entry to the journal inside a change that is being made, and give it its number."""
    written = Journal(
        at=wb.now(),
        author=author or wb.author,
        action=action,
        subject=subject[0],
        subject_id=str(subject[1]),
        summary=summary,
        detail=plain(dict(detail or {})),
        undoes_id=undoes,
        standing=True,
    )
    session.add(written)
    session.flush()
    return written


def keep(session: Session, written: Journal, row: Base) -> None:
    """Add a fact under its entry, and tell the entry the row's number if it has none yet."""
    session.add(row)
    session.flush()
    if not written.subject_id:
        written.subject_id = str(getattr(row, "id", ""))
        session.flush()


def standing(kind: type[R]) -> sa.Select[R]:
    """Return the query for the rows of a table that are in use."""
    return sa.select(kind).join(Journal, kind.entry_id == Journal.id).where(Journal.standing)


def stands(session: Session, row: Entered) -> bool:
    """True where a row is in use."""
    return bool(session.scalar(sa.select(Journal.standing).where(Journal.id == row.entry_id)))


def recomputed(journal: Sequence[tuple[int, int | None]]) -> dict[int, bool]:
    """Return which entries stand, worked out from who undoes whom, newest first."""
    result: dict[int, bool] = {}
    undone: set[int] = set()
    for number, undoes in sorted(journal, reverse=True):
        result[number] = number not in undone
        if undoes is not None and result[number]:
            undone.add(undoes)
    return result


def _turn(session: Session, target: Journal, *, standing: bool) -> None:
    """Let an entry count or not, and so on down the chain of undos; it counts while no undo of it does."""
    if target.standing is standing:
        return
    if target.undoes_id is None:
        for row in _rows_of(session, target):
            if standing:
                _refuse_without_footing(session, row, target)
            else:
                _refuse_if_leaned_on(session, row, target)
    target.standing = standing
    session.flush()
    if target.undoes_id is not None:
        undone = _found(session, target.undoes_id)
        # It may have been undone, brought back and undone again: every one of its undos has a say.
        _turn(session, undone, standing=undone.id not in _undone_by(session, [undone.id]))


def _rows_of(session: Session, target: Journal) -> Iterator[Any]:
    for kind in FACTS:
        yield from session.scalars(sa.select(kind).where(kind.entry_id == target.id))


def _refuse_if_leaned_on(session: Session, row: Any, target: Journal) -> None:  # noqa: ANN401
    for table, column, word in _LEANS:
        if row.__tablename__ != table:
            continue
        query = standing(column.class_).where(column == row.id, column.class_.entry_id != target.id)
        _refuse_leaners(session.scalars(query).all(), word, target)
    if isinstance(row, RunRow | LegRow):
        key = "run_ids" if isinstance(row, RunRow) else "leg_ids"
        users = session.scalars(standing(Correction).where(Correction.trial_id == row.trial_id)).all()
        _refuse_leaners([c for c in users if row.id in c.provenance.get(key, ())], "correction", target)
    if isinstance(row, Setting):
        measured = session.scalars(standing(Correction).where(Correction.entry_id != target.id)).all()
        _refuse_leaners([c for c in measured if c.provenance.get("setting_id") == row.id], "correction", target)


def _refuse_leaners(leaners: Sequence[Any], word: str, target: Journal) -> None:
    if leaners:
        numbers = ", ".join(str(leaner.id) for leaner in leaners[:5])
        raise ReadingError(
            "entry",
            target.id,
            f"{word} {numbers} rests on it ({target.summary})",
            f"Undo {word} {leaners[-1].id} first (entry {leaners[-1].entry_id}).",
        )


def _refuse_without_footing(session: Session, row: Any, target: Journal) -> None:  # noqa: ANN401
    """A row comes back into use only if all that it points at is in use."""
    kinds = {kind.__tablename__: kind for kind in FACTS}
    for column in row.__table__.columns:
        for key in column.foreign_keys:
            kind = kinds.get(key.column.table.name)
            value = getattr(row, column.key)
            if kind is None or value is None or (kind.__tablename__ == "settings" and isinstance(row, Reading)):
                continue
            parent = session.get(kind, value)
            if parent is not None and parent.entry_id != target.id and not stands(session, parent):
                raise ReadingError(
                    "entry",
                    target.id,
                    f"what it rests on ({kind.__tablename__} {value}) is out of use",
                    f"Bring entry {parent.entry_id} back first.",
                )


def _found(session: Session, entry_id: int) -> Journal:
    row = session.get(Journal, entry_id)
    if row is None:
        raise NotFound("entry", entry_id, "the journal has no entry of that number", "Look at the history first.")
    return row


def _undone_by(session: Session, numbers: Sequence[int]) -> dict[int, int]:
    query = sa.select(Journal.undoes_id, Journal.id).where(Journal.undoes_id.in_(numbers), Journal.standing)
    return {undoes: number for undoes, number in session.execute(query) if undoes is not None}


def _views(session: Session, rows: Sequence[Journal]) -> Iterator[EntryView]:
    undone = _undone_by(session, [row.id for row in rows])
    for row in rows:
        yield EntryView(
            row.id,
            row.at,
            row.author,
            row.action,
            row.subject,
            row.subject_id,
            row.summary,
            row.detail,
            row.undoes_id,
            undone.get(row.id),
            row.standing,
        )


def local_words(at: datetime) -> str:
    """Return an instant as it stands in a summary."""
    return f"{at:%Y-%m-%d %H:%M} UTC"
