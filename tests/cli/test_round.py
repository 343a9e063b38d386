"""``truemile log round``, ``event`` and ``history``: without marks, from recordings, and over the years."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.recordings.recorded_files import file_bytes
from truemile.cli.log.leg_words import leg_boxes
from truemile.core.errors import ReadingError

LEGS = ("heading 035 log 5.0 sog 5.6 cog 041", "125 5.0 5.6 119", "215 5.0 4.5 207", "305 5.0 4.4 312")


def typed(legs: tuple[str, ...] = LEGS) -> list[str]:
    """Return legs as options."""
    return [word for leg in legs for word in ("--leg", leg)]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Unpack the recordings into a folder."""
    for name in ("circle-starboard.csv", "circle-starboard.nmea", "sailing.nmea", "dirty.nmea", "steady.csv"):
        (tmp_path / name).write_bytes(file_bytes(name))
    return tmp_path


@pytest.fixture
def afloat(done: Run) -> Run:
    """A workbook with a boat and her log."""
    done("log boat add --name Dunlin --log log")
    return done


def test_typed_legs_give_factor_offset_and_stream(done: Run, tmp_path: Path) -> None:
    """Text and JSON hold the same factor, and the picture is drawn."""
    target = tmp_path / "round.svg"
    text = done("log round --working --plot", str(target), *typed()).out
    data = done("log round --working --json", *typed()).data
    assert f"{data['result']['factor']:.3f} ±" in text
    assert "Heading offset" in text
    assert "Stream" in text
    assert "Steer about" in text
    assert data["result"]["may_be_put_in_force"] is True
    assert data["working"]["sections"]
    assert target.read_bytes().startswith(b"<svg")


def test_words_and_table_give_the_same(done: Run, tmp_path: Path) -> None:
    """Legs in a table, with or without our names, and legs in words must be one and the same."""
    table = tmp_path / "legs.csv"
    table.write_text("heading,log,sog,cog\n035,5.0,5.6,041\n125,5.0,5.6,119\n215,5.0,4.5,207\n305,5.0,4.4,312\n")
    by_table = done("log round --json --legs", str(table)).data
    assert by_table["result"]["factor"] == done("log round --json", *typed()).data["result"]["factor"]


@pytest.mark.parametrize(
    ("options", "field"),
    [
        (["--leg", LEGS[0]], "legs"),
        (["--leg", "heading 35 lgo 5 sog 5"], "legs[0]"),
        (["--leg", "035 5.0"], "legs[0]"),
        (["--leg", LEGS[0], "--leg", "heading 725 log 5 sog 5"], "legs[1].heading"),
        ([], "legs"),
        (["--leg", LEGS[0], "--file", "x.csv"], "legs"),
        (["--file", "none.csv"], "file"),
        (["--legs", "none.csv"], "legs"),
        ([*typed(), "--tide", "40"], "tide_amplitude"),
    ],
)
def test_what_cannot_be_is_refused_with_a_remedy(refused: Run, options: list[str], field: str) -> None:
    """Each slip names its field, a leg by its place."""
    assert refused("log round", *options).fault["faults"][0]["field"] == field


def test_a_table_with_other_columns_is_refused(refused: Run, tmp_path: Path) -> None:
    """A column that is not known, and a file that is no text, are named."""
    table = tmp_path / "legs.csv"
    table.write_text("heading,knots\n35,5\n")
    assert refused("log round --legs", str(table)).fault["given"] == "knots"
    table.write_bytes(b"\xff\xfe\x00")
    assert refused("log round --legs", str(table)).fault["kind"] == "FileError"


def test_words_guess_the_slip() -> None:
    """A misspelt name brings the nearest, another one the example."""
    with pytest.raises(ReadingError, match="Did you mean log"):
        leg_boxes("heading 35 lgo 5")
    with pytest.raises(ReadingError, match=r"heading 035 log 5\.0"):
        leg_boxes("heading 35 wxyz 5")


def test_a_circle_gives_no_factor(file: Path, done: Run) -> None:
    """The turn is named; insisted on, the number near 1.34 is shown and refused."""
    data = done("log round --json --file", str(file / "circle-starboard.csv")).data
    assert data["result"] is None
    assert data["answer"][0] == "This recording gives no log factor."
    arcs = done("log round --json --arcs --file", str(file / "circle-starboard.csv")).data
    assert not arcs["result"]["may_be_put_in_force"]
    assert "plain fit gives a factor of 1.34" in arcs["answer"][0]
    text = done("log round --arcs --file", str(file / "circle-starboard.csv")).out
    assert "It cannot be put in force" in text


def test_one_recording_in_two_forms_says_the_same(file: Path, done: Run) -> None:
    """CSV and sentences of the same circle must give one answer within the rounding of the sentences."""
    forms = [
        done("log round --json --arcs --file", str(file / f"circle-starboard.{kind}")).data for kind in ("csv", "nmea")
    ]
    assert forms[0]["result"]["factor"] == pytest.approx(forms[1]["result"]["factor"], abs=0.002)


def test_one_tack_and_no_tide(file: Path, done: Run) -> None:
    """The inland tack gives its ratio, told as that of one tack."""
    text = done("log round --tide 0 --file", str(file / "sailing.nmea")).out
    assert "a ratio of 0.87" in " ".join(text.split())
    assert "On that one tack" in text


def test_dirt_is_counted_and_never_fatal(file: Path, done: Run) -> None:
    """Good and faulty lines are counted; 52 framed ones with a wrong checksum as the index of the file has them."""
    data = done("log round --json --file", str(file / "dirty.nmea")).data
    assert data["recording"]["good"] == 425
    assert data["recording"]["counts"]["wrong_checksum"] == 52
    assert "with a wrong checksum" in done("log round --file", str(file / "dirty.nmea")).out


def test_what_a_recording_lacks_is_said(file: Path, done: Run) -> None:
    """Log and heading without a receiver give no answer, and the reason."""
    text = done("log round --file", str(file / "steady.csv")).out
    assert "no velocity over the ground" in " ".join(text.split())


def test_a_round_is_kept_added_to_put_in_force_and_withdrawn(afloat: Run, refused: Run) -> None:
    """The whole life of a typed round."""
    kept = afloat("log round keep --json --date 2026-05-14", *typed(LEGS[:2])).data
    number = str(kept["round"]["id"])
    afloat(f"log round add {number}", *typed(LEGS[2:]))
    assert afloat("log round list --json").data["rounds"][0]["id"] == int(number)
    assert "in force" not in afloat("log round list").out
    assert "Log factor" in afloat(f"log round show {number} --working").out
    assert "Nothing was kept" in afloat(f"log force {number} --try").out
    afloat(f"log force {number}")
    assert "in force" in afloat("log round list").out
    assert refused(f"log round withdraw {number} --leg 1").fault["field"]
    assert refused(f"log round withdraw {number} --leg 9").fault["field"] == "leg"
    afloat("log undo")
    afloat(f"log round withdraw {number} --leg 4")
    assert len(afloat(f"log round show {number} --json").data["round"]["legs"]) == 3
    afloat(f"log round withdraw {number}")
    assert "withdrawn" in afloat("log round list --withdrawn").out


def test_a_recording_is_kept_and_its_turns_stay_refused(afloat: Run, refused: Run, file: Path) -> None:
    """Turns kept with --arcs are never put in force; a file without a leg is not kept at all."""
    circle = str(file / "circle-starboard.csv")
    assert refused("log round keep --file", circle).fault["field"] == "file"
    assert afloat("log round list --json").data["rounds"] == []
    number = afloat("log round keep --json --arcs --take 1,5,9,13 --file", circle).data["round"]["id"]
    assert "were turns" in refused(f"log force {number}").fault["allowed"]
    assert refused(f"log force {number} --try").fault["field"] == "trial"
    assert refused("log round --arcs --take 99 --file", circle).fault["field"] == "take"
    assert refused("log round --arcs --take one --file", circle).fault["field"] == "take"


def test_events_are_noted_and_listed(afloat: Run) -> None:
    """What happened stands in order; what makes the log due says so."""
    assert "Nothing is noted yet" in afloat("log event").out
    assert "Measure the log again" in afloat('log event add haul-out --date 2026-04-02 --note "new antifouling"').out
    assert "Measure" not in afloat("log event add other --date 2026-03-02").out
    assert [each["kind"] for each in afloat("log event list --json").data["events"]] == ["other", "haul-out"]


def test_the_history_over_the_years(afloat: Run, refused: Run, tmp_path: Path) -> None:
    """Points with Eₙ and limits in text, JSON and picture; without a factor there is nothing to draw."""
    assert refused("log history --plot", str(tmp_path / "h.png")).fault["field"] == "plot"
    assert "No trial gives a factor yet" in afloat("log history").out
    for day in ("2025-05-14", "2025-08-14", "2026-05-14"):
        afloat(f"log round keep --date {day}", *typed())
    target = tmp_path / "h.png"
    text = afloat("log history --plot", str(target)).out
    history = afloat("log history --json").data["history"]
    assert [point["normalised_error"] for point in history["points"]] == [None, 0.0, 0.0]
    assert f"{history['chart']['low']:.3f}" in text
    assert "easure again" in text
    assert target.read_bytes().startswith(b"\x89PNG")
    sheet = tmp_path / "h.pdf"
    afloat("report history --out", str(sheet))
    assert sheet.read_bytes().startswith(b"%PDF-")
    assert refused("report trial 99").fault["field"] == "trial"
    afloat("report trial 1 --out", str(sheet))
    assert sheet.read_bytes().startswith(b"%PDF-")
