"""The commands that keep things: boat, marks, courses, trials, runs, corrections, history."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run

BEGIN = "log boat add --name Dunlin --convention multiplier --setting 1.00 --utc-offset -2"
RUNS = (
    ("--run", "out 7:26 6.4 6.3 6.3 start=09:40:00"),
    ("--run", "back 9:22 6.3 6.3 6.2 start=09:50:55"),
    ("--run", "out 7:34 6.2 6.3 6.2 start=10:04:07"),
    ("--run", "back 9:21 6.3 6.3 6.2 start=10:15:00"),
)
ALL_RUNS = tuple(word for run in RUNS for word in run)


@pytest.fixture
def afloat(done: Run) -> Run:
    """Enter boat, setting in spring, marks and a course."""
    done(BEGIN)
    done("log setting note --value 1.00 --set-at 2026-04-01T00:00Z")
    done('log mark add --name "Gannet Pier" --position "47 12.000N 31 03.000W"')
    done('log mark add --name "Kestle Beacon" --position "47 12.354N 31 01.920W"')
    done('log course add --name "Pier mile" --from "gannet pier" --to "kestle beacon" --transits')
    return done


@pytest.fixture
def measured(afloat: Run) -> Run:
    """Make a trial of four runs on top."""
    afloat('log trial new --course "Pier mile" --date 2026-05-14 --crew "Okke, Bram"')
    afloat("log run add 1", *ALL_RUNS)
    return afloat


@pytest.mark.parametrize(
    "line",
    [
        "log boat",
        "log mark",
        "log course list",
        "log trial",
        "log trial show 1",
        "log run add 1 --run 'out 5:34 7.6'",
        "log setting",
        "log setting note --value 1",
        "log force 1",
        "log correct 6.3",
        "log check 1",
        "log history",
        "log undo",
        "report card",
        "backup",
        "log trial new --course x",
    ],
)
def test_no_workbook_is_begun_by_the_way(refused: Run, workbook_path: Path, line: str) -> None:
    """A command that needs one says how to begin it, and makes none."""
    fault = refused(line).fault
    assert fault["field"] == "workbook"
    assert "truemile log boat add" in fault["remedy"]
    assert not workbook_path.exists()


def test_the_first_entry_begins_the_workbook_and_says_so(done: Run, workbook_path: Path) -> None:
    """The new file is named."""
    found = done(BEGIN)
    assert found.err == f"New workbook: {workbook_path}\n"
    assert found.out == (
        "Dunlin; ship's time UTC -2 h\n"
        "  no  log  digit kn  digit nm  set in it\n"
        "  ──────────────────────────────────────\n"
        "  1   Log       0.1      0.01    × 1.000\n"
    )


def test_the_data_folder_serves_without_option(done: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without option and variable the workbook lies in the data folder."""
    monkeypatch.delenv("TRUEMILE_WORKBOOK")
    monkeypatch.setattr("sys.platform", "linux")
    done(BEGIN)
    assert (tmp_path / "data" / "truemile" / "workbook.truemile").is_file()


def test_the_option_goes_before_the_variable(done: Run, workbook_path: Path, tmp_path: Path) -> None:
    """A workbook named on the command line is used instead."""
    done(BEGIN, "--workbook", str(tmp_path / "other.truemile"))
    assert not workbook_path.exists()


def test_another_programs_file_is_refused(refused: Run, workbook_path: Path) -> None:
    """A text file is no workbook, and is left alone."""
    workbook_path.write_text("notes")
    assert "not a Truemile workbook" in refused("log boat").fault["allowed"]
    assert workbook_path.read_text() == "notes"


def test_a_second_log_joins_the_boat(done: Run) -> None:
    """The boat is entered once; the same name adds a log."""
    done(BEGIN)
    data = done("log boat add --name dunlin --log Spare --speed-digit 0.01 --json").data
    assert [boat["name"] for boat in data["boats"]] == ["Dunlin"]
    assert [log["name"] for log in data["logs"]] == ["Log", "Spare"]
    assert data["logs"][1]["speed_resolution_kn"] == 0.01


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ("", "name"),
        ("--setting 1", "convention"),
        ("--name Dunlin --speed-digit 0", "speed_resolution"),
        ("--name Dunlin --setting -1 --convention multiplier", "value"),
        ("--name Dunlin --setting 1 --convention furlongs", "convention"),
        ("--name Dunlin --length -11", "length_m"),
        ("--name Dunlin --utc-offset 99", "utc_offset"),
    ],
)
def test_boats_that_cannot_be(refused: Run, options: str, field: str) -> None:
    """The fault is told by its box."""
    assert field in [fault["field"] for fault in refused(f"log boat add {options}").fault["faults"]]


def test_two_logs_must_be_told_apart(done: Run, refused: Run) -> None:
    """With two logs on board a command asks which."""
    done(BEGIN)
    done("log boat add --name Dunlin --log Spare")
    assert "Spare" in refused("log setting").fault["allowed"]
    done("log setting --log spare")


def test_marks_and_courses_are_listed(afloat: Run) -> None:
    """What was kept is shown as it was understood."""
    assert "1   Gannet Pier    47°12.000′N 031°03.000′W    3" in afloat("log mark").out
    assert "1   Pier mile  0.8171  ± 0.0046  064.3°T  transits" in afloat("log course list").out
    data = afloat("log course list --json").data["courses"][0]
    assert data["start"]["name"] == "Gannet Pier"
    assert afloat("log mark --json").data["marks"][1]["position_typed"] == "47 12.354N 31 01.920W"


def test_a_mistyped_mark_suggests_the_nearest(afloat: Run, refused: Run) -> None:
    """Names of marks and courses are guessed too."""
    fault = refused('log course add --name Two --from "Ganet Pier" --to "Kestle Beacon"').fault
    assert (fault["field"], fault["remedy"]) == ("start", "Did you mean Gannet Pier?")
    assert refused('log course --course "Pier mle"').fault["remedy"] == "Did you mean Pier mile?"
    fault = refused('log course --from "Ganet Pier" --to "Kestle Beacon"').fault
    assert (fault["field"], fault["remedy"]) == ("from", "Did you mean Gannet Pier?")


def test_kept_marks_serve_the_judge(afloat: Run) -> None:
    """A course can be judged between kept marks, or by its own name."""
    by_marks = afloat('log course --from "Gannet Pier" --to "Kestle Beacon" --transits --json').data
    by_name = afloat('log course --course "pier mile" --json').data
    assert by_marks["expanded"] == pytest.approx(by_name["expanded"])


def test_a_charted_course_is_kept(afloat: Run) -> None:
    """Its precision comes from the digits typed."""
    data = afloat("log course add --name Half --distance 0.60 --bearing 118 --json").data
    assert data["precision_nm"] == 0.01
    assert data["course"]["course_true_deg"] == 118


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("log mark add --name X --position '47 72N 31 3W'", "position"),
        ("log mark add --position '47 12N 31 3W'", "name"),
        ("log mark add --name 'gannet pier' --position '47 12N 31 3W'", "name"),
        ("log mark add --name X --position '47 12N 31 3W' --precision-m 0", "precision_m"),
        ("log course add --name X", "distance"),
        ("log course add --name X --from 'Gannet Pier' --to 'gannet pier'", "end"),
        ("log course add --name X --from 'Gannet Pier'", "end"),
        ("log course add --name X --distance nan", "distance"),
        ("log course add --name 'pier mile' --distance 0.60", "name"),
        ("log setting note --value 0", "value"),
        ("log setting note", "value"),
        ("log setting note --value 1 --set-at yesterday", "set_at"),
    ],
)
def test_places_and_settings_that_cannot_be(afloat: Run, refused: Run, line: str, field: str) -> None:
    """The fault is told by its box, and nothing is kept."""
    before = afloat("log history --json").data["entries"]
    assert field in [fault["field"] for fault in refused(line).fault["faults"]]
    assert afloat("log history --json").data["entries"] == before


def test_a_trial_from_its_start_to_its_result(afloat: Run) -> None:
    """A trial begins, lacks runs, and then has a factor by hand and a better one."""
    started = afloat('log trial new --course "Pier mile" --date 2026-05-14')
    assert "truemile log run add 1" in started.out
    lacking = afloat("log trial show 1 --json").data
    assert lacking["result"] is None
    assert lacking["lacks"]["field"] == "runs"
    assert "No result yet." in afloat("log trial show 1").out
    one = afloat("log run add 1", *RUNS[0]).out
    assert "No result yet." in one
    added = afloat("log run add 1", *(word for run in RUNS[1:] for word in run)).out
    assert "(95 %), by hand 0.93" in added
    data = afloat("log trial show 1 --json --working").data
    assert len(data["trial"]["runs"]) == 4
    assert data["result"]["hand_factor"] == pytest.approx(0.937, abs=0.002)
    assert data["working"]["sections"]
    # Ship's time is two hours behind UTC.
    assert data["trial"]["runs"][0]["run"]["started_at"] == "2026-05-14T11:40:00Z"


def test_the_command_and_the_kept_trial_agree(measured: Run) -> None:
    """The same runs give the same factor on the spot and from the workbook."""
    kept = measured("log trial show 1 --json").data["result"]
    line = 'log factor --course "Pier mile" --date 2026-05-14 --utc-offset -2 --json'
    spot = measured(line, *ALL_RUNS).data["result"]
    assert spot["factor"] == kept["factor"]
    assert spot["expanded"] == kept["expanded"]


def test_trials_are_listed(measured: Run) -> None:
    """One line a trial."""
    assert "1   2026-05-14  calibration  Log  Pier mile     4" in measured("log trial").out
    assert measured("log trial list --json").data["trials"][0]["crew"] == "Okke, Bram"


def test_bad_runs_lose_nothing(measured: Run, refused: Run) -> None:
    """Of two runs one is at fault: neither is kept, and those before stay."""
    faults = refused("log run add 1", "--run", "out 7:30 6.3", "--run", "back 0:00 6.3").fault["faults"]
    assert [fault["field"] for fault in faults] == ["runs[1].elapsed"]
    assert len(measured("log trial show 1 --json").data["trial"]["runs"]) == 4


def test_a_run_is_replaced_and_withdrawn(measured: Run, refused: Run) -> None:
    """What was entered wrongly is put right, and stays in the history."""
    measured("log run replace 1 --number 2", "--run", "back 9:24 6.3 6.3 start=09:50:55")
    data = measured("log run withdraw 1 --number 4 --reason 'fouled by weed' --json").data
    assert [item["run"]["elapsed_s"] for item in data["runs"]] == [446, 564, 454]
    assert len(data["withdrawn_runs"]) == 2
    assert "3 runs in use" in refused("log run withdraw 1 --number 4").fault["allowed"]
    assert "fouled by weed" in json.dumps(measured("log history --json").data)


def test_a_trial_is_amended_and_withdrawn(measured: Run, refused: Run) -> None:
    """Conditions may change afterwards; a withdrawn trial is out of use but not gone."""
    measured("log trial amend 1 --weather Calm --track-held --crab 4")
    data = measured("log trial show 1 --json").data["trial"]
    assert data["conditions"]["steering"] == "track held"
    assert (data["weather"], data["crew"]) == ("Calm", "Okke, Bram")
    measured("log trial withdraw 1 --reason trial")
    assert "No trial is kept yet." in measured("log trial").out
    assert "withdrawn" in measured("log trial list --withdrawn").out
    assert "Withdrawn: it is not in use." in measured("log trial show 1").out
    assert refused("log trial withdraw 1").fault["field"]


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("log trial show 7", "trial"),
        ("log trial new --course 'Pier mle'", "course"),
        ("log trial new --course 1 --date 2086-05-14", "date"),
        ("log trial new --course 1 --timing 0", "timing_limit"),
        ("log run add 1", "runs"),
        ("log run add 7 --run 'out 5:34 7.6'", "trial"),
        ("log run replace 1 --number 9 --run 'out 5:34 7.6'", "number"),
        ("log run import 1 --file nowhere.csv", "file"),
        ("log run import 1 --file runs.xlsx", "file"),
        ("log force 7", "trial"),
        ("log check 7", "trial"),
        ("log undo 999", "entry"),
        ("log trial export 7", "trial"),
        ("log trial amend 7 --crew Ada", "trial"),
    ],
)
def test_trials_that_cannot_be(measured: Run, refused: Run, line: str, field: str) -> None:
    """The fault is told by its box."""
    assert field in refused(line).fault["field"]


def test_floating_marks_need_insisting(afloat: Run, refused: Run) -> None:
    """A trial between floating marks is refused unless insisted on."""
    afloat('log mark add --name "Wren Ledge" --position "47 11.52N 31 02.10W" --floating')
    afloat('log course add --name Buoys --from "Gannet Pier" --to "Wren Ledge"')
    assert "Wren Ledge" in refused("log trial new --course Buoys").fault["allowed"]
    assert afloat("log trial new --course Buoys --insist --json").data["floating_insisted"] is True


def test_csv_goes_out_and_comes_in_again(measured: Run, tmp_path: Path) -> None:
    """Exported runs imported into another trial give the same factor."""
    target = tmp_path / "runs.csv"
    written = measured("log trial export 1 --csv --out", str(target))
    assert (written.out, written.err) == ("", f"Wrote {target}\n")
    text = target.read_text()
    assert measured("log trial export 1 --csv").out == text
    header, *lines = text.splitlines()
    assert header.startswith("id,direction,elapsed")
    target.write_text("\n".join(line.partition(",")[2] for line in [header, *lines]))
    measured('log trial new --course "Pier mile" --date 2026-05-14')
    measured("log run import 2 --file", str(target))
    first, second = (measured(f"log trial show {n} --json").data["result"]["factor"] for n in (1, 2))
    assert first == second
    assert measured('log factor --course "Pier mile" --json', str(target)).data["result"]["factor"] == first


def test_json_goes_out(measured: Run, tmp_path: Path) -> None:
    """A trial is written whole, each reading as typed."""
    target = tmp_path / "trial.json"
    measured("log trial export 1 --out", str(target))
    data = json.loads(target.read_text())
    assert data["format"] == "truemile-log-trial-1"
    assert data["runs"][0]["readings"][0]["typed"] == "6.4"
    assert measured("log trial export 1 --json").data == data


def test_a_file_with_one_bad_line_is_refused_whole(measured: Run, refused: Run, tmp_path: Path) -> None:
    """The fault names row and column, and no run of the file is kept."""
    file = tmp_path / "runs.csv"
    file.write_text("direction,elapsed,readings\nout,7:26,6.3\nback,-9:22,6.3\n")
    fault = refused("log run import 1 --file", str(file)).fault
    assert fault["field"] == "rows[1].elapsed"
    assert "line 3" in fault["remedy"]
    assert len(measured("log trial show 1 --json").data["trial"]["runs"]) == 4
    assert refused('log factor --course "Pier mile"', str(file)).fault["field"] == "rows[1].elapsed"


def test_a_toml_file_brings_its_course(run: Run, tmp_path: Path) -> None:
    """On the spot a file may hold course and conditions as well."""
    file = tmp_path / "trial.toml"
    file.write_text(
        'date = 2026-05-14\n[course]\nname = "Half"\ndistance = "0.60"\n[conditions]\ntiming_limit = 2\n'
        '[[run]]\ndirection = "out"\nelapsed = "5:34"\nreadings = [7.6, 7.5]\n'
        '[[run]]\ndirection = "back"\nelapsed = "5:02"\nreadings = [7.6, 7.5]\n'
    )
    found = run("log factor --json", str(file)).data["result"]
    assert found["course"]["name"] == "Half"
    assert found["conditions"]["timing_limit_s"] == 2
    assert run("log factor --json --timing 1", str(file)).data["result"]["conditions"]["timing_limit_s"] == 1


def test_a_million_rows_are_no_trial(measured: Run, refused: Run, tmp_path: Path) -> None:
    """A recording given for a file of runs is refused by its size, before it is read."""
    file = tmp_path / "recording.csv"
    file.write_text("direction,elapsed,readings\n" + "out,5:34,7.6\n" * 1_000_000)
    for line in ("log run import 1 --file", 'log factor --course "Pier mile"'):
        fault = refused(line, str(file)).fault
        assert (fault["field"], fault["kind"]) == ("file", "FileError")
        assert "one line a run" in fault["remedy"]


def test_a_wrong_file_is_refused(measured: Run, refused: Run, tmp_path: Path) -> None:
    """Binary data, a folder, an unknown ending, an empty file: each is told."""
    picture = tmp_path / "runs.csv"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00")
    empty = tmp_path / "empty.csv"
    empty.write_text("")
    folder = tmp_path / "folder.csv"
    folder.mkdir()
    for file in (picture, empty, folder, tmp_path / "missing.toml", tmp_path / "runs.pdf"):
        assert refused("log run import 1 --file", str(file)).fault["field"] == "file"


def test_in_force_and_used(measured: Run) -> None:
    """A factor put in force corrects what was read from then on, with its ± and its range."""
    told = measured("log force 1").out
    assert "In force for readings from 2026-05-14" in told
    data = measured("log correct 6.3 9 --at 2026-05-15T10:00Z --json").data["corrected"]
    factor = measured("log trial show 1 --json").data["result"]["factor"]
    assert data[0]["corrected"]["value"] == pytest.approx(6.3 * factor)
    assert [item["corrected"]["inside"] for item in data] == [True, False]
    out = measured("log correct 6.3 9 --at 2026-05-15T10:00Z").out
    assert out.splitlines()[3].endswith("outside")
    assert "Outside: the factor was measured with 6.2 to 6.4 kn by the log." in out
    assert "in force" in measured("log trial").out


def test_the_way_back_returns_the_reading(measured: Run) -> None:
    """What the log must show for a wanted speed is corrected to that speed; the same for distances."""
    measured("log force 1")
    when = "--at 2026-05-15T10:00Z --json"
    speed = measured(f"log correct 6 --wanted {when}").data["corrected"][0]["corrected"]
    assert speed["value"] == pytest.approx(6.0)
    for more in ("", "--elapsed 2h"):
        distance = measured(f"log correct 12 --distance --wanted {more} {when}").data["corrected"][0]["corrected"]
        assert distance["value"] == pytest.approx(12.0)
        again = measured(f"log correct {distance['read']} --distance {more} {when}").data["corrected"][0]["corrected"]
        assert again["value"] == pytest.approx(12.0)


def test_working_of_a_corrected_reading(measured: Run) -> None:
    """Each corrected reading shows its lines if asked."""
    measured("log force 1")
    when = "--at 2026-05-15T10:00Z"
    assert "═" in measured(f"log correct 6.3 --working {when}").out
    assert "═" in measured(f"log correct 12 --distance --elapsed 2h --working {when}").out
    assert len(measured(f"log correct 6.3 6.4 --working --json {when}").data["working"]) == 2


def test_a_new_setting_is_tried_entered_and_checked(measured: Run, refused: Run) -> None:
    """As a setting: what to enter is told first, then noted, and what rounding leaves is applied."""
    tried = measured("log force 1 --try --json").data
    assert tried["new_setting"]["setting"]["value"] == pytest.approx(tried["factor"], abs=0.005)
    assert "Nothing was kept." in measured("log force 1 --try").out
    assert measured("log history --json").data["corrections"] == []
    assert "should be set to" in refused("log force 1 --as setting --entered 1.07").fault["allowed"]
    kept = measured("log force 1 --as setting --entered 0.94 --json").data
    assert kept["new_setting"] == {"convention": "multiplier", "value": 0.94}
    assert kept["leftover_factor"] == pytest.approx(tried["factor"] / 0.94, abs=2e-3)
    assert "× 0.940" in measured("log setting").out
    value = measured("log correct 6.0 --json").data["corrected"][0]["corrected"]["value"]
    assert value == pytest.approx(6.0 * kept["leftover_factor"], abs=0.02)


def test_without_a_noted_setting_a_factor_is_only_applied(done: Run, refused: Run) -> None:
    """What stood in the log must be known before a new setting can stand on it."""
    done("log boat add --name Dunlin")
    done("log course add --name Half --distance 0.600")
    done("log trial new --course Half --date 2026-05-14")
    done("log run add 1", "--run", "out 5:34 7.6", "--run", "back 5:02 7.6")
    assert "can only be" in done("log force 1 --try").out
    for line in ("log force 1 --as setting", "log force 1 --as setting --entered 0.9"):
        assert refused(line).fault["field"] == "new_setting"
    done("log force 1 --as applied")


def test_validity_is_checked(measured: Run, refused: Run) -> None:
    """A correction ends after it begins, and its times carry their zone."""
    assert refused("log force 1 --valid-until 2026-05-01T00:00Z").fault["field"] == "valid_until"
    assert refused("log force 1 --valid-from 2026-05-01T00:00").fault["field"] == "valid_from"
    assert refused("log force 1 --valid-from Monday").fault["remedy"] == "Write it as 2026-05-14T13:32Z."


@pytest.mark.parametrize(
    ("options", "field", "allowed"),
    [
        ("", "value", "nothing was given"),
        ("0", "values[0]", "above 0"),
        ("6.3 -3", "values[1]", "above 0"),
        ("nan", "value", "digits"),
        ("6.3 600", "values[1]", "at most 60 kn"),
        ("-12 --distance", "values[0]", "above 0"),
        ("6.3 --at 2020-01-01T00:00Z", "correction", "no correction is in force"),
        ("6.3 --elapsed 90", "elapsed", "minutes or seconds"),
        ("6.3 --csv t.csv --column a", "value", "corrected apart"),
        ("--csv t.csv --column a --distance", "csv", "speeds by the log"),
        ("--csv t.csv --column a --wanted", "csv", "speeds by the log"),
    ],
)
def test_readings_that_cannot_be(measured: Run, refused: Run, options: str, field: str, allowed: str) -> None:
    """The fault names the value given."""
    measured("log force 1")
    fault = refused(f"log correct {options}").fault
    assert fault["field"] == field
    assert allowed in fault["allowed"]


def test_a_check_trial_is_judged(measured: Run, refused: Run) -> None:
    """The same runs a week later, corrected, give 1.00: they pass."""
    assert "nothing was in force" in refused("log check 1").fault["allowed"]
    measured("log force 1")
    measured('log trial new --check --course "Pier mile" --date 2026-05-21')
    measured("log run add 2", *ALL_RUNS)
    data = measured("log check 2 --json").data
    assert data["verdict"]["factor"] == pytest.approx(1.0, abs=1e-9)
    assert data["verdict"]["agrees"] is data["verdict"]["within_bar"] is True
    out = measured("log check 2 --working").out
    assert "Pass against its own ±" in out
    assert "═" in out


def test_history_and_undo(measured: Run) -> None:
    """What is taken back leaves its trace, and can be brought back."""
    measured("log force 1")
    undone = measured("log undo --reason mistake")
    assert undone.out.startswith("  Took back: Log: factor ")
    history = measured("log history").out
    assert "taken back" in history
    assert "x: taken back, kept in the history" in history
    number = measured("log history --json").data["entries"][0]["id"]
    assert "Brought back" in measured(f"log undo {number}").out
    assert measured("log history --json").data["corrections"][0]["standing"] is True


def test_undo_goes_step_by_step_to_the_beginning(done: Run, refused: Run) -> None:
    """Each undo takes back the newest entry that still counts, until nothing is left."""
    done("log boat add --name Dunlin")
    assert "Log" in done("log undo").out
    assert "Boat Dunlin" in done("log undo").out
    assert "nothing that counts is left" in refused("log undo").fault["allowed"]


def test_the_author_is_noted(done: Run) -> None:
    """Who makes an entry can be said."""
    done(BEGIN, "--by", "Ines")
    done("log setting note --value 1.02 --by Bram --json")
    assert [entry["author"] for entry in done("log history --json").data["entries"]] == ["Bram", "Ines", "Ines", "Ines"]
