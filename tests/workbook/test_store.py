"""The file: opened, refused, backed up, checked."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.workbook.season import MAY, Clock, run_entry, trial_of
from truemile.core.errors import ReadingError, WorkbookError
from truemile.workbook import safekeeping, store
from truemile.workbook.boats import boats
from truemile.workbook.entries import TrialEntry
from truemile.workbook.log_trials import record_run, start_trial, trial, trials
from truemile.workbook.store import Workbook
from truemile.workbook.views import RunView


def pragma(wb: Workbook, name: str) -> object:
    """Return a setting of the database as a use-case meets it."""
    with wb.reading() as session:
        return session.connection().exec_driver_sql(f"PRAGMA {name}").scalar_one()


def test_every_connection_keeps_the_data_safe(wb: Workbook) -> None:
    """A committed change is on the disk, keys are enforced, and a busy file is waited for."""
    assert pragma(wb, "journal_mode") == "wal"
    assert pragma(wb, "synchronous") == 2
    assert pragma(wb, "foreign_keys") == 1
    assert pragma(wb, "busy_timeout") == store.BUSY_MS


def test_a_workbook_reopens_as_it_was(tmp_path: Path, clock: Clock, wb: Workbook) -> None:
    """What was entered is there after closing and opening."""
    view = trial_of(wb, MAY)
    before = trial(wb, view.id)
    with Workbook.open(wb.path, clock=clock) as again:
        assert trial(again, view.id) == before


def test_a_missing_file_is_named_with_the_way_to_make_one(tmp_path: Path) -> None:
    """Opening what is not there tells how to begin, and makes nothing."""
    with pytest.raises(WorkbookError, match=r"gone\.truemile'.*no such file\. .*truemile demo"):
        Workbook.open(tmp_path / "gone.truemile")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [b"", b"direction,elapsed\nout,5:34\n", b"PK\x03\x04" + bytes(200)])
def test_another_kind_of_file_is_refused(tmp_path: Path, content: bytes) -> None:
    """Text, an archive or nothing is no workbook, and is left as it was."""
    file = tmp_path / "runs.csv"
    file.write_bytes(content)
    with pytest.raises(WorkbookError, match=r"not a Truemile workbook\. .*imported, not opened"):
        Workbook.open(file)
    assert file.read_bytes() == content


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    """A database without the workbook's number is not touched."""
    file = tmp_path / "other.db"
    with closing(sqlite3.connect(file)) as other:
        other.execute("CREATE TABLE boats (id INTEGER)")
        other.commit()
    with pytest.raises(WorkbookError, match="not a Truemile workbook"):
        Workbook.open(file)


def test_a_folder_is_refused(tmp_path: Path) -> None:
    """A folder is not a workbook."""
    with pytest.raises(WorkbookError, match="not a file"):
        Workbook.open(tmp_path)


def test_a_file_that_may_not_be_read_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rights of the file are named, not a trace shown."""
    file = tmp_path / "mine.truemile"
    file.write_bytes(b"x")

    def refuse(*_: object, **__: object) -> object:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(WorkbookError, match=r"cannot be read \(Permission denied\)"):
        Workbook.open(file)


def test_creating_over_a_file_is_refused(wb: Workbook) -> None:
    """An existing workbook is never overwritten."""
    with pytest.raises(WorkbookError, match="there already"):
        Workbook.create(wb.path)


def test_creating_without_its_folder_is_refused(tmp_path: Path) -> None:
    """The folder must be there."""
    with pytest.raises(WorkbookError, match="folder does not exist"):
        Workbook.create(tmp_path / "no" / "a.truemile")


@pytest.mark.parametrize("address", ["nodatabase://host/name", "sqlite:///dunlin.truemile", "postgresql+none://host/n"])
def test_an_unknown_server_is_refused(address: str) -> None:
    """An address of no database that is served names the extra that helps; a file is not opened past its guards."""
    with pytest.raises(WorkbookError, match=r"truemile\[postgres\]"):
        Workbook.open(address)


def test_a_server_is_brought_up_to_date_and_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A database behind an address gets the tables, and has no file of its own."""
    engine = store.sqlite_engine(tmp_path / "stands-in")
    monkeypatch.setattr(store, "_server_engine", lambda _: engine)
    with Workbook.open("postgresql+psycopg://host/name") as wb:
        assert boats(wb) == ()
        with pytest.raises(WorkbookError, match="server's own tools"):
            safekeeping.backup(wb, tmp_path / "copy.truemile")


def test_a_server_has_no_file_to_copy(wb: Workbook) -> None:
    """Backing up a database on a server is left to the server's own tools."""
    on_server = Workbook(wb.engine, None, wb.clock, "Ines")
    with pytest.raises(WorkbookError, match="server's own tools"):
        _ = on_server.path


def test_a_damaged_file_says_to_go_back_to_a_backup(wb: Workbook, clock: Clock) -> None:
    """Overwritten pages give a remedy and not a trace."""
    trial_of(wb, MAY)
    wb.close()
    with closing(sqlite3.connect(wb.path)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(wb.path.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    wb.path.write_bytes(bytes(content))
    with pytest.raises(WorkbookError, match=r"damaged.*backup"), Workbook.open(wb.path, clock=clock) as again:
        trials(again)


def test_a_file_that_another_program_writes_to_is_waited_for_and_then_refused(
    wb: Workbook, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lock that does not go away is told, and nothing is kept by halves."""
    monkeypatch.setattr(store, "BUSY_MS", 50)
    with (
        closing(sqlite3.connect(wb.path, isolation_level=None)) as other,
        Workbook.open(wb.path, clock=clock) as mine,
    ):
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(WorkbookError, match="another program is writing to it"):
            start_trial(mine, TrialEntry(course="Saltgrass"))
        other.execute("ROLLBACK")
        assert trials(mine) == ()


def test_reading_does_not_wait_for_a_writer(wb: Workbook, clock: Clock) -> None:
    """A page opens while another program writes."""
    with closing(sqlite3.connect(wb.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert [boat.name for boat in boats(wb)] == ["Dunlin"]
        other.execute("ROLLBACK")


def test_a_read_only_file_says_where_to_go(wb: Workbook) -> None:
    """What the database says about rights becomes a remedy."""
    with pytest.raises(WorkbookError, match="folder where you may write"), store.translated(wb.path):
        raise sqlite3.OperationalError("attempt to write a readonly database")


def test_a_full_disk_says_that_nothing_was_changed(wb: Workbook) -> None:
    """SQLite's own words for a full disk come out with a remedy."""

    def fill() -> None:
        for _ in range(2000):
            start_trial(wb, TrialEntry(course="Saltgrass", remarks="x" * 3000))

    with wb.reading() as session:
        session.connection().exec_driver_sql("PRAGMA max_page_count = 1")
    with pytest.raises(WorkbookError, match="disk is full, and nothing was changed"):
        fill()


def test_an_unforeseen_trouble_is_not_hidden(wb: Workbook) -> None:
    """A fault of the program itself comes through as it is."""
    with pytest.raises(sqlite3.OperationalError, match="no such table"), store.translated(wb.path):
        raise sqlite3.OperationalError("no such table: nothing")


def test_a_naive_clock_is_refused(wb: Workbook) -> None:
    """A time without zone never reaches the workbook."""
    wb.clock = lambda: datetime(2026, 5, 14, 9, 0)  # noqa: DTZ001
    with pytest.raises(ReadingError, match="zone"):
        wb.now()


def test_a_naive_instant_is_refused_by_the_column_itself(wb: Workbook) -> None:
    """Even past the use-cases, the table takes no time without zone."""
    from truemile.workbook.schema import UtcDateTime

    with wb.reading() as session, pytest.raises(ReadingError, match="an instant must say its zone"):
        UtcDateTime().process_bind_param(datetime(2026, 5, 14), session.get_bind().dialect)  # noqa: DTZ001


def test_a_backup_is_a_workbook_of_its_own(wb: Workbook, tmp_path: Path, clock: Clock) -> None:
    """The copy opens, holds the same, and does not follow later changes."""
    view = trial_of(wb, MAY)
    copy = safekeeping.backup(wb, tmp_path / "copy.truemile")
    before = trial(wb, view.id)
    record_run(wb, view.id, run_entry("out", "10:00"))
    with Workbook.open(copy, clock=clock) as again:
        assert trial(again, view.id) == before


def test_a_backup_into_a_folder_is_named_after_workbook_and_time(wb: Workbook, tmp_path: Path, clock: Clock) -> None:
    """Two backups on one day do not collide."""
    clock.at = datetime(2026, 5, 14, 9, 30, 5, tzinfo=UTC)
    folder = tmp_path / "safe"
    folder.mkdir()
    assert safekeeping.backup(wb, folder).name == "dunlin.20260514T093005Z.truemile"


def test_a_backup_overwrites_nothing(wb: Workbook) -> None:
    """The target must be new; the workbook itself least of all."""
    with pytest.raises(WorkbookError, match="there already"):
        safekeeping.backup(wb, wb.path)


def test_a_backup_that_cannot_be_written_leaves_nothing(wb: Workbook, tmp_path: Path) -> None:
    """A copy into a folder that is not there is refused."""
    with pytest.raises(WorkbookError, match="cannot be written"):
        safekeeping.backup(wb, tmp_path / "no" / "copy.truemile")


def test_a_sound_workbook_checks_good_and_is_counted(wb: Workbook) -> None:
    """All five findings are good, and the counts are those of the tables."""
    trial_of(wb, MAY)
    report = safekeeping.check(wb)
    assert report.good
    assert [finding.subject for finding in report.findings] == ["file", "links", "schema", "raw readings", "journal"]
    assert report.counts["runs"] == 4
    # Two speeds, the watch and the start of each run.
    assert report.counts["readings"] == 16


@pytest.mark.parametrize(
    ("harm", "subject"),
    [
        ("DROP TRIGGER readings_no_update", "raw readings"),
        ("PRAGMA foreign_keys = OFF; INSERT INTO ship_times VALUES (9, 77, 0, '2026-05-14 00:00:00', 1)", "links"),
        ("UPDATE journal SET standing = 0 WHERE id = 2", "journal"),
        ("UPDATE alembic_version SET version_num = '0000'", "schema"),
    ],
)
def test_harm_is_found(wb: Workbook, harm: str, subject: str) -> None:
    """A guard that was taken away, a link to nowhere, an entry switched off by hand: each is named."""
    with closing(sqlite3.connect(wb.path)) as raw:
        raw.executescript(harm)
    report = safekeeping.check(wb)
    assert [finding.subject for finding in report.findings if not finding.good] == [subject]


def test_a_file_that_contradicts_itself_is_found(wb: Workbook) -> None:
    """The database's own check is asked, here with a rule that a row was made to break."""
    rule = "replace(sql, 'demo BOOLEAN NOT NULL', 'demo BOOLEAN CHECK (demo = 7)')"
    with closing(sqlite3.connect(wb.path)) as raw:
        raw.execute("PRAGMA writable_schema = ON")
        raw.execute(f"UPDATE sqlite_master SET sql = {rule} WHERE name = 'boats'")  # noqa: S608 - no one else's text
        raw.commit()
    wb.close()
    with Workbook.open(wb.path) as again:
        assert "damaged" in safekeeping.check(again).findings[0].words


def test_writers_in_many_threads_lose_nothing(wb: Workbook) -> None:
    """Runs posted at once from several pages are all kept, each once."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    troubles: list[Exception] = []

    def post(first: int) -> None:
        try:
            for number in range(first, first + 5):
                begin = f"{10 + number // 6}:{number % 6}0"
                record_run(wb, view.id, run_entry("out" if number % 2 else "back", begin))
        except Exception as error:  # noqa: BLE001 - a thread's error would be lost
            troubles.append(error)

    threads = [threading.Thread(target=post, args=(5 * number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert troubles == []
    starts = [item.run.started_at for item in trial(wb, view.id).runs if item.run.started_at]
    assert [(at.hour, at.minute) for at in starts] == [(10 + i // 6, i % 6 * 10) for i in range(30)]


def test_one_run_sent_from_many_threads_at_once_is_kept_once(wb: Workbook) -> None:
    """A phone that is impatient posts the same run again before the first answer."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    entry = run_entry("out", "09:00").model_copy(update={"id": "5b1f3c0a-7c1d-4f0e-9d3b-2f7a1c9e4d60"})
    answers: list[RunView] = []
    threads = [threading.Thread(target=lambda: answers.append(record_run(wb, view.id, entry))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert answers == [trial(wb, view.id).runs[0]] * 6
    assert len(trial(wb, view.id).runs) == 1
