"""Migrations: from nothing, in step with the tables, backed up, all or nothing, never backwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from textwrap import dedent

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from tests.workbook.season import MAY, Clock, trial_of
from truemile.core.errors import WorkbookError
from truemile.workbook import migrate
from truemile.workbook.log_trials import trial
from truemile.workbook.schema import HEAD, Base
from truemile.workbook.store import Workbook, sqlite_engine

NewMigration = Callable[[str], None]


@pytest.fixture
def next_migration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> NewMigration:
    """Return a way to let this program know a schema one newer than its own."""

    def add(upgrade: str) -> None:
        folder = tmp_path / "newer"
        folder.mkdir()
        text = f"""
            import sqlalchemy as sa
            from alembic import op
            revision, down_revision, branch_labels, depends_on = "next", "{HEAD}", None, None
            def upgrade():
                {upgrade}
            """
        (folder / "next.py").write_text(dedent(text), encoding="utf-8")
        usual = migrate.config

        def with_newer(connection: sa.Connection | None = None) -> Config:
            settings = usual(connection)
            own = f"{settings.get_main_option('script_location')}/versions"
            settings.set_main_option("path_separator", "newline")
            settings.set_main_option("version_locations", f"{own}\n{folder}")
            return settings

        monkeypatch.setattr(migrate, "config", with_newer)
        monkeypatch.setattr(migrate, "HEAD", "next")

    return add


def tables(file: Path) -> set[str]:
    """Return the tables of a file, as the database itself tells."""
    with closing(sqlite3.connect(file)) as raw:
        return {str(row[0]) for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def test_the_newest_migration_is_the_schema_that_the_program_names() -> None:
    """The constant that spares loading the migration tool is right."""
    assert ScriptDirectory.from_config(migrate.config()).get_current_head() == HEAD


def test_the_migrations_make_exactly_the_tables_of_the_program(wb: Workbook) -> None:
    """A table or column that was added without a migration is found."""
    with wb.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_the_migrations_go_down_to_nothing_and_up_again(tmp_path: Path) -> None:
    """Both ways work from an empty file."""
    engine = sqlite_engine(tmp_path / "plain.db")
    for aim in ("head", "base", "head"):
        with engine.begin() as connection:
            settings = migrate.config(connection)
            (command.downgrade if aim == "base" else command.upgrade)(settings, aim)
        with engine.connect() as connection:
            assert sa.inspect(connection).has_table("readings") is (aim == "head")
    engine.dispose()


def test_an_older_workbook_is_backed_up_and_then_migrated(
    wb: Workbook, clock: Clock, next_migration: NewMigration, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new column is there, the data are the same, and the file as it was lies beside it."""
    view = trial_of(wb, MAY)
    before = trial(wb, view.id)
    wb.close()
    next_migration("op.add_column('marks', sa.Column('light', sa.Text()))")
    with Workbook.open(wb.path, clock=clock) as again:
        assert trial(again, view.id) == before
        with again.reading() as session:
            assert session.connection().exec_driver_sql("SELECT light FROM marks").all() == []
    kept = wb.path.with_name(f"dunlin.before-{HEAD}-20260620T090000Z.truemile")
    monkeypatch.undo()
    with Workbook.open(kept, clock=clock) as old:
        assert trial(old, view.id) == before


def test_a_migration_that_fails_leaves_nothing_behind(
    wb: Workbook, clock: Clock, next_migration: NewMigration, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a schema would be worse than an old one."""
    view = trial_of(wb, MAY)
    before = trial(wb, view.id)
    wb.close()
    next_migration("op.create_table('half', sa.Column('id', sa.Integer())); op.execute('SELECT nothing FROM nowhere')")
    with pytest.raises(sa.exc.OperationalError, match="nowhere"):
        Workbook.open(wb.path, clock=clock)
    assert "half" not in tables(wb.path)
    monkeypatch.undo()
    with Workbook.open(wb.path, clock=clock) as again:
        assert trial(again, view.id) == before


def test_a_migration_that_would_break_links_is_refused(
    wb: Workbook, clock: Clock, next_migration: NewMigration
) -> None:
    """Rows that point nowhere are found before they are kept."""
    wb.close()
    next_migration(
        'op.execute("INSERT INTO ship_times (boat_id, utc_offset_min, valid_from, entry_id)'
        " VALUES (77, 0, '2026-05-14', 1)\")"
    )
    with pytest.raises(WorkbookError, match="point nowhere, so nothing was changed"):
        Workbook.open(wb.path, clock=clock)


def test_migrations_that_do_not_lead_to_the_programs_schema_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An installation that lacks files makes no workbook."""
    monkeypatch.setattr(migrate, "HEAD", "9999")
    with pytest.raises(WorkbookError, match="do not lead to its schema 9999"):
        Workbook.create(tmp_path / "new.truemile")


def test_a_newer_workbook_is_refused_and_not_touched(wb: Workbook, clock: Clock) -> None:
    """Both schemas are named, with the way out."""
    wb.close()
    with closing(sqlite3.connect(wb.path)) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '0042'")
        raw.commit()
    with pytest.raises(WorkbookError, match=rf"schema is 0042 and this program knows {HEAD}.*newer Truemile"):
        Workbook.open(wb.path, clock=clock)
    assert [name.name for name in wb.path.parent.glob("*before*")] == []


def test_tables_without_a_schema_are_refused(wb: Workbook, clock: Clock) -> None:
    """A workbook that lost its schema number is not migrated over its own data."""
    wb.close()
    with closing(sqlite3.connect(wb.path)) as raw:
        raw.execute("DROP TABLE alembic_version")
        raw.commit()
    with pytest.raises(WorkbookError, match="not the workbook's schema"):
        Workbook.open(wb.path, clock=clock)


def test_creating_that_fails_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A workbook is made whole or not at all."""

    def fail(*_: object) -> None:
        raise WorkbookError("workbook", "here", "it fails in the middle", "Try again.")

    monkeypatch.setattr(migrate, "bring_up_to_date", fail)
    with pytest.raises(WorkbookError, match="in the middle"):
        Workbook.create(tmp_path / "new.truemile")
    assert list(tmp_path.iterdir()) == []
