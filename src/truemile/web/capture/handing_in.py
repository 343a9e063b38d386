"""Takes taps from a page: reads what was posted, and says of each tap whether it is on the laptop."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from truemile.core.errors import NavigationError, ReadingError
from truemile.web.capture.summary import summary_data
from truemile.workbook.store import Workbook
from truemile.workbook.taps import RunOutcome, take_taps

#: A thousand taps fit; nothing else has to.
LARGEST_TAPS_BYTES: Final = 512 * 1024


def hand_in(workbook: Workbook, body: bytes, at: datetime, *, sent_by: int | None) -> dict[str, Any]:
    """Keep what was posted and answer for each tap, for each run, and how the trial stands now.

    Raises
    ------
    ReadingError
        If it is no list of taps at all, or there are too many.
    WorkbookError
        If the workbook cannot be written; then nothing is acknowledged.
    """
    data = _json(body)
    given = data.get("taps")
    if not isinstance(given, list) or not all(isinstance(tap, dict) for tap in given):
        raise ReadingError("taps", None, "it must be a list of taps", "Load the page again.")
    device = data.get("device")
    taken = take_taps(workbook, [_with_device(tap, device) for tap in given], at, sent_by=sent_by)
    answer: dict[str, Any] = {
        "acknowledged": list(taken.acknowledged),
        "refused": [{"id": tap.id, "error": str(tap.error)} for tap in taken.refused],
        "outcomes": [_outcome(run) for run in taken.runs],
    }
    trial_id = data.get("trial_id")
    if isinstance(trial_id, int) and 0 < trial_id < 2**31:
        try:
            answer["run"] = summary_data(workbook, trial_id)
        except NavigationError as error:
            answer["trouble"] = str(error)
    return answer


def _with_device(tap: Mapping[str, object], device: object) -> dict[str, object]:
    if not isinstance(device, dict):
        return dict(tap)
    return {"device_id": device.get("id"), "device_name": device.get("name"), **tap}


def _outcome(run: RunOutcome) -> dict[str, Any]:
    return {"run_id": run.run_id, "state": run.state.value, "reasons": [str(reason) for reason in run.reasons]}


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
