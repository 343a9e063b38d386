"""Beginning a vector round: legs to be typed in, or a recording to be looked at before anything of it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.core.errors import FileError, NotFound, ReadingError
from truemile.core.ground_vectors import Tack, VectorConditions
from truemile.core.numbers import parse_number
from truemile.recordings.read import read_recording
from truemile.recordings.report import RecordingReport, report_on
from truemile.recordings.taking import Taking
from truemile.web.asks.rounds import ROUND_BOXES, keep_form, recording_form, round_form
from truemile.web.forms import Form, Typed
from truemile.web.pages import Action, Asked, Page, Section
from truemile.web.shelf import Kept
from truemile.web.views.round_parts import RoundAnswer, answer_of
from truemile.workbook import boats, instruments, vector_rounds
from truemile.workbook.entries import read_entry
from truemile.workbook.round_recordings import take_recording
from truemile.workbook.vector_rounds import RoundEntry


@dataclass(frozen=True, slots=True)
class NewRoundPage:
    """A round to be begun."""

    instrument_id: Annotated[int, "Number of the log."]
    instrument: Annotated[str, "Which log."]
    form: Annotated[Form, "Asks when and how, for legs to be typed in."]
    recording: Annotated[Form, "Asks for a recording."]


@dataclass(frozen=True, slots=True)
class PieceRow:
    """A leg that was found, or a piece of a turn."""

    number: Annotated[int, "From 1, in order of time."]
    start: Annotated[str, "Seconds of the recording at which it begins."]
    length: Annotated[str, "How long it is, in seconds."]
    heading: Annotated[str, "Mean heading and what it is counted from."]
    indicated: Annotated[str, "Mean speed the log showed."]
    turn: Annotated[str, "Mean rate of turn, to starboard above 0."]
    turning: Annotated[bool, "Whether it is a turn and no leg."]


@dataclass(frozen=True, slots=True)
class FoundPage:
    """What a recording holds; nothing of it is kept yet."""

    instrument_id: Annotated[int, "Number of the log."]
    instrument: Annotated[str, "Which log."]
    name: Annotated[str, "Name of the file."]
    about: Annotated[str, "How it was written and how long it is."]
    answer: Annotated[tuple[str, ...], "The answer in plain sentences; empty where the result speaks for itself."]
    result: Annotated[RoundAnswer | None, "What its legs give together; None if they give nothing."]
    may: Annotated[bool, "Whether that may be put in force once it is kept."]
    refusals: Annotated[tuple[str, ...], "Why it may not."]
    next_heading: Annotated[str, "Which heading to add; empty without a result."]
    lines: Annotated[str, "How many lines are whole and how many faulty."]
    counts: Annotated[tuple[str, ...], "What became of the lines."]
    gives: Annotated[tuple[str, ...], "What can be read from it."]
    lacks: Annotated[tuple[str, ...], "What is missing."]
    words: Annotated[tuple[str, ...], "What was found in it and what was not."]
    pieces: Annotated[tuple[PieceRow, ...], "Legs found."]
    keep: Annotated[Form | None, "Asks which legs to keep; None if there is none."]


@dataclass(frozen=True, slots=True)
class Held:
    """A recording that waits to be kept."""

    instrument_id: int
    taking: Taking
    conditions: VectorConditions
    report: RecordingReport


def new_round(asked: Asked, instrument_id: int) -> NewRoundPage:
    """Ask for a round."""
    log = instruments.instrument(asked.workbook, instrument_id)
    date = (asked.at + boats.boat(asked.workbook, log.boat_id).ship_utc_offset).date().isoformat()
    return NewRoundPage(
        instrument_id=log.id,
        instrument=log.name,
        form=round_form(log.id, date).after(asked.refused_form("round")),
        recording=recording_form(log.id).after(asked.refused_form("recording")),
    )


def begin_round(asked: Asked, typed: Typed, instrument_id: int) -> str:
    """Begin a round without legs."""
    entry = read_entry(RoundEntry, {"instrument": str(instrument_id), **typed.only(ROUND_BOXES)})
    made = vector_rounds.start_round(asked.workbook, entry)
    return f"/rounds/{made.id}?done={made.entry_id}"


def look(asked: Asked, typed: Typed, instrument_id: int) -> str:
    """Look what a recording holds; it is held while the program runs, and not kept."""
    upload = typed.files.get("file")
    if upload is None:
        raise FileError("file", None, "no file was chosen", "Choose a recording, CSV or NMEA 0183.")
    log = instruments.instrument(asked.workbook, instrument_id)
    conditions = read_entry(RoundEntry, typed.only(("tide_amplitude",))).read_conditions()
    taking = _taking(typed)
    report = report_on(read_recording(upload.content, upload.name), taking, conditions)
    word = asked.shelf.put(Kept(upload.name, upload.content, Held(log.id, taking, conditions, report)))
    return f"/rounds/recordings/{word}"


def _taking(typed: Typed) -> Taking:
    variation, tack = typed.text("variation"), typed.text("tack")
    return Taking(
        ground="sog_cog" if typed.text("ground") == "course" else "position",
        variation_deg=parse_number(variation, "variation") if variation else None,
        tack=Tack(tack) if tack in {Tack.PORT.value, Tack.STARBOARD.value} else Tack.POWER,
        arcs=typed.ticked("arcs"),
    )


def _held(asked: Asked, word: str) -> tuple[Kept, Held]:
    kept = asked.shelf.take(word)
    if not isinstance(kept.facts, Held):
        raise NotFound("recording", word, "that is no recording of legs", "Hand in the file once more.")
    return kept, kept.facts


def found(asked: Asked, word: str) -> FoundPage:
    """Show what a recording holds."""
    _, held = _held(asked, word)
    report, recording = held.report, held.report.recording
    log = instruments.instrument(asked.workbook, held.instrument_id)
    result, counts = report.result, recording.counts
    return FoundPage(
        instrument_id=log.id,
        instrument=log.name,
        name=recording.name,
        about=f"{recording.kind}, {recording.duration_s:.0f} s",
        answer=report.answer,
        result=None if result is None else answer_of(result),
        may=result is not None and result.may_be_put_in_force,
        refusals=() if result is None else result.reasons,
        next_heading="" if result is None else result.next_heading.words,
        lines=f"{counts.lines} lines: {counts.good} whole, {counts.total - counts.good} faulty.",
        counts=counts.words,
        gives=recording.what_it_gives,
        lacks=(*recording.what_it_lacks, *recording.left_aside),
        words=tuple(words for words in report.found.words if words not in report.answer),
        pieces=_pieces(report),
        keep=_keep(asked, word, held),
    )


def _pieces(report: RecordingReport) -> tuple[PieceRow, ...]:
    return tuple(
        PieceRow(
            number,
            f"{piece.start_s:.0f}",
            f"{piece.duration_s:.0f}",
            f"{piece.heading_deg:03.0f}° {piece.heading_reference}",
            f"{piece.indicated_kn:.2f}",
            f"{round(piece.turn_rate_deg_s, 2) + 0.0:+.2f}".replace("-", "−"),
            piece.turning,
        )
        for number, piece in enumerate(report.pieces, 1)
    )


def _keep(asked: Asked, word: str, held: Held) -> Form | None:
    report = held.report
    if not report.pieces:
        return None
    legs = [
        (
            number,
            f"{'Turn' if piece.turning else 'Leg'} {number}, {piece.heading_deg:03.0f}°, {piece.duration_s:.0f} s",
            number in report.taken,
        )
        for number, piece in enumerate(report.pieces, 1)
    ]
    log = instruments.instrument(asked.workbook, held.instrument_id)
    offset = boats.boat(asked.workbook, log.boat_id).ship_utc_offset
    day = ((report.recording.started_at or asked.at) + offset).date().isoformat()
    return keep_form(word, legs, day).after(asked.refused_form("keep"))


def keep(asked: Asked, typed: Typed, word: str) -> str:
    """Keep a round with the ticked legs of a recording."""
    kept, held = _held(asked, word)
    count = len(held.report.pieces)
    only = tuple(number for number in range(1, count + 1) if typed.ticked(f"leg{number}"))
    if not only:
        raise ReadingError("leg1", None, "at least one leg is ticked", "Tick the legs that belong to the round.")
    started = held.report.recording.started_at
    boxes = typed.only(("date", "wind", "crew", "remarks"))
    offset = boats.boat(
        asked.workbook, instruments.instrument(asked.workbook, held.instrument_id).boat_id
    ).ship_utc_offset
    if started is not None and boxes.get("date") == (started + offset).date().isoformat():
        boxes["date"] = started.isoformat()
    tide = f"{held.conditions.tide_amplitude_kn:g}"
    entry = read_entry(RoundEntry, {"instrument": str(held.instrument_id), "tide_amplitude": tide, **boxes})
    made = vector_rounds.start_round(asked.workbook, entry)
    how = Taking(held.taking.ground, held.taking.variation_deg, held.taking.tack, held.taking.arcs, only)
    taken = take_recording(asked.workbook, made.id, kept.content, kept.name, how)
    return f"/rounds/{made.id}?done={taken.recording.entry_id}"


PAGE = Page("/instruments/{instrument_id:int}/rounds/new", "Instruments", "new_round.html", NewRoundPage, new_round)
FOUND = Page("/rounds/recordings/{word}", "Recordings", "found_legs.html", FoundPage, found)

SECTION = Section(
    pages=(PAGE, FOUND),
    actions=(
        Action("/instruments/{instrument_id:int}/rounds", PAGE, "round", begin_round),
        Action("/instruments/{instrument_id:int}/rounds/recording", PAGE, "recording", look),
        Action("/rounds/recordings/{word}", FOUND, "keep", keep),
    ),
)
