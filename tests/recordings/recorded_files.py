"""Load the recordings, make sentences, and fit the plain vector model by numpy alone."""

from __future__ import annotations

import gzip
from functools import cache, reduce
from operator import xor
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from truemile.recordings.read import read_recording

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from truemile.recordings.recording import Recording

    FloatArray = NDArray[np.float64]

RECORDINGS = Path(__file__).parents[1] / "reference" / "recordings"


def file_bytes(name: str) -> bytes:
    """Return a recorded file, unpacked if need be."""
    packed = RECORDINGS / f"{name}.gz"
    return gzip.decompress(packed.read_bytes()) if packed.exists() else (RECORDINGS / name).read_bytes()


@cache
def recorded(name: str) -> Recording:
    """Return a recording, read once."""
    return read_recording(file_bytes(name), name)


def sentence(body: str) -> bytes:
    """Return a whole sentence with its checksum; the rule is that of IEC 61162-1 (from memory)."""
    data = body.encode("latin-1")
    return b"$" + data + f"*{reduce(xor, data):02X}\r\n".encode()


class PlainFit(NamedTuple):
    """Factor, heading offset and stream of a plain least-squares fit."""

    factor: float
    offset_deg: float
    stream_kn: float


def plain_fit(stw_kn: FloatArray, heading_deg: FloatArray, east_kn: FloatArray, north_kn: FloatArray) -> PlainFit:
    """Fit g = k s u(h + b) + c by least squares on p = k cos b, q = k sin b and the stream."""
    there = np.isfinite(stw_kn + heading_deg + east_kn + north_kn)
    s, h = stw_kn[there], np.radians(heading_deg[there])
    zero, one = np.zeros_like(s), np.ones_like(s)
    for_east = np.c_[s * np.sin(h), s * np.cos(h), one, zero]
    for_north = np.c_[s * np.cos(h), -s * np.sin(h), zero, one]
    p, q, c_east, c_north = np.linalg.lstsq(
        np.r_[for_east, for_north], np.r_[east_kn[there], north_kn[there]], rcond=None
    )[0]
    return PlainFit(float(np.hypot(p, q)), float(np.degrees(np.arctan2(q, p))), float(np.hypot(c_east, c_north)))


def fit_to_course(recording: Recording) -> PlainFit:
    """Fit to speed and course over the ground, second by second."""
    course = np.radians(recording.cog_true_deg)
    return plain_fit(
        recording.stw_kn,
        recording.heading_deg,
        recording.sog_kn * np.sin(course),
        recording.sog_kn * np.cos(course),
    )


def fit_to_positions(recording: Recording) -> PlainFit:
    """Fit to differences of position over two seconds, log and heading taken in the middle."""
    hours = (recording.t_s[2:] - recording.t_s[:-2]) / 3600
    north = (recording.lat[2:] - recording.lat[:-2]) * 60 / hours
    east = (recording.lon[2:] - recording.lon[:-2]) * 60 * np.cos(np.radians(recording.lat[1:-1])) / hours
    return plain_fit(recording.stw_kn[1:-1], recording.heading_deg[1:-1], east, north)
