"""The workbook file: opened, created, read and written one transaction at a time.

A boat's power fails without notice, so a change is on the disk (``synchronous=FULL``) before it is acknowledged.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from truemile.core.errors import WorkbookError
from truemile.core.times import require_aware
from truemile.workbook import migrate
from truemile.workbook.clock import Clock, utc_now
from truemile.workbook.schema import APPLICATION_ID

#: How long a write waits for another program that is writing.
BUSY_MS: Final = 5000
_MAGIC: Final = b"SQLite format 3\x00"


class Workbook:
    """A workbook that is open.

    Use it from any thread: one change is made at a time, and reading never waits for writing.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, Workbook.create(Path(folder) / "dunlin.truemile") as wb:
    ...     wb.path.name
    'dunlin.truemile'
    """

    def __init__(self, engine: sa.Engine, path: Path | None, clock: Clock, author: str) -> None:
        """Take an engine that is ready; `open` and `create` make one."""
        self._engine = engine
        self._writer = engine.execution_options(truemile_writes=True)
        self._lock = threading.Lock()
        self._path = path
        self.clock = clock
        self.author = author

    @classmethod
    def open(cls, path: str | Path, *, clock: Clock = utc_now, author: str = "skipper") -> Self:
        """Open a workbook, after bringing an older one to this program's schema, with a backup beside it.

        Parameters
        ----------
        path
            Of the file; or the address of a PostgreSQL database, ``postgresql+psycopg://…``.
        clock
            Gives the time of an entry that does not state one.
        author
            Signs the entries that state no author.

        Raises
        ------
        WorkbookError
            If it is missing, no workbook, newer than this program, damaged or locked.
        """
        if "://" in str(path):
            engine = _server_engine(str(path))
            migrate.bring_up_to_date(engine, None, clock())
            return cls(engine, None, clock, author)
        file = Path(path)
        check_file(file)
        with translated(file):
            engine = sqlite_engine(file)
            try:
                check_application(engine, file)
                migrate.bring_up_to_date(engine, file, clock())
            except BaseException:
                engine.dispose()
                raise
        return cls(engine, file, clock, author)

    @classmethod
    def create(cls, path: str | Path, *, clock: Clock = utc_now, author: str = "skipper") -> Self:
        """Make a new, empty workbook.

        Raises
        ------
        WorkbookError
            If there is a file of that name, or its folder cannot be written.
        """
        file = Path(path)
        if file.exists():
            raise WorkbookError(
                "workbook", str(file), "a file of that name is there already", "Open it, or choose another name."
            )
        if not file.parent.is_dir():
            raise WorkbookError("workbook", str(file), "its folder does not exist", "Make the folder first.")
        with translated(file):
            engine = sqlite_engine(file)
            try:
                with engine.connect() as connection:
                    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
                    connection.commit()
                migrate.bring_up_to_date(engine, None, clock())
            except BaseException:
                engine.dispose()
                remove_file(file)
                raise
        return cls(engine, file, clock, author)

    @property
    def path(self) -> Path:
        """Where the file is.

        Raises
        ------
        WorkbookError
            If the workbook is a database on a server.
        """
        if self._path is None:
            raise WorkbookError(
                "workbook", "a database server", "this needs a workbook in a file", "Use the server's own tools."
            )
        return self._path

    @property
    def engine(self) -> sa.Engine:
        """The database engine, for checks and backup."""
        return self._engine

    def now(self) -> datetime:
        """Return the clock's time in UTC."""
        return require_aware(self.clock(), "clock")

    def at(self, at: datetime | None) -> datetime:
        """Return the instant in UTC, or the clock's time if none is given."""
        return self.now() if at is None else require_aware(at, "at")

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that sees one state of the workbook."""
        with translated(self._path), Session(self._engine, expire_on_commit=False) as session, session.begin():
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Give a session whose changes are all kept, on disk, or not at all."""
        with (
            self._lock,
            translated(self._path),
            Session(self._writer, expire_on_commit=False) as session,
            session.begin(),
        ):
            yield session

    def close(self) -> None:
        """Close the file."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def remove_file(file: Path) -> None:
    """Remove a workbook that was never finished, with the two small files beside it."""
    for name in (file, Path(f"{file}-wal"), Path(f"{file}-shm")):
        name.unlink(missing_ok=True)


def sqlite_engine(file: Path) -> sa.Engine:
    """Return an engine with the settings that keep a boat's data safe."""
    engine = sa.create_engine(f"sqlite+pysqlite:///{file}")

    @event.listens_for(engine, "connect")
    def _settings(connection: sqlite3.Connection, _record: Any) -> None:  # noqa: ANN401
        # The driver must not open or end transactions by itself: a migration that fails would leave half a schema.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
        cursor.execute("PRAGMA journal_mode = WAL")
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # A writer takes its place at once: a reader that turns writer half way would fail if another had written.
        writes = connection.get_execution_options().get("truemile_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _server_engine(address: str) -> sa.Engine:
    try:
        if not address.startswith("postgresql"):
            raise sa.exc.ArgumentError("only PostgreSQL is served")
        return sa.create_engine(address)
    except (ImportError, sa.exc.ArgumentError) as error:
        raise WorkbookError(
            "workbook",
            address.partition("://")[0],
            f"that kind of database cannot be opened here ({error})",
            "Install truemile[postgres] and give the address as postgresql+psycopg://user@host/name.",
        ) from error


def check_file(file: Path) -> None:
    """Refuse a path that is no SQLite file.

    Raises
    ------
    WorkbookError
        With what to do about it.
    """
    if not file.exists():
        raise WorkbookError(
            "workbook", str(file), "there is no such file", "Check the name, or make one with: truemile demo."
        )
    if not file.is_file():
        raise WorkbookError("workbook", str(file), "it is not a file", "Give the name of the workbook file itself.")
    try:
        with file.open("rb") as stream:
            magic = stream.read(len(_MAGIC))
    except OSError as error:
        raise WorkbookError(
            "workbook", str(file), f"it cannot be read ({error.strerror})", "Check the rights of the file."
        ) from error
    if magic != _MAGIC:
        raise not_a_workbook(file)


def check_application(engine: sa.Engine, file: Path) -> None:
    """Refuse another program's database.

    Raises
    ------
    WorkbookError
        If the file does not carry the workbook's own number.
    """
    with engine.connect() as connection:
        number = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
    if number != APPLICATION_ID:
        raise not_a_workbook(file)


def not_a_workbook(file: Path) -> WorkbookError:
    """Return the error for a file of another kind."""
    return WorkbookError(
        "workbook",
        str(file),
        "it is not a Truemile workbook",
        "Choose the file that ends in .truemile; recordings and tables are imported, not opened.",
    )


#: What the database says, and what that means for the skipper.
_TROUBLES: Final = (
    ("locked", "another program is writing to it", "Close the other program, or wait a moment and try again."),
    (
        "malformed",
        "it is damaged",
        "Copy the file away, then go back to the newest backup; truemile check says more.",
    ),
    (
        "not a database",
        "it is damaged or not a Truemile workbook",
        "Copy the file away, then go back to the newest backup.",
    ),
    ("full", "the disk is full, and nothing was changed", "Make room on the disk, then enter it again."),
    ("readonly", "it can only be read here", "Copy it to a folder where you may write, or change its rights."),
    ("unable to open", "it cannot be opened", "Check that its folder can be written: it keeps two small files there."),
    ("disk i/o", "the disk does not answer as it should", "Copy the file to another disk now, then open the copy."),
)


@contextmanager
def translated(file: Path | None) -> Iterator[None]:
    """Turn what the database says into words and a remedy."""
    try:
        yield
    except (DatabaseError, sqlite3.DatabaseError) as error:
        said = str(getattr(error, "orig", None) or error)
        for sign, allowed, remedy in _TROUBLES:
            if sign in said.lower():
                raise WorkbookError("workbook", str(file or "the server"), allowed, remedy) from error
        raise
