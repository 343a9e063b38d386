"""The sheets of what a workbook holds."""

from __future__ import annotations

from datetime import datetime, timedelta

from truemile.core.errors import NotEnoughReadings, NotFound
from truemile.reports.card import CardSheet, set_card
from truemile.reports.history_sheet import HistorySheet, set_history
from truemile.reports.round_sheet import RoundSheet, set_round
from truemile.reports.trial_sheet import TrialSheet, set_trial
from truemile.reports.words import day_text
from truemile.workbook import boats, instruments, log_corrections, log_trials, vector_rounds
from truemile.workbook.history import log_history
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import RoundView
from truemile.workbook.views import CorrectionView, TrialView


def trial_report(wb: Workbook, trial_id: int) -> bytes:
    """Return the report of a trial as PDF, whether over a course or a vector round.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughReadings, ReadingError
        If its runs cannot give a factor.
    """
    try:
        return round_report(wb, vector_rounds.vector_round(wb, trial_id))
    except NotFound:
        view = log_trials.trial(wb, trial_id)
    boat = boats.boat(wb, view.instrument.boat_id)
    offset = timedelta(minutes=view.utc_offset_min)
    corrections = [log_corrections.correction(wb, each) for each in view.correction_ids]
    return set_trial(
        TrialSheet(
            boat=boat.name,
            instrument=view.instrument.name,
            trial=f"Trial {view.id}",
            day=day_text(view.ship_date),
            made_at=_made_at(view, corrections),
            result=log_trials.analysed(view),
            setting=view.setting,
            crew=view.crew,
            weather=view.weather,
            remarks=view.remarks,
            in_force=_fate(corrections, offset),
            demo=boat.demo,
        )
    )


def round_report(wb: Workbook, view: RoundView) -> bytes:
    """Return the report of a vector round as PDF.

    Raises
    ------
    NotEnoughReadings, NoSolution, ReadingError
        If its legs cannot give a factor.
    """
    boat = boats.boat(wb, view.instrument.boat_id)
    corrections = [log_corrections.correction(wb, each) for each in view.correction_ids]
    files = tuple(f"Recording {each.name}, SHA-256 {each.sha256[:16]}…" for each in view.recordings)
    ends = [leg.leg.started_at for leg in view.legs if leg.leg.started_at is not None]
    return set_round(
        RoundSheet(
            boat=boat.name,
            instrument=view.instrument.name,
            trial=f"Vector round {view.id}",
            day=day_text(view.ship_date),
            made_at=max([view.began_at, *ends, *(each.put_at for each in corrections)]),
            result=vector_rounds.solved(view),
            setting=view.setting,
            noted=tuple(text for text in (view.crew, view.weather, view.remarks, *files) if text),
            in_force=_fate(corrections, timedelta(minutes=view.utc_offset_min)),
            demo=boat.demo,
        )
    )


def history_report(wb: Workbook, instrument_id: int, *, at: datetime | None = None) -> bytes:
    """Return the history of a log as PDF, one page.

    Raises
    ------
    NotFound
        If there is no such instrument.
    NotEnoughReadings
        If no trial gives a factor yet.
    """
    found = log_history(wb, instrument_id, at=at)
    if not found.points:
        raise NotEnoughReadings(
            "instrument", found.instrument.name, "no trial gives a factor yet", "Make a trial or a vector round first."
        )
    boat = boats.boat(wb, found.instrument.boat_id)
    return set_history(
        HistorySheet(
            boat=boat.name,
            instrument=found.instrument.name,
            history=found,
            utc_offset=boat.ship_utc_offset,
            made_at=wb.at(at),
            demo=boat.demo,
        )
    )


def correction_card(wb: Workbook, instrument_id: int) -> bytes:
    """Return the correction card of a log as PDF.

    Raises
    ------
    NotFound
        If there is no such instrument, or no correction is in force.
    ReadingError
        If what is set in the log now cannot be compared with what was set during the trial.
    """
    view = instruments.instrument(wb, instrument_id)
    boat = boats.boat(wb, view.boat_id)
    found = log_corrections.in_force(wb, view.id)
    if found is None:
        raise NotFound(
            "instrument",
            view.name,
            "it has no correction in force",
            "Put the result of a trial in force first.",
        )
    ship = boat.ship_utc_offset
    return set_card(
        CardSheet(
            boat=boat.name,
            instrument=view.name,
            correction=found.correction,
            setting=None if view.setting is None else view.setting.setting,
            measured=f"Measured {_day(found.measured_at, ship)}, trial {found.trial_id}.",
            in_force=f"In force since {_day(found.valid_from, ship)}, put there by {found.author}.",
            made_at=found.put_at,
            resolution_kn=view.speed_resolution_kn,
            demo=boat.demo,
        )
    )


def _day(at: datetime, offset: timedelta) -> str:
    return day_text((at + offset).date())


def _made_at(view: TrialView, corrections: list[CorrectionView]) -> datetime:
    """Return the last instant at which something entered the report, so that the same trial gives the same sheet."""
    ends = [run.ended_at for run in view.runs if run.ended_at is not None]
    return max([view.began_at, *ends, *(each.put_at for each in corrections)])


def _fate(corrections: list[CorrectionView], offset: timedelta) -> str:
    standing = [each for each in corrections if each.standing]
    if not standing:
        return "Not put in force."
    last = standing[-1]
    since = _day(last.valid_from, offset)
    if last.new_setting is not None:
        return f"Set in the log as {last.new_setting} on {since} by {last.author}."
    return f"Applied by Truemile from {since}, put in force by {last.author}."
