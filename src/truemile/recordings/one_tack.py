"""Log against ground on one tack: a number that is easily had, and what it cannot tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from truemile.core.constants import SECONDS_PER_HOUR
from truemile.core.errors import NotEnoughReadings
from truemile.recordings.leg_means import leg_between

if TYPE_CHECKING:
    from truemile.recordings.recording import HeadingReference, Recording

#: Heading may scatter so much on one tack (standard deviation).
MOST_SCATTER_DEG: Final = 15.0


@dataclass(frozen=True, slots=True)
class SingleTack:
    """Speed made good over speed indicated, on one tack.

    Parameters
    ----------
    elapsed_s
        Length of the tack.
    distance_nm
        Made good over the ground.
    made_good_kn, course_true_deg
        Speed and course made good.
    indicated_kn
        Mean speed that the log indicated.
    heading_deg, heading_reference
        Mean heading.
    ratio
        Made good / indicated.
    cannot
        What this number does not tell, in plain sentences.
    """

    elapsed_s: float
    distance_nm: float
    made_good_kn: float
    course_true_deg: float
    indicated_kn: float
    heading_deg: float
    heading_reference: HeadingReference
    ratio: float
    cannot: tuple[str, ...]


def single_tack_ratio(recording: Recording) -> SingleTack:
    """Compare the log with what was made good over the ground on a recording of one tack.

    Parameters
    ----------
    recording
        On one heading throughout.

    Raises
    ------
    NotEnoughReadings
        If log, heading or ground is missing, or the recording is not on one tack.

    Notes
    -----
    ``ratio = (distance made good / time) / mean indicated speed``, equal to the log factor only in still water.
    """
    leg = leg_between(recording, 0.0, recording.duration_s)
    if leg is None or leg.indicated_kn <= 0:
        raise NotEnoughReadings(
            "recording",
            recording.name,
            "a tack needs log readings, headings and positions",
            "Record VHW, HDT or HDG, and RMC together.",
        )
    if leg.heading_sd_deg > MOST_SCATTER_DEG:
        raise NotEnoughReadings(
            "recording",
            f"headings that scatter by {leg.heading_sd_deg:.0f}°",
            "one tack is on one heading",
            "Find the legs in it instead, and fit log factor and stream together.",
        )
    ground, elapsed_s = leg.ground(), leg.duration_s
    return SingleTack(
        elapsed_s,
        ground.sog_kn * elapsed_s / SECONDS_PER_HOUR,
        ground.sog_kn,
        ground.cog_true_deg,
        leg.indicated_kn,
        leg.heading_deg,
        leg.heading_reference,
        ground.sog_kn / leg.indicated_kn,
        _cannot(abs(ground.sog_kn / leg.indicated_kn - 1) * leg.indicated_kn),
    )


def _cannot(difference_kn: float) -> tuple[str, ...]:
    return (
        f"It is no log factor: a stream of {difference_kn:.1f} kn along the course gives the same with a true log.",
        "Leeway and heading offset cannot be told apart on one tack.",
        "Sail or motor the reciprocal heading too, then log factor and stream come out together.",
    )
