"""Runs in files: read whole or not at all, refused in words, exported so that they read back the same."""

from __future__ import annotations

import json
import string
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.workbook.season import MAY, run_entry, trial_of
from truemile.core.errors import FileError, ManyFaults, NavigationError, ReadingError
from truemile.core.log_runs import MOST_RUNS, Steering
from truemile.workbook.entries import RunEntry, TrialEntry
from truemile.workbook.log_trials import (
    export_runs_csv,
    export_trial,
    import_runs,
    parse_runs_text,
    record_run,
    start_trial,
    trial,
    withdraw_run,
)
from truemile.workbook.store import Workbook
from truemile.workbook.views import RunView


def content(view: RunView) -> tuple[object, ...]:
    """Return what a run says, apart from where it is kept."""
    return view.run, view.noted_by, view.timed_by, view.helm, view.remarks


CSV = """direction,elapsed,started_at,readings,log_start,log_stop
out,5:34,09:00,7.6 7.6,,0.71
back,5:40,09:10,7.6 7.5,,0.72
"""


def test_a_file_of_runs_is_kept_whole(wb: Workbook) -> None:
    """CSV and TOML of the same paper give the same runs."""
    toml = """
        [[run]]
        direction = "out"
        elapsed = "5:34"
        started_at = 09:00:00
        readings = [7.6, 7.6]
        log_stop = 0.71
        [[run]]
        direction = "back"
        elapsed = "5:40"
        started_at = "09:10"
        readings = "7.6 7.5"
        log_stop = 0.72
        """
    views = [start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat())) for _ in range(3)]
    semicolons = CSV.replace(",", ";").replace(".", ",").encode("utf-8-sig")
    kept = [
        import_runs(wb, views[0].id, CSV),
        import_runs(wb, views[1].id, toml, "toml"),
        import_runs(wb, views[2].id, semicolons),
    ]
    assert [content(item) for item in kept[1]] == [content(item) for item in kept[0]]
    assert [content(item) for item in kept[2]] == [content(item) for item in kept[0]]
    assert [item.run.log_stop_nm for item in kept[0]] == [0.71, 0.72]


def test_a_file_with_one_fault_leaves_nothing(wb: Workbook) -> None:
    """Row, column and line are named; the good rows are not kept either."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    wrong = CSV + "out,334,09:20,7.6,,\nback,5:34,09:30,x,,\n"
    with pytest.raises(ManyFaults) as caught:
        import_runs(wb, view.id, wrong)
    assert [fault.field for fault in caught.value.faults] == ["rows[2].elapsed", "rows[3].readings"]
    assert "It is line 4 of the file." in str(caught.value)
    assert trial(wb, view.id).runs == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"PK\x03\x04" + bytes(100), "spreadsheet or archive"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "UTF-8"),
        ("direction\x00elapsed", "binary data"),
        ("", "not a single run"),
        ("direction,elapsed\n", "not a single run"),
        ("6.3,6.4\n6.3,6.4\n", "first line must name the columns"),
        ("direction,elapsed,elapsed\nout,5:34,5:34\n", "each column stands once"),
        ('direction,remarks\nout,"a"b\n', "must be CSV"),
        ("x" * 2_000_001, r"2\.0 MB.*at most 2 MB"),
    ],
)
def test_a_wrong_file_is_refused_in_words(text: str | bytes, words: str) -> None:
    """Spreadsheet, picture, nothing, no header, too large: each says what to do."""
    with pytest.raises(FileError, match=words):
        parse_runs_text(text)


def test_a_million_rows_are_refused_at_once() -> None:
    """A recording is not a trial; neither as CSV nor as TOML, and not past the limit by one."""
    with pytest.raises(FileError, match="not a recording"):
        parse_runs_text("direction,elapsed\n" + "out,5:34\n" * 1_000_000)
    with pytest.raises(ReadingError, match=f"at most {MOST_RUNS} runs"):
        parse_runs_text("direction,elapsed\n" + "out,5:34\n" * (MOST_RUNS + 1))
    with pytest.raises(ReadingError, match=f"at most {MOST_RUNS} runs"):
        parse_runs_text('[[run]]\ndirection = "out"\n' * (MOST_RUNS + 1), "toml")


def test_a_trial_holds_no_more_runs_than_a_trial_has(wb: Workbook) -> None:
    """The limit holds over several files, and the file that passes it is not kept."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    import_runs(wb, view.id, "direction,elapsed,readings\n" + "out,5:34,7.6\n" * MOST_RUNS)
    with pytest.raises(ReadingError, match="Start another trial"):
        record_run(wb, view.id, run_entry("out", "10:00"))
    assert len(trial(wb, view.id).runs) == MOST_RUNS


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("direction,elapsd\nout,5:34\n", r"no column 'elapsd'\. Did you mean elapsed\?"),
        ("direction,\nout,5:34\n", "a column has no name"),
        ("direction,elapsed\nout,5:34,7.6\n", r"rows\[0\] is .*3 cells and the header 2 columns.*line 2"),
    ],
)
def test_a_header_that_does_not_fit_is_refused(text: str, words: str) -> None:
    """Nothing is guessed."""
    with pytest.raises(ReadingError, match=words):
        parse_runs_text(text)


TOML = """
    date = 2026-05-14
    [course]
    name = "Gannet to Kestle"
    transits = true
    start = { name = "Gannet Pier", position = "47°12.000′N 031°03.000′W", precision_m = 3 }
    end = "47°12.354′N 031°01.920′W"
    [conditions]
    steering = "track held"
    crab = 4.5
    [[run]]
    direction = "out"
    elapsed = "5:34"
    started_at = "13:32"
    readings = [7.6]
    """


def test_a_trial_file_stands_alone() -> None:
    """Course, conditions and runs without a workbook."""
    found = parse_runs_text(TOML, "toml")
    assert found.course is not None
    assert found.course.length_nm == pytest.approx(0.817, abs=0.0005)
    assert found.course.transits
    assert found.course.start is not None
    assert found.course.start.u_m == 3.0
    assert (found.conditions.steering, found.conditions.crab_deg) == (Steering.TRACK_HELD, 4.5)
    assert found.runs[0].started_at == datetime(2026, 5, 14, 13, 32, tzinfo=UTC)
    charted = parse_runs_text(
        '[course]\nname = "Saltgrass"\ndistance = "0.60"\n[[run]]\ndirection = "o"\nelapsed = "5:34"', "toml"
    )
    assert charted.course is not None
    assert charted.course.length_nm == 0.60
    assert parse_runs_text(CSV, day=date(2026, 5, 14)).course is None


@pytest.mark.parametrize(
    ("was", "becomes", "error", "words"),
    [
        ("[course]", "[curse]", ReadingError, "Did you mean course"),
        ("transits", "transit", ReadingError, r"course\.transit is .*Did you mean transits"),
        ("crab", "krab", ReadingError, r"conditions\.krab is"),
        ("4.5", "99", ReadingError, r"conditions\.crab is"),
        ("transits = true", 'distance = "0.6"', ReadingError, r"course\.distance is"),
        ("= true", '= "perhaps"', ReadingError, r"course\.transits is"),
        ('end = "47°12.354′N 031°01.920′W"', "", ReadingError, r"course\.end.* must be filled in"),
        ("47°12.354′N", "47°72.354′N", ReadingError, r"course\.end\.position is"),
        ("47°12.354′N", "57°12.354′N", ReadingError, r"course\.end is"),
        ("2026-05-14", '"May"', ReadingError, "date is 'May'"),
        ("[[run]]", "[run]", FileError, "table of its own"),
        ("[conditions]", "[[conditions]]", FileError, "conditions are a table"),
        ("[course]", "course = 1\n[curse]", FileError, "must be TOML|a course is a table|no column"),
        ("= true", "=", FileError, "must be TOML"),
    ],
)
def test_a_trial_file_with_a_fault_names_it(was: str, becomes: str, error: type[NavigationError], words: str) -> None:
    """Every part of the file is named by its path."""
    with pytest.raises((error, ReadingError), match=words):
        parse_runs_text(TOML.replace(was, becomes), "toml")


def test_a_charted_course_in_a_trial_file_with_a_fault_is_named() -> None:
    """The path says that it is the course's distance."""
    with pytest.raises(ReadingError, match=r"course\.distance is"):
        parse_runs_text('[course]\nname = "S"\ndistance = "far"\n[[run]]\ndirection = "o"\nelapsed = "5:34"', "toml")


def test_a_course_that_is_no_table_is_refused() -> None:
    """A plain value says nothing about a course."""
    with pytest.raises(FileError, match="a course is a table"):
        parse_runs_text('course = 1\n[[run]]\ndirection = "out"\nelapsed = "5:34"', "toml")


def test_the_export_holds_everything_ready_for_json(wb: Workbook) -> None:
    """Readings as typed, settings, marks, withdrawn runs; units in the names."""
    view = trial_of(wb, MAY)
    withdraw_run(wb, trial(wb, view.id).runs[3].id)
    data = json.loads(json.dumps(export_trial(wb, view.id), allow_nan=False))
    assert data["course"]["length_nm"] == 0.6
    assert [run["withdrawn"] for run in data["runs"]] == [False, False, False, True]
    assert data["runs"][0]["speed_readings_kn"] == [7.6, 7.6]
    assert data["runs"][0]["setting"] == {"convention": "multiplier", "value": 1.0}
    assert data["runs"][0]["readings"][0]["typed"] == "7.6"
    assert data["runs"][0]["started_at"] == "2026-05-14T09:00:00+00:00"


WORDS = st.text(string.ascii_letters + " ,;\"'äß#-", max_size=12).map(str.strip)


@st.composite
def run_boxes(draw: st.DrawFn, hour: int) -> RunEntry:
    """Return a run of 0.6 nm as a crew might write it, begun within an hour of its own."""
    counter = draw(st.none() | st.tuples(st.integers(0, 900_000), st.integers(20, 200)))
    seconds = draw(st.decimals("120", "1200", places=3))
    minutes = st.datetimes(datetime(2026, 5, 14, hour), datetime(2026, 5, 14, hour, 39))  # noqa: DTZ001 - zone added
    started = draw(st.none() | minutes)
    comma = draw(st.booleans())
    ground = 0.6 / (float(seconds) / 3600.0)
    shares = draw(st.lists(st.floats(0.4, 2.0), min_size=1, max_size=6))
    readings = " ".join(f"{ground * share:.2f}".replace(".", "," if comma else ".") for share in shares)
    return RunEntry(
        direction=draw(st.sampled_from(["out", "back", "o", "B"])),
        elapsed=f"{seconds} s",
        started_at=None if started is None else started.replace(tzinfo=UTC).isoformat(),
        readings=readings,
        log_start=None if counter is None else f"{counter[0] / 100:.2f}",
        log_stop=None if counter is None else f"{(counter[0] + counter[1]) / 100:.2f}",
        rpm=draw(st.none() | st.integers(0, 5000).map(str)),
        heading_compass=draw(st.none() | st.integers(0, 359).map(str)),
        speed_group=draw(WORDS) or None,
        noted_by=draw(WORDS) or None,
        timed_by=draw(WORDS) or None,
        helm=draw(WORDS) or None,
        remarks=draw(WORDS) or None,
    )


@st.composite
def days_of_runs(draw: st.DrawFn) -> list[RunEntry]:
    """Return the runs of a day, one an hour at most."""
    return [draw(run_boxes(8 + i)) for i in range(draw(st.integers(1, 5)))]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=days_of_runs())
def test_runs_exported_as_csv_read_back_the_same(wb: Workbook, rows: list[RunEntry]) -> None:
    """Into the same trial it changes nothing; without ids, into another, it gives the same runs."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    for row in rows:
        record_run(wb, view.id, row)
    before = trial(wb, view.id)
    text = export_runs_csv(wb, view.id)
    import_runs(wb, view.id, text)
    assert trial(wb, view.id) == before
    other = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    import_runs(wb, other.id, _without_ids(text))
    assert [content(item) for item in trial(wb, other.id).runs] == [content(item) for item in before.runs]


def _without_ids(text: str) -> str:
    """Return a file of runs without its first column, the ids."""
    lines = text.splitlines(keepends=True)
    return "".join(line.partition(",")[2] for line in lines)


def test_a_very_small_number_is_written_without_exponent(wb: Workbook) -> None:
    """A counter that moved by a hundred-thousandth reads back as it was."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    record_run(wb, view.id, RunEntry(direction="out", elapsed="5:34", log_start="0.00001", log_stop="0.6"))
    text = export_runs_csv(wb, view.id)
    assert "0.00001," in text
    assert import_runs(wb, view.id, text) == trial(wb, view.id).runs
