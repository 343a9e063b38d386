"""``truemile log check``: what a check trial says of the correction in force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from truemile.cli.options import json_option, workbook_option, working_option
from truemile.cli.present import as_plain, pairs, paragraph, show
from truemile.cli.workbook_file import open_to_read

if TYPE_CHECKING:
    from truemile.workbook.check_trials import CheckView


@click.command()
@click.argument("trial_id", metavar="TRIAL", type=int)
@working_option
@workbook_option
@json_option
def check(*, trial_id: int, working: bool, workbook_path: str | None, as_json: bool) -> None:
    """Judge check trial number TRIAL against its own ± and against 2 % or 0.2 kn."""
    from truemile.cli.log.trial_output import text_with_working, with_working
    from truemile.workbook.check_trials import check_result
    from truemile.working.check_trial import explain_check

    with open_to_read(workbook_path) as workbook:
        found = check_result(workbook, trial_id)
    lines = explain_check(found.verdict) if working else None
    show(
        lambda: with_working(check_data(found), lines),
        lambda: text_with_working(check_text(found), lines),
        as_json=as_json,
        caution=True,
    )


def check_data(found: CheckView) -> dict[str, object]:
    """Return the verdict and the figures it rests on."""
    return {
        "trial_id": found.trial.id,
        "verdict": as_plain(found.verdict),
        "raw_factor": found.raw.factor,
        "raw_expanded": found.raw.expanded,
        "correction": as_plain(found.correction),
    }


def check_text(found: CheckView) -> str:
    """Return the verdict and the figures it rests on."""
    from truemile.core.plus_minus import format_with_uncertainty

    verdict = found.verdict
    rows = [
        ("As the log showed", format_with_uncertainty(found.raw.factor, found.raw.expanded)),
        ("As corrected", f"{format_with_uncertainty(verdict.factor, verdict.expanded)}  should be 1.00"),
        ("In force", f"from trial {found.correction.trial_id}, put in {found.correction.put_at:%Y-%m-%d}"),
        ("Error at", f"{verdict.speed_kn:.1f} kn: {verdict.error_kn:.2f} kn, bar {verdict.bar_kn:.2f} kn"),
    ]
    return f"Check trial {found.trial.id}\n{pairs(rows)}\n\n{paragraph(verdict.words)}"
