"""Vector rounds: begun, filled, solved and put in force like any trial."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest

from tests.recordings.recorded_files import file_bytes
from tests.workbook.cockpit import FACTOR, STREAM_KN, STREAM_SET_DEG, two_legs
from tests.workbook.season import JUNE, MAY, trial_of
from truemile.core.errors import FileError, ManyFaults, NotEnoughReadings, NotFound, ReadingError
from truemile.core.ground_vectors import Tack
from truemile.core.log_settings import Convention, LogSetting
from truemile.workbook import journal
from truemile.workbook.correcting import correct_speed
from truemile.workbook.courses import course
from truemile.workbook.entries import RunEntry, TrialEntry
from truemile.workbook.instruments import record_setting
from truemile.workbook.log_corrections import in_force, put_in_force
from truemile.workbook.log_trials import record_run, start_trial, trial, trials
from truemile.workbook.round_recordings import Taking, take_recording
from truemile.workbook.schema import How
from truemile.workbook.store import Workbook
from truemile.workbook.vector_rounds import (
    LegEntry,
    RoundEntry,
    RoundView,
    amend_round,
    record_leg,
    record_legs,
    round_result,
    rounds,
    start_round,
    vector_round,
    withdraw_leg,
    withdraw_round,
)

#: Heading, log, speed and course over the ground of four legs: factor 1.1 in a stream of 0.5 kn to the east.
LEGS = (("000", "5.0", "5.52", "5.2"), ("090", "5.0", "6.00", "090"), ("180", "5.0", "5.52", "174.8"))
LAST = ("270", "5.0", "5.00", "270")


def leg(values: tuple[str, str, str, str], **boxes: str) -> LegEntry:
    """Return a leg as typed."""
    heading, indicated, sog, cog = values
    return LegEntry(heading=heading, indicated=indicated, sog=sog, cog=cog, **boxes)


@pytest.fixture
def begun(wb: Workbook) -> RoundView:
    """Return a round that has no legs yet."""
    return start_round(wb, RoundEntry(date=MAY.isoformat(), tide_amplitude="0", crew="Okke"))


def filled(wb: Workbook, view: RoundView) -> RoundView:
    """Return the round with four legs typed in."""
    record_legs(wb, view.id, [leg(values) for values in (*LEGS, LAST)])
    return vector_round(wb, view.id)


def test_a_round_is_begun_without_a_course(wb: Workbook, begun: RoundView) -> None:
    """It has the log's own digits, its conditions, and an entry in the journal."""
    assert begun.conditions.tide_amplitude_kn == 0.0
    assert begun.conditions.speed_resolution_kn == 0.1
    assert (begun.began_at, begun.crew, begun.legs) == (MAY, "Okke", ())
    assert journal.entry(wb, begun.entry_id).summary == "Vector round of Log"
    assert rounds(wb) == (begun,)
    assert rounds(wb, "Log") == (begun,)


def test_typed_legs_give_factor_and_stream(wb: Workbook, begun: RoundView) -> None:
    """Put together by hand from a factor of 1.1 and 0.5 kn to the east; the answer comes back within the digits."""
    result = round_result(wb, filled(wb, begun).id)
    assert result.factor == pytest.approx(1.1, abs=0.002)
    assert result.stream_drift_kn == pytest.approx(0.5, abs=0.01)
    assert result.stream_set_deg == pytest.approx(90.0, abs=1.0)
    assert result.conditions.tide_amplitude_kn == 0.0


def test_a_leg_is_kept_as_typed(wb: Workbook, begun: RoundView) -> None:
    """Several readings count with their mean, right across north, and the text stays."""
    entry = LegEntry(
        heading="359 1 3",
        indicated="5,0 5,2",
        sog="5.5",
        cog="358 002",
        variation="-3",
        duration="2:00",
        started_at="10:30",
        tack="s",
    )
    kept = record_leg(wb, begun.id, entry)
    assert kept.leg.heading_deg == pytest.approx(1.0)
    assert kept.leg.indicated_kn == pytest.approx(5.1)
    assert (kept.leg.variation_deg, kept.leg.duration_s, kept.leg.tack) == (-3.0, 120.0, Tack.STARBOARD)
    assert kept.leg.started_at == MAY.replace(hour=10, minute=30)
    assert kept.leg.cog_true_deg == pytest.approx(0.0, abs=1e-9)
    assert kept.typed["heading"] == "359 1 3"
    assert kept.number == 1
    assert kept.setting == LogSetting(Convention.MULTIPLIER, 1.0)


@pytest.mark.parametrize(
    ("boxes", "start", "duration"),
    [
        ({"started_at": "10:30", "ended_at": "10:32:30"}, 30, 150.0),
        ({"ended_at": "10:32:30", "duration": "150 s"}, 30, 150.0),
        ({"duration": "1:30"}, None, 90.0),
        ({}, None, None),
    ],
)
def test_times_of_a_leg_come_from_any_two(
    wb: Workbook, begun: RoundView, boxes: dict[str, str], start: int | None, duration: float | None
) -> None:
    """Start and end, end and length, or nothing at all."""
    kept = record_leg(wb, begun.id, leg(LAST, **boxes)).leg
    assert kept.started_at == (None if start is None else MAY.replace(hour=10, minute=start))
    assert kept.duration_s == duration


def test_the_same_leg_sent_again_changes_nothing(wb: Workbook, begun: RoundView) -> None:
    """And a different one under its id is refused."""
    entry = leg(LAST, id="5b1f3c0a-7c1d-4f0e-9d3b-2f7a1c9e4d60")
    assert record_leg(wb, begun.id, entry) == record_leg(wb, begun.id, entry)
    assert len(vector_round(wb, begun.id).legs) == 1
    with pytest.raises(ReadingError, match="a different leg of round 1"):
        record_leg(wb, begun.id, entry.model_copy(update={"sog": "5.1"}))


@pytest.mark.parametrize(
    ("boxes", "fields"),
    [
        ({"heading": None, "indicated": None, "sog": None}, ["heading", "indicated", "sog"]),
        ({"heading": "north", "tack": "x", "duration": "5"}, ["heading", "tack", "duration"]),
        ({"heading": "400"}, ["heading"]),
        ({"cog": "361"}, ["cog"]),
        ({"indicated": "0"}, ["indicated"]),
        ({"indicated": ";"}, ["indicated"]),
        ({"heading": "000 180"}, ["heading"]),
        ({"tack": "p"}, ["tack"]),
        ({"id": "seven"}, ["id"]),
        ({"started_at": "10:32", "ended_at": "2026-05-14T10:30Z"}, ["ended_at"]),
    ],
)
def test_a_leg_that_cannot_be_is_refused_by_its_boxes(
    wb: Workbook, begun: RoundView, boxes: dict[str, str | None], fields: list[str]
) -> None:
    """All at once, with the names of the form; p alone may be port or power."""
    with pytest.raises(Exception) as caught:  # noqa: PT011 - which one is looked at below
        record_leg(wb, begun.id, leg(LAST).model_copy(update=boxes))
    error = caught.value
    found = error.faults if isinstance(error, ManyFaults) else (error,)
    assert [fault.field for fault in found] == fields
    assert vector_round(wb, begun.id).legs == ()


def test_of_several_legs_all_or_none_are_kept(wb: Workbook, begun: RoundView) -> None:
    """The fault says which leg."""
    with pytest.raises(ReadingError) as caught:
        record_legs(wb, begun.id, [leg(LAST), leg(("400", "5", "5", "1"))])
    assert caught.value.field == "legs[1].heading"
    assert vector_round(wb, begun.id).legs == ()


def test_too_many_legs_are_refused(wb: Workbook, begun: RoundView, monkeypatch: pytest.MonkeyPatch) -> None:
    """That would be a recording."""
    monkeypatch.setattr("truemile.workbook.vector_rounds.MOST_LEGS", 3)
    with pytest.raises(ReadingError, match="at most 3 legs"):
        filled(wb, begun)
    assert vector_round(wb, begun.id).legs == ()


def test_a_withdrawn_leg_does_not_count(wb: Workbook, begun: RoundView) -> None:
    """It stays in the history and comes back."""
    view = filled(wb, begun)
    after = withdraw_leg(wb, view.legs[3].id, reason="luffing")
    assert [item.number for item in after.legs] == [1, 2, 3]
    assert [item.id for item in after.withdrawn_legs] == [view.legs[3].id]
    assert len(round_result(wb, view.id).legs) == 3
    journal.undo(wb, journal.entries(wb, limit=1)[0].id)
    assert vector_round(wb, view.id) == view
    with pytest.raises(NotFound, match="no leg of that id"):
        withdraw_leg(wb, "nothing")


def test_conditions_can_be_amended(wb: Workbook, begun: RoundView) -> None:
    """Boxes left empty stay; instrument and date do not change."""
    amended = amend_round(wb, begun.id, RoundEntry(unevenness="0.2", weather="Calm"))
    assert (amended.conditions.unevenness_kn, amended.conditions.tide_amplitude_kn) == (0.2, 0.0)
    assert (amended.crew, amended.weather) == ("Okke", "Calm")
    with pytest.raises(ManyFaults) as caught:
        amend_round(wb, begun.id, RoundEntry(instrument="Log", date="2026-05-01", unevenness="9"))
    assert [fault.field for fault in caught.value.faults] == ["instrument", "date", "unevenness"]


def test_a_round_that_cannot_be_is_refused(wb: Workbook) -> None:
    """Every fault by its box, and nothing is begun."""
    with pytest.raises(ManyFaults) as caught:
        start_round(wb, RoundEntry(date="2027-01-01", wind="gale", crew="x" * 5000))
    assert [fault.field for fault in caught.value.faults] == ["date", "wind", "crew"]
    assert rounds(wb) == ()


def test_a_withdrawn_round_is_out_of_use(wb: Workbook, begun: RoundView) -> None:
    """It can still be read, takes no legs, and is listed if asked for."""
    filled(wb, begun)
    assert withdraw_round(wb, begun.id).withdrawn
    assert rounds(wb) == ()
    assert [view.id for view in rounds(wb, withdrawn=True)] == [begun.id]
    assert vector_round(wb, begun.id).withdrawn
    with pytest.raises(NotFound, match="was withdrawn"):
        record_leg(wb, begun.id, leg(LAST))


def test_rounds_and_trials_do_not_mix(wb: Workbook, begun: RoundView) -> None:
    """Neither list holds the other, and each says where to look."""
    measured = trial_of(wb, MAY)
    assert [view.id for view in trials(wb)] == [measured.id]
    assert [view.id for view in rounds(wb)] == [begun.id]
    assert course(wb, "Saltgrass").trial_ids == (measured.id,)
    with pytest.raises(NotFound, match="is a vector round"):
        trial(wb, begun.id)
    with pytest.raises(NotFound, match="is a vector round"):
        record_run(wb, begun.id, RunEntry(direction="out", elapsed="5:34"))
    with pytest.raises(NotFound, match="made over a course"):
        vector_round(wb, measured.id)
    with pytest.raises(NotFound, match="no trial of that number"):
        vector_round(wb, 99)
    with pytest.raises(ReadingError, match="has no measured course"):
        start_trial(wb, TrialEntry(course="Saltgrass", kind="vector"))


def test_what_a_round_gives_can_be_put_in_force(wb: Workbook, begun: RoundView) -> None:
    """It corrects readings from the round on, with the legs and the method as its provenance."""
    view = filled(wb, begun)
    result = round_result(wb, view.id)
    kept = put_in_force(wb, view.id)
    assert in_force(wb, "Log", JUNE) == kept
    assert correct_speed(wb, "Log", 5.0, at=JUNE).corrected.value == pytest.approx(5.0 * result.factor)
    assert kept.provenance["leg_ids"] == [item.id for item in view.legs]
    assert kept.provenance["setting_id"] == 1
    assert kept.hand_factor is None
    assert vector_round(wb, view.id).correction_ids == (kept.id,)
    assert "from round 1, for readings from" in journal.entry(wb, kept.entry_id).summary
    with pytest.raises(ReadingError, match="correction 1 rests on it"):
        withdraw_leg(wb, view.legs[0].id)
    with pytest.raises(ReadingError, match="correction 1 rests on it"):
        withdraw_round(wb, view.id)


def test_a_round_can_be_set_in_the_log(wb: Workbook, begun: RoundView) -> None:
    """The new setting follows from the one during the round."""
    kept = put_in_force(wb, filled(wb, begun).id, How.SET)
    assert kept.new_setting == LogSetting(Convention.MULTIPLIER, 1.10)


def test_a_round_that_speaks_against_itself_is_not_put_in_force(wb: Workbook, begun: RoundView) -> None:
    """Two headings 20° apart: solved, shown, and refused with the reason."""
    record_legs(wb, begun.id, [leg(("000", "5.0", "5.52", "5.2")), leg(("020", "5.0", "5.7", "024"))])
    assert round_result(wb, begun.id).refusals
    with pytest.raises(ReadingError, match="not put in force") as caught:
        put_in_force(wb, begun.id)
    assert ".." not in str(caught.value)
    assert in_force(wb, "Log", JUNE) is None


def test_legs_under_two_settings_are_reduced_to_one(wb: Workbook) -> None:
    """The log was set anew in the middle of the round: nothing is corrected twice."""
    view = start_round(wb, RoundEntry(date=MAY.isoformat(), tide_amplitude="0"))
    record_setting(wb, "Log", LogSetting(Convention.MULTIPLIER, 1.25), set_at=MAY + timedelta(minutes=30))
    times = ("09:00", "09:10", "09:40", "09:50")
    shown = ("5.0", "5.0", "6.25", "6.25")
    for values, at, indicated in zip((*LEGS, LAST), times, shown, strict=True):
        record_leg(wb, view.id, leg((values[0], indicated, values[2], values[3]), started_at=at))
    assert vector_round(wb, view.id).setting == LogSetting(Convention.MULTIPLIER, 1.0)
    assert round_result(wb, view.id).factor == pytest.approx(1.1, abs=0.002)


def test_legs_are_found_in_a_recording(wb: Workbook, begun: RoundView) -> None:
    """Three legs of a recording made from a known truth; the file is known by its SHA-256, and is not kept itself."""
    data = two_legs()
    taken = take_recording(wb, begun.id, data, "round.csv")
    assert [round(item.leg.heading_deg) for item in taken.legs] == [10, 130, 250]
    assert taken.recording.sha256 == hashlib.sha256(data).hexdigest()
    assert (taken.recording.name, taken.recording.size_bytes) == ("round.csv", len(data))
    assert taken.recording.counts["lines"] == 361
    view = vector_round(wb, begun.id)
    assert view.recordings == (taken.recording,)
    assert {item.recording_id for item in view.legs} == {taken.recording.id}
    assert view.legs[0].typed["ground"] == "position"
    result = round_result(wb, begun.id)
    assert abs(result.factor - FACTOR) < result.expanded
    assert result.stream_drift_kn == pytest.approx(STREAM_KN, abs=0.02)
    assert result.stream_set_deg == pytest.approx(STREAM_SET_DEG, abs=1.0)
    assert put_in_force(wb, begun.id).provenance["recordings"] == [taken.recording.sha256]


def test_a_recording_counts_once(wb: Workbook, begun: RoundView) -> None:
    """The same file under another name is known; taken back it can be taken again."""
    first = take_recording(wb, begun.id, two_legs(), "round.csv")
    with pytest.raises(ReadingError, match=r"in round 1 already, as round\.csv"):
        take_recording(wb, begun.id, two_legs(), "copy.csv")
    journal.undo(wb, first.recording.entry_id)
    assert vector_round(wb, begun.id).legs == ()
    assert len(take_recording(wb, begun.id, two_legs(), "copy.csv", Taking(tack=Tack.PORT)).legs) == 3
    assert {item.leg.tack for item in vector_round(wb, begun.id).legs} == {Tack.PORT}


def test_a_recording_without_legs_is_told_and_nothing_kept(wb: Workbook, begun: RoundView) -> None:
    """The real circle: no leg in it, and the error says that a turn is none."""
    data = file_bytes("circle-starboard.csv")
    with pytest.raises(NotEnoughReadings, match="A continuous turn to starboard") as caught:
        take_recording(wb, begun.id, data, "circle.csv")
    assert ".." not in str(caught.value)
    assert vector_round(wb, begun.id).recordings == ()


def test_pieces_of_a_turn_are_solved_and_refused(wb: Workbook, begun: RoundView) -> None:
    """Asked for all the same, the circle gives far too much, about 1.36 by a plain fit, and is not put in force."""
    data = file_bytes("circle-starboard.csv")
    taken = take_recording(wb, begun.id, data, "circle.csv", Taking(arcs=True))
    assert all(item.leg.turning for item in taken.legs)
    result = round_result(wb, begun.id)
    assert result.factor > 1.3
    with pytest.raises(ReadingError, match="were turns, not steady"):
        put_in_force(wb, begun.id)


def test_one_tack_alone_gives_no_factor(wb: Workbook, begun: RoundView) -> None:
    """The real recording under sail: its leg is kept, and the stream on one heading is said to be in the way."""
    data = file_bytes("sailing.nmea")
    assert len(take_recording(wb, begun.id, data, "sailing.nmea").legs) == 1
    with pytest.raises(NotEnoughReadings, match="two headings at least"):
        round_result(wb, begun.id)


def test_magnetic_headings_need_the_variation(wb: Workbook, begun: RoundView) -> None:
    """Not guessed: asked for, and then used."""
    data = two_legs().replace(b"heading_true_deg", b"heading_magnetic_deg")
    with pytest.raises(NotEnoughReadings, match="Enter the variation"):
        take_recording(wb, begun.id, data, "magnetic.csv")
    taken = take_recording(wb, begun.id, data, "magnetic.csv", Taking(variation_deg=-3.0))
    assert {item.leg.variation_deg for item in taken.legs} == {-3.0}


def test_what_is_no_recording_is_refused(wb: Workbook, begun: RoundView) -> None:
    """A picture is named as such."""
    with pytest.raises(FileError, match="a picture"):
        take_recording(wb, begun.id, b"\x89PNG\r\n", "photo.png")
