"""What a recording says about the log, answer first."""

from __future__ import annotations

import pytest

from tests.recordings.recorded_files import recorded
from truemile.core.errors import ReadingError
from truemile.core.ground_vectors import VectorConditions
from truemile.recordings.report import report_on
from truemile.recordings.taking import Taking, taken_of


@pytest.mark.parametrize("name", ["figure8.csv", "figure8.nmea", "circle-starboard.csv", "circle-starboard.nmea"])
def test_turns_give_no_factor(name: str) -> None:
    """Neither circle nor figure of eight has a leg, and the turn is named in the answer."""
    report = report_on(recorded(name))
    assert (report.result, report.pieces) == (None, ())
    assert report.answer[0] == "This recording gives no log factor."
    assert any("is no leg" in sentence for sentence in report.answer)


def test_turns_insisted_on_are_refused() -> None:
    """The pieces of the figure of eight give near 1.25, as a plain fit does (recordings/README.md), and are refused."""
    report = report_on(recorded("figure8.csv"), Taking(arcs=True))
    assert report.result is not None
    assert report.result.factor == pytest.approx(1.25, abs=0.02)
    assert not report.result.may_be_put_in_force
    assert "cannot be put in force" in report.answer[0]


def test_one_tack_says_what_it_is() -> None:
    """0.87 on that one tack (recordings/README.md); where there is no tide that is the log, and never a log factor."""
    with_tide = report_on(recorded("sailing.nmea"))
    inland = report_on(recorded("sailing.nmea"), conditions=VectorConditions(tide_amplitude_kn=0.0))
    for report in (with_tide, inland):
        assert report.single is not None
        assert report.single.ratio == pytest.approx(0.87, abs=0.005)
        assert "ratio of 0.87" in " ".join(report.answer)
        assert report.result is None
        assert report.lacks is not None
    assert "no log factor: a stream" in " ".join(with_tide.answer)
    assert "that is the log itself" in " ".join(inland.answer)


def test_a_dirty_file_is_not_taken_for_one_tack() -> None:
    """Without a steady leg no ratio is given, however long the clock of the file seems to run."""
    assert report_on(recorded("dirty.nmea")).single is None


def test_pieces_are_taken_by_number() -> None:
    """Only what was found can be taken."""
    assert taken_of(0, [1]) == ()
    assert taken_of(3, None) == (1, 2, 3)
    with pytest.raises(ReadingError, match=r"numbered 1 to 3.*at least one"):
        taken_of(3, [4])
    with pytest.raises(ReadingError, match="numbered 1 to 3"):
        taken_of(3, [])
    report = report_on(recorded("circle-starboard.csv"), Taking(arcs=True, only=(1, 9)))
    assert report.taken == (1, 9)
    assert report.result is not None
    assert len(report.result.legs) == 2
