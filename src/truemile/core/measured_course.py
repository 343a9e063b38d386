"""The measured course: a known distance over the ground, from two marks or from the chart."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truemile.core.constants import METRES_PER_NM
from truemile.core.earth import geodesic
from truemile.core.errors import NavigationError, ReadingError, gather
from truemile.core.numbers import check_positive
from truemile.core.position import Position
from truemile.core.uncertainty import from_resolution

#: Standard uncertainty of a floating mark about its charted place, if its watch circle is not stated
#: (judgement, no source: a chain of some 40 m scope lets a buoy lie anywhere within it).
FLOATING_U_M = 20.0
#: A course longer than this is a passage; a slip of the decimal point is the likelier cause.
LONGEST_NM = 20.0
#: A course shorter than this is timed in seconds and measures nothing.
SHORTEST_NM = 0.05


@dataclass(frozen=True, slots=True)
class CourseMark:
    """A mark that ends a measured course.

    Parameters
    ----------
    name
        As on the chart.
    position
        On WGS 84.
    u_m
        Standard uncertainty of each horizontal coordinate of the position, in metres.
    fixed
        False for a buoy, which swings on its chain.
    """

    name: str
    position: Position
    u_m: float
    fixed: bool = True

    def __post_init__(self) -> None:
        """Refuse a precision that cannot be."""
        check_positive("u_m", self.u_m, "m")

    @property
    def u_place_m(self) -> float:
        """Standard uncertainty of the place, with the swing of a floating mark, in metres."""
        return self.u_m if self.fixed else math.hypot(self.u_m, FLOATING_U_M)


@dataclass(frozen=True, slots=True)
class MeasuredCourse:
    """A distance over the ground that is known better than the log.

    Parameters
    ----------
    name
        How the crew call it.
    length_nm
        Length in international nautical miles.
    u_length_nm
        Standard uncertainty of the length.
    course_true_deg
        True course of an outward run, or None where only the distance is known.
    start, end
        The two marks, or None for a distance taken from the chart.
    transits
        True where each end is a pair of marks to be seen in line.
    """

    name: str
    length_nm: float
    u_length_nm: float
    course_true_deg: float | None = None
    start: CourseMark | None = None
    end: CourseMark | None = None
    transits: bool = False

    def __post_init__(self) -> None:
        """Check the length and its uncertainty once, for everybody."""
        faults: list[NavigationError] = []
        if not (math.isfinite(self.length_nm) and SHORTEST_NM <= self.length_nm <= LONGEST_NM):
            faults.append(
                ReadingError(
                    "length_nm",
                    self.length_nm,
                    f"a measured course is between {SHORTEST_NM:g} and {LONGEST_NM:g} nm long",
                    "Check the two positions, or whether metres were typed as miles.",
                )
            )
        if not (math.isfinite(self.u_length_nm) and self.u_length_nm > 0):
            faults.append(
                ReadingError(
                    "u_length_nm",
                    self.u_length_nm,
                    "every length has an uncertainty above 0",
                    "Give how exactly the distance is charted, 0.005 nm for a distance printed to 0.01 nm.",
                )
            )
        elif self.u_length_nm > self.length_nm / 4:
            faults.append(
                ReadingError(
                    "u_length_nm",
                    float(f"{self.u_length_nm:.2g}"),
                    f"the length, {self.length_nm:.3g} nm, must be known to better than a quarter of itself",
                    "Type all digits of the distance (0.60, not 1) or of both positions, or fix the marks better.",
                )
            )
        gather(faults)

    @property
    def what_floats(self) -> str:
        """The floating marks as the beginning of a sentence, "A floats" or "A and B float"; empty if there are none."""
        names = self.floating_marks
        return f"{' and '.join(names)} {'floats' if len(names) == 1 else 'float'}" if names else ""

    @property
    def floating_marks(self) -> tuple[str, ...]:
        """Names of the marks that float."""
        return tuple(mark.name for mark in (self.start, self.end) if mark is not None and not mark.fixed)


def course_between(start: CourseMark, end: CourseMark, *, name: str = "", transits: bool = False) -> MeasuredCourse:
    """Return the measured course between two marks, by the geodesic on WGS 84.

    Parameters
    ----------
    start, end
        The marks; an outward run goes from `start` to `end`.
    name
        How the crew call the course; the two names if empty.
    transits
        True where each end is a pair of marks to be seen in line.

    Raises
    ------
    ReadingError
        If the two marks are one and the same place, or too near or too far for a course.

    Notes
    -----
    The length is uncertain by the two positions along the line, u² = u₁² + u₂².

    Examples
    --------
    >>> a = CourseMark("Gannet Pier", Position(47.2000, -31.0500), u_m=3.0)
    >>> b = CourseMark("Kestle Beacon", Position(47.2059, -31.0320), u_m=3.0)
    >>> course = course_between(a, b)
    >>> round(course.length_nm, 3), round(course.course_true_deg, 1)
    (0.817, 64.3)
    """
    if start.position == end.position:
        raise ReadingError(
            "end",
            end.name,
            f"the course needs two different marks and {start.name} lies at the same position",
            "Choose another mark for the end, or correct one of the positions.",
        )
    line = geodesic(start.position, end.position)
    return MeasuredCourse(
        name=name or f"{start.name} to {end.name}",
        length_nm=line.distance_nm,
        u_length_nm=math.hypot(start.u_place_m, end.u_place_m) / METRES_PER_NM,
        course_true_deg=line.course_true_deg,
        start=start,
        end=end,
        transits=transits,
    )


def charted_course(
    name: str,
    length_nm: float,
    precision_nm: float,
    *,
    course_true_deg: float | None = None,
    transits: bool = False,
) -> MeasuredCourse:
    """Return a measured course whose distance is printed on the chart or in the pilot.

    Parameters
    ----------
    length_nm
        The printed distance. An older British mile is 6080 ft, not 1852 m: convert it first.
    precision_nm
        One unit of the last printed digit: 0.01 for "0.60 nm". The true length lies anywhere within half of it.

    Raises
    ------
    ReadingError
        If the length or its precision cannot be right.

    Notes
    -----
    A rounded value has the standard uncertainty of its last digit divided by √12 [JCGM100]_ F.2.2.1.

    Examples
    --------
    >>> round(charted_course("Harbour mile", 0.60, 0.01).u_length_nm, 5)
    0.00289
    """
    check_positive("precision_nm", precision_nm, "nm")
    return MeasuredCourse(
        name=name,
        length_nm=length_nm,
        u_length_nm=from_resolution(precision_nm),
        course_true_deg=course_true_deg,
        transits=transits,
    )
