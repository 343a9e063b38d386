"""Events: what happened to an instrument, on a line with the changes of its setting."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.workbook.season import APRIL, JUNE, MAY
from truemile.core.errors import ManyFaults, NotFound, ReadingError
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import journal
from truemile.workbook.boats import set_ship_time
from truemile.workbook.events import EventEntry, EventKind, events, record_event
from truemile.workbook.instruments import record_setting
from truemile.workbook.store import Workbook


def test_an_event_is_kept_with_its_words(wb: Workbook) -> None:
    """What, when, by whom, and why, and so it stands in the journal."""
    kept = record_event(wb, "Log", EventKind.CLEANING, APRIL, "paddle green", author="Bram")
    assert events(wb) == (kept,)
    assert (kept.kind, kept.at, kept.note, kept.author) == (EventKind.CLEANING, APRIL, "paddle green", "Bram")
    assert kept.words == "cleaning: paddle green"
    assert journal.entry(wb, kept.entry_id).summary == "Log: cleaning on 2026-04-10 09:00 UTC (paddle green)"


@pytest.mark.parametrize(
    ("typed", "at"),
    [
        ("2026-05-14", datetime(2026, 5, 14, 14, 0, tzinfo=UTC)),
        ("2026-05-14T13:32Z", datetime(2026, 5, 14, 13, 32, tzinfo=UTC)),
        ("2026-06-20", JUNE),
        (None, JUNE),
    ],
)
def test_a_form_says_when_on_ships_clock(wb: Workbook, typed: str | None, at: datetime) -> None:
    """A day alone is noon on board, today is now, and no date is now too."""
    set_ship_time(wb, None, -120, valid_from=APRIL)
    assert record_event(wb, None, EventEntry(kind="haul", date=typed)).at == at


def test_a_changed_setting_is_an_event_of_its_own(wb: Workbook) -> None:
    """It comes from the settings; what was set first is no change."""
    record_setting(wb, "Log", LogSetting(Convention.MULTIPLIER, 1.05), set_at=MAY)
    record_event(wb, "Log", EventKind.COLLISION, MAY + timedelta(days=3))
    assert [(event.kind, event.words) for event in events(wb)] == [
        (EventKind.SETTING, "setting change: × 1.050"),
        (EventKind.COLLISION, "collision"),
    ]


def test_a_change_of_setting_is_noted_with_its_value(wb: Workbook) -> None:
    """As a mere event it would lose the value."""
    with pytest.raises(ReadingError, match="kept with its value"):
        record_event(wb, "Log", EventKind.SETTING)


def test_an_event_can_be_taken_back(wb: Workbook) -> None:
    """Undone it no longer counts."""
    journal.undo(wb, record_event(wb, "Log", EventKind.NEW_PADDLE).entry_id)
    assert events(wb) == ()


def test_a_log_with_an_event_stays(wb: Workbook) -> None:
    """The event rests on the instrument."""
    kept = record_event(wb, "Log", EventKind.OTHER, note="new wiring")
    with pytest.raises(ReadingError, match=f"event {kept.id} rests on it"):
        journal.undo(wb, 2)


@pytest.mark.parametrize(
    ("entry", "fields"),
    [
        (EventEntry(), ["kind"]),
        (EventEntry(kind="c"), ["kind"]),
        (EventEntry(kind="painted", date="soon", note="x" * 5000), ["kind", "date", "note"]),
        (EventEntry(kind="cleaning", date="2026-06-23"), ["date"]),
        (EventEntry(kind="cleaning", date="2026-05-14T13:32"), ["date"]),
    ],
)
def test_what_cannot_be_is_refused_by_its_box(wb: Workbook, entry: EventEntry, fields: list[str]) -> None:
    """Nothing is guessed: no kind, two that begin so, a day to come, a time without zone."""
    with pytest.raises(ReadingError) as caught:
        record_event(wb, "Log", entry)
    error = caught.value
    assert [fault.field for fault in (error.faults if isinstance(error, ManyFaults) else (error,))] == fields
    assert events(wb) == ()


def test_an_event_needs_its_instrument(wb: Workbook) -> None:
    """The nearest name is told."""
    with pytest.raises(NotFound, match="Did you mean Log"):
        record_event(wb, "Logg", EventKind.CLEANING)


def test_what_an_event_means() -> None:
    """Cleaning, hauling out and a new paddle begin a trend anew; a collision only makes the log due."""
    assert [kind for kind in EventKind if kind.resets] == [
        EventKind.CLEANING,
        EventKind.HAUL_OUT,
        EventKind.NEW_PADDLE,
    ]
    assert [kind for kind in EventKind if kind.makes_due and not kind.resets] == [EventKind.COLLISION]
