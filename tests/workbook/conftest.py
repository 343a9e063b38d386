"""Workbooks for the tests."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.workbook.season import Clock, fitted_out
from truemile.workbook.store import Workbook


@pytest.fixture
def clock() -> Clock:
    """Return the clock that the workbook goes by."""
    return Clock()


@pytest.fixture(scope="session")
def as_fitted_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a workbook that is fitted out, made once and copied for each test."""
    path = tmp_path_factory.mktemp("fitted") / "dunlin.truemile"
    fitted_out(path, Clock()).close()
    return path


@pytest.fixture
def wb(as_fitted_out: Path, tmp_path: Path, clock: Clock) -> Iterator[Workbook]:
    """Return a workbook that is fitted out."""
    path = Path(shutil.copy(as_fitted_out, tmp_path))
    with Workbook.open(path, clock=clock, author="Ines") as workbook:
        yield workbook
