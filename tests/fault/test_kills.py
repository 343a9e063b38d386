"""Death of server and browser in the middle of runs; `bench/kills.py` does the same a few hundred times."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from truemile.workbook.store import Workbook
from truemile.workbook.taps import take_taps

pytestmark = pytest.mark.browser

KILLS = 9
SCRIPT = Path(__file__).parents[2] / "bench" / "kills.py"


@pytest.fixture(scope="module")
def kills() -> ModuleType:
    """Load the script."""
    spec = importlib.util.spec_from_file_location("bench_kills", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_no_tap_is_lost_doubled_or_changed() -> None:
    """After nine kills at random moments, screen, browser and workbook must agree on every tap and every run."""
    # In a process of its own: it starts browsers only to kill them.
    order = [sys.executable, str(SCRIPT), "--kills", str(KILLS), "--seed", "3"]
    done = subprocess.run(order, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    verdict = re.search(r"^(\d+) kills, (\d+) taps: none lost, doubled or changed$", done.stdout, re.MULTILINE)
    assert verdict is not None
    assert int(verdict[1]) >= KILLS
    assert int(verdict[2]) > 0


def tap(number: int, kind: str, at_ms: float, value: str = "") -> dict[str, Any]:
    """Return a tap as the page sends it."""
    return {
        "id": f"00000000-0000-4000-8000-{number:012d}",
        "trial_id": 1,
        "run_id": "11111111-1111-4111-8111-111111111111",
        "kind": kind,
        "value": value,
        "pressed_at_ms": 1789030800000.0 + at_ms,
        "device_id": "one",
    }


def test_the_comparison_finds_what_went_wrong(kills: ModuleType, tmp_path: Path) -> None:
    """A tap that was shown and is nowhere, one that is in the browser only, and a changed time must each be counted."""
    file = tmp_path / "dunlin.truemile"
    kills.begin_trial(file)
    given = [tap(1, "start", 0), tap(2, "direction", 0, "out"), tap(3, "stop", 8000.5), tap(4, "keep", 9000)]
    with Workbook.open(file) as workbook:
        take_taps(workbook, given)
    shown = kills.Shown({each["id"]: {str(each["pressed_at_ms"])} for each in given})

    def judged(kept: list[dict[str, Any]]) -> Any:
        return replace(kills.compared(file, shown, kept, (0, 0, 0), 0.0), seconds=0.0)

    assert judged(given).good
    assert judged(given[1:]).lost == 1
    assert judged([*given, tap(5, "speed", 100, "6.3")]).lost == 1
    assert judged([*given, given[0]]).doubled == 1
    assert judged([{**given[0], "pressed_at_ms": 1.0}, *given[1:]]).changed == 1
    shown.pressed_at["nowhere"] = {"5.0"}
    assert judged(given).lost == 1
    shown.pressed_at[given[0]["id"]].add("7.0")
    assert judged(given).changed >= 1
    assert not judged(given).good
