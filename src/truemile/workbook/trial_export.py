"""A trial as data to take away: everything as JSON, and its runs as CSV that reads back the same."""

from __future__ import annotations

from typing import Any, Final

from truemile.core.log_settings import LogSetting
from truemile.core.position import format_position
from truemile.workbook.runs_files import write_csv
from truemile.workbook.schema import ReadingKind
from truemile.workbook.typed import plain
from truemile.workbook.views import CourseView, MarkView, ReadingView, RunView, TrialView

#: Says what the JSON is, so that a later version can read an older file.
FORMAT: Final = "truemile-log-trial-1"


def trial_data(view: TrialView) -> dict[str, Any]:
    """Return all that a trial holds, ready for JSON, with the unit in each name."""
    return {
        "format": FORMAT,
        "trial": _trial(view),
        "instrument": {
            "id": view.instrument.id,
            "name": view.instrument.name,
            "kind": view.instrument.kind.value,
            "speed_resolution_kn": view.instrument.speed_resolution_kn,
            "distance_resolution_nm": view.instrument.distance_resolution_nm,
        },
        "course": _course(view.course),
        "runs": [_run(item) for item in (*view.runs, *view.withdrawn_runs)],
    }


def runs_csv(view: TrialView) -> str:
    """Return the runs in use as CSV that reads back the same."""
    return write_csv([_csv_row(item) for item in view.runs])


def _trial(view: TrialView) -> dict[str, Any]:
    conditions = view.conditions
    return {
        "id": view.id,
        "kind": view.kind.value,
        "began_at": view.began_at.isoformat(),
        "ship_utc_offset_min": view.utc_offset_min,
        "floating_insisted": view.floating_insisted,
        "withdrawn": view.withdrawn,
        "author": view.author,
        "crew": view.crew,
        "weather": view.weather,
        "remarks": view.remarks,
        "steering": conditions.steering.value,
        "speed_resolution_kn": conditions.speed_resolution_kn,
        "distance_resolution_nm": conditions.distance_resolution_nm,
        "timing_limit_s": conditions.timing_limit_s,
        "stream_irregularity_kn": conditions.stream_irregularity_kn,
        "tide_amplitude_kn": conditions.tide_amplitude_kn,
        "crab_deg": conditions.crab_deg,
        "u_crab_deg": conditions.u_crab_deg,
        "crossing_deg": conditions.crossing_deg,
        "correction_ids": list(view.correction_ids),
    }


def _course(view: CourseView) -> dict[str, Any]:
    course = view.course
    return {
        "id": view.id,
        "name": view.name,
        "length_nm": course.length_nm,
        "u_length_nm": course.u_length_nm,
        "course_true_deg": course.course_true_deg,
        "transits": course.transits,
        "start": _mark(view.start),
        "end": _mark(view.end),
        "remarks": view.remarks,
    }


def _mark(view: MarkView | None) -> dict[str, Any] | None:
    if view is None:
        return None
    return {
        "id": view.id,
        "name": view.name,
        "position": format_position(view.position, 4),
        "latitude_deg": view.position.latitude_deg,
        "longitude_deg": view.position.longitude_deg,
        "u_m": view.u_m,
        "fixed": view.fixed,
        "source": view.source,
    }


def setting_words(setting: LogSetting | None) -> dict[str, Any] | None:
    """Return a setting as data."""
    return None if setting is None else {"convention": setting.convention.value, "value": setting.value}


def _run(view: RunView) -> dict[str, Any]:
    run = view.run
    return {
        "id": view.id,
        "number": view.number,
        "withdrawn": view.withdrawn,
        "direction": run.direction.value,
        "elapsed_s": run.elapsed_s,
        "started_at": plain(run.started_at),
        "ended_at": plain(view.ended_at),
        "speed_readings_kn": list(run.speed_readings_kn),
        "log_start_nm": run.log_start_nm,
        "log_stop_nm": run.log_stop_nm,
        "heading_compass_deg": run.heading_compass_deg,
        "engine_rpm": run.engine_rpm,
        "speed_group": run.speed_group,
        "setting": setting_words(view.setting),
        "noted_by": view.noted_by,
        "timed_by": view.timed_by,
        "helm": view.helm,
        "remarks": view.remarks,
        "readings": [_reading(item) for item in view.readings],
    }


def _reading(view: ReadingView) -> dict[str, Any]:
    return {
        "id": view.id,
        "kind": view.kind.value,
        "value": view.value,
        "typed": view.typed,
        "taken_at": view.taken_at.isoformat(),
        "noted_by": view.noted_by,
        "setting_id": view.setting_id,
    }


def _csv_row(view: RunView) -> dict[str, str]:
    run = view.run
    return {
        "id": view.id,
        "direction": run.direction.value,
        "elapsed": elapsed_text(view),
        "started_at": "" if run.started_at is None else run.started_at.isoformat(),
        "readings": " ".join(_number(value) for value in run.speed_readings_kn),
        "log_start": _number(run.log_start_nm),
        "log_stop": _number(run.log_stop_nm),
        "rpm": _number(run.engine_rpm),
        "heading_compass": _number(run.heading_compass_deg),
        "speed_group": run.speed_group,
        "noted_by": view.noted_by,
        "timed_by": view.timed_by,
        "helm": view.helm,
        "remarks": view.remarks,
    }


def elapsed_text(view: RunView) -> str:
    """Return the elapsed time as typed, or from start and stop with all its digits."""
    typed = [reading.typed for reading in view.readings if reading.kind is ReadingKind.ELAPSED]
    return typed[0] if typed else f"{_number(view.run.elapsed_s)} s"


def _number(value: float | None) -> str:
    """Return the shortest digits that read back as the same number, never with an exponent."""
    if value is None:
        return ""
    text = repr(value)
    if "e" in text:
        text = f"{value:.17f}".rstrip("0").rstrip(".")
    return text.removesuffix(".0")
