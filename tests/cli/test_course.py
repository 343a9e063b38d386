"""``truemile log course``: the judge, in words and for a machine."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Run, expected

FROM_PIER = '--from "47 12.000N 31 03.000W" --to "47 12.354N 31 01.920W"'


def test_the_whole_verdict(done: Run) -> None:
    """All that is printed for a good course, to the letter; judging is what happens without a command."""
    line = f"log course {FROM_PIER} --transits --speed 5.5 --stream-set 90 --stream-drift 1.2"
    found = done(line)
    assert found.out == expected("course_judged.txt")
    assert found.err.startswith("Caution: ")
    assert done(line.replace("course", "course judge", 1)).out == found.out


def test_json_has_the_findings(done: Run) -> None:
    """A machine gets the course, the plan, each finding and what would improve it."""
    data = done(f"log course {FROM_PIER} --json").data
    assert data["course"]["length_nm"] == pytest.approx(0.8171, abs=5e-5)
    assert data["level"] in {"good", "fair", "poor"}
    assert {finding["subject"] for finding in data["findings"]} >= {"length", "marks", "time", "stream", "result"}
    assert data["expanded"] == pytest.approx(data["expected"]["expanded"])
    assert data["improvements"][0]["expanded_after"] < data["improvements"][0]["expanded_now"]


def test_floating_marks_are_refused_unless_insisted_on(done: Run, refused: Run) -> None:
    """Two buoys make no measured course, but a skipper may insist, and the budget then holds their swing."""
    fault = refused(f"log course {FROM_PIER} --floating").fault
    assert "fixed marks" in fault["allowed"]
    assert "insist" in fault["remedy"]
    insisted = done(f"log course {FROM_PIER} --floating --insist --json").data
    fixed = done(f"log course {FROM_PIER} --json").data
    assert insisted["course"]["u_length_nm"] > 3 * fixed["course"]["u_length_nm"]
    assert insisted["level"] == "poor"


def test_one_mark_floats(refused: Run) -> None:
    """It can be said which of the two floats."""
    allowed = refused(f"log course {FROM_PIER} --floating to").fault["allowed"]
    assert "47°12.354′N" in allowed
    assert "47°12.000′N" not in allowed


def test_short_course_is_told(done: Run) -> None:
    """Half a mile or more is common practice (no source)."""
    assert "Half a mile or more is common practice." in done("log course --distance 0.300 --speed 5").out


def test_working_is_shown_below(done: Run) -> None:
    """The length by hand follows where it is asked for."""
    assert "═" in done(f"log course {FROM_PIER} --working").out
    assert done(f"log course {FROM_PIER} --working --json").data["working"][0]["sections"]


def test_negative_longitude_is_understood(done: Run) -> None:
    """Signed degrees do for a position, although they begin with a minus."""
    data = done("log course --from '47.2000 -31.0500' --to '47.2059 -31.0320' --json").data
    assert data["course"]["start"]["position"]["longitude_deg"] == -31.05


@pytest.mark.parametrize(
    ("options", "field", "allowed"),
    [
        ("--distance 0.60 --speed 0", "speed_kn", "between 0.5 and 60"),
        ("--distance 0.60 --speed -5", "speed_kn", "between 0.5 and 60"),
        ("--distance 0.60 --speed fast", "speed_kn", "digits"),
        ("--distance 0.60 --runs 1", "runs", "between 2 and 12"),
        ("--distance 0.60 --readings 0", "readings_per_run", "between 1 and 100"),
        ("--distance 0.60 --stream-set 90 --stream-drift 1", "course_true_deg", "direction of the course"),
        ("--distance 0.60 --bearing 90 --stream-set 90 --stream-drift 9", "stream_drift_kn", "both ways"),
        ("--from '47 12N 31 3W' --to 'Kestle Beacon'", "to", ""),
        ("--from 'here' --to 'there'", "from", ""),
        ("--from '47 12.000N 31 3W' --to '48 12.000N 31 3W'", "length_nm", "between 0.05 and 20 nm"),
    ],
)
def test_plans_that_cannot_be(refused: Run, options: str, field: str, allowed: str) -> None:
    """Each fault names what was given, what is allowed, and what to do."""
    fault = refused(f"log course {options}").fault
    assert fault["field"] == field
    assert allowed in fault["allowed"]
    assert fault["remedy"].endswith(".")
