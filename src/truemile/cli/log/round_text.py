"""A vector round as text for a terminal, and as data for a machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from truemile.cli.log.render import remarks_text
from truemile.cli.present import as_plain, pairs, paragraph, ruled

if TYPE_CHECKING:
    from truemile.core.uncertainty import Budget
    from truemile.core.vector_round import VectorRound
    from truemile.recordings.report import RecordingReport

#: Fields of a result that are shown as they are.
_PLAIN = ("method", "conditions", "conditioning", "budget", "offset_budget", "leeway_budget", "drift_budget", "legs")
_NUMBERS = (
    "factor",
    "expanded",
    "u",
    "heading_offset_deg",
    "leeway_deg",
    "stream_drift_kn",
    "stream_set_deg",
    "set_expanded_deg",
    "stream_change_kn_h",
    "times_known",
    "rms_residual_kn",
    "dof",
    "correction",
    "next_heading",
    "remarks",
    "refusals",
    "may_be_put_in_force",
    "reasons",
)
_LARGEST = 6


def round_data(result: VectorRound) -> dict[str, Any]:
    """Return a result for a machine."""
    return {name: as_plain(getattr(result, name)) for name in (*_NUMBERS, *_PLAIN)}


def round_text(result: VectorRound) -> str:
    """Return answer, legs, what the ± is made of, which heading next, and remarks."""
    blocks = [
        answer_text(result),
        legs_table(result),
        _evidence(result),
        _budget_text(result.budget),
        paragraph(result.next_heading.words),
    ]
    if result.remarks:
        blocks.append(remarks_text(result.remarks))
    return "\n\n".join(blocks)


def answer_text(result: VectorRound) -> str:
    """Return factor, heading offset, leeway and stream with their ±, and whether it may be put in force."""
    from truemile.core.plus_minus import format_with_uncertainty

    rows = [("Log factor", f"{format_with_uncertainty(result.factor, result.expanded)}  (95 %)")]
    percent = 100.0 * (1.0 / result.factor - 1.0)
    rows.append(("The log reads", f"{abs(percent):.1f} % too {'much' if percent >= 0 else 'little'}"))
    for name, budget in (("Heading offset", result.offset_budget), ("Leeway", result.leeway_budget)):
        if budget is not None:
            rows.append((name, format_with_uncertainty(budget.value, budget.expanded, "°")))
    drift = format_with_uncertainty(result.stream_drift_kn, result.drift_budget.expanded, "kn")
    if result.set_expanded_deg is None:
        rows.append(("Stream", f"{drift}, too weak to have a set"))
    else:
        rows.append(("Stream", f"{drift}, sets {result.stream_set_deg:03.0f}° ± {result.set_expanded_deg:.0f}°"))
    lines = [pairs(rows)]
    if not result.may_be_put_in_force:
        lines.append("  It cannot be put in force:")
        lines += [paragraph(f"{each.words} {each.remedy}", mark="! ") for each in result.refusals]
    return "\n".join(lines)


def legs_table(result: VectorRound) -> str:
    """Return the legs with what each is off the fit."""
    rows = []
    for each in result.legs:
        leg = each.leg
        cog = "" if leg.cog_true_deg is None else f"{leg.cog_true_deg:05.1f}"
        across = "" if each.residual_across_kn is None else f"{round(each.residual_across_kn, 2) + 0.0:+.2f}"
        turn = "turn" if leg.turning else leg.tack.value
        speeds = f"{leg.indicated_kn:.2f}", f"{leg.sog_kn:.2f}"
        along = f"{round(each.residual_along_kn, 2) + 0.0:+.2f}"
        rows.append((str(each.number), f"{leg.heading_true_deg:05.1f}", *speeds, cog, along, across, turn))
    return ruled(("leg", "hdg T", "log kn", "sog kn", "cog T", "ahead kn", "abeam kn", ""), rows, left=1)


def _evidence(result: VectorRound) -> str:
    state = result.conditioning
    rows = [
        ("Headings", f"{state.legs}, worth {state.strength:.1f} (N (1 - R²)); 1 and more is good"),
        ("From", result.method.value),
    ]
    if result.dof > 0:
        rows.append(("Legs off the fit", f"{result.rms_residual_kn:.2f} kn rms"))
    return pairs(rows)


def _budget_text(budget: Budget) -> str:
    from truemile.core.vector_budget import group_of

    rows = [row for row in budget.grouped(group_of) if row.share > 0]
    table = [(row.label, f"{100 * row.share:.0f} %", f"{row.contribution:.4f}") for row in rows[:_LARGEST]]
    rest = sum(row.share for row in rows[_LARGEST:])
    if rest > 0:
        table.append(("the rest", f"{100 * rest:.0f} %", f"{budget.u * rest**0.5:.4f}"))
    return f"What the ± is made of\n{ruled(('part', 'share', 'u'), table)}"


def report_data(report: RecordingReport) -> dict[str, Any]:
    """Return what a recording says, for a machine."""
    from truemile.cli.errors import error_as_plain

    recording = report.recording
    return {
        "recording": {
            "name": recording.name,
            "kind": recording.kind,
            "started_at": as_plain(recording.started_at),
            "duration_s": recording.duration_s,
            "lines": recording.counts.lines,
            "good": recording.counts.good,
            "total": recording.counts.total,
            "counts": {tally.kind.value: tally.count for tally in recording.counts.tallies},
            "gives": list(recording.what_it_gives),
            "lacks": list(recording.what_it_lacks),
            "left_aside": list(recording.left_aside),
        },
        "words": list(report.found.words),
        "pieces": as_plain(report.pieces),
        "taken": list(report.taken),
        "single_tack": as_plain(report.single),
        "answer": list(report.answer),
        "result": None if report.result is None else round_data(report.result),
        "lacks": None if report.lacks is None else error_as_plain(report.lacks)["error"],
    }


def report_text(report: RecordingReport) -> str:
    """Return what a recording says: answer, what it holds, legs, and what they give."""
    recording, blocks = report.recording, []
    if report.answer:
        blocks.append("\n".join(paragraph(words, indent=0) for words in report.answer))
    counts = recording.counts
    faulty = counts.total - counts.good
    about = [
        paragraph(f"{recording.name}, {recording.kind}, {recording.duration_s:.0f} s", indent=0),
        f"  {counts.lines} lines; {counts.good} whole, {faulty} faulty",
        *(paragraph(words, indent=4) for words in counts.words),
        paragraph(f"Gives: {', '.join(recording.what_it_gives)}"),
    ]
    if recording.what_it_lacks:
        about.append(paragraph(f"Lacks: {', '.join(recording.what_it_lacks)}"))
    about += [paragraph(f"Left aside: {words}") for words in recording.left_aside]
    blocks.append("\n".join(about))
    found = [paragraph(words) for words in report.found.words if words not in report.answer]
    if found:
        blocks.append("\n".join(found))
    if report.pieces:
        blocks.append(_pieces_table(report))
    if report.result is not None:
        blocks.append(round_text(report.result))
    elif report.lacks is not None:
        blocks.append(paragraph(str(report.lacks), mark="! "))
    return "\n\n".join(blocks)


def _pieces_table(report: RecordingReport) -> str:
    rows = [
        (
            str(number),
            f"{piece.start_s:.0f}",
            f"{piece.duration_s:.0f}",
            f"{piece.heading_deg:05.1f} {piece.heading_reference[0].upper()}",
            f"{piece.indicated_kn:.2f}",
            f"{round(piece.turn_rate_deg_s, 2) + 0.0:+.2f}",
            "turn" if piece.turning else "",
            "" if number in report.taken else "left out",
        )
        for number, piece in enumerate(report.pieces, 1)
    ]
    return ruled(("no", "from s", "long s", "heading", "log kn", "turn °/s", "", ""), rows, left=1)
