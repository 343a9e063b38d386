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
from truemile.workbook import migrate, safekeeping
from truemile.workbook.events import EventKind, record_event
from truemile.workbook.log_trials import trial, trial_result
from truemile.workbook.schema import APPLICATION_ID, HEAD, Base, TrialKind
from truemile.workbook.store import Workbook, sqlite_engine
from truemile.workbook.vector_rounds import RoundEntry, start_round

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


def older_file(path: Path, clock: Clock) -> None:
    """Make a workbook as the first schema had it, by its own migration, with a season in it."""
    engine = sqlite_engine(path)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.commit()
    with engine.begin() as connection:
        command.upgrade(migrate.config(connection), "0001")
    engine.dispose()
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(SEASON_OF_0001)


#: What the first release wrote, as plain SQL: a boat, her log with its setting, a course, a trial of two runs with a
#: speed and the watch each, and a correction.
SEASON_OF_0001 = """
    INSERT INTO journal (id, at, author, action, subject, subject_id, summary, detail, undoes_id, standing) VALUES
        (1, '2026-04-01 12:00:00', 'Ines', 'add boat', 'boats', '1', 'Boat Dunlin', '{}', NULL, 1),
        (2, '2026-04-01 12:00:00', 'Ines', 'start trial', 'trials', '1', 'Trial of Log on Saltgrass', '{}', NULL, 1),
        (3, '2026-04-01 12:00:00', 'Ines', 'put in force', 'trials', '1', 'Log: factor 0.851', '{}', NULL, 1);
    INSERT INTO boats VALUES (1, 'Dunlin', '', NULL, NULL, NULL, 0, 1);
    INSERT INTO ship_times VALUES (1, 1, -120, '1970-01-01 00:00:00', 1);
    INSERT INTO instruments VALUES (1, 1, 'Log', 'log', 0.1, 0.01, 'multiplier', 0.01, '', 1);
    INSERT INTO settings VALUES (1, 1, 'multiplier', 1.0, '2026-04-01 12:00:00', '', 1);
    INSERT INTO courses VALUES (1, 'Saltgrass', NULL, NULL, 0.6, 0.01, NULL, 0, '', 1);
    INSERT INTO trials VALUES (1, 1, 1, 'calibration', '2026-04-10 09:00:00', -120, 0, 2);
    INSERT INTO trial_details VALUES
        (1, 1, 'heading held', 0.1, 0.01, 1.0, 0.05, NULL, 3.0, 0.0, 'Okke', '', 'Calm.', 2);
    INSERT INTO runs VALUES
        ('00000000-0000-4000-8000-000000000001', 1, 1, 'out', 334, '2026-04-10 09:00:00', '', '', '', '', '', 'a', 2),
        ('00000000-0000-4000-8000-000000000002', 1, 2, 'back', 334, '2026-04-10 09:10:00', '', '', '', '', '', 'b', 2);
    INSERT INTO readings VALUES
        ('00000000-0000-4000-8000-000000000011', '00000000-0000-4000-8000-000000000001', 1, 'speed', 0, 7.6, '7.6',
         '2026-04-10 09:00:00', '', 1, 2),
        ('00000000-0000-4000-8000-000000000012', '00000000-0000-4000-8000-000000000002', 1, 'speed', 0, 7.6, '7.6',
         '2026-04-10 09:10:00', '', 1, 2);
    INSERT INTO corrections VALUES (1, 1, 1, 'applied', '[1]', '[0.851]', '[[1e-05]]', 5.0, 7.6, 7.6, 'multiplier', 1.0,
        NULL, '2026-04-11 09:00:00', '2026-04-01 12:00:00', NULL, 'Ines', '{}', 3);
"""


def test_a_workbook_of_the_first_schema_comes_over_whole(tmp_path: Path, clock: Clock) -> None:
    """A real file of the first release: backed up, migrated, every fact the same, and guarded as before."""
    path = tmp_path / "dunlin.truemile"
    older_file(path, clock)
    with closing(sqlite3.connect(path)) as raw:
        before = {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in sorted(tables(path))}  # noqa: S608
    with Workbook.open(path, clock=clock) as wb:
        view = trial(wb, 1)
        assert [(item.run.elapsed_s, item.run.speed_readings_kn) for item in view.runs] == [(334.0, (7.6,))] * 2
        assert (view.conditions.tide_amplitude_kn, view.conditions.u_crab_deg) == (1.0, 3.0)
        assert (view.kind, view.course.name, view.correction_ids) == (TrialKind.CALIBRATION, "Saltgrass", (1,))
        assert trial_result(wb, 1).hand_factor == pytest.approx(0.6 / (334 / 3600) / 7.6)
        assert safekeeping.check(wb).good
        assert start_round(wb, RoundEntry()).id == 2
        record_event(wb, "Log", EventKind.CLEANING)
    kept = tmp_path / "dunlin.before-0001-20260620T090000Z.truemile"
    assert tables(kept) == set(before)
    with closing(sqlite3.connect(kept)) as raw:
        assert {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in before} == before  # noqa: S608


def test_going_back_to_the_first_schema_keeps_the_season(tmp_path: Path, clock: Clock) -> None:
    """Up and down again, the facts of the first schema are as they were, and still guarded."""
    path = tmp_path / "dunlin.truemile"
    older_file(path, clock)
    with closing(sqlite3.connect(path)) as raw:
        before = {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in sorted(tables(path))}  # noqa: S608
        triggers = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name").fetchall()
    Workbook.open(path, clock=clock).close()
    engine = sqlite_engine(path)
    with engine.connect() as connection:
        # A table is rebuilt by copying, which foreign keys would forbid half way.
        connection.connection.cursor().execute("PRAGMA foreign_keys = OFF")
        with connection.begin():
            command.downgrade(migrate.config(connection), "0001")
    engine.dispose()
    with closing(sqlite3.connect(path)) as raw:
        assert {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in before} == before  # noqa: S608
        after = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name").fetchall()
    assert after == triggers


def test_every_choice_and_range_of_the_tables_is_in_the_file(wb: Workbook, tmp_path: Path) -> None:
    """The database checks what the tables declare: as many rules as a file made from the tables alone has."""
    plain = sqlite_engine(tmp_path / "plain.db")
    Base.metadata.create_all(plain)
    assert checks(wb.engine) == checks(plain)
    plain.dispose()


def checks(engine: sa.Engine) -> dict[str, set[str]]:
    """Return the rules of each table, without regard to how they are spelled out."""
    with engine.connect() as connection:
        looked = sa.inspect(connection)
        return {
            table: {" ".join(str(rule["sqltext"]).split()) for rule in looked.get_check_constraints(table)}
            for table in Base.metadata.tables
        }
