"""What holds for every test, those in the documentation included."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

# A time limit on one example would measure how busy the computer is. The integration machine draws the same examples
# each time, so that a change is judged by what it changes; at the desk they are drawn anew.
settings.register_profile("truemile", deadline=None, derandomize="CI" in os.environ, print_blob=True)
settings.load_profile("truemile")


@pytest.fixture(autouse=True, scope="session")
def _away_from_the_own_workbook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the tests from the workbook of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("TRUEMILE_WORKBOOK", raising=False)
        for variable in ("APPDATA", "XDG_DATA_HOME"):
            patch.setenv(variable, str(tmp_path_factory.mktemp("data")))
        yield
