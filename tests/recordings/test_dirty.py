"""Dirty lines are counted and reported, and cost no good sentence."""

from __future__ import annotations

import re
from functools import reduce
from operator import xor

import pytest

from tests.recordings.recorded_files import RECORDINGS, file_bytes, recorded, sentence
from truemile.recordings.counts import LineKind
from truemile.recordings.pieces import lines_of, pieces_of
from truemile.recordings.read import read_recording

DIRTY = file_bytes("dirty.nmea")
CLOCK = sentence("GPZDA,094737,20,08,2018,00,00")


def index() -> list[tuple[int, int, str, str]]:
    """Return offset, length, checksum state and category of every piece."""
    rows = (RECORDINGS / "dirty.index.tsv").read_text(encoding="utf-8").splitlines()[1:]
    cells = [row.split("\t") for row in rows]
    return [(int(row[0]), int(row[1]), row[2], row[3]) for row in cells]


def kinds(data: bytes) -> dict[LineKind, int]:
    """Return the counts of a file that begins with a clock."""
    counts = read_recording(CLOCK + data, "piece.nmea").counts
    found = {tally.kind: tally.count for tally in counts.tallies}
    found[LineKind.NOT_NEEDED if LineKind.USED not in found else LineKind.USED] -= 1  # the clock itself
    return {kind: count for kind, count in found.items() if count}


def test_good_and_wrong_sentences_agree_with_the_published_count() -> None:
    """425 right and 52 wrong checksums are found; counted by those who prepared the file, see its README."""
    counts = recorded("dirty.nmea").counts
    assert (counts.good, counts.count(LineKind.WRONG_CHECKSUM)) == (425, 52)


def test_no_good_sentence_is_lost() -> None:
    """The bodies found are those that a plain search of the bytes finds with a right checksum."""
    framed = re.finditer(rb"[$!]([^$!*\r\n]+)\*([0-9A-Fa-f]{2})", DIRTY)
    right = [match[1] for match in framed if reduce(xor, match[1]) == int(match[2], 16)]
    found = [piece.body for line in lines_of([DIRTY]) for piece in pieces_of(line) if piece.fault is None]
    assert found == right
    assert sum(b"VHW," in body for body in found) == 18


@pytest.mark.parametrize("size", [1, 7, 64, 1000, 65536])
def test_chunks_of_any_size_give_the_same(size: int) -> None:
    """Where a file is cut into chunks changes nothing."""
    chunks = [DIRTY[at : at + size] for at in range(0, len(DIRTY), size)]
    assert read_recording(chunks, "dirty.nmea").counts == recorded("dirty.nmea").counts


def test_every_piece_is_counted_once() -> None:
    """The headings of the count add up to its total, and each names lines of the file."""
    counts = recorded("dirty.nmea").counts
    bad = sum(
        counts.count(kind)
        for kind in (
            LineKind.WRONG_CHECKSUM,
            LineKind.NO_CHECKSUM,
            LineKind.TRUNCATED,
            LineKind.NOT_TEXT,
            LineKind.NOT_A_SENTENCE,
        )
    )
    assert counts.good + bad == counts.total
    assert all(
        1 <= line <= DIRTY.count(b"\n") + DIRTY.count(b"\r") + 1 for t in counts.tallies for line in t.first_lines
    )


@pytest.mark.parametrize(("offset", "length", "state", "category"), index())
def test_each_piece_of_the_index(offset: int, length: int, state: str, category: str) -> None:
    """A piece with one line and a state counts as the index says; ok, bad, nock (absent) or odd."""
    piece = DIRTY[offset : offset + length]
    found = kinds(piece)
    good = {kind for kind in found if kind in set(LineKind) - _BAD - {LineKind.OUT_OF_ORDER}}
    if state == "ok":
        assert good
        assert not _BAD & set(found)
    elif state == "bad" and category != "truncated-no-newline-then-next":
        assert found == {LineKind.WRONG_CHECKSUM: 1}
    elif state == "nock":
        assert found == {LineKind.NO_CHECKSUM: 1}
    elif state == "other":
        assert sum(found[kind] for kind in good) == 1
        assert _BAD & set(found) <= {LineKind.NOT_TEXT}


_BAD = {
    LineKind.WRONG_CHECKSUM,
    LineKind.NO_CHECKSUM,
    LineKind.TRUNCATED,
    LineKind.NOT_TEXT,
    LineKind.NOT_A_SENTENCE,
}
ODD = {
    "truncated-no-newline-then-next": {LineKind.TRUNCATED: 1, LineKind.USED: 1},
    "two-sentences-glued": {LineKind.USED: 2},
    "checksum-one-digit": {LineKind.TRUNCATED: 1},
    "star-without-digits": {LineKind.TRUNCATED: 1},
    "cr-only": {LineKind.USED: 2},
    "blank-lines": {},
    "nul-bytes-inside": {LineKind.WRONG_VALUE: 1},
    "latin1-degree-sign": {LineKind.NOT_TEXT: 1},
    "file-ends-mid-sentence": {LineKind.TRUNCATED: 1},
    "vhw-all-empty": {LineKind.NO_VALUES: 1},
    "vhw-kn-and-kmh-disagree": {LineKind.WRONG_VALUE: 1},
    "vhw-speed-spike": {LineKind.WRONG_VALUE: 1},
    "hdg-negative": {LineKind.WRONG_VALUE: 1},
    "rmc-void": {LineKind.VOID: 1},
    "rmc-2400-time": {LineKind.WRONG_VALUE: 1},
    "rmc-minutes-60": {LineKind.WRONG_VALUE: 1},
    "rmc-mode-estimated": {LineKind.VOID: 1},
    "proprietary": {LineKind.PROPRIETARY: 1},
    "unknown-type-known-talker": {LineKind.UNKNOWN: 1},
    "exclamation-non-ais": {LineKind.WRONG_CHECKSUM: 1},
}


@pytest.mark.parametrize(("category", "expected"), ODD.items())
def test_the_labelled_oddities(category: str, expected: dict[LineKind, int]) -> None:
    """Each labelled alteration is counted under the heading that its label names."""
    offset, length = next((row[0], row[1]) for row in index() if row[3] == category)
    found = kinds(DIRTY[offset : offset + length])
    found.pop(LineKind.OUT_OF_ORDER, None)
    assert found == expected


def test_the_words_name_the_first_lines() -> None:
    """A skipper reads how many, what, and where."""
    words = read_recording(CLOCK + b"$HEHDT,288.5,T*29\r\n" * 7, "wrong.nmea").counts.words
    assert "7 with a wrong checksum (line 2, 3, 4, 5, 6, …)." in words


def test_faults_leave_out_what_is_in_order() -> None:
    """Used sentences and those not needed are no faults."""
    counts = recorded("dirty.nmea").counts
    quiet = {LineKind.USED, LineKind.NO_VALUES, LineKind.NOT_NEEDED}
    assert {tally.kind for tally in counts.faults} == {tally.kind for tally in counts.tallies} - quiet


def test_a_long_line_without_end_is_cut_and_costs_no_sentence() -> None:
    """A sentence in the middle of a megabyte of binary without a line end is found."""
    blob = bytes(range(128, 256)) * 4000
    recording = read_recording([CLOCK + blob, sentence("HEHDT,288.5,T").strip() + blob], "blob.nmea")
    assert recording.heading_deg.tolist() == [288.5]
