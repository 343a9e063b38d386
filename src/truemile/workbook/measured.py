"""What a trial of whatever kind gives to put in force, with where it came from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

from sqlalchemy.orm import Session

from truemile.core.corrections import LogCorrection
from truemile.core.errors import ReadingError
from truemile.workbook.instruments import setting_row_at
from truemile.workbook.log_trials import analysed, any_trial_row, trial_row, trial_view
from truemile.workbook.round_rows import RoundView, round_view
from truemile.workbook.schema import TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import round_row, solved
from truemile.workbook.views import TrialView

if TYPE_CHECKING:
    from truemile.core.log_trial import TrialResult
    from truemile.core.vector_round import VectorRound


@dataclass(frozen=True, slots=True)
class Measured:
    """A correction that may be put in force.

    Attributes
    ----------
    first
        When its first reading was taken.
    provenance
        Trial, program version, runs or legs, readings used.
    """

    view: TrialView | RoundView
    correction: LogCorrection
    first: datetime
    provenance: dict[str, Any]


def measured_by(session: Session, wb: Workbook, trial_id: int) -> Measured:
    """Return what a trial over a course, or a vector round, gives to put in force.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughReadings, NoSolution, ReadingError
        If it cannot give a factor, or something speaks against a round.
    """
    if any_trial_row(session, trial_id).kind is TrialKind.VECTOR_ROUND:
        return _by_round(session, round_view(session, wb, round_row(session, trial_id)))
    view = trial_view(session, wb, trial_row(session, trial_id))
    result = analysed(view)
    first = min([view.began_at, *(item.run.started_at for item in view.runs if item.run.started_at is not None)])
    correction = replace(result.correction, setting=view.setting)
    return Measured(view, correction, first, _of_trial(session, view, result, first))


def _by_round(session: Session, view: RoundView) -> Measured:
    result = solved(view)
    if not result.may_be_put_in_force:
        raise ReadingError(
            "round",
            view.id,
            f"it is not put in force: {' '.join(result.reasons).rstrip('.')}",
            result.refusals[0].remedy or "Make another round.",
        )
    first = min([view.began_at, *(item.leg.started_at for item in view.legs if item.leg.started_at is not None)])
    return Measured(view, result.correction, first, _of_round(session, view, result, first))


def _origin(session: Session, view: TrialView | RoundView, first: datetime) -> dict[str, Any]:
    setting = setting_row_at(session, view.instrument.id, first)
    return {
        "trial_id": view.id,
        "program_version": program_version(),
        "setting_id": None if setting is None else setting.id,
    }


def _of_round(session: Session, view: RoundView, result: VectorRound, first: datetime) -> dict[str, Any]:
    return {
        **_origin(session, view, first),
        "leg_ids": [item.id for item in view.legs],
        "recordings": [found.sha256 for found in view.recordings],
        "method": result.method.value,
        "factor": result.factor,
        "expanded": result.expanded,
        "heading_offset_deg": result.heading_offset_deg,
        "stream_set_deg": result.stream_set_deg,
        "stream_drift_kn": result.stream_drift_kn,
    }


def _of_trial(session: Session, view: TrialView, result: TrialResult, first: datetime) -> dict[str, Any]:
    return {
        **_origin(session, view, first),
        "course": view.course.name,
        "run_ids": [item.id for item in view.runs],
        "reading_ids": [reading.id for item in view.runs for reading in item.readings],
        "shape": result.curve.words,
        "hand_factor": result.hand_factor,
        "factor": result.factor,
        "expanded": result.expanded,
        "quoted_at_kn": result.quoted_at_kn,
        "groups": [
            {
                "label": group.label,
                "indication": group.best.indication.value,
                "degree": group.best.weights.degree,
                "least_squares": bool(group.best.weights.least_squares),
                "hand_factor": float(group.best.hand_factor),
                "factor": float(group.best.factor),
            }
            for group in result.groups
        ],
    }


def program_version() -> str:
    """Return the version of this program that is installed."""
    try:
        return version("truemile")
    except PackageNotFoundError:
        return "not installed"
