"""The clock of the workbook: handed in, so that tests and imports choose the time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """Return the computer's time in UTC."""
    return datetime.now(UTC)
