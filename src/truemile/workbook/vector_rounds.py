"""Vector rounds: begun, filled with legs typed in or found in a recording, taken apart again, and solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import NotFound, ReadingError
from truemile.core.ground_vectors import MOST_LEGS, VectorConditions
from truemile.core.log_settings import reading_under
from truemile.workbook import journal
from truemile.workbook.boats import offset_at
from truemile.workbook.finding import find
from truemile.workbook.log_trials import any_trial_row, began
from truemile.workbook.round_entries import CONDITIONS, LegEntry, ReadLeg, RoundEntry
from truemile.workbook.round_rows import (
    LegView,
    RoundView,
    add_leg,
    round_conditions,
    round_details_row,
    round_view,
    same_leg,
)
from truemile.workbook.schema import Instrument, Journal, LegRow, RoundDetails, Trial, TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.typed import Faults, short

if TYPE_CHECKING:
    from truemile.core.vector_round import VectorRound

__all__ = [
    "LegEntry",
    "LegView",
    "RoundEntry",
    "RoundView",
    "amend_round",
    "record_leg",
    "record_legs",
    "round_result",
    "rounds",
    "solved",
    "start_round",
    "vector_round",
    "withdraw_leg",
    "withdraw_round",
]

_WORDS: Final = ("crew", "weather", "remarks")


def start_round(wb: Workbook, entry: RoundEntry, *, author: str | None = None) -> RoundView:
    """Begin a vector round.

    Raises
    ------
    NotFound
        If there is no such instrument.
    ReadingError
        Or `ManyFaults`, if the entry cannot be.
    """
    with wb.writing() as session:
        log = find(session, Instrument, entry.instrument, "instrument")
        offset = offset_at(session, log.boat_id, wb.now())
        faults = Faults()
        began_at = faults.take(lambda: began(wb, entry.date, offset), wb.now())
        usual = VectorConditions(speed_resolution_kn=log.speed_resolution_kn)
        details = faults.take(lambda: _details(entry, usual), {})
        faults.done()
        words = f"Vector round of {log.name}"
        written = journal.note(session, wb, "start round", ("trials", ""), words, author=author)
        row = Trial(
            instrument_id=log.id,
            course_id=None,
            kind=TrialKind.VECTOR_ROUND,
            began_at=began_at,
            utc_offset_min=offset_at(session, log.boat_id, began_at),
            floating_insisted=False,
            entry_id=written.id,
        )
        journal.keep(session, written, row)
        session.add(RoundDetails(trial_id=row.id, entry_id=written.id, **details))
        session.flush()
        return round_view(session, wb, row)


def amend_round(wb: Workbook, trial_id: int, entry: RoundEntry, *, author: str | None = None) -> RoundView:
    """Change conditions, crew, weather or remarks of a round; boxes left empty stay as they are.

    Raises
    ------
    NotFound
        If there is no such round.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or names what cannot change: instrument or date.
    """
    with wb.writing() as session:
        row = round_row(session, trial_id)
        faults = Faults()
        for field in ("instrument", "date"):
            if getattr(entry, field) is not None:
                faults.add(field, getattr(entry, field), "it stays as the round began", "Withdraw it and start anew.")
        was = round_details_row(session, row.id)
        details = faults.take(lambda: _details(entry, round_conditions(was)), {})
        faults.done()
        for field in _WORDS:
            if getattr(entry, field) is None:
                details[field] = getattr(was, field)
        words = f"Round {row.id}: conditions or remarks changed"
        written = journal.note(session, wb, "amend round", ("trials", row.id), words, author=author, detail=details)
        session.add(RoundDetails(trial_id=row.id, entry_id=written.id, **details))
        session.flush()
        return round_view(session, wb, row)


def rounds(wb: Workbook, instrument: int | str | None = None, *, withdrawn: bool = False) -> tuple[RoundView, ...]:
    """Return the vector rounds, newest first; withdrawn ones too if asked for."""
    with wb.reading() as session:
        query = sa.select(Trial) if withdrawn else journal.standing(Trial)
        query = query.where(Trial.kind == TrialKind.VECTOR_ROUND)
        if instrument is not None:
            query = query.where(Trial.instrument_id == find(session, Instrument, instrument, "instrument").id)
        rows = session.scalars(query.order_by(Trial.began_at.desc(), Trial.id.desc())).all()
        return tuple(round_view(session, wb, row) for row in rows)


def vector_round(wb: Workbook, trial_id: int) -> RoundView:
    """Return a round, also one that was withdrawn.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    with wb.reading() as session:
        return round_view(session, wb, round_row(session, trial_id, withdrawn=True))


def record_leg(wb: Workbook, trial_id: int, entry: LegEntry, *, author: str | None = None) -> LegView:
    """Keep a leg of a round; the same leg sent again changes nothing and gives the same answer.

    Raises
    ------
    NotFound
        If there is no such round.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or its id belongs to another leg.
    """
    with wb.writing() as session:
        row = round_row(session, trial_id)
        return _recorded(session, wb, row, [entry.read(_ship_date(row), _offset(row))], author)[0]


def record_legs(
    wb: Workbook, trial_id: int, entries: Sequence[LegEntry], *, author: str | None = None
) -> tuple[LegView, ...]:
    """Keep several legs, or none of them if one is at fault.

    Raises
    ------
    NotFound
        If there is no such round.
    ReadingError
        Or `ManyFaults`, with fields such as ``legs[3].heading``.
    """
    with wb.writing() as session:
        row = round_row(session, trial_id)
        read: list[ReadLeg] = []
        faults = Faults()
        for place, entry in enumerate(entries):
            one = Faults()
            found = one.take(lambda entry=entry: entry.read(_ship_date(row), _offset(row)), None)  # type: ignore[misc]
            faults.found += [fault.inside(f"legs[{place}]") for fault in one.found]
            if found is not None:
                read.append(found)
        faults.done()
        return _recorded(session, wb, row, read, author)


def withdraw_leg(wb: Workbook, leg_id: str, *, author: str | None = None, reason: str = "") -> RoundView:
    """Take a leg out of use; it stays in the history and can be brought back by undoing the entry.

    Raises
    ------
    NotFound
        If there is no such leg.
    ReadingError
        If it is withdrawn already, or a correction in force rests on it.
    """
    with wb.writing() as session:
        leg = session.get(LegRow, leg_id)
        if leg is None:
            raise NotFound("leg", leg_id, "there is no leg of that id", "Look at the legs of the round.")
        journal.undo_within(session, wb, session.get_one(Journal, leg.entry_id), author=author, reason=reason)
        return round_view(session, wb, session.get_one(Trial, leg.trial_id))


def withdraw_round(wb: Workbook, trial_id: int, *, author: str | None = None, reason: str = "") -> RoundView:
    """Take a round out of use; it stays in the history and can be brought back by undoing the entry.

    Raises
    ------
    NotFound
        If there is no such round.
    ReadingError
        If it is withdrawn already, or a correction in force rests on it.
    """
    with wb.writing() as session:
        row = round_row(session, trial_id, withdrawn=True)
        journal.undo_within(session, wb, session.get_one(Journal, row.entry_id), author=author, reason=reason)
        return round_view(session, wb, row)


def round_result(wb: Workbook, trial_id: int) -> VectorRound:
    """Return what a round gives, from its raw readings as one setting of the log would have shown them.

    Raises
    ------
    NotFound
        If there is no such round.
    NotEnoughReadings, NoSolution, ReadingError
        If its legs cannot give a factor.
    """
    return solved(vector_round(wb, trial_id))


def solved(view: RoundView) -> VectorRound:
    """Return what the legs of a round give."""
    from truemile.core.vector_round import solve_round

    legs = [
        replace(item.leg, indicated_kn=reading_under(item.leg.indicated_kn, item.setting, view.setting))
        for item in view.legs
    ]
    return solve_round(legs, view.conditions, setting=view.setting)


def round_row(session: Session, trial_id: int, *, withdrawn: bool = False) -> Trial:
    """Return a round's row.

    Raises
    ------
    NotFound
        If there is none of that number, it is a trial over a course, or it was withdrawn and that is not asked for.
    """
    row = any_trial_row(session, trial_id)
    if row.kind is not TrialKind.VECTOR_ROUND:
        raise NotFound("round", trial_id, "that trial was made over a course", "Look at it among the trials.")
    if not withdrawn and not journal.stands(session, row):
        raise NotFound("round", trial_id, "that round was withdrawn", f"Undo the undo of entry {row.entry_id} first.")
    return row


def _details(entry: RoundEntry, usual: VectorConditions) -> dict[str, Any]:
    faults = Faults()
    conditions = faults.take(lambda: entry.read_conditions(usual), usual)
    words = {
        field: faults.take(lambda field=field: short(getattr(entry, field), field), "")  # type: ignore[misc]
        for field in _WORDS
    }
    faults.done()
    return {**{name: getattr(conditions, name) for name in CONDITIONS}, **words}


def _ship_date(row: Trial) -> Any:  # noqa: ANN401
    return (row.began_at + _offset(row)).date()


def _offset(row: Trial) -> timedelta:
    return timedelta(minutes=row.utc_offset_min)


def _recorded(
    session: Session, wb: Workbook, row: Trial, read: Sequence[ReadLeg], author: str | None
) -> tuple[LegView, ...]:
    for item in read:
        if same_leg(session, row, item) is None:
            words = f"Leg on {item.leg.heading_true_deg:03.0f}° true of round {row.id}"
            written = journal.note(session, wb, "record leg", ("legs", item.id), words, author=author)
            add_leg(session, row, item, written)
    return legs_of(session, wb, row, [item.id for item in read])


def legs_of(session: Session, wb: Workbook, row: Trial, ids: Sequence[str]) -> tuple[LegView, ...]:
    """Return legs just kept as views.

    Raises
    ------
    ReadingError
        If the round has too many now.
    """
    view = round_view(session, wb, row)
    if len(view.legs) > MOST_LEGS:
        raise ReadingError(
            "legs", len(view.legs), f"a round has at most {MOST_LEGS} legs", "Start another round for the rest."
        )
    known = {leg.id: leg for leg in (*view.legs, *view.withdrawn_legs)}
    return tuple(known[leg_id] for leg_id in ids)
