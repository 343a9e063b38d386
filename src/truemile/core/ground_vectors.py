"""The legs of a vector round: headings steered through the water, and what was made good over the ground on each.

A vector round finds the log factor without marks. On leg i, with k the factor, s what the log indicated, h the heading,
b a constant heading offset and c the stream, the velocity over the ground is::

    g = k s u(h + b) + c        u(a) points along a

Two headings determine k, b and c; from three on the legs can be checked against each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from truemile.core.angles import difference, wrap_360
from truemile.core.errors import NavigationError, NotEnoughReadings, ReadingError, gather
from truemile.core.log_runs import FASTEST_KN
from truemile.core.numbers import Limit, check_finite, check_limits

#: More legs than this are a recording, not a round.
MOST_LEGS = 200
#: A heading that changes faster than this on average is a turn and no leg. A satellite receiver's velocity trails the
#: boat by up to five seconds (seen in recordings), which makes 0.75° at this rate: as much as a course read to 1°.
TURNING_DEG_S = 0.15
#: Below this value of N (1 - R²) a round is warned about: two headings at right angles have 1.
WEAK = 1.0
#: Where 1 - R² is less, all headings lie within about a degree, which is how closely they are known.
ALL_ALIKE = 1e-4


class Tack(StrEnum):
    """The side the wind came from under sail; empty under power."""

    PORT = "port"
    STARBOARD = "starboard"
    POWER = ""

    @property
    def leeway_sign(self) -> int:
        """+1 where leeway sets the boat to starboard of her heading, -1 to port, 0 under power."""
        return {Tack.PORT: 1, Tack.STARBOARD: -1, Tack.POWER: 0}[self]


@dataclass(frozen=True, slots=True)
class Leg:
    """One steady straight leg, as written down or found in a recording.

    Parameters
    ----------
    heading_deg
        Mean heading, true; or magnetic together with the variation.
    indicated_kn
        Mean speed that the log indicated.
    sog_kn
        Mean speed over the ground.
    cog_true_deg
        Mean course over the ground, true; None if only the speed was noted.
    variation_deg
        Added to the heading to make it true, east positive; 0 for a true heading.
    duration_s, started_at
        How long the leg was, and an aware time of its start; None if not noted.
    tack
        Tack under sail, or under power.
    turn_rate_deg_s
        Mean change of heading over the leg, to starboard positive; None if not known.
    u_indicated_kn, u_sog_kn, u_cog_deg, u_heading_deg
        Standard uncertainties of these means where they are known, from a recording say; None for one reading of a
        rounded display.
    """

    heading_deg: float
    indicated_kn: float
    sog_kn: float
    cog_true_deg: float | None = None
    variation_deg: float = 0.0
    duration_s: float | None = None
    started_at: datetime | None = None
    tack: Tack = Tack.POWER
    turn_rate_deg_s: float | None = None
    u_indicated_kn: float | None = None
    u_sog_kn: float | None = None
    u_cog_deg: float | None = None
    u_heading_deg: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot have been read, all faults at once."""
        gather([*_number_faults(self), *_time_faults(self)])

    @property
    def heading_true_deg(self) -> float:
        """Heading from true north."""
        return wrap_360(self.heading_deg + self.variation_deg)

    @property
    def turning(self) -> bool:
        """True where the heading changed too fast for a leg."""
        return self.turn_rate_deg_s is not None and abs(self.turn_rate_deg_s) > TURNING_DEG_S


@dataclass(frozen=True, slots=True)
class VectorConditions:
    """How the legs were read, and what the water may have done.

    Parameters
    ----------
    speed_resolution_kn, sog_resolution_kn, cog_resolution_deg, heading_resolution_deg
        Last digit of log, speed over the ground, course over the ground and heading.
    unevenness_kn
        Standard uncertainty, for each leg and each component of its velocity over the ground, from helm, waves,
        receiver and uneven stream.
    unevenness_dof
        How well that is known; 4 means to about a third of itself [JCGM100]_ G.4.2.
    tide_amplitude_kn
        Greatest rate of the tidal stream; what its change leaves in the result is allowed for. 0 where there is no
        tide.
    u_deviation_deg
        Standard uncertainty of what is left of the deviation coefficients B and C in the headings; 0 for a satellite
        compass.
    wind_kn
        True wind speed, or None if not noted.
    """

    speed_resolution_kn: float = 0.1
    sog_resolution_kn: float = 0.1
    cog_resolution_deg: float = 1.0
    heading_resolution_deg: float = 1.0
    unevenness_kn: float = 0.08
    unevenness_dof: float = 4.0
    tide_amplitude_kn: float = 1.0
    u_deviation_deg: float = 1.0
    wind_kn: float | None = None

    def __post_init__(self) -> None:
        """Refuse conditions that cannot be, all faults at once."""
        check_limits(self, _CONDITION_LIMITS)


_CONDITION_LIMITS: tuple[Limit, ...] = (
    ("speed_resolution_kn", 0.001, 1.0, "Give the last digit of the log's speed display, usually 0.1 kn."),
    ("sog_resolution_kn", 0.001, 1.0, "Give the last digit of the speed over the ground, usually 0.1 kn."),
    ("cog_resolution_deg", 0.001, 10.0, "Give the last digit of the course over the ground, usually 1°."),
    ("heading_resolution_deg", 0.001, 10.0, "Give how finely the heading was read, usually 1°."),
    ("unevenness_kn", 0.001, 2.0, "Give how unsteady each leg may be, usually 0.08 kn."),
    ("unevenness_dof", 1.0, math.inf, "Leave it at 4 if in doubt."),
    ("tide_amplitude_kn", 0.0, 15.0, "Give the greatest rate of the tidal stream there, or 0 where there is no tide."),
    ("u_deviation_deg", 0.0, 20.0, "Give what is left of the deviation, or 0 for a satellite compass."),
    ("wind_kn", 0.0, 100.0, "Give the true wind speed in knots."),
)

_LEG_LIMITS: tuple[tuple[str, float, float, str, str], ...] = (
    ("heading_deg", 0.0, 360.0, "a heading is 000 to 359.9", "Write it in three figures: 064."),
    (
        "cog_true_deg",
        0.0,
        360.0,
        "a course over the ground is 000 to 359.9",
        "Write it in three figures, or leave it out if it was not read.",
    ),
    ("variation_deg", -180.0, 180.0, "variation is -180 to 180, east positive", "Take it from the chart, east as +."),
    ("turn_rate_deg_s", -90.0, 90.0, "a turn is -90 to 90 degrees a second", "Leave it out if it is not known."),
)
_POSITIVE: tuple[tuple[str, float, str], ...] = (
    ("indicated_kn", FASTEST_KN, "A log at 0 with the boat moving is fouled; leave that leg out."),
    ("sog_kn", FASTEST_KN, "A boat that lies still over the ground has no course over it; leave that leg out."),
    ("duration_s", 86_400.0, "Give the length of the leg in seconds, some one to three minutes, or leave it out."),
    ("u_indicated_kn", 5.0, "Give the standard uncertainty of the mean, or leave it out."),
    ("u_sog_kn", 5.0, "Give the standard uncertainty of the mean, or leave it out."),
    ("u_cog_deg", 45.0, "Give the standard uncertainty of the mean, or leave it out."),
    ("u_heading_deg", 45.0, "Give the standard uncertainty of the mean, or leave it out."),
)


class Conditioning(NamedTuple):
    """What a set of headings can tell at one speed, whatever is read on them.

    Attributes
    ----------
    legs
        Number of headings, N.
    mean_resultant_length
        R, from 0 for headings that close all round to 1 for one heading only.
    strength
        N (1 - R²): how many legs at right angles to each other the set is worth, less one.
    """

    legs: int
    mean_resultant_length: float
    strength: float

    @property
    def solvable(self) -> bool:
        """False where factor and stream along the heading cannot be told apart."""
        return self.legs > 1 and 1.0 - self.mean_resultant_length**2 >= ALL_ALIKE

    @property
    def weak(self) -> bool:
        """True where the headings lie so much on one side that the result is uncertain."""
        return self.strength < WEAK * (1.0 - 1e-9)

    @property
    def u_factor_relative(self) -> float:
        """Standard uncertainty u(k)/k, and that of the heading offset in radians, in units of σ/V."""
        return 1.0 / math.sqrt(self.strength) if self.solvable else math.inf

    @property
    def u_stream_component(self) -> float:
        """Standard uncertainty of each component of the stream, in units of σ."""
        return self.u_factor_relative


def conditioning(headings_deg: Sequence[float]) -> Conditioning:
    """Return what a set of headings can tell of factor, offset and stream.

    Parameters
    ----------
    headings_deg
        All from one north.

    Raises
    ------
    NotEnoughReadings
        If there is none.
    ReadingError
        If one is no ordinary number.

    Notes
    -----
    With R = |Σ u(h)| / N, V the speed and σ the scatter of one component of the velocity over the ground,
    u(k)/k = u(b) = σ / (V √(N (1 - R²))) and u(c) = σ / √(N (1 - R²)).

    Examples
    --------
    >>> round(conditioning([0, 90]).u_factor_relative, 6), conditioning([45, 45, 45]).solvable
    (1.0, False)
    """
    if not headings_deg:
        raise NotEnoughReadings("headings_deg", None, "a round needs headings", "Enter the headings steered.")
    radians = [math.radians(check_finite(f"headings_deg[{i}]", float(h))) for i, h in enumerate(headings_deg)]
    n = len(radians)
    north, east = math.fsum(math.cos(h) for h in radians), math.fsum(math.sin(h) for h in radians)
    length = min(math.hypot(north, east) / n, 1.0)
    return Conditioning(n, length, n * (1.0 - length**2))


class OffsetAndLeeway(NamedTuple):
    """A constant heading offset and the leeway, told apart by two tacks."""

    heading_offset_deg: float
    leeway_deg: float


def offset_and_leeway(port_tack_deg: float | None, starboard_tack_deg: float | None) -> OffsetAndLeeway:
    """Tell heading offset and leeway apart from how far the boat went off her heading on either tack.

    Parameters
    ----------
    port_tack_deg, starboard_tack_deg
        Course through the water less heading, with the wind from port and from starboard.

    Raises
    ------
    NotEnoughReadings
        If one tack is missing: the two then cannot be told apart.
    ReadingError
        If an angle is no ordinary number.

    Notes
    -----
    b + λ on port tack and b - λ on starboard: half-sum and half-difference, if the leeway is equal on both.

    Examples
    --------
    >>> offset, leeway = offset_and_leeway(3.0, -5.0)
    >>> offset, leeway
    (-1.0, 4.0)
    """
    if port_tack_deg is None or starboard_tack_deg is None:
        raise NotEnoughReadings(
            "port_tack_deg" if port_tack_deg is None else "starboard_tack_deg",
            None,
            "heading offset and leeway cannot be told apart on one tack",
            "Sail legs on the other tack as well, at the same angle to the wind, or make the round under power.",
        )
    check_finite("port_tack_deg", port_tack_deg)
    check_finite("starboard_tack_deg", starboard_tack_deg)
    half = difference(port_tack_deg, starboard_tack_deg) / 2.0
    return OffsetAndLeeway(difference(port_tack_deg - half, 0.0), half)


def _number_faults(leg: Leg) -> list[NavigationError]:
    faults: list[NavigationError] = []
    for name, low, high, allowed, remedy in _LEG_LIMITS:
        value = getattr(leg, name)
        if value is not None and not low <= value <= high:
            faults.append(ReadingError(name, value, allowed, remedy))
    for name, most, remedy in _POSITIVE:
        value = getattr(leg, name)
        if value is not None and not 0.0 < value <= most:
            faults.append(ReadingError(name, value, f"it must be above 0 and at most {most:g}", remedy))
    return faults


def _time_faults(leg: Leg) -> list[NavigationError]:
    if leg.started_at is None or leg.started_at.utcoffset() is not None:
        return []
    return [
        ReadingError(
            "started_at",
            leg.started_at.isoformat(),
            "a time must say its zone",
            "Add Z for UTC or the offset, as in 2026-05-14T13:32:00+01:00.",
        )
    ]
