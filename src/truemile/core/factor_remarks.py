"""What there is to say about the evidence behind a log factor, with what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from truemile.core.factor_budget import RunFigures, display_scatter
from truemile.core.log_runs import Indication, Steering, likely_slip
from truemile.core.mean_of_means import HIGHEST_DEGREE
from truemile.core.uncertainty import Budget

#: A measured course should be half a mile or more (common practice, no source).
GOOD_LENGTH_NM = 0.5
#: Runs of five to ten minutes are recommended (trade article quoting model-basin practice).
SHORT_RUN_S = 300.0


@dataclass(frozen=True, slots=True)
class Remark:
    """A remark: `level` is "note" or "caution", `about` names what it concerns."""

    level: str
    about: str
    words: str
    remedy: str


def remarks_on(figures: RunFigures, *, times_known: bool, budget: Budget) -> tuple[Remark, ...]:
    """Return the remarks on one estimate, cautions first."""
    found = [
        *_course_remarks(figures),
        *_stream_remarks(figures, times_known=times_known),
        *_reading_remarks(figures),
    ]
    slip = likely_slip(budget.value, within=0.03)
    if slip:
        found.append(Remark("caution", "unit", f"A factor of {budget.value:.2f} is what a mistaken unit gives.", slip))
    if budget.expanded > 0.05 * budget.value:
        found.append(
            Remark(
                "caution",
                "uncertainty",
                f"The factor is known to ± {100 * budget.expanded / budget.value:.0f} % only.",
                "Do first what the margin names first.",
            )
        )
    return tuple(sorted(found, key=lambda remark: remark.level != "caution"))


def _course_remarks(figures: RunFigures) -> list[Remark]:
    found: list[Remark] = []
    if figures.course.length_nm < GOOD_LENGTH_NM:
        found.append(
            Remark(
                "caution",
                "course",
                f"The course is short: {figures.course.length_nm:.2f} nm.",
                "Half a mile or more is common practice.",
            )
        )
    elif min(run.elapsed_s for run in figures.runs) < SHORT_RUN_S:
        found.append(Remark("note", "course", "A run took less than five minutes.", "A longer course times better."))
    if figures.course.floating_marks:
        found.append(
            Remark(
                "caution",
                "course",
                f"{figures.course.what_floats}: a buoy lies anywhere in its watch circle.",
                "Repeat the trial between fixed marks.",
            )
        )
    return found


def _stream_remarks(figures: RunFigures, *, times_known: bool) -> list[Remark]:
    found: list[Remark] = []
    if figures.conditions.steering is Steering.TRACK_HELD and figures.crab is None:
        found.append(
            Remark(
                "caution",
                "crab",
                "The track was held but no crab angle or compass course was noted: a stream across the course makes"
                " the factor too low by an unknown part.",
                "Note the compass course steered on a run each way.",
            )
        )
    if len(figures.runs) == 2:
        found.append(
            Remark(
                "note",
                "stream",
                "Two runs cancel a stream that does not change; a tide turning between them stays in.",
                "Make a third and a fourth run, alternately.",
            )
        )
    elif not times_known:
        found.append(
            Remark(
                "note",
                "stream",
                "No start times were noted, so equal intervals are taken between the runs.",
                "Note the time of each start: unequal intervals are then allowed for.",
            )
        )
    signs = [run.direction.sign for run in figures.runs]
    if any(a == b for a, b in pairwise(signs)):
        removed = ("constant", "steadily changing", "quadratically changing")[figures.weights.degree]
        found.append(
            Remark(
                "caution" if figures.weights.degree < min(HIGHEST_DEGREE, len(signs) - 2) else "note",
                "stream",
                f"The runs did not alternate, so no more than a {removed} stream is taken out of them.",
                "Out and back by turns cancels a changing stream best.",
            )
        )
    return found


def _reading_remarks(figures: RunFigures) -> list[Remark]:
    if figures.indication is Indication.DISTANCE:
        return []
    found: list[Remark] = []
    scatter = display_scatter(figures.runs, figures.conditions.speed_resolution_kn)
    if min(len(run.speed_readings_kn) for run in figures.runs) < 3:
        found.append(
            Remark("note", "readings", "A run has fewer than three readings.", "Read the log once a minute or oftener.")
        )
    if scatter.steady:
        found.append(
            Remark(
                "note",
                "readings",
                "The display stood almost still, so its last digit hides the same part on every run.",
                "Read the distance counter at start and stop as well.",
            )
        )
    return found
