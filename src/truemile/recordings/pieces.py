"""Cut a stream of bytes into lines and lines into sentences, whatever else stands among them.

A sentence of NMEA 0183 starts with ``$`` or ``!``, ends with ``*`` and two hexadecimal digits, and these are the
exclusive or of all characters between (IEC 61162-1). Reading restarts at every ``$`` and ``!``, so a damaged
sentence costs no other one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import reduce
from operator import xor
from typing import NamedTuple

from truemile.recordings.counts import LineKind

#: A line longer than this is binary; it is cut so that memory stays small.
LONGEST_LINE = 16_384
#: A sentence is at most 82 characters long; some instruments send longer ones.
_LONGEST_SENTENCE = 1_024

_LINE_END = re.compile(rb"\r\n|\n|\r")
_START = re.compile(rb"[$!]")
_FRAMED = re.compile(rb"[$!]([^$!*]+)\*([0-9A-Fa-f]{2})")
_NOT_TEXT = re.compile(rb"[^\t\x20-\x7e]")
_TAG_BLOCK = re.compile(rb"\\[^\\]*\\")


class Line(NamedTuple):
    """One line without its end; ``ended`` is False where the file stops or a long line was cut."""

    number: int
    data: bytes
    ended: bool


class Piece(NamedTuple):
    """What stands on a line: a whole sentence (its characters between $ and *), or what is wrong instead."""

    body: bytes
    fault: LineKind | None


def lines_of(chunks: Iterable[bytes]) -> Iterator[Line]:
    """Yield the lines that are not blank, numbered as in the file; CR LF, LF and CR all end one."""
    number, rest = 1, b""
    for chunk in chunks:
        rest += chunk
        done = 0
        for end in _LINE_END.finditer(rest):
            if end.end() == len(rest) and end[0] == b"\r":
                break  # the LF of a CR LF may come with the next chunk
            if rest[done : end.start()].strip():
                yield Line(number, rest[done : end.start()], ended=True)
            number, done = number + 1, end.end()
        rest = rest[done:]
        while len(rest) > LONGEST_LINE:
            cut = _cut(rest)
            yield Line(number, rest[:cut], ended=False)
            rest = rest[cut:]
    ended = rest.endswith(b"\r")
    if rest.strip():
        yield Line(number, rest.removesuffix(b"\r"), ended)


def prefix_of(line: bytes) -> bytes:
    """Give what stands before the first sentence, where a logger puts its time."""
    start = _START.search(line)
    return line[: start.start()] if start else line


def pieces_of(line: Line) -> Iterator[Piece]:
    """Yield the sentences of a line and one entry for each thing on it that is none."""
    starts = [start.start() for start in _START.finditer(line.data)]
    if not starts:
        yield Piece(line.data, _kind_of_rest(line.data, LineKind.NOT_A_SENTENCE))
        return
    before = _TAG_BLOCK.sub(b"", line.data[: starts[0]]).removeprefix(b"\xef\xbb\xbf")
    if _NOT_TEXT.search(before):
        yield Piece(before, LineKind.NOT_TEXT)
    for start, stop in zip(starts, [*starts[1:], None], strict=True):
        last = stop is None
        yield _piece(line.data[start:stop], whole_line=last and line.ended)


def _piece(text: bytes, *, whole_line: bool) -> Piece:
    framed = _FRAMED.match(text)
    if framed is not None:
        right = reduce(xor, framed[1]) == int(framed[2], 16)
        return Piece(framed[1], None if right else LineKind.WRONG_CHECKSUM)
    if b"*" in text or not whole_line:
        return Piece(text, _kind_of_rest(text, LineKind.TRUNCATED))
    return Piece(text[1:].strip(), _kind_of_rest(text, LineKind.NO_CHECKSUM))


def _kind_of_rest(data: bytes, otherwise: LineKind) -> LineKind:
    return LineKind.NOT_TEXT if _NOT_TEXT.search(data) else otherwise


def _cut(rest: bytes) -> int:
    """Give where to cut a long line: before a sentence that may go on in the next chunk."""
    tail = len(rest) - _LONGEST_SENTENCE
    last = max(rest.rfind(b"$", tail), rest.rfind(b"!", tail))
    return last if last > 0 else len(rest)
