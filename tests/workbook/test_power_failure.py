"""Power failure: what was acknowledged is on the disk, whenever the process dies."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

from tests.workbook.season import MAY, Clock, fitted_out
from truemile.workbook.entries import TrialEntry
from truemile.workbook.log_trials import start_trial, trial
from truemile.workbook.safekeeping import check
from truemile.workbook.store import Workbook

KILLS = 10

#: Keeps runs without end and says the id of each once it is acknowledged.
WRITER = """
import sys
from truemile.workbook.entries import RunEntry
from truemile.workbook.log_trials import record_run
from truemile.workbook.store import Workbook
wb = Workbook.open(sys.argv[1])
while True:
    run = record_run(wb, int(sys.argv[2]), RunEntry(direction="out", elapsed="5:34", readings="7.6 7.5"))
    print(run.id, flush=True)
"""


def test_a_killed_process_loses_nothing_that_it_acknowledged(tmp_path: Path, clock: Clock) -> None:
    """Ten kills at any instant of writing: every acknowledged run is there, once, whole, and the file is sound."""
    chance = random.Random(7)  # noqa: S311 - spreads the kills
    acknowledged: dict[int, set[str]] = {}
    with fitted_out(tmp_path / "dunlin.truemile", clock) as wb:
        for _ in range(KILLS):
            view = start_trial(wb, TrialEntry(course="Saltgrass", date=MAY.isoformat()))
            acknowledged[view.id] = killed_after(wb.path, view.id, chance.randint(1, 12), chance.uniform(0, 0.01))
    with Workbook.open(tmp_path / "dunlin.truemile", clock=clock) as again:
        assert check(again).good
        for trial_id, ids in acknowledged.items():
            kept = trial(again, trial_id).runs
            assert len({run.id for run in kept}) == len(kept)
            assert ids <= {run.id for run in kept}
            # One more may have been kept between its commit and its word.
            assert len(kept) - len(ids) <= 1
            assert all(run.run.speed_readings_kn == (7.6, 7.5) for run in kept)
    print(f"{KILLS} kills, {sum(map(len, acknowledged.values()))} runs acknowledged, none lost")  # noqa: T201


def killed_after(path: Path, trial_id: int, runs: int, pause_s: float) -> set[str]:
    """Return the ids that a process acknowledged before it was killed in the middle of its next writing."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(trial_id)], stdout=subprocess.PIPE, text=True
    ) as writer:
        if writer.stdout is None:
            raise RuntimeError("the writer has no output")
        said = [writer.stdout.readline() for _ in range(runs)]
        try:
            writer.wait(pause_s)
        except subprocess.TimeoutExpired:
            writer.send_signal(signal.SIGKILL)
        said += writer.stdout.readlines()
    # A last line may be cut off in the middle.
    return {line.strip() for line in said if line.endswith("\n")}
