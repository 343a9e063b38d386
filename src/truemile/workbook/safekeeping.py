"""Backup and check of a workbook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import sqlalchemy as sa

from truemile.workbook.journal import recomputed
from truemile.workbook.migrate import copy_file, revision_of
from truemile.workbook.schema import HEAD, IMMUTABLE, Base, Journal
from truemile.workbook.store import Workbook, translated

#: What the database is told to refuse, by the name of its trigger.
TRIGGERS: Final = (
    *(f"{table}_no_update" for table in IMMUTABLE),
    *(f"{table}_no_delete" for table in IMMUTABLE),
    "journal_no_update",
    "journal_named_once",
    "journal_no_delete",
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at."""

    subject: str
    good: bool
    words: str


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check of the workbook found, and how many rows each table has."""

    findings: tuple[Finding, ...]
    counts: Mapping[str, int]

    @property
    def good(self) -> bool:
        """True where nothing is wrong."""
        return all(finding.good for finding in self.findings)


def backup(wb: Workbook, target: str | Path) -> Path:
    """Copy the workbook, while it may be in use, to a new file.

    Parameters
    ----------
    target
        Name of the copy; or a folder, which gets a copy named after workbook and time.

    Raises
    ------
    WorkbookError
        If the target exists already or cannot be written, or the workbook is not a file.
    """
    place = Path(target)
    if place.is_dir():
        place /= f"{wb.path.stem}.{wb.now():%Y%m%dT%H%M%SZ}.truemile"
    copy_file(wb.path, place)
    return place


def check(wb: Workbook) -> CheckReport:
    """Look whether the file is whole, points nowhere wrong, has this program's schema, and refuses changes of facts.

    Raises
    ------
    WorkbookError
        If it cannot even be read.
    """
    with translated(wb.path), wb.engine.connect() as connection:
        findings = (
            _whole(connection),
            _keys(connection),
            _schema(connection),
            _triggers(connection),
            _journal(connection),
        )
        counts = {name: _count(connection, table) for name, table in Base.metadata.tables.items()}
    return CheckReport(findings, counts)


def _count(connection: sa.Connection, table: sa.Table) -> int:
    return connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()


def _whole(connection: sa.Connection) -> Finding:
    said = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(10)")]
    good = said == ["ok"]
    return Finding("file", good, "The file is whole." if good else f"The file is damaged: {'; '.join(said[:3])}.")


def _keys(connection: sa.Connection) -> Finding:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    words = "Every row points at rows that exist." if not broken else f"{len(broken)} rows point nowhere."
    return Finding("links", not broken, words)


def _schema(connection: sa.Connection) -> Finding:
    found = revision_of(connection)
    words = f"The schema is {found}." if found == HEAD else f"The schema is {found}, not {HEAD}."
    return Finding("schema", found == HEAD, words)


def _triggers(connection: sa.Connection) -> Finding:
    query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    found = {str(row[0]) for row in connection.exec_driver_sql(query)}
    missing = sorted(set(TRIGGERS) - found)
    words = "Readings and other facts cannot be altered." if not missing else f"Not guarded: {', '.join(missing)}."
    return Finding("raw readings", not missing, words)


def _journal(connection: sa.Connection) -> Finding:
    rows = connection.execute(sa.select(Journal.id, Journal.undoes_id, Journal.standing)).all()
    expected = recomputed([(row.id, row.undoes_id) for row in rows])
    wrong = [row.id for row in rows if bool(row.standing) is not expected[row.id]]
    words = "What counts agrees with the journal." if not wrong else f"Entries {wrong[:5]} disagree with their undos."
    return Finding("journal", not wrong, words)
