from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

import pytest

from tests.working.trials import demo_course, demo_runs
from truemile.core.corrections import LogCorrection, corrected_speed
from truemile.core.errors import NotFound, ReadingError
from truemile.core.log_runs import Conditions, Steering
from truemile.core.log_settings import Convention, LogSetting
from truemile.core.log_trial import TrialResult, analyse_trial
from truemile.reports import CardSheet, TrialSheet, correction_card, set_card, set_trial, trial_report
from truemile.reports.card import card_data
from truemile.reports.trial_sheet import trial_data
from truemile.reports.words import hand_text, reads_text
from truemile.workbook import instruments, log_trials
from truemile.workbook.boats import add_boat
from truemile.workbook.demo import make_demo
from truemile.workbook.entries import BoatEntry, LogEntry
from truemile.workbook.store import Workbook

MADE = datetime(2026, 5, 14, 18, 0, tzinfo=UTC)
HELD = Conditions(steering=Steering.TRACK_HELD)
WAS = LogSetting(Convention.MULTIPLIER, 1.0)
FACTOR = LogCorrection((1,), (0.934,), ((0.0055**2,),), 50.0, 6.2, 6.4, WAS)
CURVE = LogCorrection((0, 1), (0.31, 0.91), ((0.01, -0.0015), (-0.0015, 0.0003)), 12.0, 3.0, 7.5)
NASTY = '#panic("x") $x^2$ *bold* _it_ <script>alert(1)</script> \\ `raw` @ref\nsecond line "quoted" [x]'


def _sheet(result: TrialResult) -> TrialSheet:
    return TrialSheet("Dunlin", "paddle log", "Trial 3", "14 May 2026", MADE, result, WAS, "Ines and Tor", demo=True)


def _card(correction: LogCorrection = FACTOR, setting: LogSetting | None = WAS) -> CardSheet:
    return CardSheet("Dunlin", "paddle log", correction, setting, "Measured 14 May 2026.", "In force since then.", MADE)


def _text(pdf: bytes, tmp_path: Path) -> str:
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("reading a PDF back takes pdftotext (poppler-utils)")
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    done = subprocess.run([tool, "-layout", str(file), "-"], capture_output=True, check=True)
    return done.stdout.decode()


def _pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.fixture(scope="module")
def result() -> TrialResult:
    """The demo trial of two runs."""
    return analyse_trial(demo_course(), demo_runs(2), HELD)


@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize("n", [2, 3, 4])
def test_a_usual_trial_is_one_page(n: int, timed: bool) -> None:
    """Two, three or four runs fit one page, whatever their intervals."""
    assert _pages(set_trial(_sheet(analyse_trial(demo_course(), demo_runs(n, timed=timed), HELD)))) == 1


def test_report_says_everything(result: TrialResult, tmp_path: Path) -> None:
    """The page has the boat, the answer with ±, the runs, the working, the budget, the cautions and the signatures."""
    text = _text(set_trial(_sheet(result)), tmp_path)
    for words in (
        "Dunlin",
        "paddle log",
        "14 May 2026",
        "Invented waters, not for navigation.",
        f"{result.factor:.3f}",
        "1 out",
        "2 back",
        "60 × 0.8171 / 8.700",
        "mean of the run factors",
        "What the ± is made of",
        "crab angle",
        "Use official, up-to-date",
        "skipper",
        "Trial 3 · worked by Truemile",
        "page 1 of 1",
    ):
        assert words in re.sub(r"\s+", " ", text)


def test_same_sheet_same_bytes(result: TrialResult) -> None:
    """A report and a card are the same to the byte each time they are made."""
    assert set_trial(_sheet(result)) == set_trial(_sheet(result))
    assert set_card(_card()) == set_card(_card())


def test_report_is_tagged_and_carries_its_fonts(result: TrialResult) -> None:
    """The PDF claims PDF/UA-1 (ISO 14289-1), names its language and has no font from the computer."""
    pdf = set_trial(_sheet(result))
    assert b"pdfuaid:part" in pdf or b"<pdfuaid" in pdf
    assert b"/Lang" in pdf
    fonts = set(re.findall(rb"/FontName\s*/[A-Z]{6}\+([A-Za-z0-9-]+)", pdf))
    assert all(name.startswith((b"Libertinus", b"NewCM", b"DejaVu")) for name in fonts), fonts


def test_typed_text_is_only_data(result: TrialResult, tmp_path: Path) -> None:
    """Names full of markup are printed as they were typed, on report and card."""
    course = replace(result.course, name=NASTY)
    nasty = replace(
        result, course=course, groups=tuple(replace(g, best=replace(g.best, course=course)) for g in result.groups)
    )
    sheet = replace(
        _sheet(nasty), boat=NASTY, instrument=NASTY, crew=NASTY, weather=NASTY, remarks=NASTY, in_force=NASTY
    )
    text = _text(set_trial(sheet), tmp_path)
    for piece in ('#panic("x")', "$x^2$", "*bold*", "<script>", "@ref"):
        assert piece in text
    card = replace(_card(), boat=NASTY, instrument=NASTY, measured=NASTY, in_force=NASTY)
    assert "#panic" in _text(set_card(card), tmp_path)


def test_several_speeds_have_their_working_overleaf() -> None:
    """A trial at two engine speeds has a page of result and further pages of working."""
    slow = [
        replace(run, speed_group="slow", elapsed_s=run.elapsed_s * 1.3, speed_readings_kn=(4.8,))
        for run in demo_runs(2)
    ]
    fast = [replace(run, speed_group="fast") for run in demo_runs(2)]
    found = analyse_trial(demo_course(), [*slow, *fast], HELD)
    data = trial_data(_sheet(found))
    assert [group["label"] for group in data["groups"]] == ["slow", "fast"]
    assert [part["title"] for part in data["parts"]] == ["Engine speed slow", "Engine speed fast"]
    assert _pages(set_trial(_sheet(found))) >= 2


def test_a_trial_of_many_runs_runs_on() -> None:
    """Thirty runs are set on as many pages as they need, and no more than ten."""
    runs = [replace(run, started_at=None) for run in demo_runs(2)] * 15
    assert 2 <= _pages(set_trial(_sheet(analyse_trial(demo_course(), runs, HELD)))) <= 10


def test_hand_mean_and_reason(result: TrialResult) -> None:
    """The report says how far the mean by hand is off, and why."""
    words = hand_text(result)
    assert words.startswith(f"By hand, the mean of the run factors is {result.hand_factor:.3f}: 1.2 % too low, because")
    assert "off it" in words


@pytest.mark.parametrize(("factor", "words"), [(0.9, "11.1 % high"), (1.1, "9.1 % low"), (1.0, "reads true")])
def test_how_the_log_reads(factor: float, words: str) -> None:
    """A factor below 1 is a log that reads high."""
    assert words in reads_text(factor)


@pytest.mark.parametrize("correction", [FACTOR, CURVE], ids=["factor", "line"])
def test_card_rows_are_corrected_speeds(correction: LogCorrection) -> None:
    """Each row of the card is what the correction gives, and rows beyond the measured speeds are marked."""
    setting = correction.setting
    rows = card_data(_card(correction, setting))["rows"]
    for row in rows:
        found = corrected_speed(correction, float(row["shown"]), setting=setting)
        assert (row["true"], row["around"]) == (f"{found.value:.2f}", f"{found.expanded:.2f}")
        assert row["inside"] == (correction.lowest_kn <= float(row["shown"]) <= correction.highest_kn)
    assert not rows[0]["inside"]
    assert any(row["inside"] for row in rows)


def test_card_after_the_log_was_set_anew() -> None:
    """Once the new setting stands in the log, the card's factor is what is left over: 1."""
    data = card_data(_card(FACTOR, LogSetting(Convention.MULTIPLIER, 0.934)))
    assert data["number"] == "1.000"
    assert data["facts"][0] == "Set in the log: × 0.934."


def test_card_refuses_another_convention() -> None:
    """A setting that cannot be compared with that of the trial is refused."""
    with pytest.raises(ReadingError, match="same convention"):
        set_card(_card(FACTOR, LogSetting(Convention.PERCENT, 3.0)))


def test_card_is_one_small_page(tmp_path: Path) -> None:
    """The card is a single page, even for a wide range of speeds."""
    wide = replace(CURVE, lowest_kn=2.0, highest_kn=16.0)
    for correction in (FACTOR, CURVE, wide):
        pdf = set_card(_card(correction, correction.setting))
        assert _pages(pdf) == 1
        assert "Use official, up-to-date charts" in _text(pdf, tmp_path)


def test_templates_travel_with_the_package() -> None:
    """The templates are package data, and none of them asks for anything from outside."""
    folder = resources.files("truemile.reports") / "templates"
    sources = {each.name: each.read_text(encoding="utf-8") for each in folder.iterdir() if each.name.endswith(".typ")}
    assert set(sources) == {"shared.typ", "trial.typ", "card.typ", "history.typ"}
    for source in sources.values():
        assert "#import" not in source
        assert "eval(" not in source
        assert "http" not in source


def test_sheets_of_a_workbook(tmp_path: Path) -> None:
    """Every demo trial has its report, the log in force its card, and what is not there is said."""
    file = make_demo(tmp_path / "demo.sqlite")
    with Workbook.open(file) as wb:
        log = instruments.instruments(wb)[0]
        for view in log_trials.trials(wb):
            pdf = trial_report(wb, view.id)
            assert pdf.startswith(b"%PDF")
            assert pdf == trial_report(wb, view.id)
        text = _text(correction_card(wb, log.id), tmp_path)
        assert "Dunlin" in text
        assert "Invented waters" in text
        with pytest.raises(NotFound):
            trial_report(wb, 999)


def test_a_log_without_correction_has_no_card(tmp_path: Path) -> None:
    """A log with nothing in force has no card, and the error says what to do first."""
    with Workbook.create(tmp_path / "new.sqlite") as wb:
        boat = add_boat(wb, BoatEntry(name="Dunlin"))
        log = instruments.add_log(wb, LogEntry(boat=str(boat.id), name="paddle log"))
        with pytest.raises(NotFound, match="Put the result of a trial in force first"):
            correction_card(wb, log.id)
