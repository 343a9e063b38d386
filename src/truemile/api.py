"""All that a user of Python needs, in one place.

Examples
--------
>>> from truemile import api
>>> mile = api.charted_course("Harbour mile", 1.00, 0.001)
>>> runs = [
...     api.Run(api.Direction.OUT, api.parse_elapsed("9:52"), speed_readings_kn=(6.4, 6.3, 6.4)),
...     api.Run(api.Direction.BACK, api.parse_elapsed("10:35"), speed_readings_kn=(6.3, 6.4, 6.4)),
... ]
>>> trial = api.analyse_trial(mile, runs)
>>> round(trial.factor, 3), round(trial.hand_factor, 3)
(0.923, 0.923)
>>> round(api.corrected_speed(trial.correction, 6.35).value, 2)
5.86
>>> api.explain_trial(trial).answers[0].symbol
'k'
"""

from __future__ import annotations

from truemile.core.check_trial import CheckVerdict, check_verdict
from truemile.core.corrections import (
    Corrected,
    LogCorrection,
    corrected_distance,
    corrected_speed,
    corrected_speeds,
    factor_from_percent_error,
    indicated_for,
)
from truemile.core.course_judge import CourseVerdict, RunPlan, judge_course
from truemile.core.errors import (
    FileError,
    ManyFaults,
    NavigationError,
    NoSolution,
    NotEnoughReadings,
    NotFound,
    ReadingError,
    WorkbookError,
)
from truemile.core.improvements import Improvement, WayToHalve, improvements, way_to_halve
from truemile.core.log_factor import LogFactor, factor_from_runs, speed_over_ground_kn, two_run_distance_factor
from truemile.core.log_runs import Conditions, Direction, Indication, Run, Steering
from truemile.core.log_settings import Convention, LogSetting, NewSetting, reading_under, setting_for
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.core.measured_course import CourseMark, MeasuredCourse, charted_course, course_between
from truemile.core.plus_minus import format_with_uncertainty
from truemile.core.position import Position, format_position, parse_position
from truemile.core.times import format_elapsed, parse_clock, parse_elapsed
from truemile.core.uncertainty import Budget, Input, evaluate
from truemile.workbook.boats import add_boat, boats
from truemile.workbook.check_trials import check_result
from truemile.workbook.correcting import correct_column, correct_distance, correct_speed, indicated_speed
from truemile.workbook.courses import add_course, add_mark, courses, marks
from truemile.workbook.demo import demo_truth, make_demo
from truemile.workbook.entries import BoatEntry, CourseEntry, LogEntry, MarkEntry, RunEntry, SettingEntry, TrialEntry
from truemile.workbook.instruments import add_log, instruments, record_setting, settings
from truemile.workbook.journal import entries, undo
from truemile.workbook.log_corrections import corrections, in_force, put_in_force
from truemile.workbook.log_trials import (
    export_runs_csv,
    export_trial,
    import_runs,
    record_run,
    start_trial,
    trial,
    trial_result,
    trials,
    withdraw_run,
)
from truemile.workbook.runs_files import parse_runs_text
from truemile.workbook.safekeeping import backup, check
from truemile.workbook.slate import slate
from truemile.workbook.store import Workbook
from truemile.working.check_trial import explain_check
from truemile.working.corrections import explain_distance, explain_indicated, explain_setting, explain_speed
from truemile.working.course import explain_course
from truemile.working.lines import Working
from truemile.working.log_factor import explain
from truemile.working.log_trial import explain_trial
from truemile.working.render_text import render_text

__all__ = [
    "BoatEntry",
    "Budget",
    "CheckVerdict",
    "Conditions",
    "Convention",
    "Corrected",
    "CourseEntry",
    "CourseMark",
    "CourseVerdict",
    "Direction",
    "FileError",
    "Improvement",
    "Indication",
    "Input",
    "LogCorrection",
    "LogEntry",
    "LogFactor",
    "LogSetting",
    "ManyFaults",
    "MarkEntry",
    "MeasuredCourse",
    "NavigationError",
    "NewSetting",
    "NoSolution",
    "NotEnoughReadings",
    "NotFound",
    "Position",
    "ReadingError",
    "Run",
    "RunEntry",
    "RunPlan",
    "SettingEntry",
    "Steering",
    "TrialEntry",
    "TrialResult",
    "WayToHalve",
    "Workbook",
    "WorkbookError",
    "Working",
    "add_boat",
    "add_course",
    "add_log",
    "add_mark",
    "analyse_trial",
    "backup",
    "boats",
    "charted_course",
    "check",
    "check_result",
    "check_verdict",
    "correct_column",
    "correct_distance",
    "correct_speed",
    "corrected_distance",
    "corrected_speed",
    "corrected_speeds",
    "corrections",
    "course_between",
    "courses",
    "demo_truth",
    "entries",
    "evaluate",
    "explain",
    "explain_check",
    "explain_course",
    "explain_distance",
    "explain_indicated",
    "explain_setting",
    "explain_speed",
    "explain_trial",
    "export_runs_csv",
    "export_trial",
    "factor_from_percent_error",
    "factor_from_runs",
    "format_elapsed",
    "format_position",
    "format_with_uncertainty",
    "import_runs",
    "improvements",
    "in_force",
    "indicated_for",
    "indicated_speed",
    "instruments",
    "judge_course",
    "make_demo",
    "marks",
    "parse_clock",
    "parse_elapsed",
    "parse_position",
    "parse_runs_text",
    "put_in_force",
    "reading_under",
    "record_run",
    "record_setting",
    "render_text",
    "setting_for",
    "settings",
    "slate",
    "speed_over_ground_kn",
    "start_trial",
    "trial",
    "trial_result",
    "trials",
    "two_run_distance_factor",
    "undo",
    "way_to_halve",
    "withdraw_run",
]
