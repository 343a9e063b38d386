"""``truemile log force``: the result of a trial put in force, applied by Truemile or set in the log."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import click

from truemile.cli.options import Moment, Number, by_option, json_option, workbook_option
from truemile.cli.present import as_plain, paragraph, show
from truemile.cli.workbook_file import open_to_read
from truemile.core.errors import NotFound, ReadingError

if TYPE_CHECKING:
    from truemile.core.log_settings import LogSetting, NewSetting
    from truemile.core.log_trial import TrialResult
    from truemile.core.vector_round import VectorRound
    from truemile.workbook.store import Workbook
    from truemile.workbook.vector_rounds import RoundView
    from truemile.workbook.views import CorrectionView, TrialView


@click.command()
@click.argument("trial_id", metavar="TRIAL", type=int)
@click.option(
    "--as",
    "how",
    type=click.Choice(["applied", "setting"]),
    default="applied",
    show_default=True,
    help="Truemile applies it; or you enter a new setting in the log.",
)
@click.option(
    "--entered", type=Number("new_setting"), metavar="VALUE", help="What you entered in the log; the exact one if not."
)
@click.option("--entered-at", type=Moment("entered_at"), metavar="WHEN", help="When you entered it; now if not said.")
@click.option("--try", "only_try", is_flag=True, help="Say what to enter or what would be applied; keep nothing.")
@click.option("--valid-from", type=Moment("valid_from"), metavar="WHEN", help="First reading it corrects.")
@click.option("--valid-until", type=Moment("valid_until"), metavar="WHEN", help="Where it ends.")
@by_option
@workbook_option
@json_option
def force(
    *,
    trial_id: int,
    how: str,
    entered: float | None,
    entered_at: datetime | None,
    only_try: bool,
    valid_from: datetime | None,
    valid_until: datetime | None,
    author: str | None,
    workbook_path: str | None,
    as_json: bool,
) -> None:
    """Put the result of trial number TRIAL, or of a vector round, in force.

    With --as setting: see with --try what to enter in the log, enter it, then put it in force.
    """
    from truemile.workbook import log_corrections

    with open_to_read(workbook_path) as workbook:
        view, result = _trial_or_round(workbook, trial_id)
        if only_try:
            new = _new_setting(view, result.factor)
            data = {"trial_id": trial_id, "factor": result.factor, "expanded": result.expanded, "new_setting": new}
            show(lambda: data, lambda: _tried(result, new), as_json=as_json, caution=True)
            return
        kept = log_corrections.put_in_force(
            workbook,
            trial_id,
            "set" if how == "setting" else "applied",
            author=author,
            valid_from=valid_from,
            valid_until=valid_until,
            new_setting=_entered(view, entered),
            entered_at=entered_at,
        )
    show(lambda: as_plain(kept), lambda: correction_words(kept), as_json=as_json, caution=True)


def _trial_or_round(workbook: Workbook, trial_id: int) -> tuple[TrialView | RoundView, TrialResult | VectorRound]:
    """Return a trial over a course, or a vector round, with its result.

    Raises
    ------
    ReadingError
        If something speaks against the round.
    """
    from truemile.workbook import log_trials, vector_rounds

    try:
        view = vector_rounds.vector_round(workbook, trial_id)
    except NotFound:
        return log_trials.trial(workbook, trial_id), log_trials.trial_result(workbook, trial_id)
    result = vector_rounds.solved(view)
    if not result.may_be_put_in_force:
        raise ReadingError(
            "trial",
            trial_id,
            f"it cannot be put in force: {' '.join(result.reasons).rstrip('.')}",
            result.refusals[0].remedy or "Make another round.",
        )
    return view, result


def _entered(view: TrialView | RoundView, value: float | None) -> LogSetting | None:
    """Return the setting that was entered, in the convention that stood in the log."""
    from truemile.core.log_settings import LogSetting

    if value is None:
        return None
    if view.setting is None:
        raise ReadingError(
            "new_setting",
            value,
            "it is not noted what was set in the log during the trial, so a new setting has nothing to stand on",
            "Note the setting with its date: truemile log setting note --value 1.00 --set-at DATE",
        )
    return LogSetting(view.setting.convention, value)


def _new_setting(view: TrialView | RoundView, factor: float) -> NewSetting | None:
    from truemile.core.log_settings import setting_for

    if view.setting is None:
        return None
    return setting_for(factor, view.setting, step=view.instrument.setting_step)


def _tried(result: TrialResult | VectorRound, new: NewSetting | None) -> str:
    from truemile.core.log_trial import TrialResult
    from truemile.core.plus_minus import format_with_uncertainty

    factor = format_with_uncertainty(result.factor, result.expanded)
    hand = f"; by hand {result.hand_factor:.3f}" if isinstance(result, TrialResult) else ""
    lines = [f"  Factor {factor} (95 %){hand}"]
    if new is None:
        lines.append(paragraph("What was set in the log during the trial is not noted, so it can only be applied."))
    else:
        lines.append(f"  To enter in the log: {new.setting} (exactly {new.exact:.6g})")
        lines.append(f"  Its rounding leaves a factor of {new.leftover_factor:.4f}, which Truemile applies.")
    return "\n".join([*lines, "  Nothing was kept."])


def correction_words(kept: CorrectionView) -> str:
    """Return what is in force now."""
    from truemile.cli.log.render import correction_table

    curve = kept.correction
    until = "" if kept.valid_until is None else f" until {kept.valid_until:%Y-%m-%d %H:%M}Z"
    since = f"{kept.valid_from:%Y-%m-%d %H:%M}Z{until}"
    head = f"In force for readings from {since}, from trial {kept.trial_id} (entry {kept.entry_id})"
    lines = [paragraph(head, indent=0), correction_table(curve)]
    if kept.new_setting is not None:
        lines.append(
            f"  Set in the log: {kept.new_setting}; what is left over, {kept.leftover_factor:.4f}, is applied."
        )
        lines.append(paragraph("Make a check trial now: it should give 1.00. truemile log trial new --check"))
    return "\n".join(lines)
