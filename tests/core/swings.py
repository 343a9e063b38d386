"""Swings made up from a known curve, for the tests of swings."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import numpy as np

from tests.core.vector_legs import direction
from tests.reference_cases import allowance
from truemile.core.angles import difference, wrap_360
from truemile.core.deviation_curve import ApproximateCurve, Coefficients
from truemile.core.swing_readings import SwingReading

EIGHT = [45.0 * i for i in range(8)]
TRUTH = ApproximateCurve(Coefficients(0.5, 5.0, -4.0, 1.0, 0.0))
NOON = datetime(2026, 6, 1, 7, 0, tzinfo=UTC)


def over_ground(
    headings: list[float], *, variation: float = -3.0, speeds: list[float] | None = None, stream: complex = 0j
) -> list[SwingReading]:
    """Return readings of a boat with the true curve in a stream, over the ground."""
    found = []
    for i, heading in enumerate(headings):
        true = heading + TRUTH.deviation_deg(heading) + variation
        ground = (5.2 if speeds is None else speeds[i]) * direction(true) + stream
        cog = wrap_360(math.degrees(np.angle(ground)))
        log = None if speeds is None else speeds[i] / 1.1
        found.append(SwingReading(heading, sog_kn=abs(ground), cog_true_deg=cog, indicated_kn=log))
    return found


def near(entry: dict[str, Any], key: str, got: float, wanted: float) -> bool:
    """Say whether a direction agrees with the case's answer, across north as well."""
    return abs(difference(got, wanted)) <= allowance(entry, key, wanted)
