"""A check trial: what is in force is tried out, and the factor of the corrected readings should be 1.00."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from truemile.core.corrections import corrected_distance, corrected_speed
from truemile.core.errors import NotFound
from truemile.core.log_runs import Conditions, Run
from truemile.core.log_settings import LogSetting, reading_under
from truemile.core.uncertainty import coverage_factor
from truemile.workbook.correction_rows import correction_view, standing_corrections
from truemile.workbook.log_trials import analysed, trial_row, trial_view
from truemile.workbook.store import Workbook
from truemile.workbook.views import CorrectionView, TrialView

if TYPE_CHECKING:
    from truemile.core.check_trial import CheckVerdict
    from truemile.core.log_trial import TrialResult


@dataclass(frozen=True, slots=True)
class CheckView:
    """What a check trial gives.

    Attributes
    ----------
    raw
        From the readings as shown.
    corrected
        From the readings as Truemile corrects them; its factor should be 1.00.
    verdict
        Pass or fail of `corrected`.
    correction
        What was in force, not counting one that came from this very trial.
    """

    trial: TrialView
    raw: TrialResult
    corrected: TrialResult
    verdict: CheckVerdict
    correction: CorrectionView


def check_result(wb: Workbook, trial_id: int) -> CheckView:
    """Return what a trial says about the correction in force when it was made.

    Raises
    ------
    NotFound
        If there is no such trial, or nothing was in force.
    NotEnoughReadings, ReadingError
        If its runs cannot give a factor, or a setting is unknown.
    """
    from truemile.core.check_trial import check_verdict

    with wb.reading() as session:
        view = trial_view(session, wb, trial_row(session, trial_id, withdrawn=True))
        rows = [row for row in standing_corrections(session, view.instrument.id) if row.trial_id != view.id]
        fits = [found for found in (correction_view(session, row) for row in rows) if found.valid_at(view.began_at)]
    if not fits:
        raise NotFound(
            "correction",
            f"{view.instrument.name} at {view.began_at.isoformat()}",
            "nothing was in force that this trial could check",
            "Put a factor in force first; until then the trial measures the log as it is.",
        )
    used = fits[-1]
    corrected = analysed(_corrected(view, used))
    measured = used.correction
    verdict = check_verdict(
        corrected.factor,
        corrected.expanded,
        corrected.factor * corrected.quoted_at_kn,
        expanded_in_force=coverage_factor(measured.dof)
        * measured.u_factor(measured.middle_kn)
        / measured.factor(measured.middle_kn),
    )
    return CheckView(view, analysed(view), corrected, verdict, used)


def _corrected(view: TrialView, used: CorrectionView) -> TrialView:
    """Return the trial as it would be if the log had shown the corrected values."""
    runs = tuple(replace(item, run=_corrected_run(item.run, item.setting, used), setting=None) for item in view.runs)
    return replace(view, runs=runs, conditions=_finer(view.conditions, used, view.setting))


def _corrected_run(run: Run, setting: LogSetting | None, used: CorrectionView) -> Run:
    # Refused if the two do not compare, rather than taken for the same.
    reading_under(1.0, setting, used.correction.setting)
    speeds = tuple(
        corrected_speed(used.correction, value, setting=setting, field="readings").value
        for value in run.speed_readings_kn
    )
    if run.log_stop_nm is None or run.logged_nm is None:
        return replace(run, speed_readings_kn=speeds)
    fixed = corrected_distance(
        used.correction, run.logged_nm, elapsed_h=run.elapsed_h, setting=setting, field="log_stop"
    )
    start = run.log_start_nm
    return replace(run, speed_readings_kn=speeds, log_stop_nm=(start or 0.0) + fixed.value)


def _finer(conditions: Conditions, used: CorrectionView, setting: LogSetting | None) -> Conditions:
    """One unit of the display stands for a little more or less once it is corrected."""
    scale = used.correction.factor(used.correction.middle_kn) * reading_under(1.0, setting, used.correction.setting)
    return replace(
        conditions,
        speed_resolution_kn=conditions.speed_resolution_kn * scale,
        distance_resolution_nm=conditions.distance_resolution_nm * scale,
    )
