"""Taps, runs and a recording as they come from the cockpit, for tests."""

from __future__ import annotations

import math
import uuid
from datetime import UTC, datetime, timedelta

from tests.workbook.season import MAY
from truemile.workbook.taps import TapEntry

#: Runs as the page calls them.
RUN_A = "7d0c1b52-2f4e-4c5b-9b1a-0d6f3a8e1c01"
RUN_B = "7d0c1b52-2f4e-4c5b-9b1a-0d6f3a8e1c02"
#: What must be added to the phone's clock for UTC, in milliseconds.
OFFSET_MS = -2_345.0
#: What is true in the recording.
FACTOR, STREAM_KN, STREAM_SET_DEG = 1.10, 0.5, 90.0

_IDS = uuid.UUID("7d0c1b52-2f4e-4c5b-9b1a-0d6f3a8e1cff")


def tap(trial_id: int, run_id: str, kind: str, after_s: float, value: str = "", **boxes: object) -> TapEntry:
    """Return a tap pressed so many seconds after the trial began, by a phone whose clock is wrong by `OFFSET_MS`."""
    given = {
        "id": str(uuid.uuid5(_IDS, f"{run_id} {kind} {after_s} {value}")),
        "device_id": "phone-1",
        "device_name": "Bram's phone",
        "page": "run",
        "trial_id": trial_id,
        "run_id": run_id,
        "kind": kind,
        "value": value,
        "pressed_at_ms": MAY.timestamp() * 1000.0 + after_s * 1000.0 - OFFSET_MS,
        "clock_offset_ms": OFFSET_MS,
        "clock_offset_u_ms": 8.0,
        "by": "Bram",
        **boxes,
    }
    return TapEntry.model_validate(given)


def whole_run(trial_id: int, run_id: str, direction: str, after_s: float, elapsed_s: float = 334.0) -> list[TapEntry]:
    """Return the taps of a whole run: 0.6 nm in 5 min 34 s at 7.6 kn indicated is a factor of 6.47 / 7.6."""
    middle = after_s + elapsed_s / 2
    return [
        tap(trial_id, run_id, "direction", after_s - 30.0, direction),
        tap(trial_id, run_id, "group", after_s - 29.0, "2200 rpm"),
        tap(trial_id, run_id, "helm", after_s - 28.0, "Okke"),
        tap(trial_id, run_id, "rpm", after_s - 20.0, "2200"),
        tap(trial_id, run_id, "start", after_s),
        tap(trial_id, run_id, "log_start", after_s + 2.0, "412.30"),
        tap(trial_id, run_id, "speed", middle - 40.0, "7.5"),
        tap(trial_id, run_id, "speed", middle, "7,6"),
        tap(trial_id, run_id, "speed", middle + 40.0, "7.7"),
        tap(trial_id, run_id, "compass", middle + 50.0, "064" if direction == "out" else "244"),
        tap(trial_id, run_id, "stop", after_s + elapsed_s),
        tap(trial_id, run_id, "log_stop", after_s + elapsed_s + 2.0, "413.00"),
        tap(trial_id, run_id, "remark", after_s + elapsed_s + 5.0, "Wake of a ferry."),
        tap(trial_id, run_id, "keep", after_s + elapsed_s + 10.0),
    ]


def two_legs(headings: tuple[float, ...] = (10.0, 130.0, 250.0), began: datetime = MAY) -> bytes:
    """Return a recording of legs of two minutes each, true to `FACTOR` and stream, as CSV."""
    lines = ["time_utc,stw_kn,heading_true_deg,sog_kn,cog_true_deg"]
    at = began
    for heading in headings:
        indicated = 5.0
        water = FACTOR * indicated
        north = water * math.cos(math.radians(heading)) + STREAM_KN * math.cos(math.radians(STREAM_SET_DEG))
        east = water * math.sin(math.radians(heading)) + STREAM_KN * math.sin(math.radians(STREAM_SET_DEG))
        sog, cog = math.hypot(north, east), math.degrees(math.atan2(east, north)) % 360.0
        for second in range(120):
            ripple = 0.02 * math.sin(second / 3.0)
            stamp = (at + timedelta(seconds=second)).astimezone(UTC).isoformat()
            lines.append(f"{stamp},{indicated + ripple:.3f},{heading + ripple:.2f},{sog + ripple:.3f},{cog:.2f}")
        at += timedelta(seconds=180)
    return "\n".join(lines).encode()
