"""Bring an older workbook to this program's schema: backed up first, all or nothing, and never backwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from truemile.core.errors import WorkbookError
from truemile.workbook.schema import HEAD

if TYPE_CHECKING:
    from alembic.config import Config


def revision_of(connection: sa.Connection) -> str | None:
    """Return the schema a database has, or None if it is empty."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def config(connection: sa.Connection | None = None) -> Config:
    """Return the migration tool's settings, with the migrations of this package."""
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", str(resources.files("truemile.workbook") / "migrations"))
    settings.attributes["connection"] = connection
    return settings


def known_revisions() -> Sequence[str]:
    """Return the schemas that this program can bring up to date, newest first."""
    from alembic.script import ScriptDirectory

    return [script.revision for script in ScriptDirectory.from_config(config()).walk_revisions()]


def bring_up_to_date(engine: sa.Engine, file: Path | None, at: datetime) -> None:
    """Migrate a workbook if it is older than this program.

    Parameters
    ----------
    engine
        Of the workbook.
    file
        Where it is, for the backup; None if there is nothing to back up.
    at
        Time that names the backup.

    Raises
    ------
    WorkbookError
        If the workbook has a schema that this program does not know.
    """
    with engine.connect() as connection:
        found = revision_of(connection)
    if found == HEAD:
        return
    if found is not None and found not in known_revisions():
        raise WorkbookError(
            "workbook",
            str(file or "the server"),
            f"its schema is {found} and this program knows {HEAD} as the newest",
            "Install a newer Truemile, or open a backup that was made before the change.",
        )
    if file is not None:
        _check_unfinished(engine, file, found)
        copy_file(file, backup_name(file, found or "empty", at))
    _upgrade(engine)


def _check_unfinished(engine: sa.Engine, file: Path, found: str | None) -> None:
    """A file that carries the workbook's number but no schema was never finished."""
    with engine.connect() as connection:
        empty = not sa.inspect(connection).get_table_names()
    if found is None and not empty:
        raise WorkbookError(
            "workbook", str(file), "it holds tables but not the workbook's schema", "Go back to the newest backup."
        )


def _upgrade(engine: sa.Engine) -> None:
    """Run the migrations in one transaction, with foreign keys looked at once, at its end."""
    from alembic import command

    sqlite = engine.dialect.name == "sqlite"
    with engine.execution_options(truemile_writes=True).connect() as connection:
        if sqlite:
            # Tables are rebuilt by copying, which foreign keys would forbid half way.
            _outside_transaction(connection, "PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                command.upgrade(config(connection), "head")
                reached = revision_of(connection)
                if reached != HEAD:
                    raise WorkbookError(
                        "workbook",
                        reached,
                        f"the migrations of this program do not lead to its schema {HEAD}",
                        "Install Truemile again: files of it are missing.",
                    )
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all() if sqlite else []
                if broken:
                    raise WorkbookError(
                        "workbook",
                        f"{len(broken)} rows",
                        "the new schema would leave rows that point nowhere, so nothing was changed",
                        "Keep the file as it is and report this; the older program still opens it.",
                    )
        finally:
            if sqlite:
                _outside_transaction(connection, "PRAGMA foreign_keys = ON")


def _outside_transaction(connection: sa.Connection, statement: str) -> None:
    driver = connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        driver.execute(statement)


def backup_name(file: Path, revision: str, at: datetime) -> Path:
    """Return the name of the backup made before leaving a schema: beside the file, with schema and time."""
    return file.with_name(f"{file.stem}.before-{revision}-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}.truemile")


def copy_file(source: Path, target: Path) -> None:
    """Copy a workbook while it may be in use, whole or not at all.

    Raises
    ------
    WorkbookError
        If the target exists already or cannot be written.
    """
    if target.exists():
        raise WorkbookError("target", str(target), "a file of that name is there already", "Choose another name.")
    part = target.with_name(f"{target.name}.part")
    try:
        with closing(sqlite3.connect(source)) as was, closing(sqlite3.connect(part)) as copy:
            was.backup(copy)
        part.replace(target)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise WorkbookError(
            "target", str(target), f"the copy cannot be written ({error})", "Check room and rights of its folder."
        ) from error
