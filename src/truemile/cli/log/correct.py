"""``truemile log correct``: true speed or distance for what the log shows, and the other way round."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truemile.cli.lazy import ReadingsCommand
from truemile.cli.options import (
    Elapsed,
    Moment,
    Number,
    json_option,
    log_option,
    now_utc,
    out_option,
    workbook_option,
    working_option,
)
from truemile.cli.present import as_plain, paragraph, ruled, say_caution, show
from truemile.cli.workbook_file import open_to_read
from truemile.core.errors import ReadingError

if TYPE_CHECKING:
    from truemile.workbook.log_corrections import CorrectedView
    from truemile.workbook.store import Workbook
    from truemile.workbook.views import InstrumentView
    from truemile.working.lines import Working


@click.command(cls=ReadingsCommand)
@click.argument("values", metavar="[VALUE]...", nargs=-1, type=Number("value"))
@click.option("--distance", is_flag=True, help="The values are distances by the log, in nm; else speeds, in kn.")
@click.option("--elapsed", "elapsed_s", type=Elapsed(), help="Time the distance took: 1h20m.")
@click.option("--wanted", is_flag=True, help="The values are true; say what the log must show.")
@click.option("--at", type=Moment("at"), metavar="WHEN", help="When it was read: 2026-05-14T13:32Z; now if not said.")
@click.option("--csv", "csv_file", type=click.Path(path_type=Path), metavar="FILE", help="A table.")
@click.option("--column", metavar="NAME", help="Its column of speeds by the log, in kn.")
@click.option("--time-column", metavar="NAME", help="Its column of times, where corrections or settings changed.")
@out_option("Where to write the table; on the terminal if not said.")
@working_option
@log_option
@workbook_option
@json_option
def correct(
    *,
    values: tuple[float, ...],
    distance: bool,
    elapsed_s: float | None,
    wanted: bool,
    at: datetime | None,
    csv_file: Path | None,
    column: str | None,
    time_column: str | None,
    out: Path | None,
    working: bool,
    log_name: str | None,
    workbook_path: str | None,
    as_json: bool,
) -> None:
    """Correct speeds or distances shown by the log, each VALUE or a whole column, with its ±."""
    if csv_file is not None:
        _refuse_with_table(values, distance=distance, wanted=wanted, as_json=as_json, out=out)
        from truemile.cli.log.column import correct_table

        with open_to_read(workbook_path) as workbook:
            summary = correct_table(workbook, log_name, csv_file, column, time_column, at or now_utc(), out)
        if as_json:
            show(lambda: summary, str, as_json=True)
        else:
            click.echo(f"{summary['rows']} rows, {summary['outside']} outside the measured speeds.", err=True)
            say_caution()
        return
    if not values:
        raise ReadingError("value", None, "nothing was given to correct", "Give a speed: truemile log correct 6.3")
    from truemile.cli.log.trial_output import text_with_working, with_working
    from truemile.workbook import instruments

    with open_to_read(workbook_path) as workbook:
        found = [
            _one(workbook, log_name, value, at, elapsed_s, f"values[{number}]", distance=distance, wanted=wanted)
            for number, value in enumerate(values)
        ]
        log = instruments.instrument(workbook, log_name)
    lines = [_explained(log, view, elapsed_s, distance=distance) for view in found] if working else []
    show(
        lambda: with_working({"corrected": as_plain(found)}, *lines),
        lambda: text_with_working(corrected_text(found, distance=distance), *lines),
        as_json=as_json,
        caution=True,
    )


def _explained(log: InstrumentView, view: CorrectedView, elapsed_s: float | None, *, distance: bool) -> Working:
    from truemile.working.corrections import explain_distance, explain_speed

    curve = view.correction.correction
    if distance:
        return explain_distance(
            curve,
            view.corrected,
            elapsed_h=_hours(elapsed_s),
            resolution_nm=log.distance_resolution_nm,
            setting=view.setting,
        )
    return explain_speed(curve, view.corrected, resolution_kn=log.speed_resolution_kn, setting=view.setting)


def _hours(elapsed_s: float | None) -> float | None:
    return None if elapsed_s is None else elapsed_s / 3600.0


def _refuse_with_table(
    values: Sequence[float], *, distance: bool, wanted: bool, as_json: bool, out: Path | None
) -> None:
    if values:
        raise ReadingError("value", values[0], "values and a table are corrected apart", "Leave out one of the two.")
    if distance or wanted:
        raise ReadingError(
            "csv", "--distance" if distance else "--wanted", "a table holds speeds by the log", "Leave that option out."
        )
    if as_json and out is None:
        raise ReadingError("out", None, "the table itself is no JSON", "Name a file for it with --out.")


def _one(
    workbook: Workbook,
    log_name: str | None,
    value: float,
    at: datetime | None,
    elapsed_s: float | None,
    field: str,
    *,
    distance: bool,
    wanted: bool,
) -> CorrectedView:
    from truemile.core.errors import NavigationError
    from truemile.workbook import log_corrections

    elapsed_h = _hours(elapsed_s)
    try:
        if distance:
            logged = _logged(workbook, log_name, value, elapsed_h, at) if wanted else value
            return log_corrections.correct_distance(workbook, log_name, logged, elapsed_h=elapsed_h, at=at)
        if wanted:
            value = log_corrections.indicated_speed(workbook, log_name, value, at=at).indicated_kn
        return log_corrections.correct_speed(workbook, log_name, value, at=at)
    except NavigationError as error:
        raise error.renamed(lambda name: field if name in _THE_VALUE else name) from error


#: What the core calls the value that a command line gives.
_THE_VALUE = ("indicated_kn", "true_kn", "logged_nm")


def _logged(
    workbook: Workbook, log_name: str | None, true_nm: float, elapsed_h: float | None, at: datetime | None
) -> float:
    """Return the distance by the log for a true one: that of the speed it was run at, or of one factor for all."""
    from truemile.workbook import log_corrections

    curve = log_corrections.correct_distance(workbook, log_name, true_nm, elapsed_h=elapsed_h, at=at).correction
    speed_kn = curve.correction.middle_kn if elapsed_h is None else true_nm / elapsed_h
    shown = log_corrections.indicated_speed(workbook, log_name, speed_kn, at=at)
    return true_nm * shown.indicated_kn / speed_kn


def _measured_span(view: CorrectedView) -> tuple[float, float]:
    """Return the speeds that were measured, as the log would show them with what is set in it at this reading."""
    from truemile.core.log_settings import reading_under

    curve = view.correction.correction
    scale = 1.0 if view.setting is None else reading_under(1.0, curve.setting, view.setting)
    return curve.lowest_kn * scale, curve.highest_kn * scale


def corrected_text(found: Sequence[CorrectedView], *, distance: bool) -> str:
    """Return corrected values as a table, with where the correction is from."""
    unit = "nm" if distance else "kn"
    rows = []
    for view in found:
        fixed = view.corrected
        outside = "" if fixed.inside or distance else "outside"
        rows.append(
            (
                f"{fixed.read:.2f}",
                f"{fixed.value:.2f}",
                f"± {fixed.expanded:.2f}",
                f"{fixed.value / fixed.read:.3f}",
                outside,
            )
        )
    lines = [ruled((f"log {unit}", f"true {unit}", "95 %", "factor", ""), rows, left=0)]
    source = found[0].correction
    setting = "" if found[0].setting is None else f"; set in the log {found[0].setting}"
    lines.append(f"  From trial {source.trial_id}, put in force {source.put_at:%Y-%m-%d}{setting}")
    if any(row[-1] for row in rows):
        lowest, highest = _measured_span(found[0])
        lines.append(
            paragraph(
                f"Outside: the factor was measured with {lowest:.1f} to {highest:.1f} kn by the log."
                " Beyond that it is an extension, and the ± may be too small.",
                mark="! ",
            )
        )
    return "\n".join(lines)
