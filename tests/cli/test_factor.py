"""``truemile log factor``: the factor on the spot, and everything that is refused."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Run, expected

PAIR = ("--run", "out 5:34 7.6 7.5 7.6 7.7", "--run", "back 5:02 7.6 7.5 7.6 7.5")


def test_six_tenths_in_five_thirty_four(done: Run) -> None:
    """0.6 nm in 5 min 34 s is 6.47 kn, and with 7.6 kn indicated the factor is 0.851 (common practice, no source)."""
    out = done("log factor --distance 0.60", "--run", "out 5:34 7.6", "--run", "back 5:34 7.6").out
    assert "  1    out   5:34       6.47    7.60   0.851" in out
    assert "By hand: mean of the run factors                   0.851" in out


def test_hand_mean_stands_beside_the_estimate(done: Run) -> None:
    """Run factors 0.85 and 0.86 average 0.855 by hand (common practice, no source)."""
    pair = ("--run", "out 10:00 7.0588", "--run", "back 10:00 6.9767")
    data = done("log factor --distance 1.00 --json", *pair).data
    assert data["result"]["hand_factor"] == pytest.approx(0.855, abs=1e-5)


def test_the_whole_output_for_a_pair(done: Run) -> None:
    """All that is printed for two runs, to the letter."""
    found = done("log factor --distance 0.60", *PAIR)
    assert found.out == expected("factor_pair.txt")
    assert found.err == (
        "Caution: an aid only. Official charts kept up to date, look-out and local rules come first.\n"
    )


def test_json_has_the_names_of_the_core(done: Run) -> None:
    """A machine finds every figure under the core's own name, without a caution."""
    found = done("log factor --distance 0.60 --json --working", *PAIR)
    assert found.err == ""
    best = found.data["result"]["groups"][0]["best"]
    assert [r["number"] for r in best["runs"]] == [1, 2]
    assert best["factor"] == pytest.approx(best["mean_ground_kn"] / best["mean_indicated_kn"])
    assert best["expanded"] == pytest.approx(best["budget"]["coverage_factor"] * best["budget"]["u"])
    assert sum(row["share"] for row in best["budget"]["rows"]) == pytest.approx(1.0)
    assert found.data["working"]["sections"]
    assert found.data["way_to_halve"]["changes"]


def test_working_shows_hand_lines(done: Run) -> None:
    """With --working the lines of the calculation follow, within the width of a terminal."""
    out = done("log factor --distance 0.60 --working", *PAIR).out
    assert "═" in out
    assert max(map(len, out.splitlines())) < 80


def test_two_engine_speeds_give_two_factors(done: Run) -> None:
    """Runs that carry a speed are taken apart by it."""
    out = done(
        "log factor --distance 1.00",
        *("--run", "out 12:00 5.2 5.3 speed=slow", "--run", "back 13:00 5.2 5.2 speed=slow"),
        *("--run", "out 8:00 7.9 8.0 speed=fast", "--run", "back 8:30 7.9 7.9 speed=fast"),
    ).out
    assert "Speed slow" in out
    assert "Speed fast" in out
    assert "Over all speeds:" in out


def test_counter_and_display_are_both_used(done: Run) -> None:
    """Where both readings were noted the other one is told as well."""
    out = done(
        "log factor --distance 0.60",
        *("--run", "out 5:34 7.6 7.5 7.6 log=0.00/0.70", "--run", "back 5:02 7.6 7.5 7.6 log=0.70/1.33"),
    ).out
    assert "By the speed display" in out or "By the distance counter" in out


def test_start_times_in_another_zone(done: Run) -> None:
    """Clock times are ship's time of the day given."""
    data = done(
        "log factor --distance 0.60 --date 2026-05-14 --utc-offset -2 --json",
        *("--run", "out 5:34 7.6 start=23:58:00"),
        *("--run", "back 7.6 start=2026-05-15T02:10:00Z stop=2026-05-15T02:15:02Z"),
    ).data
    runs = data["result"]["groups"][0]["best"]["runs"]
    assert runs[0]["run"]["started_at"] == "2026-05-15T01:58:00Z"
    assert runs[1]["run"]["elapsed_s"] == 302


def test_where_there_is_no_tide_two_runs_are_surer(done: Run) -> None:
    """A stream that cannot turn leaves less in doubt between two runs."""
    tidal, still = (
        done(f"log factor --distance 0.60 --json {tide}", *PAIR).data["result"] for tide in ("", "--tide 0")
    )
    assert still["expanded"] < tidal["expanded"]
    assert still["factor"] == tidal["factor"]


def test_decimal_comma(done: Run) -> None:
    """A comma is a decimal mark."""
    with_comma = done("log factor --distance 0,60 --json", "--run", "out 5:34 7,6", "--run", "back 5:02 7,6").data
    with_point = done("log factor --distance 0.60 --json", "--run", "out 5:34 7.6", "--run", "back 5:02 7.6").data
    assert with_comma == with_point


@pytest.mark.parametrize(
    ("runs", "field", "allowed"),
    [
        (["out 0:00 7.6", "back 5:02 7.6"], "runs[0].elapsed", "more than 0 s"),
        (["out -5:34 7.6", "back 5:02 7.6"], "runs[0].elapsed", "not negative"),
        (["out 334 7.6", "back 5:02 7.6"], "runs[0].elapsed", "minutes or seconds"),
        (["out 5:74 7.6", "back 5:02 7.6"], "runs[0].elapsed", "make the next unit up"),
        (["out 5:34 nan", "back 5:02 7.6"], "runs[0].readings", "digits"),
        (["out 5:34 7.6", "back 5:02 0"], "runs[1].readings", "above 0"),
        (["out 5:34 7.6", "back 5:02 -7.6"], "runs[1].readings", "above 0"),
        (["out 5:34 14.1", "back 5:34 14.1"], "runs", "outside 0.5 to 2"),
        (["out 5:34 7.6", "back 5:02"], "runs[1].speed_readings_kn", "at least one reading"),
        (["out 5:34 7.6", "out 5:02 7.6"], "runs", "cancels only between runs both ways"),
        (["out 5:34 7.6"], "runs", "at least two runs"),
        (["out 5:34 76", "back 5:02 7.6"], "runs[0].readings", "at most 60 kn"),
        (["out 5:34 41", "back 5:02 41"], "runs[0].speed_readings_kn", "outside 0.25 to 4"),
        (["sideways 5:34 7.6", "back 5:02 7.6"], "runs[0].direction", "out or back"),
        (["out 5:34 log=0.7/0.1", "back 5:02 7.6"], "runs[0].log_stop", "must have moved on"),
        (["out 5:34 7.6 hedaing=064", "back 5:02 7.6"], "runs[0]", "names in a run"),
        (["out 5:34 7.6 start=25:00", "back 5:02 7.6"], "runs[0].started_at", "24 hours"),
        ([""], "runs[0].direction", "out or back"),
    ],
)
def test_runs_that_cannot_be(refused: Run, runs: list[str], field: str, allowed: str) -> None:
    """Each fault names its run and box, what is allowed, and what to do."""
    words = [word for run in runs for word in ("--run", run)]
    fault = refused("log factor --distance 0.60", *words).fault
    assert fault["field"] == field
    assert allowed in fault["allowed"]
    assert fault["remedy"].endswith((".", "?", "0.70"))


def test_all_faults_of_all_runs_come_at_once(refused: Run) -> None:
    """Three slips in two runs are told in one go."""
    faults = refused("log factor --distance 0.60", "--run", "uot 0:00 7.6", "--run", "back 5:02 x").fault["faults"]
    assert [fault["field"] for fault in faults] == ["runs[0].direction", "runs[0].elapsed", "runs[1].readings"]


def test_a_mistaken_unit_is_guessed(done: Run) -> None:
    """A log that shows km/h is recognised by its factor of 1/1.852."""
    out = done("log factor --distance 1.00", "--run", "out 8:00 13.9", "--run", "back 8:00 13.9").out
    assert "! A factor of 0.54 is what a mistaken unit gives. Does the log show km/h?" in out


def test_a_mistyped_name_in_a_run_suggests_the_nearest(refused: Run) -> None:
    """``hedaing`` is heading."""
    assert refused("log factor --distance 0.60", "--run", "out 5:34 7.6 hedaing=064").fault["remedy"] == (
        "Did you mean heading?"
    )


@pytest.mark.parametrize(
    ("options", "field", "allowed"),
    [
        ("", "course", "one of three ways"),
        ("--distance 0.60 --course Mile", "course", "one of three ways"),
        ("--distance 0", "length_nm", "between"),
        ("--distance -0.6", "length_nm", "between"),
        ("--distance nan", "distance_nm", "digits"),
        ("--distance 1111", "length_nm", "between"),
        ("--distance 1", "u_length_nm", "quarter"),
        ("--distance 0.60 --floating", "floating", "--from and --to"),
        ("--distance 0.60 --precision-m 3", "precision_m", "--from and --to"),
        ("--from '47 12N 31 3W' --to '47 12N 31 4W' --precision-nm 0.1", "precision_nm", "--distance"),
        ("--from '47 12N 31 3W' --to '47 12N 31 4W' --bearing 45", "bearing", "--distance"),
        ("--from '47 12N 31 3W' --to '47 12N 31 3W'", "end", "two different marks"),
        ("--from '47 12N 31 3W'", "to", "two ends"),
        ("--from '47 72N 31 3W' --to '47 12N 31 3W'", "from", "minutes"),
        ("--course Mile", "workbook", "no workbook"),
        ("--distance 0.60 --timing 0", "timing_limit", "between"),
        ("--distance 0.60 --crab 60 --track-held", "crab", "between"),
        ("--distance 0.60 --tide -1", "tide_amplitude", "between"),
        ("--distance 0.60 --speed-digit x", "speed_resolution", "digits"),
        ("--distance 0.60 --date 14.5.2026", "day", "year, month and day"),
        ("--distance 0.60 --utc-offset 20", "utc_offset", "from -12 to 14 h"),
    ],
)
def test_courses_and_conditions_that_cannot_be(refused: Run, options: str, field: str, allowed: str) -> None:
    """The course and the way of measuring are checked like the runs."""
    fault = refused(f"log factor {options}", "--run", "out 5:34 7.6 start=10:00", "--run", "back 5:02 7.6").fault
    assert fault["field"] == field
    assert allowed in fault["allowed"]


def test_runs_and_file_clash(refused: Run) -> None:
    """Runs come from one place."""
    assert "one of the two" in refused("log factor runs.csv --distance 0.60", *PAIR).fault["remedy"]


def test_no_runs_at_all(refused: Run) -> None:
    """Without runs the form of one is shown."""
    assert "out 5:34" in refused("log factor --distance 0.60").fault["remedy"]
