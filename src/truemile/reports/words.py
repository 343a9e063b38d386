"""Sentences that trial report and correction card share."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Final

from truemile.core.corrections import LogCorrection
from truemile.core.log_factor import LogFactor
from truemile.core.log_runs import Steering
from truemile.core.log_trial import TrialResult

DEMO: Final = "Invented waters, not for navigation."
_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_MANNER: Final[Mapping[Steering, str]] = {
    Steering.HEADING_HELD: "heading held square to the transits",
    Steering.TRACK_HELD: "track held from mark to mark",
}


def day_text(day: date) -> str:
    """Return a date in words, in one language on every computer.

    Examples
    --------
    >>> day_text(date(2026, 5, 14))
    '14 May 2026'
    """
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def speeds_text(correction: LogCorrection) -> str:
    """Return the speeds on the log at which a correction was measured.

    Examples
    --------
    >>> speeds_text(LogCorrection((1,), (0.934,), ((0.0001,),), 50.0, 6.2, 6.4))
    '6.2 to 6.4 kn'
    """
    low, high = f"{correction.lowest_kn:.1f}", f"{correction.highest_kn:.1f}"
    return f"{low} kn" if low == high else f"{low} to {high} kn"


def cautions(correction: LogCorrection) -> list[str]:
    """Return what to keep in mind wherever a correction is used."""
    return [
        f"Holds for {speeds_text(correction)} on the log, upright, clean paddle, and the setting named here.",
        "Use official, up-to-date charts; keep a look-out; local rules come first.",
    ]


def about(result: TrialResult) -> str:
    """Return course and manner of a trial in a line."""
    course = result.course
    parts = [course.name, f"{course.length_nm:.3f} nm"]
    if course.course_true_deg is not None:
        parts.append(f"{course.course_true_deg:05.1f}°T")
    parts.append(_MANNER[result.conditions.steering])
    return " · ".join(parts)


def reads_text(factor: float) -> str:
    """Return how a log reads.

    Examples
    --------
    >>> reads_text(0.934), reads_text(1.0004)
    ('The log reads 7.1 % high.', 'The log reads true to a tenth of a percent.')
    """
    percent = (1.0 / factor - 1.0) * 100.0
    if abs(percent) < 0.1:
        return "The log reads true to a tenth of a percent."
    return f"The log reads {abs(percent):.1f} % {'high' if percent > 0 else 'low'}."


def hand_text(result: TrialResult) -> str:
    """Return the mean by hand, how far it is off, and the largest reason."""
    hand, factor = result.hand_factor, result.factor
    percent = 100.0 * (hand / factor - 1.0)
    sentence = f"By hand, the mean of the run factors is {hand:.3f}"
    if abs(percent) < 0.05:
        return f"{sentence}: the same."
    sentence += f": {abs(percent):.1f} % too {'high' if percent > 0 else 'low'}"
    if len(result.groups) > 1:
        return f"{sentence} at that speed, because it lumps all speeds together."
    rungs = result.groups[0].best.ladder[1:]
    towards = [rung for rung in rungs if rung.change * (factor - hand) > 0]
    if not towards:
        return f"{sentence}."
    return f"{sentence}, because {max(towards, key=lambda rung: abs(rung.change)).reason}."


def stream_text(factor: LogFactor) -> list[str]:
    """Return the stream along and across the course in words."""
    along = factor.stream_along_kn
    way = "with an outward run" if along >= 0 else "against an outward run"
    said = [f"Along the course {abs(along):.2f} ± {factor.expanded_stream_along_kn:.2f} kn, {way}."]
    if factor.stream_across_kn is not None and factor.crab.angle_deg:
        side = f", to {factor.stream_across_to} going out" if factor.stream_across_to else ""
        said.append(f"Across it about {abs(factor.stream_across_kn):.1f} kn{side}.")
    return said
