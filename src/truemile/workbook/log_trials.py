"""Trials of the log: started, filled with runs, taken apart again, analysed, imported and exported."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.course_judge import check_marks
from truemile.core.errors import NavigationError, NotFound, ReadingError, gather
from truemile.core.log_runs import MOST_RUNS, Conditions, Run, check_apart, check_run, usual_steering
from truemile.core.log_settings import LogSetting, reading_under
from truemile.core.measured_course import MeasuredCourse
from truemile.workbook import journal
from truemile.workbook.boats import offset_at
from truemile.workbook.courses import course_view
from truemile.workbook.entries import RUN_COLUMNS, ReadRun, RunEntry, TrialEntry
from truemile.workbook.finding import find
from truemile.workbook.instruments import instrument_view, log_setting, setting_in, setting_row_at, setting_rows
from truemile.workbook.run_rows import add_run, run_views
from truemile.workbook.runs_files import Kind, parse_runs_text, raw_rows, read_rows
from truemile.workbook.schema import Correction, Course, Instrument, Journal, RunRow, Trial, TrialDetails, TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.trial_details import conditions_of, details_of, details_row, usual_conditions
from truemile.workbook.trial_export import runs_csv, trial_data
from truemile.workbook.typed import Faults, day_of, instant, reraised, yes_no
from truemile.workbook.views import CourseView, InstrumentView, RunView, TrialView

if TYPE_CHECKING:
    from truemile.core.log_trial import TrialResult

__all__ = [
    "amend_trial",
    "export_runs_csv",
    "export_trial",
    "import_runs",
    "parse_runs_text",
    "record_run",
    "reduced_runs",
    "replace_run",
    "run",
    "start_trial",
    "trial",
    "trial_result",
    "trials",
    "withdraw_run",
    "withdraw_trial",
]


def start_trial(wb: Workbook, entry: TrialEntry, *, author: str | None = None) -> TrialView:
    """Start a trial.

    Raises
    ------
    NotFound
        If there is no such instrument or course.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or the course has a floating mark and nobody insists.
    """
    with wb.writing() as session:
        log = find(session, Instrument, entry.instrument, "instrument")
        course = course_view(session, find(session, Course, entry.course, "course"))
        offset = offset_at(session, log.boat_id, wb.now())
        faults = Faults()
        kind = faults.take(entry.read_kind, TrialKind.CALIBRATION)
        began_at = faults.take(lambda: began(wb, entry.date, offset), wb.now())
        usual = replace(usual_conditions(log), steering=usual_steering(course.course))
        details = faults.take(lambda: details_of(entry, usual), {})
        insisted = faults.take(lambda: yes_no(entry.insist_floating, "insist_floating"), False)
        faults.take(lambda: check_marks(course.course, insist=insisted), None)
        faults.done()
        floating = course.course.floating_marks
        words = f"Trial of {log.name} on {course.name}" + (
            f", although {course.course.what_floats}" if floating else ""
        )
        written = journal.note(
            session,
            wb,
            "start trial",
            ("trials", ""),
            words,
            author=author,
            detail={"insist_floating": insisted, "floating_marks": list(floating)},
        )
        row = Trial(
            instrument_id=log.id,
            course_id=course.id,
            kind=kind,
            began_at=began_at,
            utc_offset_min=offset_at(session, log.boat_id, began_at),
            floating_insisted=bool(insisted and floating),
            entry_id=written.id,
        )
        journal.keep(session, written, row)
        session.add(TrialDetails(trial_id=row.id, entry_id=written.id, **details))
        session.flush()
        return trial_view(session, wb, row)


def amend_trial(wb: Workbook, trial_id: int, entry: TrialEntry, *, author: str | None = None) -> TrialView:
    """Change conditions, crew, weather or remarks of a trial; boxes left empty stay as they are.

    Raises
    ------
    NotFound
        If there is no such trial.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or names what cannot change: instrument, course, date or kind.
    """
    with wb.writing() as session:
        row = trial_row(session, trial_id)
        faults = Faults()
        for field in ("instrument", "course", "date", "kind", "insist_floating"):
            if getattr(entry, field) is not None:
                faults.add(field, getattr(entry, field), "it stays as the trial began", "Withdraw it and start anew.")
        was = details_row(session, row.id)
        details = faults.take(lambda: details_of(entry, conditions_of(was)), {})
        faults.done()
        for field in ("crew", "weather", "remarks"):
            if getattr(entry, field) is None:
                details[field] = getattr(was, field)
        words = f"Trial {row.id}: conditions or remarks changed"
        written = journal.note(session, wb, "amend trial", ("trials", row.id), words, author=author, detail=details)
        session.add(TrialDetails(trial_id=row.id, entry_id=written.id, **details))
        session.flush()
        return trial_view(session, wb, row)


def trials(
    wb: Workbook, instrument: int | str | None = None, *, kind: TrialKind | None = None, withdrawn: bool = False
) -> tuple[TrialView, ...]:
    """Return the trials over a course, newest first; withdrawn ones too if asked for."""
    with wb.reading() as session:
        query = sa.select(Trial) if withdrawn else journal.standing(Trial)
        query = query.where(Trial.kind != TrialKind.VECTOR_ROUND)
        if instrument is not None:
            query = query.where(Trial.instrument_id == find(session, Instrument, instrument, "instrument").id)
        if kind is not None:
            query = query.where(Trial.kind == kind)
        rows = session.scalars(query.order_by(Trial.began_at.desc(), Trial.id.desc())).all()
        return tuple(trial_view(session, wb, row) for row in rows)


def trial(wb: Workbook, trial_id: int) -> TrialView:
    """Return a trial, also one that was withdrawn.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    with wb.reading() as session:
        return trial_view(session, wb, trial_row(session, trial_id, withdrawn=True))


def record_run(wb: Workbook, trial_id: int, entry: RunEntry, *, author: str | None = None) -> RunView:
    """Keep a run of a trial; the same run sent again changes nothing and gives the same answer.

    Raises
    ------
    NotFound
        If there is no such trial.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or its id belongs to another run.
    """
    with wb.writing() as session:
        row = trial_row(session, trial_id)
        read = entry.read(_ship_date(row), timedelta(minutes=row.utc_offset_min))
        return recorded(session, wb, row, [read], author)[0]


def replace_run(wb: Workbook, run_id: str, entry: RunEntry, *, author: str | None = None) -> RunView:
    """Correct a run that was entered wrongly: the old one is withdrawn and stays in the history.

    Raises
    ------
    NotFound
        If there is no such run.
    ReadingError
        Or `ManyFaults`, if the entry cannot be, or a correction in force rests on the run.
    """
    with wb.writing() as session:
        was = _run_row(session, run_id)
        row = trial_row(session, was.trial_id)
        read = entry.read(_ship_date(row), timedelta(minutes=row.utc_offset_min))
        if read.id == was.id:
            raise ReadingError("id", read.id, "a corrected run is a new run", "Leave the id empty.")
        journal.undo_within(session, wb, session.get_one(Journal, was.entry_id), author=author, reason="replaced")
        return recorded(session, wb, row, [read], author, place=was.place)[0]


def withdraw_run(wb: Workbook, run_id: str, *, author: str | None = None, reason: str = "") -> RunView:
    """Take a run out of use; it stays in the history and can be brought back by undoing the entry.

    Raises
    ------
    NotFound
        If there is no such run.
    ReadingError
        If it is withdrawn already, or a correction in force rests on it.
    """
    with wb.writing() as session:
        row = _run_row(session, run_id)
        journal.undo_within(session, wb, session.get_one(Journal, row.entry_id), author=author, reason=reason)
        return _view_of_run(session, row)


def withdraw_trial(wb: Workbook, trial_id: int, *, author: str | None = None, reason: str = "") -> TrialView:
    """Take a trial out of use; it stays in the history and can be brought back by undoing the entry.

    Raises
    ------
    NotFound
        If there is no such trial.
    ReadingError
        If it is withdrawn already, or a correction in force rests on it.
    """
    with wb.writing() as session:
        row = trial_row(session, trial_id, withdrawn=True)
        journal.undo_within(session, wb, session.get_one(Journal, row.entry_id), author=author, reason=reason)
        return trial_view(session, wb, row)


def run(wb: Workbook, run_id: str) -> RunView:
    """Return one run, also one that was withdrawn.

    Raises
    ------
    NotFound
        If there is none of that id.
    """
    with wb.reading() as session:
        return _view_of_run(session, _run_row(session, run_id))


def import_runs(
    wb: Workbook, trial_id: int, text: str | bytes, kind: Kind = "csv", *, author: str | None = None
) -> tuple[RunView, ...]:
    """Keep all runs of a file, or none of them if one is at fault.

    Raises
    ------
    FileError
        If it is no file of runs, or too large.
    ReadingError
        Or `ManyFaults`, with fields such as ``rows[3].elapsed``.
    NotFound
        If there is no such trial.
    """
    rows, _ = raw_rows(text, kind)
    with wb.writing() as session:
        row = trial_row(session, trial_id)
        read = read_rows(rows, _ship_date(row), timedelta(minutes=row.utc_offset_min))
        return recorded(session, wb, row, [item for _, item in read], author)


def export_trial(wb: Workbook, trial_id: int) -> dict[str, Any]:
    """Return all that a trial holds, ready for JSON, with the unit in each name.

    Raises
    ------
    NotFound
        If there is no such trial.
    """
    return trial_data(trial(wb, trial_id))


def export_runs_csv(wb: Workbook, trial_id: int) -> str:
    """Return the runs in use as CSV that `import_runs` reads back the same.

    Raises
    ------
    NotFound
        If there is no such trial.
    """
    return runs_csv(trial(wb, trial_id))


def trial_result(wb: Workbook, trial_id: int) -> TrialResult:
    """Return what a trial gives, from its raw readings as one setting of the log would have shown them.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughReadings, ReadingError
        If its runs cannot give a factor.
    """
    return analysed(trial(wb, trial_id))


def analysed(view: TrialView) -> TrialResult:
    """Return what the runs of a trial give."""
    return reraised(
        lambda: _analysed(view.course.course, reduced_runs(view), view.conditions, view.setting), RUN_COLUMNS
    )


@lru_cache(maxsize=256)
def _analysed(
    course: MeasuredCourse, runs: tuple[Run, ...], conditions: Conditions, setting: LogSetting | None
) -> TrialResult:
    """Work a trial out once for the same facts: a history looks at all trials of a log again and again."""
    from truemile.core.log_trial import analyse_trial

    return analyse_trial(course, runs, conditions, setting=setting)


def reduced_runs(view: TrialView) -> tuple[Run, ...]:
    """Return the runs as the log would have shown them with the setting of the first, so that they compare."""
    return tuple(_reduced(item.run, item.setting, view.setting) for item in view.runs)


def _reduced(run: Run, was: LogSetting | None, wanted: LogSetting | None) -> Run:
    if was == wanted:
        return run
    return replace(
        run,
        speed_readings_kn=tuple(reading_under(value, was, wanted) for value in run.speed_readings_kn),
        log_start_nm=None if run.log_start_nm is None else reading_under(run.log_start_nm, was, wanted),
        log_stop_nm=None if run.log_stop_nm is None else reading_under(run.log_stop_nm, was, wanted),
    )


def recorded(
    session: Session,
    wb: Workbook,
    row: Trial,
    read: Sequence[ReadRun],
    author: str | None,
    place: int | None = None,
) -> tuple[RunView, ...]:
    """Keep runs of a trial inside a change that is being made.

    Raises
    ------
    ReadingError
        If one cannot be on this course, was made while another was, has the id of another run, or the trial then has
        too many; `ManyFaults` if several are at fault.
    """
    log = session.get_one(Instrument, row.instrument_id)
    _check_on_course(session, row, read)
    kept: list[RunRow] = []
    for item in read:
        started = item.run.started_at or row.began_at
        kept.append(
            add_run(session, wb, row, item, setting_row_at(session, log.id, started), author=author, place=place)
        )
    in_use = session.scalar(
        sa.select(sa.func.count()).select_from(
            journal.standing(RunRow).where(RunRow.trial_id == row.id).with_only_columns(RunRow.id).subquery()
        )
    )
    if (in_use or 0) > MOST_RUNS:
        raise ReadingError("runs", in_use, f"a trial has at most {MOST_RUNS} runs", "Start another trial for the rest.")
    views = {view.id: view for view in all_runs(session, row)}
    check_apart([view.run for view in views.values() if not view.withdrawn])
    return tuple(views[item.id] for item in kept)


def _check_on_course(session: Session, row: Trial, read: Sequence[ReadRun]) -> None:
    course = course_view(session, session.get_one(Course, row.course_id)).course
    names = {"speed_readings_kn": "readings", "log_stop_nm": "log_stop"}
    faults: list[NavigationError] = []
    for number, item in enumerate(read):
        try:
            check_run(course, item.run)
        except NavigationError as error:
            named = error.renamed(lambda field: names.get(field, field))
            faults.append(named if len(read) == 1 else named.inside(f"rows[{number}]"))
    gather(faults)


def began(wb: Workbook, text: str | None, offset_min: int) -> datetime:
    """Return when a trial began: a date alone is noon of that day, except today, which is now.

    Raises
    ------
    ReadingError
        If it is no date, or lies in the future.
    """
    now, offset = wb.now(), timedelta(minutes=offset_min)
    if text is None:
        return now
    if len(text) <= len("2026-05-14"):
        day = day_of(text, "date")
        found = datetime.combine(day, time(12), UTC) - offset
        if day == (now + offset).date():
            return now
    else:
        found = instant(text, "date", None, offset)
    if found > now + timedelta(days=1):
        raise ReadingError("date", text, "a trial is written down when it is made", "Check year and month.")
    return found


def _ship_date(row: Trial) -> Any:  # noqa: ANN401
    return (row.began_at + timedelta(minutes=row.utc_offset_min)).date()


def trial_row(session: Session, trial_id: int, *, withdrawn: bool = False) -> Trial:
    """Return a trial's row.

    Raises
    ------
    NotFound
        If there is none of that number, it is a vector round, or it was withdrawn and that is not asked for.
    """
    row = any_trial_row(session, trial_id)
    if row.kind is TrialKind.VECTOR_ROUND:
        raise NotFound("trial", trial_id, "that trial is a vector round, without a course", "Look at the rounds.")
    if not withdrawn and not journal.stands(session, row):
        raise NotFound("trial", trial_id, "that trial was withdrawn", f"Undo the undo of entry {row.entry_id} first.")
    return row


def any_trial_row(session: Session, trial_id: int) -> Trial:
    """Return the row of a trial of whatever kind, also of one that was withdrawn.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    row = session.get(Trial, trial_id)
    if row is None:
        raise NotFound("trial", trial_id, "there is no trial of that number", "Look at the list of trials.")
    return row


def _run_row(session: Session, run_id: str) -> RunRow:
    row = session.get(RunRow, run_id)
    if row is None:
        raise NotFound("run", run_id, "there is no run of that id", "Look at the runs of the trial.")
    return row


def all_runs(session: Session, row: Trial) -> tuple[RunView, ...]:
    """Return all runs of a trial, those in use first and in order, then the withdrawn ones."""
    begun = setting_rows(session, row.instrument_id)
    return run_views(session, row.id, lambda at: log_setting(setting_in(begun, at or row.began_at)))


def _view_of_run(session: Session, row: RunRow) -> RunView:
    trial = session.get_one(Trial, row.trial_id)
    return next(view for view in all_runs(session, trial) if view.id == row.id)


@dataclass(frozen=True, slots=True)
class _Parts:
    """What a trial's view is put together from."""

    instrument: InstrumentView
    course: CourseView
    runs: tuple[RunView, ...]


def trial_view(session: Session, wb: Workbook, row: Trial) -> TrialView:
    """Return a trial's row as a view."""
    details = details_row(session, row.id)
    parts = _Parts(
        instrument_view(session, wb, session.get_one(Instrument, row.instrument_id)),
        course_view(session, session.get_one(Course, row.course_id)),
        all_runs(session, row),
    )
    corrections = session.scalars(
        journal.standing(Correction).where(Correction.trial_id == row.id).order_by(Correction.id)
    )
    written = session.get_one(Journal, row.entry_id)
    return TrialView(
        id=row.id,
        kind=row.kind,
        instrument=parts.instrument,
        course=parts.course,
        began_at=row.began_at,
        utc_offset_min=row.utc_offset_min,
        conditions=conditions_of(details),
        crew=details.crew,
        weather=details.weather,
        remarks=details.remarks,
        floating_insisted=row.floating_insisted,
        runs=tuple(view for view in parts.runs if not view.withdrawn),
        withdrawn_runs=tuple(view for view in parts.runs if view.withdrawn),
        correction_ids=tuple(item.id for item in corrections),
        author=written.author,
        withdrawn=not written.standing,
        entry_id=row.entry_id,
    )
