"""The quantities that are read, with the span in which a value can be right."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of a recording.

    Parameters
    ----------
    name
        Name of its column, the unit last.
    words
        What it is called on a page.
    least, most
        Outside of these a value cannot be right.
    circular
        True if it is an angle that is averaged as a direction.
    """

    name: str
    words: str
    least: float
    most: float
    circular: bool = False

    def possible(self, value: float) -> bool:
        """Say whether the value can be right."""
        return math.isfinite(value) and self.least <= value <= self.most


LAT: Final = Quantity("lat_deg", "latitude", -90, 90)
LON: Final = Quantity("lon_deg", "longitude", -180, 180, circular=True)
SOG: Final = Quantity("sog_kn", "speed over the ground", 0, 80)
COG: Final = Quantity("cog_true_deg", "course over the ground", 0, 360, circular=True)
#: A log may count astern; 80 kn is beyond any yacht and far below the 655.35 that stands for "no reading".
STW: Final = Quantity("stw_kn", "speed through the water", -20, 80)
HEADING_TRUE: Final = Quantity("heading_true_deg", "true heading", 0, 360, circular=True)
HEADING_MAGNETIC: Final = Quantity("heading_magnetic_deg", "magnetic heading", 0, 360, circular=True)
HEADING_COMPASS: Final = Quantity("heading_compass_deg", "compass heading", 0, 360, circular=True)
VARIATION: Final = Quantity("variation_deg", "variation", -180, 180)

QUANTITIES: Final = (LAT, LON, SOG, COG, STW, HEADING_TRUE, HEADING_MAGNETIC, HEADING_COMPASS, VARIATION)
