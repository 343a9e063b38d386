"""Taps kept as they came: none lost, none doubled, and the runs in step with them."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.workbook.cockpit import RUN_A, RUN_B, tap, whole_run
from tests.workbook.season import MAY, Clock, fitted_out
from truemile.core.errors import NavigationError, ReadingError
from truemile.core.log_runs import Direction
from truemile.workbook import journal
from truemile.workbook.devices import devices, join, new_join_code
from truemile.workbook.entries import TrialEntry
from truemile.workbook.log_corrections import put_in_force
from truemile.workbook.log_trials import start_trial, trial, trial_result, withdraw_run, withdraw_trial
from truemile.workbook.schema import ReadingKind
from truemile.workbook.store import Workbook
from truemile.workbook.tap_runs import TapEntry
from truemile.workbook.taps import (
    MOST_TAPS,
    RunOutcome,
    RunState,
    open_runs,
    settle_taps,
    take_taps,
    taps,
    trial_summary,
)
from truemile.workbook.views import RunView


@pytest.fixture
def trial_id(wb: Workbook) -> int:
    """Return a trial that was begun and has no run yet."""
    return start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat())).id


def outcome(wb: Workbook, given: Sequence[TapEntry]) -> RunOutcome:
    """Return what has become of the one run of some taps."""
    (found,) = take_taps(wb, given).runs
    return found


def content(view: RunView) -> RunView:
    """Return a run without what depends on how often it was changed."""
    blank = tuple(replace(reading, id="", run_id="", place=0) for reading in view.readings)
    ordered = tuple(sorted(blank, key=lambda reading: (reading.taken_at, reading.kind, reading.typed)))
    return replace(view, id="", entry_id=0, readings=ordered)


def test_whole_taps_become_a_run(wb: Workbook, trial_id: int) -> None:
    """The run has the page's own id, and is signed by who kept it."""
    taken = take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    assert len(taken.acknowledged) == 14
    assert taken.refused == ()
    assert taken.trial_ids == (trial_id,)
    view = trial(wb, trial_id).runs[0]
    assert taken.runs == (RunOutcome(RUN_A, trial_id, RunState.KEPT, view, ()),)
    assert view.id == RUN_A
    assert (view.run.elapsed_s, view.run.started_at) == (334.0, MAY)
    assert journal.entry(wb, view.entry_id).author == "Bram"


def test_a_run_of_taps_gives_the_factor_of_the_paper(wb: Workbook, trial_id: int) -> None:
    """0.60 nm in 5 min 34 s is 6.47 kn, as the job itself has it; at 7.6 kn indicated the factor is 0.851."""
    both = [*whole_run(trial_id, RUN_A, "out", 0.0), *whole_run(trial_id, RUN_B, "back", 600.0)]
    take_taps(wb, [entry for entry in both if entry.kind not in {"log_start", "log_stop"}])
    result = trial_result(wb, trial_id)
    assert result.groups[0].label == "2200 rpm"
    assert result.hand_factor == pytest.approx(0.60 / (334 / 3600) / 7.6, abs=1e-9)


def test_taps_sent_again_change_nothing(wb: Workbook, trial_id: int) -> None:
    """Answers that were lost on the way lead to the same post again; it is acknowledged again."""
    given = whole_run(trial_id, RUN_A, "out", 0.0)
    first = take_taps(wb, given)
    entries = len(journal.entries(wb))
    assert take_taps(wb, [*given, *given[:3]]).acknowledged == (*first.acknowledged, *first.acknowledged[:3])
    assert len(taps(wb, trial_id)) == 14
    assert len(journal.entries(wb)) == entries
    assert len(trial(wb, trial_id).runs) == 1


def test_an_id_is_acknowledged_as_it_was_sent(wb: Workbook, trial_id: int) -> None:
    """The page looks for its own spelling."""
    entry = tap(trial_id, RUN_A, "start", 0.0)
    shouted = entry.model_copy(update={"id": str(entry.id).upper()})
    assert take_taps(wb, [shouted]).acknowledged == (shouted.id,)
    assert taps(wb, trial_id)[0].id == entry.id


def test_a_different_tap_under_a_known_id_is_refused_alone(wb: Workbook, trial_id: int) -> None:
    """The rest of the post is kept; the tap that was there stays."""
    entry = tap(trial_id, RUN_A, "speed", 60.0, "7.5")
    take_taps(wb, [entry])
    forged = entry.model_copy(update={"value": "9.9"})
    taken = take_taps(wb, [forged, tap(trial_id, RUN_A, "start", 0.0)])
    assert len(taken.acknowledged) == 1
    assert [(item.id, item.error.field) for item in taken.refused] == [(entry.id, "id")]
    assert "a different tap" in str(taken.refused[0].error)
    assert [item.value for item in taps(wb, trial_id) if item.kind == "speed"] == ["7.5"]


def test_a_page_may_know_its_clock_better_when_it_sends_again(wb: Workbook, trial_id: int) -> None:
    """An offset that was measured meanwhile makes no different tap; what was kept first stays."""
    entry = tap(trial_id, RUN_A, "start", 0.0, clock_offset_ms=None)
    take_taps(wb, [entry])
    taken = take_taps(wb, [entry.model_copy(update={"clock_offset_ms": "12.0"})])
    assert taken.refused == ()
    assert taps(wb, trial_id)[0].clock_offset_ms is None


def test_a_broken_tap_is_refused_and_the_others_kept(wb: Workbook, trial_id: int) -> None:
    """JSON from anywhere: each tap stands or falls by itself, with its own words."""
    good = tap(trial_id, RUN_A, "start", 0.0).model_dump()
    taken = take_taps(wb, [good, {"id": "x"}, {**good, "id": None}, {**good, "speed": 1}, {**good, "value": {"a": 1}}])
    assert taken.acknowledged == (good["id"],)
    assert [item.id for item in taken.refused] == ["x", "", good["id"], good["id"]]
    assert "there is no column 'speed'" in str(taken.refused[2].error)


def test_too_many_at_once_are_refused_whole(wb: Workbook, trial_id: int) -> None:
    """A post that no page makes keeps nothing and names the limit."""
    with pytest.raises(ReadingError, match=f"at most {MOST_TAPS}"):
        take_taps(wb, [tap(trial_id, RUN_A, "start", 0.0)] * (MOST_TAPS + 1))
    assert taps(wb, trial_id) == ()


def test_taps_for_an_unknown_trial_are_kept_and_told(wb: Workbook) -> None:
    """The laptop may have gone back to a backup: nothing is lost, and the page learns it."""
    taken = take_taps(wb, whole_run(77, RUN_A, "out", 0.0))
    assert len(taken.acknowledged) == 14
    assert taken.trial_ids == ()
    assert [(run.state, str(run.reasons[0])) for run in taken.runs] == [
        (RunState.UNKNOWN_TRIAL, "trial is 77, but there is no trial of that number. Look at the list of trials.")
    ]
    assert len(taps(wb, 77)) == 14


def test_taps_of_a_withdrawn_trial_become_runs_when_it_is_brought_back(wb: Workbook, trial_id: int) -> None:
    """What kept a run from being made is put right, and the taps are still there."""
    view = withdraw_trial(wb, trial_id)
    assert outcome(wb, whole_run(trial_id, RUN_A, "out", 0.0)).state is RunState.UNKNOWN_TRIAL
    journal.undo(wb, journal.entries(wb, subject="trials", subject_id=view.id, limit=1)[0].id)
    assert [run.state for run in settle_taps(wb, trial_id)] == [RunState.KEPT]
    assert len(trial(wb, trial_id).runs) == 1


def test_an_open_run_lives_in_the_taps_only(wb: Workbook, trial_id: int) -> None:
    """Without its stop it is no run yet, but a page that opens again finds it."""
    given = [entry for entry in whole_run(trial_id, RUN_A, "out", 0.0) if entry.kind not in {"stop", "keep"}]
    assert outcome(wb, given).state is RunState.OPEN
    assert trial(wb, trial_id).runs == ()
    (under_way,) = open_runs(wb, trial_id)
    assert (under_way.run_id, under_way.direction) == (RUN_A, Direction.OUT)
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    assert open_runs(wb, trial_id) == ()


def test_keeping_before_the_start_has_arrived_waits_for_it(wb: Workbook, trial_id: int) -> None:
    """The page is told what is missing, and the run is made when it comes."""
    given = whole_run(trial_id, RUN_A, "out", 0.0)
    found = outcome(wb, [entry for entry in given if entry.kind != "start"])
    assert found.state is RunState.OPEN
    assert [reason.field for reason in found.reasons] == ["start"]
    assert outcome(wb, [entry for entry in given if entry.kind == "start"]).state is RunState.KEPT


def test_late_readings_join_the_run_once(wb: Workbook, trial_id: int) -> None:
    """They stand in the order of their time, under an entry that can be taken back by itself."""
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    late = [tap(trial_id, RUN_A, "speed", 150.0, "7.4"), tap(trial_id, RUN_A, "speed", 151.0, "7.3", by="Ines")]
    for _ in range(2):
        found = outcome(wb, late)
        assert found.run is not None
        assert found.run.id == RUN_A
        assert found.run.run.speed_readings_kn == (7.5, 7.4, 7.3, 7.6, 7.7)
    newest = journal.entries(wb, limit=1)[0]
    assert newest.summary == "2 late readings of a run of trial 1"
    journal.undo(wb, newest.id)
    assert trial(wb, trial_id).runs[0].run.speed_readings_kn == (7.5, 7.6, 7.7)
    # The page sends the same again, and what was taken back by hand stays away.
    take_taps(wb, late)
    assert trial(wb, trial_id).runs[0].run.speed_readings_kn == (7.5, 7.6, 7.7)


def test_a_late_change_withdraws_the_run_and_makes_it_anew(wb: Workbook, trial_id: int) -> None:
    """The old one stays in the history, and the new one stands in its place."""
    take_taps(wb, [*whole_run(trial_id, RUN_A, "out", 0.0), *whole_run(trial_id, RUN_B, "back", 600.0)])
    found = outcome(wb, [tap(trial_id, RUN_A, "direction", 2000.0, "back")])
    view = trial(wb, trial_id)
    assert found.run == view.runs[0]
    assert found.run is not None
    assert found.run.id != RUN_A
    assert found.run.run.direction is Direction.BACK
    assert [run.id for run in view.withdrawn_runs] == [RUN_A]
    assert "(changed on the run page)" in journal.entries(wb, limit=2)[1].summary


def test_a_late_change_that_cannot_be_leaves_the_run_as_it_was(wb: Workbook, trial_id: int) -> None:
    """Nonsense pressed afterwards is told and does not take a good run away."""
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    found = outcome(wb, [tap(trial_id, RUN_A, "direction", 2000.0, "sideways")])
    assert found.state is RunState.KEPT
    assert [reason.field for reason in found.reasons] == ["direction"]
    assert trial(wb, trial_id).runs[0].run.direction is Direction.OUT


def test_a_run_that_a_correction_rests_on_is_not_changed(wb: Workbook, trial_id: int) -> None:
    """The taps are kept, and the page is told what is in the way."""
    take_taps(wb, [*whole_run(trial_id, RUN_A, "out", 0.0), *whole_run(trial_id, RUN_B, "back", 600.0)])
    put_in_force(wb, trial_id)
    found = outcome(wb, [tap(trial_id, RUN_A, "helm", 2000.0, "Ines")])
    assert found.state is RunState.KEPT
    assert "correction 1 rests on it" in str(found.reasons[0])
    assert trial(wb, trial_id).runs[0].helm == "Okke"
    assert len(taps(wb, trial_id)) == 29


def test_a_dropped_run_is_void_until_it_is_kept_again(wb: Workbook, trial_id: int) -> None:
    """The page takes its run back, and may think again."""
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    found = outcome(wb, [tap(trial_id, RUN_A, "drop", 400.0)])
    assert found.state is RunState.DROPPED
    assert trial(wb, trial_id).runs == ()
    assert open_runs(wb, trial_id) == ()
    assert outcome(wb, [tap(trial_id, RUN_A, "keep", 500.0)]).state is RunState.KEPT
    assert len(trial(wb, trial_id).runs) == 1


def test_a_run_dropped_before_it_was_kept_never_comes(wb: Workbook, trial_id: int) -> None:
    """Void from the beginning."""
    given = whole_run(trial_id, RUN_A, "out", 0.0)[:-1]
    assert outcome(wb, [*given, tap(trial_id, RUN_A, "drop", 500.0)]).state is RunState.DROPPED
    assert trial(wb, trial_id).withdrawn_runs == ()


def test_a_run_withdrawn_by_hand_stays_away(wb: Workbook, trial_id: int) -> None:
    """What the skipper took back on the laptop, a phone does not bring in again."""
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    withdraw_run(wb, RUN_A, reason="wrong mark")
    found = outcome(wb, [tap(trial_id, RUN_A, "speed", 150.0, "7.4"), tap(trial_id, RUN_A, "keep", 900.0)])
    assert found.state is RunState.WITHDRAWN
    assert trial(wb, trial_id).runs == ()


def test_a_run_of_another_trial_is_not_taken_over(wb: Workbook, trial_id: int) -> None:
    """A run id that two trials claim is told, and the first keeps its run."""
    other = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat())).id
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    claimed = [entry.model_copy(update={"id": None}) for entry in whole_run(other, RUN_A, "out", 0.0)]
    numbered = [entry.model_copy(update={"id": f"{number:032x}"}) for number, entry in enumerate(claimed)]
    found = outcome(wb, numbered)
    assert found.run is None
    assert [reason.field for reason in found.reasons] == ["run_id"]
    assert len(trial(wb, trial_id).runs) == 1
    assert trial(wb, other).runs == ()


def test_too_many_runs_are_told_and_their_taps_kept(
    wb: Workbook, trial_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit of a trial holds for taps too."""
    monkeypatch.setattr("truemile.workbook.log_trials.MOST_RUNS", 1)
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    found = outcome(wb, whole_run(trial_id, RUN_B, "back", 600.0))
    assert "at most 1 runs" in str(found.reasons[0])
    assert found.run is None
    assert len(trial(wb, trial_id).runs) == 1
    assert len(taps(wb, trial_id, run_id=RUN_B)) == 14


def test_taps_of_another_page_are_kept_and_make_no_run(wb: Workbook, trial_id: int) -> None:
    """Later pages share the outbox."""
    given = [entry.model_copy(update={"page": "swing"}) for entry in whole_run(trial_id, RUN_A, "out", 0.0)]
    taken = take_taps(wb, given)
    assert len(taken.acknowledged) == 14
    assert taken.runs == ()
    assert taps(wb, trial_id) == ()


def test_who_sent_a_tap_is_kept_with_it(wb: Workbook, trial_id: int, clock: Clock) -> None:
    """The list of phones says how many each sent, and when."""
    phone = join(wb, new_join_code(wb).code, "Bram").device
    clock.at = datetime(2026, 6, 21, 10, 0, tzinfo=UTC)
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0), sent_by=phone.id)
    assert [(found.taps, found.last_tap_at) for found in devices(wb)] == [(14, clock.at)]


def test_readings_are_of_the_setting_of_their_run(wb: Workbook, trial_id: int) -> None:
    """Nothing is corrected twice, also not a late reading."""
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    take_taps(wb, [tap(trial_id, RUN_A, "speed", 150.0, "7.4")])
    readings = trial(wb, trial_id).runs[0].readings
    assert {item.setting_id for item in readings if item.kind is ReadingKind.SPEED} == {1}
    assert {item.setting_id for item in readings if item.kind is ReadingKind.RPM} == {None}


def test_what_is_acknowledged_is_on_the_disk(wb: Workbook, trial_id: int) -> None:
    """Another program sees it at once."""
    taken = take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    with closing(sqlite3.connect(wb.path)) as raw:
        assert {row[0] for row in raw.execute("SELECT id FROM taps")} == set(taken.acknowledged)
        assert raw.execute("SELECT count(*) FROM runs").fetchone() == (1,)


EXTRA = (
    tap(1, RUN_A, "speed", 150.0, "7.4", by="Ines"),
    tap(1, RUN_A, "direction", 700.0, "back"),
    tap(1, RUN_A, "strike", 710.0, str(tap(1, RUN_A, "speed", 150.0, "7.4").id)),
    tap(1, RUN_A, "drop", 720.0),
    tap(1, RUN_A, "keep", 730.0),
    tap(1, RUN_A, "remark", 740.0, "Kept after all."),
)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Workbook:
    """Return a workbook that many examples share, each with a trial of its own."""
    return fitted_out(tmp_path_factory.mktemp("taps") / "dunlin.truemile", Clock())


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_the_order_of_arrival_changes_nothing(season: Workbook, data: st.DataObject) -> None:
    """One by one or in heaps, in any order, with repeats: the trial ends with the same run."""
    given_taps = [*whole_run(1, RUN_A, "out", 0.0), *EXTRA]
    order = data.draw(st.permutations(range(len(given_taps))))
    cuts = sorted(data.draw(st.lists(st.integers(1, len(order) - 1), unique=True, max_size=8)))
    again = data.draw(st.lists(st.sampled_from(range(len(order))), max_size=4))
    expected = content(_delivered(season, given_taps, [list(range(len(given_taps)))]))
    posts = [order[low:high] for low, high in zip([0, *cuts], [*cuts, len(order)], strict=True)]
    assert content(_delivered(season, given_taps, [*posts, again])) == expected


def _delivered(wb: Workbook, given_taps: Sequence[TapEntry], posts: Sequence[Sequence[int]]) -> RunView:
    """Return the run of a new trial to which the taps came in these posts."""
    view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
    for post in posts:
        assert take_taps(wb, [_moved(given_taps[place], view.id, place) for place in post]).refused == ()
    (run,) = trial(wb, view.id).runs
    return replace(run, trial_id=0)


def _moved(entry: TapEntry, trial_id: int, place: int) -> TapEntry:
    value = f"{trial_id:016x}{14:016x}" if entry.kind == "strike" else entry.value
    changed = {"id": f"{trial_id:016x}{place:016x}", "run_id": f"{trial_id:032x}", "trial_id": str(trial_id)}
    return entry.model_copy(update={**changed, "value": value})


def test_a_summary_says_what_is_whole(wb: Workbook, trial_id: int) -> None:
    """Pairs by engine speed, the way to go next, and the factor as soon as there is one."""
    assert trial_summary(wb, trial_id).words == "No run yet."
    take_taps(wb, whole_run(trial_id, RUN_A, "out", 0.0))
    half = trial_summary(wb, trial_id)
    assert half.words == "0 pairs whole; the factor needs runs both ways."
    assert [(group.label, group.pairs, group.wanted) for group in half.groups] == [("2200 rpm", 0, Direction.BACK)]
    assert half.result is None
    take_taps(wb, whole_run(trial_id, RUN_B, "back", 600.0))
    whole = trial_summary(wb, trial_id)
    result = trial_result(wb, trial_id)
    assert whole.result is not None
    assert (whole.result.factor, whole.result.expanded) == (result.factor, result.expanded)
    assert whole.groups[0].result == whole.result
    assert whole.groups[0].wanted is None
    assert whole.words == f"1 pair whole, factor {result.factor:.3f} ± {result.expanded:.3f}."


def test_a_summary_goes_on_without_the_speed_that_is_not_whole(wb: Workbook, trial_id: int) -> None:
    """The factor of the whole speeds stands while the next is being run."""
    take_taps(wb, [*whole_run(trial_id, RUN_A, "out", 0.0), *whole_run(trial_id, RUN_B, "back", 600.0)])
    before = trial_summary(wb, trial_id).result
    third = [
        entry.model_copy(update={"value": "2600 rpm"}) if entry.kind == "group" else entry
        for entry in whole_run(trial_id, "7d0c1b52-2f4e-4c5b-9b1a-0d6f3a8e1c03", "out", 1200.0)
    ]
    take_taps(wb, third)
    after = trial_summary(wb, trial_id)
    assert after.result == before
    assert [(group.label, group.pairs) for group in after.groups] == [("2200 rpm", 1), ("2600 rpm", 0)]


def test_a_summary_says_why_there_is_no_factor(wb: Workbook, trial_id: int) -> None:
    """Runs without a reading of the log are counted, and what is missing is said."""
    for run_id, direction, at in ((RUN_A, "out", 0.0), (RUN_B, "back", 600.0)):
        kinds = {"direction", "start", "stop", "keep"}
        take_taps(wb, [entry for entry in whole_run(trial_id, run_id, direction, at) if entry.kind in kinds])
    found = trial_summary(wb, trial_id)
    assert isinstance(found.reason, NavigationError)
    assert found.words.startswith("1 pair whole, but no factor:")


def test_taps_of_a_killed_file_are_found_again(tmp_path: Path, clock: Clock) -> None:
    """A workbook that is opened anew has all taps, and goes on with the open run."""
    with fitted_out(tmp_path / "dunlin.truemile", clock) as wb:
        view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
        given = whole_run(view.id, RUN_A, "out", 0.0)
        take_taps(wb, given[:8])
    with Workbook.open(tmp_path / "dunlin.truemile", clock=clock) as again:
        assert len(open_runs(again, view.id)[0].taps) == 8
        assert outcome(again, given[8:]).state is RunState.KEPT
