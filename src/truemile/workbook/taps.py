"""Taps kept as they came, and the runs that are made of them; whatever is acknowledged is on the disk."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.errors import ManyFaults, NavigationError, NotFound, ReadingError
from truemile.workbook import journal
from truemile.workbook.entries import Raw, ReadRun
from truemile.workbook.instruments import setting_row_at
from truemile.workbook.log_trials import all_runs, recorded, trial_row
from truemile.workbook.run_rows import add_readings, reading_id
from truemile.workbook.schema import Journal, Reading, RunRow, TapRow, Trial
from truemile.workbook.store import Workbook
from truemile.workbook.tap_runs import RUN_PAGE, Tap, TapEntry, TapRun, assemble_run
from truemile.workbook.trial_summary import TrialSummary, trial_summary
from truemile.workbook.typed import read_entry
from truemile.workbook.views import RunView

__all__ = [
    "RUN_PAGE",
    "RefusedTap",
    "RunOutcome",
    "RunState",
    "Tap",
    "TapEntry",
    "TapRun",
    "TapsTaken",
    "TrialSummary",
    "assemble_run",
    "open_runs",
    "settle_taps",
    "take_taps",
    "taps",
    "trial_summary",
]

#: A page that was without the laptop for a day sends no more than this at once.
MOST_TAPS: Final = 1000
#: Why a run was taken out of use by its own page, and not by hand.
_DROPPED: Final = "dropped on the run page"
_ANEW: Final = "changed on the run page"


class RunState(StrEnum):
    """What has become of the run that taps make."""

    OPEN = "open"
    KEPT = "kept"
    DROPPED = "dropped"
    #: Somebody took it back by hand; the page does not bring it in again.
    WITHDRAWN = "withdrawn"
    #: There is no such trial here, or it was withdrawn.
    UNKNOWN_TRIAL = "unknown trial"


@dataclass(frozen=True, slots=True)
class RefusedTap:
    """A tap that was not kept, with its id as sent, if it had one."""

    id: str
    error: NavigationError


@dataclass(frozen=True, slots=True)
class RunOutcome:
    """What has become of one run.

    Attributes
    ----------
    run_id
        As the page calls it; a run that was changed after it was kept has a new id in the workbook.
    run
        As kept, or None.
    reasons
        Why it is not kept, or not as the page has it; its taps are kept all the same.
    """

    run_id: str
    trial_id: int
    state: RunState
    run: RunView | None
    reasons: tuple[NavigationError, ...]


@dataclass(frozen=True, slots=True)
class TapsTaken:
    """What has become of a post.

    Attributes
    ----------
    acknowledged
        Ids as sent, of taps that are on the disk.
    """

    acknowledged: tuple[str, ...]
    refused: tuple[RefusedTap, ...]
    runs: tuple[RunOutcome, ...]

    @property
    def trial_ids(self) -> tuple[int, ...]:
        """The trials that are known here and were touched."""
        known = [run.trial_id for run in self.runs if run.state is not RunState.UNKNOWN_TRIAL]
        return tuple(dict.fromkeys(known))


def take_taps(
    wb: Workbook,
    given: Sequence[TapEntry | Mapping[str, object]],
    at: datetime | None = None,
    *,
    sent_by: int | None = None,
    author: str | None = None,
) -> TapsTaken:
    """Keep taps, once each however often they are sent, and make or extend the runs that are whole.

    Parameters
    ----------
    given
        Forms, or what JSON gave; each stands or falls by itself.
    at
        When they arrived; now if None.
    sent_by
        Number of the joined phone that sent them; None for the laptop's own page.
    author
        Signs the runs; the one who said that it is whole, if None.

    Raises
    ------
    ReadingError
        If there are too many at once.
    """
    if len(given) > MOST_TAPS:
        raise ReadingError(
            "taps", len(given), f"at most {MOST_TAPS} are taken at once", "Send them in parts, the oldest first."
        )
    acknowledged: list[str] = []
    refused: list[RefusedTap] = []
    with wb.writing() as session:
        received = wb.at(at)
        touched: dict[tuple[int, str], None] = {}
        for item in given:
            sent_id = str(item.id if isinstance(item, TapEntry) else item.get("id") or "")
            try:
                tap = (item if isinstance(item, TapEntry) else read_entry(TapEntry, item)).read()
                _keep(session, tap, received, sent_by)
            except NavigationError as error:
                refused.append(RefusedTap(sent_id[:60], error))
                continue
            acknowledged.append(sent_id)
            if tap.page == RUN_PAGE:
                touched[tap.trial_id, tap.run_id] = None
        runs = tuple(_settled(session, wb, trial_id, run_id, author) for trial_id, run_id in touched)
    return TapsTaken(tuple(acknowledged), tuple(refused), runs)


def settle_taps(wb: Workbook, trial_id: int, *, author: str | None = None) -> tuple[RunOutcome, ...]:
    """Make or extend the runs of a trial from all taps that were ever kept for it.

    Use it when what kept a run from being made was put right: a trial was brought back, a correction taken back.
    """
    with wb.writing() as session:
        return tuple(_settled(session, wb, trial_id, run_id, author) for run_id in _by_run(_taps_of(session, trial_id)))


def open_runs(wb: Workbook, trial_id: int) -> tuple[TapRun, ...]:
    """Return the runs that were begun on a run page, and are neither kept as runs nor dropped, oldest first."""
    with wb.reading() as session:
        found = []
        for run_id, members in _by_run(_taps_of(session, trial_id)).items():
            run = assemble_run(members)
            row = _newest(session, run_id)
            if run.taps and not run.dropped and (row is None or row.trial_id != trial_id):
                found.append(run)
    return tuple(sorted(found, key=lambda run: (run.taps[0].pressed_at_ms, run.run_id)))


def taps(wb: Workbook, trial_id: int, *, run_id: str | None = None) -> tuple[Tap, ...]:
    """Return the taps kept for a trial or one of its runs, in the order received."""
    with wb.reading() as session:
        return tuple(tap for tap in _taps_of(session, trial_id) if run_id in {None, tap.run_id})


def _keep(session: Session, tap: Tap, received: datetime, sent_by: int | None) -> None:
    before = session.get(TapRow, tap.id)
    if before is not None:
        if _tap(before).content != tap.content:
            raise ReadingError(
                "id",
                tap.id,
                "a different tap is kept under that id",
                "Keep it on the page, and enter the run by hand if it is missing.",
            )
        return
    row = TapRow(
        id=tap.id,
        device_id=tap.device_id,
        device_name=tap.device_name,
        page=tap.page,
        trial_id=tap.trial_id,
        run_id=tap.run_id,
        kind=tap.kind,
        value=tap.value,
        pressed_at_ms=tap.pressed_at_ms,
        clock_offset_ms=tap.clock_offset_ms,
        clock_offset_u_ms=tap.clock_offset_u_ms,
        by=tap.by,
        sent_by=sent_by,
        received_at=received,
    )
    session.add(row)
    session.flush()


def _taps_of(session: Session, trial_id: int, run_id: str | None = None) -> list[Tap]:
    query = sa.select(TapRow).where(TapRow.trial_id == trial_id, TapRow.page == RUN_PAGE)
    if run_id is not None:
        query = query.where(TapRow.run_id == run_id)
    return [_tap(row) for row in session.scalars(query.order_by(TapRow.received_at, TapRow.pressed_at_ms, TapRow.id))]


def _tap(row: TapRow) -> Tap:
    return Tap(
        row.id,
        row.device_id,
        row.page,
        row.trial_id,
        row.run_id,
        row.kind,
        row.value,
        row.pressed_at_ms,
        row.device_name,
        row.clock_offset_ms,
        row.clock_offset_u_ms,
        row.by,
    )


def _by_run(found: Iterable[Tap]) -> dict[str, list[Tap]]:
    runs: dict[str, list[Tap]] = {}
    for tap in found:
        runs.setdefault(tap.run_id, []).append(tap)
    return runs


def _settled(session: Session, wb: Workbook, trial_id: int, run_id: str, author: str | None) -> RunOutcome:
    """Bring the workbook's run in step with its taps; where that cannot be, all stays as it was and says why."""
    try:
        trial = trial_row(session, trial_id)
    except NotFound as error:
        return RunOutcome(run_id, trial_id, RunState.UNKNOWN_TRIAL, None, (error,))
    wanted = assemble_run(_taps_of(session, trial_id, run_id))
    faults: tuple[NavigationError, ...] = ()
    try:
        with session.begin_nested():
            _bring_in_step(session, wb, trial, wanted, author or _author(wanted))
    except ManyFaults as error:
        faults = error.faults
    except NavigationError as error:
        faults = (error,)
    return _outcome(session, trial, wanted, faults)


def _bring_in_step(session: Session, wb: Workbook, trial: Trial, wanted: TapRun, author: str | None) -> None:
    row = _newest(session, wanted.run_id)
    if row is not None and row.trial_id != trial.id:
        raise ReadingError(
            "run_id",
            wanted.run_id,
            f"trial {row.trial_id} has a run of that id",
            "Load the page again, so that the next run gets an id of its own.",
        )
    stands = row is not None and journal.stands(session, row)
    if row is not None and not stands and _withdrawn_by_hand(session, row):
        return
    if wanted.dropped:
        if row is not None and stands:
            _take_back(session, wb, row, author, _DROPPED)
        return
    # A run that was kept stays so when more taps come that do not fit; the page is told why.
    if wanted.read is None or not (wanted.kept or stands):
        return
    if row is None or not stands:
        _record(session, wb, trial, wanted.read, author)
    elif _same_but_for_readings(session, row, wanted.read):
        _extend(session, wb, trial, row, wanted.read, author)
    else:
        _take_back(session, wb, row, author, _ANEW)
        _record(session, wb, trial, wanted.read, author, place=row.place)


def _record(
    session: Session, wb: Workbook, trial: Trial, read: ReadRun, author: str | None, place: int | None = None
) -> None:
    new_id = _free_id(session, read.id)
    renamed = ReadRun(new_id, read.run, read.raw, read.noted_by, read.timed_by, read.helm, read.remarks)
    recorded(session, wb, trial, [renamed], author, place=place)


def _take_back(session: Session, wb: Workbook, row: RunRow, author: str | None, reason: str) -> None:
    journal.undo_within(session, wb, session.get_one(Journal, row.entry_id), author=author, reason=reason)


def _extend(session: Session, wb: Workbook, trial: Trial, row: RunRow, read: ReadRun, author: str | None) -> None:
    """Keep the readings of a run that arrived after it was kept."""
    there = _reading_ids(session, row)
    late = [raw for raw in read.raw if _id_in(row, raw) not in there]
    if not late:
        return
    words = f"{len(late)} late {'reading' if len(late) == 1 else 'readings'} of a run of trial {trial.id}"
    written = journal.note(session, wb, "add readings", ("runs", row.id), words, author=author)
    setting = setting_row_at(session, trial.instrument_id, row.started_at or trial.began_at)
    add_readings(session, trial, row, late, setting, written, first=len(there))


def _same_but_for_readings(session: Session, row: RunRow, read: ReadRun) -> bool:
    run = read.run
    same = (
        row.direction is run.direction
        and row.elapsed_s == run.elapsed_s
        and row.started_at == run.started_at
        and row.speed_group == run.speed_group
        and (row.noted_by, row.timed_by, row.helm, row.remarks)
        == (read.noted_by, read.timed_by, read.helm, read.remarks)
    )
    return same and _reading_ids(session, row) <= {_id_in(row, raw) for raw in read.raw}


def _reading_ids(session: Session, row: RunRow) -> set[str]:
    return set(session.scalars(sa.select(Reading.id).where(Reading.run_id == row.id)))


def _id_in(row: RunRow, raw: Raw) -> str:
    return reading_id(row.id, raw.id or raw.kind.value)


def _versions(run_id: str) -> Iterable[str]:
    """Give the ids under which a run is kept, one after the other, if the page changes it after it was kept."""
    yield run_id
    number = 2
    while True:
        yield str(uuid.uuid5(uuid.UUID(run_id), f"version {number}"))
        number += 1


def _newest(session: Session, run_id: str) -> RunRow | None:
    newest = None
    for version in _versions(run_id):
        row = session.get(RunRow, version)
        if row is None:
            return newest
        newest = row
    return newest


def _free_id(session: Session, run_id: str) -> str:
    return next(version for version in _versions(run_id) if session.get(RunRow, version) is None)


def _withdrawn_by_hand(session: Session, row: RunRow) -> bool:
    query = sa.select(Journal).where(Journal.undoes_id == row.entry_id, Journal.standing).order_by(Journal.id.desc())
    undo = session.scalars(query).first()
    # Where the undo is not the last word, the trial's history is somebody's own doing.
    return undo is None or undo.detail.get("reason") not in {_DROPPED, _ANEW}


def _author(wanted: TapRun) -> str | None:
    signed = [tap.by or tap.device_name for tap in reversed(wanted.taps) if tap.by or tap.device_name]
    return signed[0] if signed else None


def _outcome(session: Session, trial: Trial, wanted: TapRun, faults: tuple[NavigationError, ...]) -> RunOutcome:
    row = _newest(session, wanted.run_id)
    if row is None or row.trial_id != trial.id:
        reasons = faults or (wanted.reasons if wanted.kept else ())
        state = RunState.DROPPED if wanted.dropped else RunState.OPEN
        return RunOutcome(wanted.run_id, trial.id, state, None, reasons)
    view = next((found for found in all_runs(session, trial) if found.id == row.id), None)
    if journal.stands(session, row):
        return RunOutcome(wanted.run_id, trial.id, RunState.KEPT, view, faults or wanted.reasons)
    state = RunState.WITHDRAWN if _withdrawn_by_hand(session, row) else RunState.DROPPED
    return RunOutcome(wanted.run_id, trial.id, state, view, faults)
