"""Facts: the database itself refuses to alter or delete what was entered."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing

import pytest

from tests.workbook.cockpit import RUN_A, tap, two_legs
from tests.workbook.season import MAY, trial_of
from truemile.workbook.boats import add_boat
from truemile.workbook.courses import add_mark
from truemile.workbook.devices import join, new_join_code
from truemile.workbook.entries import BoatEntry, MarkEntry
from truemile.workbook.events import EventKind, record_event
from truemile.workbook.log_corrections import put_in_force
from truemile.workbook.round_recordings import take_recording
from truemile.workbook.schema import IMMUTABLE
from truemile.workbook.store import Workbook
from truemile.workbook.taps import take_taps
from truemile.workbook.vector_rounds import RoundEntry, start_round


@pytest.fixture
def raw(wb: Workbook) -> Iterator[sqlite3.Connection]:
    """Return the file as any other program would open it, with a row in every table."""
    add_boat(wb, BoatEntry(name="Sanderling"))
    add_mark(wb, MarkEntry(name="Gannet Pier", position="47°12.000′N 031°03.000′W"))
    view = trial_of(wb, MAY)
    put_in_force(wb, view.id)
    join(wb, new_join_code(wb).code, "Bram")
    take_taps(wb, [tap(view.id, RUN_A, "start", 0.0)])
    record_event(wb, "Log", EventKind.CLEANING)
    take_recording(wb, start_round(wb, RoundEntry()).id, two_legs(), "two legs.csv")
    with closing(sqlite3.connect(wb.path)) as connection:
        yield connection


@pytest.mark.parametrize("table", IMMUTABLE)
def test_a_fact_cannot_be_altered_or_deleted(raw: sqlite3.Connection, table: str) -> None:
    """Every table of facts has rows here, and each refuses both."""
    assert raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0  # noqa: S608 - our own table names
    with pytest.raises(sqlite3.IntegrityError, match="kept as it was entered"):
        raw.execute(f"UPDATE {table} SET id = 77")  # noqa: S608 - our own table names
    with pytest.raises(sqlite3.IntegrityError, match="kept as it was entered"):
        raw.execute(f"DELETE FROM {table}")  # noqa: S608 - our own table names


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE readings SET value = 7.0 WHERE kind = 'speed'",
        "DELETE FROM journal",
        "UPDATE journal SET summary = 'nothing happened'",
        "UPDATE journal SET author = 'nobody'",
        "UPDATE journal SET subject_id = '99'",
        "UPDATE taps SET pressed_at_ms = pressed_at_ms + 1000",
        "UPDATE devices SET token_hash = 'known'",
    ],
)
def test_readings_and_history_cannot_be_rewritten(raw: sqlite3.Connection, statement: str) -> None:
    """The value of a reading and the words of the journal stay."""
    with pytest.raises(sqlite3.IntegrityError, match="kept as it was entered"):
        raw.execute(statement)


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO settings VALUES (99, 1, 'guess', 1.0, '2026-05-14', '', 1)",
        "INSERT INTO ship_times VALUES (99, 1, 900, '2026-05-14', 1)",
        "INSERT INTO trials VALUES (99, 1, NULL, 'calibration', '2026-05-14', 0, 0, 1)",
        "INSERT INTO trials VALUES (99, 1, 1, 'guess', '2026-05-14', 0, 0, 1)",
        "INSERT INTO events VALUES (99, 1, 'guess', '2026-05-14', '', 1)",
    ],
)
def test_the_database_checks_choices_and_ranges(raw: sqlite3.Connection, statement: str) -> None:
    """An unknown convention or an offset beyond 14 h is refused below the program too."""
    with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
        raw.execute(statement)
