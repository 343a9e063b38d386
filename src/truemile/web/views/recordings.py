"""Recordings: legs looked for in them, or a column of indicated speeds corrected and handed back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from truemile.core.errors import FileError
from truemile.web.asks.recordings import column_form
from truemile.web.forms import Choice, Form, Typed
from truemile.web.pages import Action, Asked, Download, Page, Section
from truemile.web.shelf import Kept
from truemile.web.speed_column import CorrectedColumn, Preview, correct_file
from truemile.workbook import instruments


@dataclass(frozen=True, slots=True)
class RecordingsPage:
    """Hand in a column of indicated speeds."""

    says: Annotated[str, "What can be done with a recording here."]
    logs: Annotated[int, "How many logs there are to choose from."]
    rounds: Annotated[tuple[Choice, ...], "Where legs are looked for, with the name of each log."]
    form: Annotated[Form, "Asks for the file."]


@dataclass(frozen=True, slots=True)
class CorrectedPage:
    """A corrected file, looked at before it is taken away."""

    name: Annotated[str, "Name of the file handed in."]
    log: Annotated[str, "Which log it was corrected for."]
    preview: Annotated[Preview, "Its first rows, and how many lie outside the measured speeds."]
    download: Annotated[str, "Address of the corrected file."]


def recordings(asked: Asked) -> RecordingsPage:
    """Ask for a file."""
    logs = instruments.instruments(asked.workbook)
    form = column_form([Choice(str(log.id), log.name) for log in logs]).after(asked.refused_form("column"))
    return RecordingsPage(
        says="Find the log factor in a recording of log, heading and satellite receiver; or have a table with a column"
        " of indicated speeds corrected row by row and handed back.",
        logs=len(logs),
        rounds=tuple(Choice(f"/instruments/{log.id}/rounds/new#recording", log.name) for log in logs),
        form=form,
    )


def correct(asked: Asked, typed: Typed) -> str:
    """Correct a file and put the result on the shelf."""
    upload = typed.files.get("file")
    if upload is None:
        raise FileError("file", None, "no file was chosen", "Choose a CSV file with a column of indicated speeds.")
    log = instruments.instrument(asked.workbook, typed.text("log") or None)
    done = correct_file(asked.workbook, log, upload, typed.text("column"), at=asked.at)
    word = asked.shelf.put(Kept(done.name, done.content, done))
    return f"/recordings/{word}"


def _taken(asked: Asked, word: str) -> CorrectedColumn:
    kept = asked.shelf.take(word)
    done: CorrectedColumn = kept.facts
    return done


def corrected(asked: Asked, word: str) -> CorrectedPage:
    """Show the first rows of a corrected file."""
    done = _taken(asked, word)
    return CorrectedPage(done.given, done.log, done.preview, f"/recordings/{word}/{done.name}")


def take_away(asked: Asked, word: str, name: str) -> tuple[bytes, str]:
    """Return a corrected file."""
    return _taken(asked, word).content, name


_PAGE = Page("/recordings", "Recordings", "recordings.html", RecordingsPage, recordings)

SECTION = Section(
    pages=(_PAGE, Page("/recordings/{word}", "Recordings", "corrected.html", CorrectedPage, corrected)),
    actions=(Action("/recordings", _PAGE, "column", correct),),
    downloads=(Download("/recordings/{word}/{name}", "text/csv; charset=utf-8", take_away),),
)
