"""What is done on a trial's sheet: runs added, withdrawn, taken from files, and all of it taken away."""

from __future__ import annotations

import json

from truemile.core.errors import FileError
from truemile.web.asks.trial import RUN_BOXES
from truemile.web.forms import Typed
from truemile.web.pages import Action, Asked, Download, Section
from truemile.web.views import trial, trial_charts, trial_force
from truemile.workbook import journal, log_trials
from truemile.workbook.entries import RunEntry, read_entry


def add_run(asked: Asked, typed: Typed, trial_id: int) -> str:
    """Keep a run; the same run sent twice is kept once."""
    run = log_trials.record_run(asked.workbook, trial_id, read_entry(RunEntry, typed.only(RUN_BOXES)))
    return f"/trials/{trial_id}?done={run.entry_id}"


def withdraw_run(asked: Asked, _: Typed, trial_id: int, run_id: str) -> str:
    """Take a run out of use."""
    run = log_trials.withdraw_run(asked.workbook, run_id)
    return f"/trials/{trial_id}?done={_newest(asked, run.id)}"


def _newest(asked: Asked, run_id: str) -> int:
    return journal.entries(asked.workbook, subject="runs", subject_id=run_id, limit=1)[0].id


def import_runs(asked: Asked, typed: Typed, trial_id: int) -> str:
    """Keep all runs of a file, or none."""
    upload = typed.files.get("file")
    if upload is None:
        raise FileError("file", None, "no file was chosen", "Choose a CSV or TOML file with one run a row.")
    kind = "toml" if upload.name.lower().endswith(".toml") else "csv"
    try:
        log_trials.import_runs(asked.workbook, trial_id, upload.content, "toml" if kind == "toml" else "csv")
    except FileError as error:
        raise error.renamed(lambda _: "file") from error
    return f"/trials/{trial_id}#runs"


def report(asked: Asked, trial_id: int) -> tuple[bytes, str]:
    """Return the one-page report."""
    from truemile.reports import trial_report

    return trial_report(asked.workbook, trial_id), f"log-trial-{trial_id}.pdf"


def runs_csv(asked: Asked, trial_id: int) -> tuple[bytes, str]:
    """Return the runs as they can be read back."""
    return log_trials.export_runs_csv(asked.workbook, trial_id).encode(), f"log-trial-{trial_id}-runs.csv"


def everything(asked: Asked, trial_id: int) -> tuple[bytes, str]:
    """Return all that the trial holds."""
    data = log_trials.export_trial(asked.workbook, trial_id)
    return json.dumps(data, ensure_ascii=False, indent=2).encode(), f"log-trial-{trial_id}.json"


SECTION = Section(
    pages=(trial.PAGE, trial.HALVING),
    actions=(
        Action("/trials/{trial_id:int}/runs", trial.PAGE, "run", add_run),
        Action("/trials/{trial_id:int}/runs/import", trial.PAGE, "import", import_runs),
        Action("/trials/{trial_id:int}/runs/{run_id}/withdraw", trial.PAGE, "withdraw", withdraw_run),
        Action("/trials/{trial_id:int}/in-force", trial.PAGE, "force", trial_force.put_in_force),
    ),
    downloads=(
        Download("/trials/{trial_id:int}/report.pdf", "application/pdf", report),
        Download("/trials/{trial_id:int}/runs.csv", "text/csv; charset=utf-8", runs_csv),
        Download("/trials/{trial_id:int}/everything.json", "application/json", everything),
        trial_charts.DOWNLOAD,
    ),
)
