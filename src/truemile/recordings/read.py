"""Read a recorded file: find out what kind it is, and refuse plainly what is none."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Final

from truemile.core.errors import FileError
from truemile.recordings.clock import RecordingClock, logger_time_s
from truemile.recordings.counts import Counter, LineKind
from truemile.recordings.gathering import Gathering
from truemile.recordings.pieces import Line, lines_of, pieces_of, prefix_of
from truemile.recordings.recording import Recording, assemble
from truemile.recordings.sentences import Decoded, decode
from truemile.recordings.table import read_table

#: The largest file that is read.
MOST_BYTES: Final = 256 * 1024 * 1024
_CHUNK: Final = 1024 * 1024
#: The kind is found out from this many bytes.
_HEAD: Final = 256 * 1024

_SENTENCE = re.compile(rb"[$!](?:P[A-Z]{3,}|[A-Z0-9]{2}[A-Z]{3}),")
_EXPORT = "Export the recording as CSV, or as a log of NMEA 0183 sentences, and read that."
_OTHER_KINDS: Final = (
    (b"%PDF", "a PDF document", _EXPORT),
    (b"PK\x03\x04", "a spreadsheet or a packed archive", "Save the sheet as CSV, or unpack the archive first."),
    (b"\x1f\x8b", "a packed file", "Unpack it first."),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or document", "Save the sheet as CSV."),
    (b"SQLite format 3", "a database", _EXPORT),
    (b"\x89PNG", "a picture", _EXPORT),
    (b"\xff\xd8\xff", "a picture", _EXPORT),
    (b"\xff\xfe", "text of two bytes a letter", "Save it again as UTF-8."),
    (b"\xfe\xff", "text of two bytes a letter", "Save it again as UTF-8."),
    (b"<", "a page or a track in XML", _EXPORT),
    (b"{", "a file in JSON", _EXPORT),
)


def read_recording(data: bytes | Iterable[bytes], name: str, *, without_checksum: bool = False) -> Recording:
    r"""Read a recorded file; damaged lines are counted, never fatal.

    Parameters
    ----------
    data
        The file, whole or in chunks of any size.
    name
        Its name, for display.
    without_checksum
        Whether to use sentences that carry no checksum, as some old instruments send them.

    Raises
    ------
    FileError
        If the file is empty, too large, or neither a log of NMEA 0183 sentences nor a CSV table.

    Examples
    --------
    >>> recording = read_recording(b"$GPZDA,094737,20,08,2018,00,00*47\r\n$HEHDT,288.5,T*28\r\n", "short.nmea")
    >>> recording.started_at.isoformat(), recording.heading_deg.tolist(), recording.counts.good
    ('2018-08-20T09:47:37.500000+00:00', [288.5], 2)
    """
    chunks = _limited(_chunks(data), name)
    head = b""
    for chunk in chunks:
        head += chunk
        if len(head) >= _HEAD:
            break
    stream = chain([head], chunks)
    if _is_sentences(head, name):
        return _read_sentences(stream, name, without_checksum=without_checksum)
    return read_table(stream, name)


def _chunks(data: bytes | Iterable[bytes]) -> Iterator[bytes]:
    if isinstance(data, bytes):
        return (data[at : at + _CHUNK] for at in range(0, len(data), _CHUNK))
    return iter(data)


def _limited(chunks: Iterator[bytes], name: str) -> Iterator[bytes]:
    size = 0
    for chunk in chunks:
        size += len(chunk)
        if size > MOST_BYTES:
            megabytes = MOST_BYTES // (1024 * 1024)
            raise FileError(
                "file",
                f"{name}, more than {megabytes} MB",
                f"a recording is read up to {megabytes} MB",
                "Cut it into days and read one at a time.",
            )
        yield chunk


def _is_sentences(head: bytes, name: str) -> bool:
    """Say whether the file holds sentences; if not it must at least be text."""
    if not head.strip():
        raise FileError("file", f"{name}, which is empty", "a recording holds at least one reading", "Choose another.")
    if _SENTENCE.search(head):
        return True
    plain = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    for magic, what, remedy in _OTHER_KINDS:
        if plain.startswith(magic):
            raise FileError("file", f"{name}, {what}", "only NMEA 0183 sentences and CSV tables are read", remedy)
    if b"\0" in plain.partition(b"\n")[0]:
        raise FileError(
            "file", f"{name}, which is not text", "only NMEA 0183 sentences and CSV tables are read", _EXPORT
        )
    return False


def _read_sentences(chunks: Iterable[bytes], name: str, *, without_checksum: bool) -> Recording:
    counter, gathering, clock = Counter(), Gathering(), RecordingClock()
    last = 0
    for line in lines_of(chunks):
        counter.lines += line.number != last
        last = line.number
        _read_line(line, counter, gathering, clock, without_checksum=without_checksum)
    return assemble(name, "NMEA 0183", gathering, counter.close(), instant=clock.instant)


def _read_line(
    line: Line, counter: Counter, gathering: Gathering, clock: RecordingClock, *, without_checksum: bool
) -> None:
    stamp = logger_time_s(prefix_of(line.data))
    for piece in pieces_of(line):
        fault = None if without_checksum and piece.fault is LineKind.NO_CHECKSUM else piece.fault
        if fault is not None:
            counter.add(fault, line.number)
            continue
        told = decode(piece.body)
        if stamp is not None and clock.hear_logger(stamp):
            counter.add(LineKind.OUT_OF_ORDER, line.number)
        if told.of_day is not None and clock.hear_sentence(told.of_day, told.day):
            counter.add(LineKind.OUT_OF_ORDER, line.number)
        counter.add(_keep(told, gathering, clock), line.number)


def _keep(told: Decoded, gathering: Gathering, clock: RecordingClock) -> LineKind:
    """Put the values at the time of the clock, and say what became of the sentence."""
    if not told.values:
        return told.kind
    if clock.now_s is None:
        return LineKind.NO_TIME
    if not gathering.add(told.source, clock.now_s, told.values):
        return LineKind.UNKNOWN
    return told.kind
