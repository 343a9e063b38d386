"""Using a correction: from what the log shows to what is true, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import NavigationError, ReadingError
from truemile.core.log_settings import reading_under
from truemile.core.numbers import parse_number
from truemile.core.times import parse_elapsed
from truemile.web.asks.boat import use_form
from truemile.web.formats import pair, with_unit
from truemile.web.forms import Form, Refused, Typed
from truemile.web.pages import Asked, Page, Section
from truemile.web.views.in_force import Standing, standing_of
from truemile.workbook import instruments, log_corrections
from truemile.workbook.typed import Faults
from truemile.workbook.views import InstrumentView
from truemile.working.corrections import explain_distance, explain_indicated, explain_speed


@dataclass(frozen=True, slots=True)
class Used:
    """One answer."""

    asked: Annotated[str, "What was asked."]
    number: Annotated[str, "The answer, with its unit."]
    plus_minus: Annotated[str, "Its 95 % uncertainty, with its unit; empty if it has none."]
    inside: Annotated[bool, "False where it lies outside the speeds that were measured."]
    working: Annotated[Mapping[str, Any], "The hand lines."]


@dataclass(frozen=True, slots=True)
class UsePage:
    """A log's correction, used."""

    id: Annotated[int, "Number of the log."]
    name: Annotated[str, "How it is called."]
    standing: Annotated[Standing | None, "The correction in force; None if there is none."]
    answers: Annotated[tuple[Used, ...], "What was asked, answered."]
    form: Annotated[Form, "Asks for a reading, a wanted speed or a distance."]


def use(asked: Asked, instrument_id: int) -> UsePage:
    """Correct a reading, or say what the log must show."""
    log = instruments.instrument(asked.workbook, instrument_id)
    typed = Typed(asked.query)
    form = use_form(log.id).filled(asked.query)
    answers: tuple[Used, ...] = ()
    try:
        answers = _answers(asked, log, typed)
    except NavigationError as error:
        form = form.after(Refused("use", typed, error))
    return UsePage(log.id, log.name, standing_of(asked, log), answers, form)


def _answers(asked: Asked, log: InstrumentView, typed: Typed) -> tuple[Used, ...]:
    faults = Faults()
    answers: list[Used | None] = []
    if typed.text("indicated"):
        answers.append(faults.take(lambda: _speed(asked, log, typed.text("indicated")), None))
    if typed.text("wanted"):
        answers.append(faults.take(lambda: _wanted(asked, log, typed.text("wanted")), None))
    if typed.text("logged"):
        answers.append(faults.take(lambda: _distance(asked, log, typed), None))
    elif typed.text("elapsed"):
        faults.add("logged", None, "a time alone corrects nothing", "Give the distance logged in that time.")
    faults.done()
    return tuple(answer for answer in answers if answer is not None)


def _number(text: str, field: str) -> float:
    return parse_number(text, field)


def _speed(asked: Asked, log: InstrumentView, text: str) -> Used:
    read = _number(text, "indicated")
    try:
        view = log_corrections.correct_speed(asked.workbook, log.id, read, at=asked.at)
    except ReadingError as error:
        raise error.renamed(lambda field: field if field == "setting" else "indicated") from error
    number, margin = pair(view.corrected.value, view.corrected.expanded)
    working = explain_speed(
        view.correction.correction, view.corrected, resolution_kn=log.speed_resolution_kn, setting=view.setting
    )
    return Used(
        f"The log shows {read:g} kn: true speed",
        f"{number} kn",
        f"{margin} kn",
        view.corrected.inside,
        working.as_dict(),
    )


def _wanted(asked: Asked, log: InstrumentView, text: str) -> Used:
    wanted = _number(text, "wanted")
    try:
        view = log_corrections.indicated_speed(asked.workbook, log.id, wanted, at=asked.at)
    except NavigationError as error:
        raise error.renamed(lambda field: field if field == "setting" else "wanted") from error
    curve = view.correction.correction
    # The measured speeds are those shown under the setting of the trial.
    inside = curve.covers(reading_under(view.indicated_kn, view.setting, curve.setting))
    return Used(
        f"To make {wanted:g} kn: the log must show",
        with_unit(view.indicated_kn, 2, "kn"),
        "",
        inside,
        explain_indicated(curve, wanted, setting=view.setting).as_dict(),
    )


def _distance(asked: Asked, log: InstrumentView, typed: Typed) -> Used:
    faults = Faults()
    logged = faults.take(lambda: _number(typed.text("logged"), "logged"), 0.0)
    elapsed = typed.text("elapsed")
    seconds = faults.take(lambda: parse_elapsed(elapsed, "elapsed") if elapsed else None, None)
    faults.done()
    hours = None if seconds is None else seconds / SECONDS_PER_HOUR
    try:
        view = log_corrections.correct_distance(asked.workbook, log.id, logged, elapsed_h=hours, at=asked.at)
    except ReadingError as error:
        raise error.renamed(lambda field: field if field in {"elapsed", "setting"} else "logged") from error
    number, margin = pair(view.corrected.value, view.corrected.expanded)
    working = explain_distance(
        view.correction.correction,
        view.corrected,
        elapsed_h=hours,
        resolution_nm=log.distance_resolution_nm,
        setting=view.setting,
    )
    inside = view.corrected.inside or hours is None
    return Used(f"Logged {logged:g} nm: true distance", f"{number} nm", f"{margin} nm", inside, working.as_dict())


SECTION = Section(pages=(Page("/instruments/{instrument_id:int}/use", "Instruments", "use_log.html", UsePage, use),))
