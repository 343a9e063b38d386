"""The readings of a swing by each of its methods, and the deviations that follow from them.

East positive, all::

    transit, known bearing, sun           (true bearing - variation) - compass bearing
    distant object of unknown bearing     mean bearing - compass bearing; A is lost
    reciprocal bearings                   (shore compass + 180) - compass bearing
    trusted heading                       (true heading - variation) - compass heading
    courses and speeds over the ground    (direction from the stream - variation) - compass heading

Each belongs to the boat's compass heading at that moment, and to nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from truemile.core.angles import circular_mean, wrap_180, wrap_360
from truemile.core.deviation_curve import MOST_DEVIATION_DEG, SharedErrors, deviation_between
from truemile.core.deviation_hand import Observed
from truemile.core.errors import NavigationError, ReadingError, gather
from truemile.core.log_runs import FASTEST_KN
from truemile.core.numbers import Limit, check_limits
from truemile.core.swing_ground import GroundHeadings, deviations_from_true_headings, ground_headings, parallax_deg

#: Standard uncertainty of A where the swing cannot show it: a lubber line set by eye lies within about 2° of the keel
#: line, evenly anywhere (judged, no source).
U_LOST_A_DEG: Final = 1.2


class SwingMethod(StrEnum):
    """How the deviation is found on each heading."""

    KNOWN_BEARING = "transit or known bearing"
    UNKNOWN_BEARING = "distant object of unknown bearing"
    RECIPROCAL = "reciprocal bearings with a shore compass"
    SUN = "bearing of the sun"
    TRUSTED_HEADING = "comparison with a trusted heading"
    GROUND_VECTORS = "courses and speeds over the ground"

    @property
    def sights(self) -> bool:
        """True where something is sighted over the compass."""
        return self not in {SwingMethod.TRUSTED_HEADING, SwingMethod.GROUND_VECTORS}

    @property
    def shows_a(self) -> bool:
        """False where coefficient A is lost."""
        return self is not SwingMethod.UNKNOWN_BEARING


class Electrics(StrEnum):
    """Whether instruments, lights and chargers near the compass were on; empty if not noted."""

    OFF = "off"
    ON = "on"
    NOT_NOTED = ""


@dataclass(frozen=True, slots=True)
class SwingReading:
    """One reading of a swing, as written down.

    Parameters
    ----------
    heading_compass_deg
        What the steering compass showed under the lubber line.
    bearing_compass_deg
        Bearing over the steering compass of mark, shore compass or sun.
    reference_deg
        What belongs to this reading alone: the sun's true bearing, the shore compass's bearing of the boat, the trusted
        true heading; a true bearing of the mark that differs from that of the swing.
    sog_kn, cog_true_deg
        Speed and course over the ground.
    indicated_kn
        By the log; None where the engine kept the speed the same.
    taken_at
        Aware time; needed for the sun.
    electrics, engine_running, heel_deg
        Conditions; None or empty if not noted. Heel to starboard positive.
    """

    heading_compass_deg: float
    bearing_compass_deg: float | None = None
    reference_deg: float | None = None
    sog_kn: float | None = None
    cog_true_deg: float | None = None
    indicated_kn: float | None = None
    taken_at: datetime | None = None
    electrics: Electrics = Electrics.NOT_NOTED
    engine_running: bool | None = None
    heel_deg: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot have been read, all faults at once."""
        check_limits(self, _READING_LIMITS)
        if self.taken_at is not None and self.taken_at.tzinfo is None:
            raise ReadingError(
                "taken_at", self.taken_at, "a time must say its zone", "Give it in UTC, or with its difference to UTC."
            )


_ROUND: Final = "Enter it in three figures, clockwise from north."
_READING_LIMITS: Final[tuple[Limit, ...]] = (
    ("heading_compass_deg", 0.0, 360.0, _ROUND),
    ("bearing_compass_deg", 0.0, 360.0, _ROUND),
    ("reference_deg", 0.0, 360.0, _ROUND),
    ("sog_kn", 0.0, FASTEST_KN, "Give the speed in knots."),
    ("cog_true_deg", 0.0, 360.0, _ROUND),
    ("indicated_kn", 0.0, FASTEST_KN, "Give the speed in knots."),
    ("heel_deg", -60.0, 60.0, "Give the heel in degrees, to starboard above 0."),
)


@dataclass(frozen=True, slots=True)
class SwingConditions:
    """What holds for all readings of a swing.

    Parameters
    ----------
    variation_deg, u_variation_deg
        East positive, with its standard uncertainty; 0 for references that are magnetic already.
    bearing_true_deg
        Of transit or mark; None where each reading has its own, or where none is needed.
    u_reference_deg
        Standard uncertainty of that bearing, of the shore compass or of the trusted heading as a whole.
    object_distance_nm, swing_radius_m
        How far the mark was, and how wide the circle; None for a transit that was crossed, or the sun.
    resolution_deg
        To what the compass was read.
    """

    variation_deg: float = 0.0
    u_variation_deg: float = 0.4
    bearing_true_deg: float | None = None
    u_reference_deg: float = 0.0
    object_distance_nm: float | None = None
    swing_radius_m: float | None = None
    resolution_deg: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what cannot be, all faults at once."""
        check_limits(self, _CONDITION_LIMITS)

    @property
    def parallax_deg(self) -> float:
        """Largest change of the bearing over the circle; 0 where distance or circle is not noted."""
        if not self.object_distance_nm or not self.swing_radius_m:
            return 0.0
        return parallax_deg(self.swing_radius_m, self.object_distance_nm)


_CONDITION_LIMITS: Final[tuple[Limit, ...]] = (
    ("variation_deg", -180.0, 180.0, "Enter degrees, east above 0."),
    ("u_variation_deg", 0.0, 20.0, "Give it in degrees; 0.4 is usual."),
    ("bearing_true_deg", 0.0, 360.0, _ROUND),
    ("u_reference_deg", 0.0, 20.0, "Give it in degrees."),
    ("object_distance_nm", 0.05, 100.0, "Give the distance in nautical miles."),
    ("swing_radius_m", 1.0, 5000.0, "Give the radius of the circle in metres."),
    ("resolution_deg", 0.0, 10.0, "Give the smallest step that was read."),
)


@dataclass(frozen=True, slots=True)
class SwingDeviations:
    """The deviations of a swing.

    Attributes
    ----------
    observed
        One a reading, in their order.
    shared
        Errors that all of them share.
    ground
        Stream and true headings, by courses and speeds over the ground.
    mean_bearing_deg
        Mean compass bearing of an object of unknown bearing: its magnetic bearing less A.
    """

    observed: tuple[Observed, ...]
    shared: SharedErrors
    ground: GroundHeadings | None = None
    mean_bearing_deg: float | None = None


def deviation_by_bearing(bearing_true_deg: float, variation_deg: float, bearing_compass_deg: float) -> float:
    """Return the deviation from a known bearing, of a transit, a mark or the sun.

    Examples
    --------
    >>> deviation_by_bearing(80.0, -10.0, 92.0)
    -2.0
    """
    return deviation_between(bearing_true_deg - variation_deg, bearing_compass_deg)


def deviation_by_reciprocal(shore_compass_deg: float, bearing_compass_deg: float) -> float:
    """Return the deviation from bearings taken at one moment ashore and on board, of each other.

    Parameters
    ----------
    shore_compass_deg
        Bearing of the boat by a compass ashore, clear of iron.
    bearing_compass_deg
        Bearing of that compass over the steering compass.

    Examples
    --------
    >>> deviation_by_reciprocal(137.0, 321.0)
    -4.0
    """
    return deviation_between(shore_compass_deg + 180.0, bearing_compass_deg)


def deviation_by_comparison(heading_true_deg: float, variation_deg: float, heading_compass_deg: float) -> float:
    """Return the deviation from a heading that is trusted.

    Examples
    --------
    >>> deviation_by_comparison(2.0, -7.0, 358.0)
    11.0
    """
    return deviation_between(heading_true_deg - variation_deg, heading_compass_deg)


def deviations_of(
    readings: Sequence[SwingReading], method: SwingMethod, conditions: SwingConditions
) -> SwingDeviations:
    """Return the deviations of a swing.

    Parameters
    ----------
    readings
        In the order taken.
    method, conditions
        How.

    Raises
    ------
    ReadingError
        If a reading lacks what the method needs; `ManyFaults` if several do.
    NotEnoughReadings
        If there are too few for the method.
    NoSolution
        If courses and speeds over the ground do not show the stream.

    Examples
    --------
    >>> swing = [SwingReading(0.0, bearing_compass_deg=320.2), SwingReading(90.0, bearing_compass_deg=313.6)]
    >>> found = deviations_of(swing, SwingMethod.KNOWN_BEARING, SwingConditions(-6.0, bearing_true_deg=312.0))
    >>> [round(each.deviation_deg, 1) for each in found.observed]
    [-2.2, 4.4]
    """
    gather([fault for i, each in enumerate(readings) for fault in _lacking(i, each, method, conditions)])
    if method is SwingMethod.GROUND_VECTORS:
        return _by_ground(readings, conditions)
    if method is SwingMethod.UNKNOWN_BEARING:
        return _by_unknown_object(readings, conditions)
    found = [_deviation(each, method, conditions) for each in readings]
    variation = 0.0 if method is SwingMethod.RECIPROCAL else conditions.u_variation_deg
    u_a = math.hypot(variation, conditions.u_reference_deg)
    parallax = conditions.parallax_deg if method is SwingMethod.KNOWN_BEARING else 0.0
    return SwingDeviations(_observed(readings, found), SharedErrors(u_a, parallax / math.sqrt(2.0)))


def _deviation(each: SwingReading, method: SwingMethod, conditions: SwingConditions) -> float:
    reference, bearing = each.reference_deg, each.bearing_compass_deg
    if reference is None:
        reference = conditions.bearing_true_deg
    if method is SwingMethod.TRUSTED_HEADING:
        return deviation_by_comparison(float(reference or 0.0), conditions.variation_deg, each.heading_compass_deg)
    if method is SwingMethod.RECIPROCAL:
        return deviation_by_reciprocal(float(reference or 0.0), float(bearing or 0.0))
    return deviation_by_bearing(float(reference or 0.0), conditions.variation_deg, float(bearing or 0.0))


def _by_unknown_object(readings: Sequence[SwingReading], conditions: SwingConditions) -> SwingDeviations:
    bearings = [float(each.bearing_compass_deg or 0.0) for each in readings]
    mean = circular_mean(bearings).mean_deg
    mean = wrap_360(mean + math.fsum(wrap_180(b - mean) for b in bearings) / len(bearings))
    shared = SharedErrors(U_LOST_A_DEG, conditions.parallax_deg / math.sqrt(2.0))
    return SwingDeviations(_observed(readings, [wrap_180(mean - b) for b in bearings]), shared, mean_bearing_deg=mean)


def _by_ground(readings: Sequence[SwingReading], conditions: SwingConditions) -> SwingDeviations:
    logs = [each.indicated_kn for each in readings if each.indicated_kn is not None]
    ground = ground_headings(
        [float(each.sog_kn or 0.0) for each in readings],
        [float(each.cog_true_deg or 0.0) for each in readings],
        logs if len(logs) == len(readings) else None,
    )
    headings = [each.heading_compass_deg for each in readings]
    found = deviations_from_true_headings(ground.headings_true_deg, headings, conditions.variation_deg)
    shared = SharedErrors(conditions.u_variation_deg, ground.u_bc_deg, float(max(ground.dof, 1)))
    return SwingDeviations(_observed(readings, found), shared, ground)


def _observed(readings: Sequence[SwingReading], deviations: Sequence[float]) -> tuple[Observed, ...]:
    found, faults = [], []
    for i, (each, deviation) in enumerate(zip(readings, deviations, strict=True)):
        if abs(deviation) > MOST_DEVIATION_DEG:
            faults.append(
                ReadingError(
                    f"readings[{i}]",
                    f"a deviation of {deviation:.0f}",
                    f"more than {MOST_DEVIATION_DEG:g} degrees is a slip",
                    "Check that bearing, the variation and its sign; a reciprocal is 180 degrees out.",
                )
            )
        else:
            found.append(Observed(each.heading_compass_deg, deviation, f"reading {i + 1}"))
    gather(faults)
    return tuple(found)


def _lacking(i: int, each: SwingReading, method: SwingMethod, conditions: SwingConditions) -> list[NavigationError]:
    """What one reading lacks for the method."""
    needs: list[tuple[str, object, str]] = []
    if method.sights:
        needs.append(("bearing_compass_deg", each.bearing_compass_deg, "the bearing over the steering compass"))
    if method is SwingMethod.KNOWN_BEARING and conditions.bearing_true_deg is None:
        needs.append(("reference_deg", each.reference_deg, "the true bearing of the mark"))
    if method is SwingMethod.RECIPROCAL:
        needs.append(("reference_deg", each.reference_deg, "the bearing of the boat by the shore compass"))
    if method is SwingMethod.TRUSTED_HEADING:
        needs.append(("reference_deg", each.reference_deg, "the trusted true heading"))
    if method is SwingMethod.SUN:
        needs.append(("reference_deg", each.reference_deg, "the true bearing of the sun at that time"))
        needs.append(("taken_at", each.taken_at, "the time, since the sun's bearing changes"))
    if method is SwingMethod.GROUND_VECTORS:
        needs.append(("sog_kn", each.sog_kn, "the speed over the ground"))
        needs.append(("cog_true_deg", each.cog_true_deg, "the true course over the ground"))
    return [
        ReadingError(f"readings[{i}].{name}", None, f"this way of swinging needs {words}", "Add it, or leave it out.")
        for name, value, words in needs
        if value is None
    ]
