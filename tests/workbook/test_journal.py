"""The journal: every change in words, undone and brought back, with the history kept."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.workbook.season import APRIL, MAY, Clock, run_entry, trial_of
from truemile.core.errors import NotFound, ReadingError
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import journal, safekeeping
from truemile.workbook.boats import add_boat, boat, boats, set_ship_time
from truemile.workbook.courses import add_course, add_mark, courses, marks
from truemile.workbook.courses import mark as mark_of
from truemile.workbook.entries import BoatEntry, CourseEntry, MarkEntry, RunEntry, TrialEntry
from truemile.workbook.instruments import instrument, record_setting, setting_at
from truemile.workbook.log_corrections import in_force, put_in_force
from truemile.workbook.log_trials import (
    amend_trial,
    record_run,
    replace_run,
    run,
    start_trial,
    trial,
    trials,
    withdraw_run,
    withdraw_trial,
)
from truemile.workbook.store import Workbook


def test_every_change_stands_in_the_journal_with_author_and_words(wb: Workbook) -> None:
    """Newest first, signed, and said so that a skipper understands it."""
    mark = add_mark(wb, MarkEntry(name="Wren Ledge", position="47°11.52′N 031°02.10′W", fixed="no"), author="Bram")
    newest = journal.entries(wb, limit=1)[0]
    assert newest.author == "Bram"
    assert newest.at == wb.now()
    assert newest.summary == "Mark Wren Ledge at 47°11.520′N 031°02.100′W, floating"
    assert (newest.subject, newest.subject_id) == ("marks", str(mark.id))
    assert journal.entry(wb, mark.entry_id) == newest
    assert journal.entries(wb, subject="marks", subject_id=mark.id) == (newest,)


def test_undoing_takes_out_of_use_and_keeps_the_history(wb: Workbook) -> None:
    """The run leaves the trial, stays readable, and the undo says why and by whom."""
    view = trial_of(wb, MAY)
    second = trial(wb, view.id).runs[1]
    undone = journal.undo(wb, second.entry_id, author="Bram", reason="wrong mark")
    assert undone.summary == "Took back: Run back of trial 1 in 5:34 (wrong mark)"
    after = trial(wb, view.id)
    assert [item.number for item in after.runs] == [1, 2, 3]
    assert [item.id for item in after.withdrawn_runs] == [second.id]
    assert run(wb, second.id).run == second.run
    assert journal.entry(wb, second.entry_id).undone_by == undone.id


def test_undoing_the_undo_brings_everything_back(wb: Workbook) -> None:
    """Four times back and forth, and the trial is what it was."""
    view = trial_of(wb, MAY)
    before = trial(wb, view.id)
    entry_id = before.runs[0].entry_id
    for turn in range(4):
        entry_id = journal.undo(wb, entry_id).id
        assert len(trial(wb, view.id).runs) == (3 if turn % 2 == 0 else 4)
    assert trial(wb, view.id) == before
    assert journal.entry(wb, entry_id).summary == "Brought back: Run out of trial 1 in 5:34"


def test_what_is_undone_cannot_be_undone_again(wb: Workbook) -> None:
    """The entry that did it is named, as the one to undo."""
    first = trial(wb, trial_of(wb, MAY).id).runs[0]
    by = journal.undo(wb, first.entry_id)
    with pytest.raises(ReadingError, match=rf"undone already, by entry {by.id}.*Undo entry {by.id} to bring it back"):
        journal.undo(wb, first.entry_id)


def test_an_entry_that_is_not_there_is_refused(wb: Workbook) -> None:
    """No entry, no undo."""
    with pytest.raises(NotFound, match="no entry of that number"):
        journal.undo(wb, 999)
    with pytest.raises(NotFound, match="no entry of that number"):
        journal.entry(wb, 999)


def test_a_course_with_a_trial_cannot_be_taken_away(wb: Workbook) -> None:
    """The trial rests on it, and is named as what to undo first."""
    view = trial_of(wb, MAY)
    entry_id = view.course.entry_id
    with pytest.raises(ReadingError, match=rf"trial 1 rests on it .*Undo trial 1 first \(entry {view.entry_id}\)"):
        journal.undo(wb, entry_id)
    withdraw_trial(wb, view.id)
    journal.undo(wb, entry_id)
    assert courses(wb) == ()


def test_a_trial_comes_back_only_onto_its_course(wb: Workbook) -> None:
    """What it rests on must be in use first."""
    view = trial_of(wb, MAY)
    withdraw_trial(wb, view.id)
    undo_of_trial = journal.entries(wb, limit=1)[0].id
    journal.undo(wb, view.course.entry_id)
    with pytest.raises(ReadingError, match=rf"courses 1\) is out of use\. Bring entry {view.course.entry_id} back"):
        journal.undo(wb, undo_of_trial)


@pytest.mark.parametrize("place", ["boat", "instrument", "mark", "trial", "run", "setting"])
def test_what_others_rest_on_stays(wb: Workbook, place: str) -> None:
    """Boat, log, mark, trial, run and setting cannot be taken away from under what was made of them."""
    for name, position in (("Gannet Pier", "47°12.000′N 031°03.000′W"), ("Kestle Beacon", "47°12.354′N 031°01.920′W")):
        mark = add_mark(wb, MarkEntry(name=name, position=position))
    add_course(wb, CourseEntry(start="Gannet Pier", end="Kestle Beacon"))
    view = trial(wb, trial_of(wb, MAY).id)
    put_in_force(wb, view.id)
    log = instrument(wb)
    entry_id = {
        "boat": boat(wb).entry_id,
        "instrument": log.entry_id,
        "mark": mark.entry_id,
        "trial": view.entry_id,
        "run": view.runs[2].entry_id,
        "setting": log.setting.entry_id if log.setting else 0,
    }[place]
    with pytest.raises(ReadingError, match="rests on it"):
        journal.undo(wb, entry_id)
    assert safekeeping.check(wb).good


def test_a_setting_entered_from_a_trial_stays_while_a_later_trial_rests_on_it(wb: Workbook) -> None:
    """The second factor was measured with it."""
    first = put_in_force(wb, trial_of(wb, APRIL).id, "set", at=APRIL)
    put_in_force(wb, trial_of(wb, MAY, readings="6.5 6.5").id)
    with pytest.raises(ReadingError, match="correction 2 rests on it"):
        journal.undo(wb, first.entry_id)


def test_undoing_a_factor_put_in_force_brings_the_one_before_back(wb: Workbook) -> None:
    """May replaces April; undone, April counts again; brought back, May does."""
    april = put_in_force(wb, trial_of(wb, APRIL).id, at=APRIL)
    may = put_in_force(wb, trial_of(wb, MAY, readings="7.4 7.4").id, at=MAY)
    assert in_force(wb) == may
    undone = journal.undo(wb, may.entry_id)
    assert in_force(wb) == april
    journal.undo(wb, undone.id)
    assert in_force(wb) == may


def test_undoing_a_setting_put_in_force_takes_the_setting_back_too(wb: Workbook) -> None:
    """One entry, one undo: factor and setting go together."""
    entered = put_in_force(wb, trial_of(wb, MAY).id, "set", at=MAY)
    assert setting_at(wb, None).setting == LogSetting(Convention.MULTIPLIER, 0.85)  # type: ignore[union-attr]
    journal.undo(wb, entered.entry_id)
    assert setting_at(wb, None).setting == LogSetting(Convention.MULTIPLIER, 1.0)  # type: ignore[union-attr]
    assert in_force(wb) is None


def test_a_replaced_run_keeps_its_place_and_its_past(wb: Workbook) -> None:
    """A slip of the pen is mended by a new run; the old one is withdrawn."""
    view = trial_of(wb, MAY)
    wrong = trial(wb, view.id).runs[1]
    better = replace_run(wb, wrong.id, run_entry("back", "09:10", elapsed="5:43"))
    after = trial(wb, view.id)
    assert [item.run.elapsed_s for item in after.runs] == [334.0, 343.0, 334.0, 334.0]
    assert better.number == 2
    assert [item.id for item in after.withdrawn_runs] == [wrong.id]
    with pytest.raises(ReadingError, match="undone already"):
        replace_run(wb, wrong.id, run_entry("back", "09:10"))


def test_a_replacement_under_the_same_id_is_refused(wb: Workbook) -> None:
    """An id means one reading of the paper for ever."""
    first = trial(wb, trial_of(wb, MAY).id).runs[0]
    entry = run_entry("out", "09:00").model_copy(update={"id": first.id})
    with pytest.raises(ReadingError, match="a corrected run is a new run"):
        replace_run(wb, first.id, entry)
    assert not run(wb, first.id).withdrawn


def test_withdrawing_twice_is_refused(wb: Workbook) -> None:
    """The second press says that it is done already."""
    first = trial(wb, trial_of(wb, MAY).id).runs[0]
    assert withdraw_run(wb, first.id, reason="fouled").withdrawn
    with pytest.raises(ReadingError, match="undone already"):
        withdraw_run(wb, first.id)


def test_a_withdrawn_trial_takes_no_runs_and_is_listed_only_if_asked_for(wb: Workbook) -> None:
    """Its page stays readable."""
    view = trial_of(wb, MAY)
    assert withdraw_trial(wb, view.id, reason="practice").withdrawn
    assert trials(wb) == ()
    assert [item.id for item in trials(wb, withdrawn=True)] == [view.id]
    assert trial(wb, view.id).conditions == view.conditions
    with pytest.raises(NotFound, match="was withdrawn"):
        record_run(wb, view.id, run_entry("out", "10:00"))


def test_undoing_an_amendment_brings_the_conditions_back(wb: Workbook) -> None:
    """What was changed in the trial is a change like any other."""
    view = trial_of(wb, MAY)
    amended = amend_trial(wb, view.id, TrialEntry(timing_limit="0.5", weather="calm"))
    assert (amended.conditions.timing_limit_s, amended.weather) == (0.5, "calm")
    journal.undo(wb, journal.entries(wb, limit=1)[0].id)
    assert trial(wb, view.id).conditions == view.conditions


def test_undoing_ships_time_brings_the_one_before_back(wb: Workbook) -> None:
    """Clocks put back by mistake go forward again."""
    changed = set_ship_time(wb, None, -120)
    assert changed.ship_utc_offset_min == -120
    journal.undo(wb, journal.entries(wb, limit=1)[0].id)
    assert boat(wb).ship_utc_offset_min == 0


def test_a_boat_alone_can_be_taken_back(wb: Workbook) -> None:
    """What nothing rests on goes, with its ship's time."""
    other = add_boat(wb, BoatEntry(name="Sanderling"))
    journal.undo(wb, other.entry_id)
    assert [item.name for item in boats(wb)] == ["Dunlin"]


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(choices=st.lists(st.integers(0, 30), min_size=1, max_size=12))
def test_any_chain_of_undos_agrees_with_the_journal_read_afresh(wb: Workbook, clock: Clock, choices: list[int]) -> None:
    """Whatever is undone in whatever order, what counts can be worked out from who undid whom."""
    name = f"Mark {len(journal.entries(wb))}"
    mark = add_mark(wb, MarkEntry(name=name, position="47°12.000′N 031°03.000′W"))
    chain = [mark.entry_id]
    for pick in choices:
        target = chain[pick % len(chain)]
        if journal.entry(wb, target).standing:
            chain.append(journal.undo(wb, target).id)
    expected = journal.recomputed([(entry.id, entry.undoes) for entry in journal.entries(wb)])
    assert expected == {entry.id: entry.standing for entry in journal.entries(wb)}
    assert (name in [item.name for item in marks(wb)]) is expected[mark.entry_id]


def test_a_setting_nobody_used_can_be_taken_back(wb: Workbook) -> None:
    """A value noted by mistake is undone, and the reading's own is found again."""
    record_setting(wb, None, LogSetting(Convention.MULTIPLIER, 1.3), set_at=APRIL)
    journal.undo(wb, journal.entries(wb, limit=1)[0].id)
    found = setting_at(wb, None, MAY)
    assert found is not None
    assert found.setting.value == 1.0


def test_a_run_without_its_trial_is_not_found(wb: Workbook) -> None:
    """An id that was never kept says so."""
    with pytest.raises(NotFound, match="no run of that id"):
        run(wb, "00000000-0000-0000-0000-000000000000")
    start = RunEntry(direction="out", elapsed="5:34")
    with pytest.raises(NotFound, match="no trial of that number"):
        record_run(wb, 77, start)


def test_a_trial_started_anew_after_withdrawal_is_another(wb: Workbook) -> None:
    """Numbers are never used twice."""
    first = start_trial(wb, TrialEntry(course="Saltgrass"))
    withdraw_trial(wb, first.id)
    assert start_trial(wb, TrialEntry(course="Saltgrass")).id == first.id + 1


def test_two_of_one_name_are_told_apart_by_number(wb: Workbook) -> None:
    """A mark taken back, entered anew and brought back stands there twice."""
    position = "47°12.000′N 031°03.000′W"
    first = add_mark(wb, MarkEntry(name="Gannet Pier", position=position))
    undone = journal.undo(wb, first.entry_id)
    second = add_mark(wb, MarkEntry(name="Gannet Pier", position=position))
    journal.undo(wb, undone.id)
    with pytest.raises(ReadingError, match=r"2 of them have that name\. Give its number: 1 or 2"):
        mark_of(wb, "gannet pier")
    assert mark_of(wb, second.id) == second
