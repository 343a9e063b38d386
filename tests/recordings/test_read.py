"""Reading sentences: values, times, sources, and refusals of what is no recording."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest

from tests.recordings.recorded_files import file_bytes, recorded, sentence
from truemile.core.errors import FileError
from truemile.recordings import gathering, read
from truemile.recordings.counts import LineKind
from truemile.recordings.read import read_recording

ZDA = sentence("GPZDA,094737,20,08,2018,00,00")


def rmc(clock: str, date: str = "200818", **fields: str) -> bytes:
    """Return an RMC sentence at 47°10′N 031°00′W, invented waters."""
    status, mode = fields.get("status", "A"), fields.get("mode", "A")
    return sentence(f"GPRMC,{clock},{status},4710.0000,N,03100.0000,W,5.6,230.5,{date},1.4,W,{mode}")


def test_values_of_a_sentence() -> None:
    """South and west are negative, west variation too."""
    recording = read_recording(rmc("094737.00"), "one.nmea")
    assert recording.lat[0] == pytest.approx(47 + 10 / 60, abs=1e-9)
    assert recording.lon[0] == pytest.approx(329.0 - 360, abs=1e-9)
    assert (recording.sog_kn[0], recording.variation_deg[0]) == (5.6, -1.4)
    assert recording.cog_true_deg[0] == pytest.approx(230.5)


@pytest.mark.parametrize(
    ("body", "column", "value"),
    [
        ("SDVHW,231.3,T,229.9,M,6.6,N,12.3,K", "stw_kn", 6.6),
        ("VWVHW,,T,,M,,N,12.3,K", "stw_kn", 12.3 / 1.852),
        ("VDVBW,9.7,0.0,A,8.6,0.1,A,,V,,V", "stw_kn", 9.7),
        ("SDVHW,231.3,T,229.9,M,6.6,N,12.3,K", "heading_deg", 231.3),
        ("HCHDG,101.1,2.0,W,7.1,W", "heading_deg", 99.1),
        ("HCHDG,101.1,2.0,W,7.1,W", "variation_deg", -7.1),
        ("HCHDM,229.8,M", "heading_deg", 229.8),
        ("GPVTG,220.2,T,245.1,M,9.7,N,18.0,K,A", "cog_true_deg", 220.2),
        ("GPVTG,220.2,245.1,009.7,018.0", "sog_kn", 9.7),
        ("ECGLL,5119.881,S,00125.169,E,164326,A,D", "lat", -(51 + 19.881 / 60)),
        ("GPGGA,094737,5119.881,N,00125.169,W,1,12,0.60,-4,M,46.8,M,,", "lon", -(1 + 25.169 / 60)),
    ],
)
def test_every_kind_of_sentence(body: str, column: str, value: float) -> None:
    """Each sentence gives its quantity, whoever talks; field orders as in IEC 61162-1 (from memory)."""
    recording = read_recording(ZDA + sentence(body), "one.nmea")
    assert getattr(recording, column)[0] == pytest.approx(value, abs=1e-9)


def test_a_sentence_without_time_gets_the_last() -> None:
    """A heading between two positions belongs to the earlier one."""
    data = rmc("094737.00") + sentence("HEHDT,288.5,T") + rmc("094740.00")
    recording = read_recording(data, "three.nmea")
    assert recording.t_s.tolist() == [0.0, 3.0]
    assert recording.heading_deg[0] == pytest.approx(288.5)
    assert np.isnan(recording.heading_deg[1])


def test_headings_across_north_are_averaged_as_directions() -> None:
    """359 and 1 in the same second make 0, not 180."""
    recording = read_recording(ZDA + sentence("HEHDT,359.0,T") + sentence("HEHDT,1.0,T"), "north.nmea")
    assert min(recording.heading_deg[0], 360 - recording.heading_deg[0]) < 1e-9


def test_longitudes_across_the_date_line_are_averaged_as_directions() -> None:
    """179°59.99′E and 179°59.99′W in the same second make 180°."""
    place = "GPGLL,4710.0000,N,17959.9900,{},094737,A,A"
    recording = read_recording(ZDA + sentence(place.format("E")) + sentence(place.format("W")), "line.nmea")
    assert abs(recording.lon[0]) == pytest.approx(180.0, abs=1e-9)


def test_time_runs_past_midnight_with_and_without_date() -> None:
    """A GLL after midnight has no date and lies 3 s later, not a day earlier."""
    after = sentence("GPGLL,4710.0000,N,03100.0000,W,000001,A,A")
    heading = sentence("HEHDT,288.5,T")
    dated = read_recording(rmc("235958.00", "311225") + after + heading, "midnight.nmea")
    assert dated.duration_s == 3.5  # a row without position stands in the middle of its second
    assert dated.started_at == datetime(2025, 12, 31, 23, 59, 58, tzinfo=UTC)
    before = sentence("GPGLL,4710.0000,N,03100.0000,W,235958,A,A")
    late = read_recording(before + after + rmc("000002.00", "010126"), "midnight.nmea")
    assert late.counts.count(LineKind.OUT_OF_ORDER) == 0
    assert late.started_at == datetime(2026, 1, 1, 0, 0, 2, tzinfo=UTC)  # RMC is the better source of position


def test_a_date_of_the_last_century_is_none() -> None:
    """A receiver that does not know the date yet gives times of day only."""
    recording = recorded("no-date.nmea")
    assert recording.started_at is None
    assert "no date: times of day only" in recording.what_it_lacks


def test_a_clock_that_steps_back_is_counted_and_sorted() -> None:
    """Rows rise in time whatever the order of the file; a second of overtaking is no fault."""
    data = rmc("094740.00") + rmc("094739.00") + rmc("094700.00")
    recording = read_recording(data, "back.nmea")
    assert recording.counts.count(LineKind.OUT_OF_ORDER) == 1
    assert recording.t_s.tolist() == [0.0, 39.0, 40.0]


def test_void_and_estimated_positions_are_not_used() -> None:
    """Status V and modes N, E, M, S give no reading."""
    data = rmc("094737.00", status="V") + b"".join(rmc("094738.00", mode=mode) for mode in "NEMS")
    recording = read_recording(data, "void.nmea")
    assert recording.counts.count(LineKind.VOID) == 5
    assert recording.t_s.size == 0


def test_the_loggers_time_counts_where_it_stands_before_sentences() -> None:
    """A speed log without a clock is placed by the logger's stamps, 54 s over 60 lines."""
    recording = recorded("logger-speed.log")
    assert recording.started_at == datetime(2018, 12, 6, 0, 0, 0, 500000, tzinfo=UTC)
    assert recording.counts.good == 60
    assert recording.duration_s == pytest.approx(32, abs=1)
    assert "no course over the ground" in recording.what_it_lacks


def test_the_sentences_times_do_not_disturb_those_of_the_logger() -> None:
    """Two clocks in one file are not mixed, though one ZDA there is a day behind."""
    recording = recorded("logger-gnss.log")
    assert recording.counts.count(LineKind.OUT_OF_ORDER) == 0
    assert recording.duration_s < 60


def test_one_source_is_taken_for_each_quantity_and_shown() -> None:
    """Of two receivers the one that also gives the heading is taken, and the other is listed."""
    uses = {(use.source, use.quantity): use.taken for use in recorded("figure8.csv").sources}
    assert uses["52", "lat_deg"]
    assert uses["52", "sog_kn"]
    assert not uses["25", "lat_deg"]
    assert uses["35", "stw_kn"]


def test_what_a_file_gives_and_lacks() -> None:
    """Log and compass without any receiver cannot be checked against the ground."""
    steady = recorded("steady.nmea")
    assert steady.what_it_gives == ("speed through the water", "magnetic heading")
    assert "so there is no velocity over the ground to check the log against" in steady.what_it_lacks
    assert "no position" in steady.what_it_lacks
    assert recorded("sailing.nmea").what_it_lacks == ()
    echo = read_recording(sentence("SDDBT,7.7,f,2.3,M,1.3,F") * 3, "depth.nmea")
    assert echo.what_it_gives == ("nothing that a log or compass can be checked with",)
    assert "no clock: nothing in it can be placed in time" in echo.what_it_lacks
    assert echo.duration_s == 0
    no_heading = read_recording(rmc("094737.00") + sentence("VWVHW,,T,,M,6.6,N,12.3,K"), "log.nmea")
    assert "so the stream cannot be told from an error of the log" in no_heading.what_it_lacks


def test_means_of_the_inland_recording() -> None:
    """Mean log 6.53 kn, true heading 235.2°, course 233.9°, speed over the ground 5.69 kn; see its README."""
    sailing = recorded("sailing.nmea")
    assert np.nanmean(sailing.stw_kn) == pytest.approx(6.53, abs=0.005)
    assert np.nanmean(sailing.heading_deg) == pytest.approx(235.2, abs=0.05)
    lines = file_bytes("sailing.nmea").splitlines(keepends=True)
    by_vtg = read_recording(b"".join(line for line in lines if b"RMC," not in line), "without-rmc.nmea")
    assert np.nanmean(by_vtg.cog_true_deg) == pytest.approx(233.9, abs=0.05)
    assert by_vtg.started_at is not None


def test_sentences_without_checksum_are_used_only_on_request() -> None:
    """Old instruments send none; it is the skipper who trusts them."""
    data = ZDA + b"$HCHDM,229.8,M\r\n"
    assert read_recording(data, "old.nmea").counts.count(LineKind.NO_CHECKSUM) == 1
    assert read_recording(data, "old.nmea", without_checksum=True).heading_deg.tolist() == pytest.approx([229.8])


@pytest.mark.parametrize(
    ("data", "given", "remedy"),
    [
        (b"", "empty", "Choose another."),
        (b" \r\n\r\n", "empty", "Choose another."),
        (b"%PDF-1.7\n", "PDF", "Export"),
        (b"PK\x03\x04rest", "spreadsheet", "Save the sheet as CSV"),
        (b"\x1f\x8b\x08", "packed", "Unpack"),
        (b"\xff\xfet\x00i\x00", "two bytes", "UTF-8"),
        (b"<?xml version='1.0'?><gpx/>", "XML", "Export"),
        (b"\x00\x01\x02", "not text", "Export"),
    ],
)
def test_other_kinds_of_file_are_refused_plainly(data: bytes, given: str, remedy: str) -> None:
    """The refusal names the kind of file and what to do."""
    with pytest.raises(FileError) as caught:
        read_recording(data, "upload")
    assert given in str(caught.value.given)
    assert remedy in caught.value.remedy


def test_too_large_a_file_is_refused_while_it_streams(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading stops at the limit and does not wait for the end."""
    monkeypatch.setattr(read, "MOST_BYTES", 1024 * 1024)
    served = 0

    def endless() -> Iterator[bytes]:
        nonlocal served
        while True:
            served += 1
            yield ZDA * 1000

    with pytest.raises(FileError, match="1 MB"):
        read_recording(endless(), "endless.nmea")
    assert served < 100


def test_too_long_a_recording_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The number of means is bounded, so memory is."""
    monkeypatch.setattr(gathering, "MOST_MEANS", 10)
    with pytest.raises(FileError, match="Cut the file into days"):
        read_recording(b"".join(rmc(f"0947{second:02d}.00") for second in range(20)), "long.nmea")


def test_memory_grows_with_time_and_not_with_bytes() -> None:
    """A hundred thousand headings within one minute make sixty rows."""
    chunk = b"".join(rmc(f"0947{second:02d}.00") + sentence("HEHDT,288.5,T") * 1700 for second in range(60))
    assert read_recording(chunk, "dense.nmea").t_s.size == 60


def test_the_csv_and_the_sentences_of_one_recording_agree() -> None:
    """Log, heading, position and course agree to the rounding and timing of the sentences."""
    for name in ("figure8", "circle-starboard"):
        table, sentences = recorded(f"{name}.csv"), recorded(f"{name}.nmea")
        assert table.heading_reference == sentences.heading_reference == "true"
        assert table.started_at is not None
        assert sentences.started_at is not None
        skip = round((sentences.started_at - table.started_at).total_seconds())
        both = slice(skip, skip + sentences.t_s.size)
        assert np.nanmax(np.abs(table.lat[both] - sentences.lat)) < 1e-6
        assert np.nanmax(np.abs(table.stw_kn[both] - sentences.stw_kn)) < 0.3
        assert np.nanmean(table.stw_kn[both] - sentences.stw_kn) == pytest.approx(0, abs=0.005)


def test_a_bare_file_is_read_as_the_packed_one() -> None:
    """Whole bytes and chunks give the same columns."""
    data = file_bytes("sailing.nmea")
    chunks = read_recording((data[at : at + 999] for at in range(0, len(data), 999)), "sailing.nmea")
    assert np.array_equal(chunks.stw_kn, recorded("sailing.nmea").stw_kn, equal_nan=True)
    assert chunks.counts == recorded("sailing.nmea").counts
