"""The pieces of a trial's sheet, each made from what the trial gave."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from truemile.core.errors import NavigationError
from truemile.core.factor_remarks import Remark
from truemile.core.log_factor import LogFactor, Rung, speed_over_ground_kn
from truemile.core.log_runs import Indication
from truemile.core.log_trial import TrialResult
from truemile.core.times import format_elapsed
from truemile.web.errors import faults_of
from truemile.web.formats import pair, percent_off, with_unit
from truemile.workbook.views import RunView, TrialView

#: A difference of two factors below this is nothing.
NO_DIFFERENCE = 0.0005
#: What stands for a change that shows in no digit.
_NO_CHANGE = "none"


@dataclass(frozen=True, slots=True)
class Answer:
    """What comes first on the sheet."""

    number: Annotated[str, "The log factor."]
    plus_minus: Annotated[str, "Its 95 % uncertainty."]
    says: Annotated[str, "How much the log reads too much or too little."]
    at: Annotated[str, "Indicated speed that it is quoted at; empty where one factor serves."]
    shape: Annotated[str, "Whether it is one factor, a line or a curve, and why."]


@dataclass(frozen=True, slots=True)
class RungRow:
    """One step from the hand mean to the estimate."""

    words: Annotated[str, "What was done."]
    factor: Annotated[str, "The factor then."]
    change: Annotated[str, "By how much it changed."]
    reason: Annotated[str, "Why."]


@dataclass(frozen=True, slots=True)
class HandMean:
    """The mean as it is done by hand, beside the estimate."""

    number: Annotated[str, "Plain mean of the run factors."]
    says: Annotated[str, "How it differs from the estimate, and mostly why."]
    groups: Annotated[tuple[tuple[str, tuple[RungRow, ...]], ...], "The ladder of each engine speed, with its name."]


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run in the table."""

    id: Annotated[str, "Its id."]
    number: Annotated[int, "Its number among the runs in use; 0 for a withdrawn one."]
    direction: Annotated[str, "out or back."]
    elapsed: Annotated[str, "Time from mark to mark."]
    started: Annotated[str, "Start on ship's clock; empty if not noted."]
    ground: Annotated[str, "Speed over the ground."]
    readings: Annotated[str, "Speeds the display showed, as typed."]
    counter: Annotated[str, "Distance by the counter; empty if not read."]
    heading: Annotated[str, "Compass course steered; empty if not noted."]
    group: Annotated[str, "Name of the engine speed."]
    factor: Annotated[str, "Ground speed over indicated speed; empty without a reading."]
    by: Annotated[str, "Who noted it."]
    entry_id: Annotated[int, "Its entry in the journal."]


@dataclass(frozen=True, slots=True)
class StreamSays:
    """The stream as it came out of the runs."""

    group: Annotated[str, "Name of the engine speed; empty if there is one only."]
    along: Annotated[str, "Stream along the course, with its ±."]
    way: Annotated[str, "Which way it flowed."]
    across: Annotated[str, "Stream across it; empty where it does not show."]


@dataclass(frozen=True, slots=True)
class Missing:
    """What keeps the runs from giving a factor."""

    words: Annotated[str, "What is missing or cannot be, in a sentence."]
    remedy: Annotated[str, "What to do."]


def answer_of(result: TrialResult) -> Answer:
    """Return the factor with its ± and what it means."""
    number, margin = pair(result.factor, result.expanded)
    several = len(result.groups) > 1
    return Answer(
        number=number,
        plus_minus=margin,
        says=percent_off(result.factor),
        at=with_unit(result.quoted_at_kn, 1, "kn") if several else "",
        shape=result.curve.words if several else "",
    )


def hand_mean_of(result: TrialResult) -> HandMean:
    """Return the hand mean, and the ladder from it to the estimate."""
    decimals = max(3, len(pair(result.factor, result.expanded)[0].partition(".")[2]))
    # One digit more than the answer, so that the steps add up to the eye.
    ladders = tuple((group.label, _ladder(group.best, decimals + 1)) for group in result.groups)
    return HandMean(with_unit(result.hand_factor, decimals), _difference_words(result), ladders)


def _ladder(factor: LogFactor, decimals: int) -> tuple[RungRow, ...]:
    return tuple(_rung_row(rung, decimals) for rung in factor.ladder)


def _rung_row(rung: Rung, decimals: int) -> RungRow:
    """A step that changes no digit shown has no reason to give."""
    change = _signed(rung.change, decimals) if rung.reason else ""
    reason = "" if change == _NO_CHANGE else rung.reason
    return RungRow(rung.words, with_unit(rung.factor, decimals), change, reason)


def _signed(change: float, decimals: int) -> str:
    text = with_unit(abs(change), decimals)
    if not float(text):
        return _NO_CHANGE
    return f"{'+' if change > 0 else '−'}{text}"


def _difference_words(result: TrialResult) -> str:
    if len(result.groups) > 1:
        return "at all engine speeds together; the ladder of each stands below"
    best = result.groups[0].best
    if abs(best.difference) < NO_DIFFERENCE:
        return "the same to three figures; nothing in these runs leads the hand mean astray"
    percent = 100.0 * abs(best.difference) / best.factor
    largest = max(best.ladder[1:], key=lambda rung: abs(rung.change))
    side = "low" if best.difference > 0 else "high"
    return f"{percent:.1f} % too {side}, mostly because {largest.reason}"


def run_rows(view: TrialView, *, withdrawn: bool = False) -> tuple[RunRow, ...]:
    """Return the runs of a trial for its table."""
    offset = timedelta(minutes=view.utc_offset_min)
    return tuple(
        _run_row(run, view.course.course.length_nm, offset) for run in (view.withdrawn_runs if withdrawn else view.runs)
    )


def _run_row(view: RunView, length_nm: float, offset: timedelta) -> RunRow:
    run = view.run
    ground = speed_over_ground_kn(length_nm, run.elapsed_s)
    indication = Indication.SPEED if run.speed_readings_kn else Indication.DISTANCE
    heading = run.heading_compass_deg
    return RunRow(
        id=view.id,
        number=view.number,
        direction=run.direction.value,
        elapsed=format_elapsed(run.elapsed_s),
        started="" if run.started_at is None else f"{run.started_at + offset:%H:%M:%S}",
        ground=with_unit(ground, 2),
        readings=" ".join(f"{value:g}" for value in run.speed_readings_kn),
        counter="" if run.logged_nm is None else with_unit(run.logged_nm, 2),
        heading="" if heading is None else f"{heading:03.0f}°",
        group=run.speed_group,
        factor=with_unit(ground / run.indicated_kn(indication), 3) if run.indications else "",
        by=view.noted_by,
        entry_id=view.entry_id,
    )


def streams_of(result: TrialResult) -> tuple[StreamSays, ...]:
    """Return the stream at each engine speed."""
    several = len(result.groups) > 1
    return tuple(_stream(group.label if several else "", group.best) for group in result.groups)


def _stream(name: str, factor: LogFactor) -> StreamSays:
    number, margin = pair(abs(factor.stream_along_kn), factor.expanded_stream_along_kn)
    way = "with you going out" if factor.stream_along_kn >= 0 else "against you going out"
    across = ""
    if factor.stream_across_kn is not None:
        side = f" to {factor.stream_across_to} of the way out" if factor.stream_across_to else ""
        across = f"about {with_unit(abs(factor.stream_across_kn), 1, 'kn')}{side}"
    return StreamSays(name, f"{number} ± {margin} kn", way, across)


def missing_of(error: NavigationError) -> tuple[Missing, ...]:
    """Return what keeps the runs from giving a factor, as guidance rather than refusal."""
    return tuple(
        Missing(f"{_place(fault.field)}{fault.allowed[0].upper()}{fault.allowed[1:]}.", fault.remedy)
        for fault in faults_of(error)
    )


def _place(field: str) -> str:
    head, bracket, rest = field.partition("[")
    number = rest.partition("]")[0]
    return f"Run {int(number) + 1}: " if head == "runs" and bracket and number.isdigit() else ""


def cautions_of(result: TrialResult) -> tuple[Remark, ...]:
    """Return the remarks that are cautions."""
    return tuple(remark for remark in result.remarks if remark.level == "caution")


def notes_of(result: TrialResult) -> tuple[Remark, ...]:
    """Return the remarks that are only notes."""
    return tuple(remark for remark in result.remarks if remark.level != "caution")
