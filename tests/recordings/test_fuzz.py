"""Whatever is read, nothing crashes and everything is counted."""

from __future__ import annotations

import random
from datetime import date, datetime, time, timedelta

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.recordings.recorded_files import file_bytes, sentence
from truemile.core.errors import FileError
from truemile.recordings.clock import RecordingClock, logger_time_s
from truemile.recordings.counts import LineKind
from truemile.recordings.legs import find_legs
from truemile.recordings.pieces import lines_of, pieces_of
from truemile.recordings.read import read_recording
from truemile.recordings.sentences import decode

ZDA = sentence("GPZDA,094737,20,08,2018,00,00")
FORMATTERS = ("RMC", "VTG", "VHW", "HDT", "HDG", "HDM", "GGA", "GLL", "ZDA", "VBW", "XYZ")
FIELDS = st.one_of(
    st.sampled_from(
        ["", "A", "V", "N", "S", "E", "W", "T", "M", "K", "094737", "235959.99", "200818", "4710.0", "nan"]
    ),
    st.sampled_from(["inf", "-1", "1e400", "03100.000", "9e9", "1_0", "٣", "360.0", "99999999999999999999"]),
    st.text(max_size=8),
    st.floats(allow_nan=False).map(str),
)


def read_all(data: bytes) -> None:
    """Read, look for legs, and check the count; a refusal says what to do, by its type."""
    try:
        recording = read_recording(data, "fuzz")
    except FileError:
        return
    counts = recording.counts
    assert counts.total >= counts.good
    assert np.all(np.diff(recording.t_s) > 0)
    assert np.nanmax(np.abs(np.r_[0, recording.lat])) <= 90
    assert np.nanmax(np.r_[0, recording.heading_deg, recording.cog_true_deg]) <= 360
    assert find_legs(recording, arcs=True).words


@given(st.binary(max_size=4000))
def test_random_bytes(data: bytes) -> None:
    """Random bytes are refused with a remedy or counted."""
    read_all(data)


@given(st.binary(max_size=2000))
def test_random_bytes_after_a_sentence(data: bytes) -> None:
    """The same where the file is taken for sentences."""
    read_all(ZDA + data)


@given(st.text(max_size=2000))
def test_random_rows_of_a_table(text: str) -> None:
    """The same where the file is taken for a table."""
    read_all(b"time_unix,quantity,source,value\n" + text.encode("utf-8", "replace"))


@given(st.lists(st.lists(FIELDS, min_size=4, max_size=4), max_size=20))
def test_rows_of_odd_cells(rows: list[list[str]]) -> None:
    """Cells of every kind in a table of four columns."""
    text = "".join(",".join(row) + "\n" for row in rows)
    read_all(b"time_utc,stw_kn,heading_true_deg,lat\n" + text.encode("utf-8", "replace"))


@given(st.sampled_from(FORMATTERS), st.lists(FIELDS, max_size=14))
@example("RMC", ["094737"])
@example("GLL", ["4710.0", "N", "03100.000", "W", "nan", "A"])
def test_odd_fields_in_whole_sentences(formatter: str, fields: list[str]) -> None:
    """A right checksum round nonsense: counted, and no value outside its span."""
    body = f"GP{formatter},{','.join(fields)}".encode("utf-8", "replace")
    told = decode(body)
    assert told.kind in LineKind
    assert all(quantity.possible(value) for quantity, value in told.values)


@settings(max_examples=60)
@given(st.integers(0, 2**32 - 1))
def test_flipped_bytes_in_a_real_recording(seed: int) -> None:
    """A real recording with a hundred bytes altered is read, and each alteration costs at most two sentences."""
    chance = random.Random(seed)  # noqa: S311  repeatable, not secret
    data = bytearray(file_bytes("sailing.nmea")[:20_000])
    clean = read_recording(bytes(data), "clean").counts.good
    for _ in range(100):
        data[chance.randrange(len(data))] = chance.randrange(256)
    assert read_recording(bytes(data), "flipped").counts.good >= clean - 200


@given(st.lists(st.binary(max_size=60), max_size=30), st.binary(max_size=5))
def test_lines_do_not_depend_on_chunks(parts: list[bytes], end: bytes) -> None:
    """Cutting a stream anywhere gives the same lines and pieces."""
    whole = [*lines_of([b"".join(parts) + end])]
    assert [*lines_of([*parts, end])] == whole
    assert all([*pieces_of(line)] for line in whole)


@given(st.binary(max_size=100))
def test_any_prefix_is_a_time_or_none(prefix: bytes) -> None:
    """What stands before a sentence never stops the reading."""
    found = logger_time_s(prefix)
    assert found is None or 946_684_800 <= found < 4_102_444_800  # 2000 to 2100


@given(
    st.datetimes(datetime(2001, 1, 1), datetime(2098, 1, 1)),  # noqa: DTZ001  the strategy wants naive bounds
    st.lists(st.integers(0, 36_000), min_size=1, max_size=30),
)
def test_the_clock_follows_any_day(start: datetime, steps: list[int]) -> None:
    """Times of day alone, ten hours apart at most, add up past any number of midnights."""
    clock = RecordingClock()
    clock.hear_sentence(start.time(), start.date())
    first, now = clock.now_s, start
    for step in steps:
        now += timedelta(seconds=step)
        assert not clock.hear_sentence(now.time(), None)
    assert first is not None
    assert clock.now_s is not None
    assert abs(clock.now_s - first - sum(steps)) < 1e-3
    instant = clock.instant(clock.now_s)
    assert instant is not None
    assert abs((instant.replace(tzinfo=None) - now).total_seconds()) < 1e-3


def test_a_clock_without_date_gives_no_instant() -> None:
    """Before any date there is none, and one of the last century does not count."""
    clock = RecordingClock()
    clock.hear_sentence(time(12), date(1999, 8, 22))
    assert clock.instant(0.0) is None
