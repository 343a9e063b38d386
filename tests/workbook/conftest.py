"""Workbooks for the tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.workbook.season import Clock, fitted_out
from truemile.workbook.store import Workbook


@pytest.fixture
def clock() -> Clock:
    """Return the clock that the workbook goes by."""
    return Clock()


@pytest.fixture
def wb(tmp_path: Path, clock: Clock) -> Iterator[Workbook]:
    """Return a workbook that is fitted out."""
    with fitted_out(tmp_path / "dunlin.truemile", clock) as workbook:
        yield workbook
