"""What the run page is told of its trial: course, runs, the factor of each engine setting, who is timing now."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Annotated, Any

from truemile.core.errors import NavigationError, ReadingError
from truemile.core.log_factor import speed_over_ground_kn
from truemile.core.log_runs import Indication
from truemile.web.data import as_data
from truemile.web.formats import day_of, with_unit
from truemile.web.views.trial_parts import answer_of, hand_mean_of, missing_of
from truemile.web.worked import result_of
from truemile.workbook import boats, log_trials
from truemile.workbook.schema import TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.tap_runs import TapRun
from truemile.workbook.taps import open_runs
from truemile.workbook.views import RunView, TrialView


@dataclass(frozen=True, slots=True)
class RunTrial:
    """The trial that is being made."""

    id: Annotated[int, "Its number."]
    title: Annotated[str, "What and when."]
    instrument: Annotated[str, "Which log."]
    course: Annotated[str, "Name of the measured course."]
    length_nm: Annotated[float, "Its length."]
    course_true_deg: Annotated[float | None, "Its direction out; None if not known."]
    speed_resolution_kn: Annotated[float, "Step of the speed display."]
    distance_resolution_nm: Annotated[float, "Step of the distance counter."]
    withdrawn: Annotated[bool, "Whether the trial was taken out of use."]
    demo: Annotated[bool, "Whether the waters are invented."]


@dataclass(frozen=True, slots=True)
class RunSaid:
    """A run that the workbook has."""

    id: Annotated[str, "Its id."]
    number: Annotated[int, "Its number in the trial."]
    direction: Annotated[str, "out or back."]
    elapsed_s: Annotated[float, "Time from mark to mark."]
    group: Annotated[str, "Name of the engine setting."]
    factor: Annotated[str, "Ground speed over indicated speed; empty without a reading."]
    last_reading_kn: Annotated[float | None, "What the display showed last."]
    log_stop_nm: Annotated[float | None, "The counter at the stop."]
    rpm: Annotated[float | None, "Engine speed."]
    heading_compass_deg: Annotated[float | None, "Compass course steered."]


@dataclass(frozen=True, slots=True)
class GroupSaid:
    """What the runs at one engine setting give."""

    label: Annotated[str, "Name of the engine setting; empty where it has none."]
    runs: Annotated[int, "How many runs."]
    factor: Annotated[str, "The log factor; empty while there is none."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    value: Annotated[float | None, "The factor as a number."]
    hand: Annotated[str, "Plain mean of the run factors."]
    says: Annotated[str, "How much the log reads too much or too little."]
    missing: Annotated[str, "What keeps the runs from giving a factor; empty where there is one."]


@dataclass(frozen=True, slots=True)
class OpenSaid:
    """A run that is being timed on some device."""

    run_id: Annotated[str, "Its id."]
    device: Annotated[str, "Which device."]
    words: Annotated[str, "How far it has come."]
    reasons: Annotated[str, "Why it is not among the runs although it was kept; empty if it was not."]


@dataclass(frozen=True, slots=True)
class RunSummary:
    """All that the run page is told."""

    trial: Annotated[RunTrial, "The trial."]
    runs: Annotated[tuple[RunSaid, ...], "The runs in use."]
    groups: Annotated[tuple[GroupSaid, ...], "What they give, by engine setting."]
    open: Annotated[tuple[OpenSaid, ...], "Runs that are being timed."]
    people: Annotated[tuple[str, ...], "Names of the crew that were used before."]


def run_summary(workbook: Workbook, trial_id: int) -> RunSummary:
    """Return what the run page is told of a trial.

    Raises
    ------
    NotFound
        If there is no such trial.
    ReadingError
        If it is made without marks.
    """
    view = log_trials.trial(workbook, trial_id)
    if view.kind is TrialKind.VECTOR_ROUND:
        raise ReadingError(
            "trial", trial_id, "a vector round has no marks to be timed between", "Enter its legs on its own sheet."
        )
    return RunSummary(
        trial=_trial(workbook, view),
        runs=tuple(_run(run, view.course.course.length_nm) for run in view.runs),
        groups=_groups(view),
        open=tuple(_open(run) for run in open_runs(workbook, trial_id)),
        people=_people(view),
    )


def summary_data(workbook: Workbook, trial_id: int) -> Mapping[str, Any]:
    """Return the same as plain data."""
    data: Mapping[str, Any] = as_data(run_summary(workbook, trial_id))
    return data


def _trial(workbook: Workbook, view: TrialView) -> RunTrial:
    boat = next((boat for boat in boats.boats(workbook) if boat.id == view.instrument.boat_id), None)
    course = view.course.course
    return RunTrial(
        id=view.id,
        title=f"Trial of {day_of(view.began_at, timedelta(minutes=view.utc_offset_min))}",
        instrument=view.instrument.name,
        course=view.course.name,
        length_nm=course.length_nm,
        course_true_deg=course.course_true_deg,
        speed_resolution_kn=view.conditions.speed_resolution_kn,
        distance_resolution_nm=view.conditions.distance_resolution_nm,
        withdrawn=view.withdrawn,
        demo=boat is not None and boat.demo,
    )


def _run(view: RunView, length_nm: float) -> RunSaid:
    run = view.run
    indication = Indication.SPEED if run.speed_readings_kn else Indication.DISTANCE
    ground_kn = speed_over_ground_kn(length_nm, run.elapsed_s)
    return RunSaid(
        id=view.id,
        number=view.number,
        direction=run.direction.value,
        elapsed_s=run.elapsed_s,
        group=run.speed_group,
        factor=with_unit(ground_kn / run.indicated_kn(indication), 3) if run.indications else "",
        last_reading_kn=run.speed_readings_kn[-1] if run.speed_readings_kn else None,
        log_stop_nm=run.log_stop_nm,
        rpm=run.engine_rpm,
        heading_compass_deg=run.heading_compass_deg,
    )


def _groups(view: TrialView) -> tuple[GroupSaid, ...]:
    labels = dict.fromkeys(run.run.speed_group for run in view.runs)
    return tuple(_group(view, label) for label in labels)


def _group(view: TrialView, label: str) -> GroupSaid:
    runs = tuple(run for run in view.runs if run.run.speed_group == label)
    try:
        result = result_of(replace(view, runs=runs))
    except NavigationError as error:
        words = " ".join(f"{item.words} {item.remedy}" for item in missing_of(error))
        return GroupSaid(label, len(runs), "", "", None, "", "", words)
    answer = answer_of(result)
    return GroupSaid(
        label=label,
        runs=len(runs),
        factor=answer.number,
        plus_minus=answer.plus_minus,
        value=result.factor,
        hand=hand_mean_of(result).number,
        says=answer.says,
        missing="",
    )


def _open(run: TapRun) -> OpenSaid:
    device = next((tap.device_name for tap in reversed(run.taps) if tap.device_name), "another device")
    way = "" if run.direction is None else f"{run.direction.value}, "
    read = f"{len(run.speeds)} reading{'' if len(run.speeds) == 1 else 's'}"
    stopped = "" if run.stopped_at is None else ", stopped and not kept yet"
    reasons = " ".join(str(reason) for reason in run.reasons) if run.kept else ""
    return OpenSaid(run.run_id, device, f"{way}{read}{stopped}", reasons)


def _people(view: TrialView) -> tuple[str, ...]:
    said = [name for run in view.runs for name in (run.helm, run.timed_by, run.noted_by)]
    names = [*re.split(r"[,;]", view.crew), *said]
    return tuple(dict.fromkeys(name.strip() for name in names if 0 < len(name.strip()) <= 60))
