"""``truemile demo``: the main job told from the demo workbook."""

from __future__ import annotations

import re
from itertools import pairwise

from tests.cli.conftest import Run
from truemile.workbook.demo_truth import demo_truth


def test_the_story_has_all_its_steps(done: Run) -> None:
    """From choosing a course to the truth, on a terminal of 80 columns, with the word that the waters are invented."""
    found = done("demo")
    lines = found.out.splitlines()
    titles = [line for line, below in pairwise(lines) if below == "═" * 78 and line[0].isdigit()]
    assert [int(title.split()[0]) for title in titles] == list(range(1, 10))
    assert lines[1] == "Invented waters, not for navigation."
    assert max(map(len, lines)) < 80
    assert "By hand: mean of the run factors" in found.out
    assert "Pass against its own ±" in found.out
    assert found.err.startswith("Caution: ")


def test_estimates_stand_beside_the_truth(done: Run) -> None:
    """Truth comes from the stated truth of the demo, not from the estimate; the estimates hold it."""
    data = done("demo --json").data
    factor, by_hand, stream, speed = data["truth"]
    truth = demo_truth()
    assert abs(factor["truth"] - (truth.slope + truth.offset_kn / 6.28)) < 0.003
    for row in (factor, stream, speed):
        assert abs(row["estimate"] - row["truth"]) <= row["expanded"]
    assert abs(factor["estimate"] - factor["truth"]) < abs(by_hand["estimate"] - by_hand["truth"])
    assert data["words"] == "Invented waters, not for navigation."


def test_the_whole_working_on_request(done: Run) -> None:
    """By default the factor's lines, with --working all of them."""
    short, whole = done("demo").out, done("demo --working").out
    told = re.search(r"All (\d+) lines: truemile demo --working", short)
    assert told is not None
    assert len(whole.splitlines()) > len(short.splitlines()) + 20
    assert f"{told[1]}  " in whole or f"{told[1]}►" in whole
