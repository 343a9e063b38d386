"""The history of a log: all its factors as one setting would have shown them, on control charts and along the years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from statistics import median
from typing import TYPE_CHECKING, Final

from sqlalchemy.orm import Session

from truemile.core.consistency import normalised_error
from truemile.core.coverage import coverage_factor
from truemile.core.errors import NavigationError, ReadingError
from truemile.core.log_settings import LogSetting, reading_under
from truemile.workbook import journal
from truemile.workbook.correction_rows import standing_corrections
from truemile.workbook.events import EventView, event_views
from truemile.workbook.finding import find
from truemile.workbook.history_chart import ControlChart, Dated, Trend, control_chart, due, trend, weighted_chart
from truemile.workbook.history_words import history_words
from truemile.workbook.instruments import instrument_view
from truemile.workbook.log_trials import analysed, trial_view
from truemile.workbook.round_rows import RoundView, round_view
from truemile.workbook.schema import How, Instrument, Trial, TrialKind
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import solved
from truemile.workbook.views import InstrumentView

if TYPE_CHECKING:
    from truemile.core.consistency import Ewma
    from truemile.core.corrections import LogCorrection

__all__ = [
    "ControlChart",
    "Dated",
    "HistoryPoint",
    "HistoryState",
    "LogHistory",
    "Skipped",
    "Trend",
    "log_history",
]

#: Up to this normalised error two results agree (ISO/IEC 17043).
AGREE: Final = 1.0


class HistoryState(StrEnum):
    """What the history says in one word."""

    NOTHING = "not measured"
    ONE = "measured once"
    STEADY = "steady"
    DRIFTING = "drifting"
    DUE = "due"


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """What one trial gave.

    Attributes
    ----------
    factor, u, expanded
        As the common setting would have shown it, with its standard and its 95 % uncertainty.
    speed_kn
        Indicated speed, under the common setting, that it is quoted at.
    measured_factor, setting
        As it was measured, and what was set in the log then.
    how
        How it was put in force, or None.
    normalised_error, same_setting
        Eₙ against the trial before, up to 1 where they agree; and whether both were made with one setting. None for
        the first.
    """

    trial_id: int
    kind: TrialKind
    at: datetime
    factor: float
    u: float
    expanded: float
    speed_kn: float
    measured_factor: float
    setting: LogSetting | None
    how: How | None
    normalised_error: float | None = None
    same_setting: bool | None = None

    @property
    def agrees(self) -> bool | None:
        """True where it agrees with the trial before; None for the first."""
        return None if self.normalised_error is None else self.normalised_error <= AGREE

    @property
    def dated(self) -> Dated:
        """The same for a chart."""
        return Dated(self.at, self.factor, self.u)


@dataclass(frozen=True, slots=True)
class Skipped:
    """A trial that gives no point, and why."""

    trial_id: int
    at: datetime
    reason: NavigationError


@dataclass(frozen=True, slots=True)
class LogHistory:
    """The history of a log.

    Attributes
    ----------
    setting
        The common setting that all factors are reduced to: what is set now, or was set last.
    points
        Oldest first.
    chart, ewma
        Limits for single factors, and the exponentially weighted chart; None for fewer than two points.
    reset
        The last event from which the trend begins anew, or None.
    trend
        Since then; None where fewer than two trials were made since.
    next_due
        When to measure again; `due_reason` says why then, or why it cannot be told.
    words
        All that in plain sentences.
    """

    instrument: InstrumentView
    setting: LogSetting | None
    points: tuple[HistoryPoint, ...]
    skipped: tuple[Skipped, ...]
    events: tuple[EventView, ...]
    chart: ControlChart | None
    ewma: Ewma | None
    reset: EventView | None
    trend: Trend | None
    next_due: datetime | None
    due_reason: str
    state: HistoryState
    words: tuple[str, ...]

    @property
    def due_now(self) -> bool:
        """True where it should be measured again at once."""
        return self.state is HistoryState.DUE


def log_history(wb: Workbook, which: int | str | None = None, *, at: datetime | None = None) -> LogHistory:
    """Return the history of a log as it stands now, or stood at an instant.

    Raises
    ------
    NotFound
        If there is no such instrument.

    Notes
    -----
    A factor measured with another setting is multiplied by the ratio of the two settings, so that changes of the
    setting do not pass for drift. A trial at several speeds is quoted at the median speed of all trials where its range
    holds that. Trials are taken as independent: what they share, such as the length of one course, cancels in their
    differences, so that Eₙ is on the safe side.
    """
    with wb.reading() as session:
        now = wb.at(at)
        row = find(session, Instrument, which, "instrument")
        log = instrument_view(session, wb, row)
        found, skipped = _measured(session, wb, row.id, now)
        happened = tuple(event for event in event_views(session, row.id) if event.at <= now)
    setting = log.setting.setting if log.setting is not None else None
    if setting is None and found:
        setting = found[-1].setting
    points, apart = _reduced(found, setting)
    return _history(log, setting, points, (*skipped, *apart), happened, now)


@dataclass(frozen=True, slots=True)
class _Measured:
    """What one trial gave, as measured."""

    trial_id: int
    kind: TrialKind
    at: datetime
    factor: float
    u: float
    expanded: float
    speed_kn: float
    correction: LogCorrection
    setting: LogSetting | None
    how: How | None


def _measured(session: Session, wb: Workbook, log_id: int, now: datetime) -> tuple[list[_Measured], list[Skipped]]:
    ways = {row.trial_id: row.how for row in standing_corrections(session, log_id)}
    query = journal.standing(Trial).where(Trial.instrument_id == log_id, Trial.began_at <= now)
    found: list[_Measured] = []
    skipped: list[Skipped] = []
    for row in session.scalars(query.order_by(Trial.began_at, Trial.id)):
        try:
            found.append(_one(session, wb, row, ways.get(row.id)))
        except NavigationError as error:
            skipped.append(Skipped(row.id, row.began_at, error))
    return found, skipped


def _one(session: Session, wb: Workbook, row: Trial, how: How | None) -> _Measured:
    if row.kind is TrialKind.VECTOR_ROUND:
        return _of_round(round_view(session, wb, row), how)
    view = trial_view(session, wb, row)
    result = analysed(view)
    return _Measured(
        row.id,
        row.kind,
        row.began_at,
        result.factor,
        result.u_factor,
        result.expanded,
        result.quoted_at_kn,
        result.correction,
        view.setting,
        how,
    )


def _of_round(view: RoundView, how: How | None) -> _Measured:
    result = solved(view)
    if not result.may_be_put_in_force:
        raise ReadingError("round", view.id, " ".join(result.reasons).rstrip("."), "Make another round.")
    curve = result.correction
    return _Measured(
        view.id,
        TrialKind.VECTOR_ROUND,
        view.began_at,
        result.factor,
        result.u,
        result.expanded,
        curve.middle_kn,
        curve,
        view.setting,
        how,
    )


def _reduced(found: Sequence[_Measured], setting: LogSetting | None) -> tuple[list[HistoryPoint], list[Skipped]]:
    """Return the factors under one setting, and the trials whose setting does not compare."""
    apart: list[Skipped] = []
    scaled: list[tuple[_Measured, float]] = []
    for item in found:
        try:
            scaled.append((item, reading_under(1.0, item.setting, setting)))
        except ReadingError as error:
            apart.append(Skipped(item.trial_id, item.at, error))
    if not scaled:
        return [], apart
    usual_kn = median(item.speed_kn * scale for item, scale in scaled)
    points: list[HistoryPoint] = []
    for item, scale in scaled:
        point = _point(item, scale, usual_kn)
        points.append(_compared(points[-1], point) if points else point)
    return points, apart


def _point(item: _Measured, scale: float, usual_kn: float) -> HistoryPoint:
    """Return a factor for readings that are `scale` times what the log showed, at the usual speed where it is known."""
    curve, shown_kn = item.correction, usual_kn / scale
    factor, u, expanded, speed_kn = item.factor, item.u, item.expanded, item.speed_kn
    if not curve.is_factor and curve.lowest_kn <= shown_kn <= curve.highest_kn:
        factor, u, speed_kn = curve.factor(shown_kn), curve.u_factor(shown_kn), shown_kn
        expanded = coverage_factor(curve.dof) * u
    return HistoryPoint(
        item.trial_id,
        item.kind,
        item.at,
        factor / scale,
        u / scale,
        expanded / scale,
        speed_kn * scale,
        item.factor,
        item.setting,
        item.how,
    )


def _compared(before: HistoryPoint, point: HistoryPoint) -> HistoryPoint:
    error = normalised_error(point.factor, point.expanded, before.factor, before.expanded)
    return replace(point, normalised_error=error, same_setting=point.setting == before.setting)


def _history(
    log: InstrumentView,
    setting: LogSetting | None,
    points: Sequence[HistoryPoint],
    skipped: tuple[Skipped, ...],
    happened: tuple[EventView, ...],
    now: datetime,
) -> LogHistory:
    dated = [point.dated for point in points]
    chart = control_chart(dated)
    resets = [event for event in happened if event.kind.resets]
    reset = resets[-1] if resets else None
    since = [point for point in dated if reset is None or point.at >= reset.at]
    next_due, reason = _due(points, since, happened)
    drift = trend(since)
    plain = LogHistory(
        instrument=log,
        setting=setting,
        points=tuple(points),
        skipped=skipped,
        events=happened,
        chart=chart,
        ewma=weighted_chart(dated, chart),
        reset=reset,
        trend=drift,
        next_due=next_due,
        due_reason=reason,
        state=_state(points, drift, next_due, now),
        words=(),
    )
    return replace(plain, words=history_words(plain))


def _due(
    points: Sequence[HistoryPoint], since: Sequence[Dated], happened: Sequence[EventView]
) -> tuple[datetime | None, str]:
    if not points:
        return None, "It has not been measured yet."
    after = [event for event in happened if event.kind.makes_due and event.at > points[-1].at]
    if after:
        return after[0].at, f"It has not been measured since the {after[0].kind.value} on {after[0].at:%Y-%m-%d}."
    found, resets = due(since), [event for event in happened if event.kind.resets]
    if found is None:
        since_when = f" since the {resets[-1].kind.value} on {resets[-1].at:%Y-%m-%d}" if resets else ""
        return None, f"One trial{since_when} shows no drift; a second one tells when it is due."
    if found <= since[-1].at:
        return found, "The uncertainty of the trials already uses up the 2 % that the factor may be off."
    return found, "By then drift and uncertainty may use up the 2 % that the factor may be off."


def _state(
    points: Sequence[HistoryPoint], drift: Trend | None, next_due: datetime | None, now: datetime
) -> HistoryState:
    if not points:
        return HistoryState.NOTHING
    if next_due is not None and next_due <= now:
        return HistoryState.DUE
    if len(points) == 1:
        return HistoryState.ONE
    return HistoryState.DRIFTING if drift is not None and drift.significant else HistoryState.STEADY
