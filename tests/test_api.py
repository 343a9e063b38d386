"""The façade for users of Python: its names, and a trial from course to working through it alone."""

from __future__ import annotations

import doctest
import inspect
import types
from pathlib import Path

import pytest

from truemile import api


def test_the_list_and_the_namespace_agree() -> None:
    """Every public name is listed, and nothing else is there."""
    here = {
        name
        for name, value in vars(api).items()
        if not name.startswith("_") and not isinstance(value, types.ModuleType) and name != "annotations"
    }
    assert here == set(api.__all__)


def test_the_list_is_sorted_and_says_each_name_once() -> None:
    """A reader finds a name by its letter."""
    assert api.__all__ == sorted(set(api.__all__))


@pytest.mark.parametrize("name", api.__all__)
def test_every_name_is_ours_and_described(name: str) -> None:
    """No name of another package leaks out, and each says what it is."""
    value = getattr(api, name)
    assert value.__module__.startswith("truemile.")
    assert inspect.getdoc(value)


def test_the_example_works() -> None:
    """The ten lines at the top of the module give what they say."""
    found = doctest.testmod(api)
    assert found.attempted >= 7
    assert found.failed == 0


def test_the_whole_job_through_the_facade(tmp_path: Path) -> None:
    """Boat, log, course, trial, runs, in force, used, checked, undone: nothing else need be imported."""
    with api.Workbook.create(tmp_path / "dunlin.truemile") as workbook:
        api.add_boat(workbook, api.BoatEntry(name="Dunlin"))
        log = api.add_log(workbook, api.LogEntry(name="Log", convention="multiplier"))
        api.record_setting(workbook, log.id, api.SettingEntry(value="1.00", set_at="2026-05-01T00:00Z"))
        api.add_mark(workbook, api.MarkEntry(name="Pier", position="47 12.000N 31 03.000W"))
        api.add_mark(workbook, api.MarkEntry(name="Beacon", position="47 12.354N 31 01.920W"))
        api.add_course(workbook, api.CourseEntry(name="Mile", start="Pier", end="Beacon", transits="yes"))
        trial = api.start_trial(workbook, api.TrialEntry(course="Mile", date="2026-05-14"))
        for direction, elapsed in (("out", "7:26"), ("back", "9:22"), ("out", "7:34"), ("back", "9:21")):
            api.record_run(workbook, trial.id, api.RunEntry(direction=direction, elapsed=elapsed, readings="6.3 6.4"))
        factor = api.trial_result(workbook, trial.id).factor
        put = api.put_in_force(workbook, trial.id)
        view = api.correct_speed(workbook, None, 6.3, at=put.valid_from)
        assert view.corrected.value == pytest.approx(6.3 * factor)
        assert api.indicated_speed(workbook, None, 6.3 * factor, at=put.valid_from).indicated_kn == pytest.approx(6.3)
        api.undo(workbook, put.entry_id)
        assert api.in_force(workbook, None, put.valid_from) is None


def test_a_fault_can_be_caught_as_one_of_ours() -> None:
    """Whatever is wrong with a value, one class catches it, and users of Python know it as a ValueError too."""
    with pytest.raises(api.NavigationError, match="more than 0 s") as caught:
        api.parse_elapsed("0:00")
    assert isinstance(caught.value, ValueError)
