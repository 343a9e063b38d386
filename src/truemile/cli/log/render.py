"""What the core found out about a log, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from truemile.cli.present import pairs, paragraph, ruled

if TYPE_CHECKING:
    from truemile.core.corrections import LogCorrection
    from truemile.core.factor_remarks import Remark
    from truemile.core.improvements import Improvement
    from truemile.core.log_factor import LogFactor
    from truemile.core.log_trial import SpeedGroup, TrialResult
    from truemile.core.measured_course import MeasuredCourse
    from truemile.core.uncertainty import Budget

#: Lines of a budget that are shown; the rest is gathered in one.
LARGEST = 6
#: A step of the ladder that moves the last printed digit is told with its reason.
WORTH_A_REASON = 0.0005


def course_line(course: MeasuredCourse) -> str:
    """Return name, length and true course of a measured course on one line."""
    from truemile.core.plus_minus import format_with_uncertainty

    length = format_with_uncertainty(course.length_nm, 1.96 * course.u_length_nm, "nm")
    bearing = "" if course.course_true_deg is None else f", {course.course_true_deg % 360:05.1f}°T"
    return f"{course.name or 'measured course'}: {length}{bearing}"


def trial_text(result: TrialResult) -> str:
    """Return runs, ladder, budget, what to do next, and remarks of a trial."""
    from truemile.core.improvements import improvements

    alone = len(result.groups) == 1
    blocks = [course_line(result.course), *(_group_text(group, alone=alone) for group in result.groups)]
    if len(result.groups) > 1:
        blocks.append(_curve_text(result))
    blocks.append(improvements_text(improvements(result)))
    if result.remarks:
        blocks.append(remarks_text(result.remarks))
    return "\n\n".join(blocks)


def _group_text(group: SpeedGroup, *, alone: bool) -> str:
    best = group.best
    blocks = [runs_table(best), ladder_text(best), reading_lines(best, group)]
    if not alone:
        blocks[0] = f"Speed {group.label or 'unnamed'}\n{blocks[0]}"
        blocks[1] = ladder_text(best, brief=True)
    else:
        blocks.append(budget_text(best.budget))
    return "\n\n".join(blocks)


def runs_table(found: LogFactor) -> str:
    """Return the runs with what each gives."""
    from truemile.core.times import format_elapsed

    heads = ("run", "way", "started", "time", "ground kn", "log kn", "factor", "stream kn")
    rows = []
    for r in found.runs:
        started = r.run.started_at
        rows.append(
            (
                str(r.number),
                r.run.direction.value,
                f"{started:%H:%M:%S}" if started else "",
                format_elapsed(r.run.elapsed_s),
                f"{r.ground_kn:.2f}",
                f"{r.indicated_kn:.2f}",
                f"{r.factor:.3f}",
                f"{round(r.stream_kn, 2) + 0.0:+.2f}",
            )
        )
    return ruled(heads, rows, left=2)


def ladder_text(found: LogFactor, *, brief: bool = False) -> str:
    """Return the hand mean, the steps from it to the estimate with their reasons, and the estimate."""
    from truemile.core.plus_minus import format_with_uncertainty

    lines = [f"  {'By hand: mean of the run factors':46}{found.hand_factor:10.3f}"]
    for rung in found.ladder[1:]:
        lines.append(f"    {rung.words:44}{rung.factor:10.3f}{round(rung.change, 4) + 0.0:+10.4f}")
        if not brief and abs(rung.change) >= WORTH_A_REASON:
            lines.append(paragraph(f"{rung.reason}.", indent=6))
    estimate = format_with_uncertainty(found.factor, found.expanded)
    lines.append(f"  {'Log factor, by the ' + found.indication.value:46}     {estimate}  (95 %)")
    return "\n".join(lines)


def reading_lines(found: LogFactor, group: SpeedGroup | None = None) -> str:
    """Return what the factor means, what the stream was, and what the other reading of the log says."""
    from truemile.core.plus_minus import format_with_uncertainty

    percent = found.reads_percent_too_much
    much = "much" if percent >= 0 else "little"
    way = "out" if found.stream_along_kn >= 0 else "back"
    along = format_with_uncertainty(abs(found.stream_along_kn), found.expanded_stream_along_kn, "kn")
    rows = [
        ("The log reads", f"{abs(percent):.1f} % too {much}"),
        ("Through the water", f"{found.water_kn:.2f} kn where it showed {found.mean_indicated_kn:.2f} kn"),
        ("Stream along", f"{along}, flowing the way of a run {way}"),
    ]
    if found.stream_across_kn is not None:
        side = f" to {found.stream_across_to} of a run out" if found.stream_across_to else ""
        rows.append(("Stream across", f"{found.stream_across_kn:.2f} kn{side}"))
    if group is not None and group.other is not None:
        other = format_with_uncertainty(group.other.factor, group.other.expanded)
        agree = "agrees" if group.other_agrees else "does not agree"
        rows.append((f"By the {group.other.indication.value}", f"{other}, which {agree}"))
    return pairs(rows)


def budget_text(budget: Budget) -> str:
    """Return what the uncertainty is made of, largest part first."""
    from truemile.core.factor_budget import group_of

    rows = [row for row in budget.grouped(group_of) if row.share > 0]
    shown = rows[:LARGEST]
    table = [(row.label, f"{100 * row.share:.0f} %", f"{row.contribution:.4f}") for row in shown]
    rest = sum(row.share for row in rows[LARGEST:])
    if rest > 0:
        table.append(("the rest", f"{100 * rest:.0f} %", f"{budget.u * rest**0.5:.4f}"))
    table.append(("together", "", f"{budget.u:.4f}"))
    closing = f"  ± {budget.expanded:.4f} = {budget.coverage_factor:.2f} × {budget.u:.4f}, for 95 %"
    return f"What the ± is made of\n{ruled(('part', 'share', 'u'), table)}\n{closing}"


def _curve_text(result: TrialResult) -> str:
    from truemile.core.plus_minus import format_with_uncertainty

    at = format_with_uncertainty(result.factor, result.expanded)
    lines = [
        paragraph(f"Over all speeds: {result.curve.words}."),
        correction_table(result.correction),
        f"  At {result.quoted_at_kn:.1f} kn by the log the factor is {at} (95 %); by hand {result.hand_factor:.3f}.",
    ]
    return "\n".join(lines)


def correction_table(correction: LogCorrection, speeds_kn: Sequence[float] | None = None) -> str:
    """Return true speeds for some indicated ones."""
    from truemile.core.corrections import corrected_speed

    low, high = correction.lowest_kn, correction.highest_kn
    if speeds_kn is None:
        speeds_kn = sorted({round(low + (high - low) * i / 4, 1) for i in range(5)})
    rows = []
    for speed in speeds_kn:
        found = corrected_speed(correction, speed)
        outside = "" if found.inside else "outside"
        rows.append((f"{speed:.1f}", f"{found.value:.2f}", f"± {found.expanded:.2f}", f"{found.factor:.3f}", outside))
    return ruled(("log kn", "true kn", "95 %", "factor", ""), rows, left=0)


def improvements_text(found: Sequence[Improvement], most: int = 3) -> str:
    """Return what would make the factor surer, best first."""
    if not found:
        return "What would make it surer: nothing that one change of this trial would do."
    rows = [paragraph(f"{item.words} {_from_to(item)}", mark="- ") for item in found[:most]]
    return "\n".join(["What would make it surer, best first", *rows])


def _from_to(item: Improvement) -> str:
    """Three decimals, or the one more that shows the difference."""
    now, after = (f"{value:.3f}" for value in (item.expanded_now, item.expanded_after))
    if now == after:
        now, after = f"{item.expanded_now:.4f}", f"{item.expanded_after:.4f}"
    return f"± {now} becomes ± {after}."


def remarks_text(remarks: Sequence[Remark]) -> str:
    """Return the remarks on the evidence, each with what to do."""
    marks = {"caution": "! ", "note": "- "}
    return "\n".join(paragraph(f"{r.words} {r.remedy}", mark=marks[r.level]) for r in remarks)
