"""Deviation by a table, such as a card that hangs in the boat: joined by straight lines, across north as well."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from truemile.core.angles import difference, wrap_360
from truemile.core.deviation_curve import MOST_DEVIATION_DEG, DeviationCurve
from truemile.core.errors import NotEnoughReadings, ReadingError
from truemile.core.numbers import check_finite, check_range

Array = NDArray[np.float64]

#: A gap in a table wider than this is not bridged by a straight line.
WIDEST_GAP_DEG: Final = 90.0


@dataclass(frozen=True, slots=True)
class DeviationTable(DeviationCurve):
    """Deviations in a table, joined by straight lines, across north as well.

    Parameters
    ----------
    rows
        Compass heading and deviation, in any order; 360 may stand for 0 or beside it.
    u_row_deg
        Standard uncertainty of a deviation from the table; None if not known.

    Raises
    ------
    ReadingError
        If a number cannot be right, or one heading has two deviations.
    NotEnoughReadings
        If there are fewer than two rows.

    Examples
    --------
    >>> table = DeviationTable(((330, -1.6), (345, 4.4), (0, 10.5), (15, 15.6)))
    >>> round(table.deviation_deg(352.5), 3), table.nearest_deg(350.0)
    (7.45, 4.4)
    """

    rows: tuple[tuple[float, float], ...]
    u_row_deg: float | None = None

    def __post_init__(self) -> None:
        """Check the rows and put them in order from north."""
        found: dict[float, float] = {}
        for i, (heading, deviation) in enumerate(self.rows):
            at = wrap_360(check_range(f"rows[{i}].heading_compass_deg", float(heading), 0.0, 360.0, "degrees"))
            value = check_range(
                f"rows[{i}].deviation_deg", float(deviation), -MOST_DEVIATION_DEG, MOST_DEVIATION_DEG, "degrees"
            )
            if found.setdefault(at, value) != value:
                raise ReadingError(
                    f"rows[{i}].deviation_deg",
                    deviation,
                    f"heading {at:03g} has the deviation {found[at]:g} already",
                    "Leave one of the two out; 000 and 360 are one heading.",
                )
        if len(found) < 2:
            raise NotEnoughReadings(
                "rows", len(found), "a table needs two headings at least", "Enter the whole deviation card."
            )
        if self.u_row_deg is not None:
            check_range("u_row_deg", self.u_row_deg, 0.0, MOST_DEVIATION_DEG, "degrees")
        object.__setattr__(self, "rows", tuple(sorted(found.items())))

    def deviations_deg(self, headings_compass_deg: Array) -> Array:
        """Return the deviations by straight lines between the rows.

        Raises
        ------
        NotEnoughReadings
            If the rows on either side of a heading are more than 90° apart.
        """
        place, start, width, rise = self._places(headings_compass_deg)
        return np.asarray(start + rise * place / width)

    def slopes(self, headings_compass_deg: Array) -> Array:
        """Return the slope of the line that each heading lies on."""
        _, _, width, rise = self._places(headings_compass_deg)
        return np.asarray(rise / width)

    @property
    def least_one_plus_slope(self) -> float:
        """Least value of 1 + d' over the lines."""
        at = np.asarray([heading for heading, _ in self.rows])
        return 1.0 + float(self.slopes(at + np.diff(np.append(at, at[0] + 360.0)) / 2.0).min())

    def u_and_dof(self, heading_compass_deg: float) -> tuple[float, float] | None:
        """Return the uncertainty of a row."""
        check_finite("heading_compass_deg", heading_compass_deg)
        return None if self.u_row_deg is None else (self.u_row_deg, math.inf)

    def nearest_deg(self, heading_compass_deg: float) -> float:
        """Return the deviation of the nearest row, without interpolation: the rule of some courses for a 15° table."""
        heading = check_finite("heading_compass_deg", heading_compass_deg)
        return min(self.rows, key=lambda row: abs(difference(row[0], heading)))[1]

    def _places(self, headings_compass_deg: Array) -> tuple[Array, Array, Array, Array]:
        """Degrees past the row before, its deviation, and width and rise of the line from it."""
        at = np.asarray([heading for heading, _ in self.rows])
        values = np.asarray([deviation for _, deviation in self.rows])
        widths = np.diff(np.append(at, at[0] + 360.0))
        rises = np.diff(np.append(values, values[0]))
        headings = np.asarray(wrap_360(np.asarray(headings_compass_deg, dtype=float)))
        row = np.searchsorted(at, headings, side="right") - 1
        place = np.asarray(wrap_360(headings - at[row]))
        wide = np.flatnonzero((widths[row] > WIDEST_GAP_DEG) & (place > 0.0))
        if len(wide):
            i = int(row[wide[0]])
            raise NotEnoughReadings(
                "heading_compass_deg",
                float(headings[wide[0]]),
                f"the table has nothing between {at[i]:03.0f} and {wrap_360(float(at[i] + widths[i])):03.0f}",
                "Enter the rows between; a gap of more than 90 degrees is not bridged.",
            )
        return place, values[row], widths[row], rises[row]
