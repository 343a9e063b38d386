"""A swing judged while it goes on."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.swings import EIGHT, TRUTH
from truemile.core.deviation_hand import Observed
from truemile.core.errors import ReadingError
from truemile.core.swing_progress import judge_progress, mean_variances


def test_the_next_heading_leads_round() -> None:
    """Steering what is advised fills every plan, and the curve is ready before the end."""
    for planned in (8, 12, 16, 24):
        swing: list[Observed] = []
        ready_at = 0
        while (advice := judge_progress(swing, planned)).next.heading_compass_deg is not None:
            ready_at = ready_at or (len(swing) if advice.ready else 0)
            heading = advice.next.heading_compass_deg
            assert heading in advice.open_headings_deg
            swing.append(Observed(heading, TRUTH.deviation_deg(heading)))
        assert len(swing) == planned == advice.done
        assert 6 <= ready_at < planned
        assert "Steer 000 once more" in advice.next.words
        assert advice.missing == ()


def test_what_is_missing_is_said() -> None:
    """Cardinals twice show all but D; the next heading is an intercardinal."""
    swing = [Observed(h, TRUTH.deviation_deg(h)) for h in (0.0, 90.0, 180.0, 270.0, 0.0, 90.0)]
    progress = judge_progress(swing)
    assert progress.missing == ("D",)
    assert not progress.ready
    assert progress.next.heading_compass_deg in {45.0, 135.0, 225.0, 315.0}
    assert judge_progress([]).next.heading_compass_deg == 0.0
    assert judge_progress([]).spread is None
    with pytest.raises(ReadingError, match=r"planned is 7.*8, 12, 16, 24"):
        judge_progress([], 7)


@given(st.lists(st.floats(0, 359), min_size=5, max_size=12))
@settings(deadline=None)
def test_the_advice_is_worth_following(headings: list[float]) -> None:
    """No heading of the plan that is left would serve more than a quarter better."""
    progress = judge_progress([Observed(h, 0.0) for h in headings])
    chosen = progress.next.heading_compass_deg
    if chosen is None:
        return
    after = mean_variances(headings, progress.open_headings_deg)
    assert after[progress.open_headings_deg.index(chosen)] <= 1.25 * after.min() + 1e-12


def test_a_bad_reading_is_seen_while_there_is_time() -> None:
    """Repeats that disagree, and one of eight that the others do not bear out."""
    swing = [Observed(h, TRUTH.deviation_deg(h)) for h in EIGHT]
    assert judge_progress(swing).checks == ()
    repeat = judge_progress([*swing, Observed(2.0, TRUTH.deviation_deg(0.0) + 5.0)])
    assert "repeat" in {remark.about for remark in repeat.checks}
    swing[3] = Observed(135.0, TRUTH.deviation_deg(135.0) - 9.0)
    bad = judge_progress(swing).checks
    assert [remark.about for remark in bad] == ["outlier"]
    assert "reading on 135 lies 9.0° from what the others" in bad[0].words
    bunched = [Observed(20.0 * i % 90.0, 1.0) for i in range(8)]
    assert judge_progress([*bunched[:7]]).next.heading_compass_deg is not None
