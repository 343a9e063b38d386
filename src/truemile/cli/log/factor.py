"""``truemile log factor``: a factor from runs given on the spot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.log.course_given import CourseGiven, course_options
from truemile.cli.options import (
    ConditionsGiven,
    Day,
    UtcOffset,
    conditions_options,
    json_option,
    now_utc,
    plot_option,
    workbook_option,
    working_option,
)
from truemile.cli.present import show

if TYPE_CHECKING:
    from truemile.core.log_runs import Conditions, Run
    from truemile.core.measured_course import MeasuredCourse


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@course_options
@click.option(
    "--run",
    "runs_words",
    multiple=True,
    metavar="WORDS",
    help='A run: "out 5:34 7.6 7.5 7.6", with start=14:02:10, log=0.00/0.58, heading=064, speed=slow if noted.',
)
@click.option("--date", "day", type=Day(), help="Date of the clock times on ship's clock; today if not said.")
@click.option("--utc-offset", type=UtcOffset(), default="0", metavar="HOURS", help="Ship's time minus UTC.")
@conditions_options
@working_option
@plot_option
@workbook_option
@json_option
def factor(
    *,
    file: Path | None,
    course_given: CourseGiven,
    runs_words: tuple[str, ...],
    day: date | None,
    utc_offset: timedelta,
    conditions_given: ConditionsGiven,
    working: bool,
    plot: Path | None,
    workbook_path: str | None,
    as_json: bool,
) -> None:
    """Work out a log factor from runs given here; nothing is kept.

    The runs come from --run, or from FILE, a .csv or .toml with a line or table a run.
    """
    from truemile.cli.log.trial_output import result_text, trial_data, write_plot
    from truemile.core.log_trial import analyse_trial

    givens = _givens(file, runs_words, day or now_utc().date(), utc_offset)
    course = givens.course or course_given.course(workbook_path)
    result = analyse_trial(course, givens.runs, conditions_given.conditions(givens.conditions))
    if plot is not None:
        write_plot(result, plot)
    show(
        lambda: trial_data(result, working=working),
        lambda: result_text(result, working=working),
        as_json=as_json,
        caution=True,
    )


@dataclass(frozen=True, slots=True)
class Givens:
    """Runs, and the course and conditions that a file may hold beside them."""

    runs: Sequence[Run]
    course: MeasuredCourse | None = None
    conditions: Conditions | None = None


def _givens(file: Path | None, words: tuple[str, ...], day: date, utc_offset: timedelta) -> Givens:
    from truemile.cli.log.runs_file import read_file, read_words
    from truemile.core.errors import ReadingError

    if file is None:
        return Givens([read.run for _, read in read_words(words, day, utc_offset)])
    if words:
        raise ReadingError("runs", str(file), "runs come from --run or from a file", "Leave out one of the two.")
    found = read_file(file, day, utc_offset)
    return Givens(found.runs, found.course, found.conditions)
