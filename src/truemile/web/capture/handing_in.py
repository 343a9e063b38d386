"""Takes taps from a page: reads what was posted, and says of each tap whether it is on the laptop."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.capture.summary import summary_data
from truemile.workbook.store import Workbook
from truemile.workbook.tap_runs import TapEntry
from truemile.workbook.taps import take_taps
from truemile.workbook.typed import read_entry

#: Taps in one sending; a page sends no more than a hundred.
MOST_TAPS: Final = 500
#: A day of taps fits; nothing else has to.
LARGEST_TAPS_BYTES: Final = 512 * 1024


@dataclass(frozen=True, slots=True)
class HandedIn:
    """What was posted, as far as it could be read."""

    trial_id: int | None
    entries: tuple[TapEntry, ...]
    refused: tuple[dict[str, str], ...]


def read_handed_in(body: bytes) -> HandedIn:
    """Read what a page posted; a tap that cannot be read is refused alone.

    Raises
    ------
    ReadingError
        If it is no list of taps at all.
    """
    data = _json(body)
    taps = data.get("taps")
    if not isinstance(taps, list) or len(taps) > MOST_TAPS:
        raise ReadingError("taps", None, f"it must be a list of at most {MOST_TAPS}", "Load the page again.")
    device = data.get("device")
    device = device if isinstance(device, dict) else {}
    entries: list[TapEntry] = []
    refused: list[dict[str, str]] = []
    for tap in taps:
        if not isinstance(tap, dict):
            raise ReadingError("taps", None, "each tap must be an object", "Load the page again.")
        try:
            entries.append(_entry(tap, device))
        except NavigationError as error:
            refused.append({"id": str(tap.get("id", ""))[:60], "error": str(error)})
    trial_id = data.get("trial_id")
    return HandedIn(
        trial_id if isinstance(trial_id, int) and 0 < trial_id < 2**31 else None, tuple(entries), tuple(refused)
    )


def _entry(tap: Mapping[str, Any], device: Mapping[str, Any]) -> TapEntry:
    own = {"device_id": device.get("id"), "device_name": device.get("name")}
    texts = {str(name): _exact(value) for name, value in {**own, **tap}.items()}
    entry = read_entry(TapEntry, texts)
    entry.read()
    return entry


def _exact(value: object) -> object:
    """Return a number with all its digits, so that a time is kept as it was pressed."""
    return repr(value) if isinstance(value, float) and math.isfinite(value) else value


def _json(body: bytes) -> dict[str, Any]:
    try:
        data = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise _no_object() from error
    if not isinstance(data, dict):
        raise _no_object()
    return data


def _no_object() -> ReadingError:
    return ReadingError("body", None, "it must be one JSON object with a list of taps", "Load the page again.")


def hand_in(workbook: Workbook, body: bytes, at: datetime, *, sent_by: int | None) -> dict[str, Any]:
    """Keep what was posted and answer for each tap, and how the trial stands now.

    Raises
    ------
    ReadingError
        If it is no list of taps at all.
    WorkbookError
        If the workbook cannot be written; then nothing is acknowledged.
    """
    handed = read_handed_in(body)
    taken = take_taps(workbook, handed.entries, at, sent_by=sent_by)
    answer: dict[str, Any] = {
        "acknowledged": list(taken.acknowledged),
        "refused": [*handed.refused, *({"id": tap_id, "error": str(error)} for tap_id, error in taken.reported)],
    }
    if handed.trial_id is not None:
        try:
            answer["run"] = summary_data(workbook, handed.trial_id)
        except NavigationError as error:
            answer["trouble"] = str(error)
    return answer
