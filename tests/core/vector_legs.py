"""Legs of vector rounds made from a stated truth, for the tests of several modules."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.reference_cases import case
from truemile.core.ground_vectors import Leg, Tack, VectorConditions

NOON = datetime(2026, 5, 14, 12, 0, tzinfo=UTC)
#: Nothing is judged of tide and deviation, as where the truth has none.
PLAIN = VectorConditions(tide_amplitude_kn=0.0, u_deviation_deg=0.0)


def direction(angle_deg: float) -> complex:
    """North + i east of a unit vector."""
    return cmath.exp(1j * math.radians(angle_deg))


def leg_of(heading_deg: float, indicated_kn: float, ground: complex, *, course: bool = True, **more: Any) -> Leg:
    """One leg from its velocity over the ground."""
    cog = math.degrees(cmath.phase(ground)) % 360.0 if course else None
    return Leg(heading_deg, indicated_kn, abs(ground), cog, **more)


def made_legs(
    headings_deg: Sequence[float],
    indicated_kn: Sequence[float],
    *,
    factor: float = 1.0,
    offset_deg: float = 0.0,
    stream: complex = 0j,
    change_kn_h: complex = 0j,
    minutes: Sequence[float] | None = None,
    leeway_deg: float = 0.0,
    tacks: Sequence[Tack] | None = None,
    course: bool = True,
) -> list[Leg]:
    """Legs without any reading error; the stream is that in the middle of the round."""
    times = list(minutes) if minutes is not None else [0.0] * len(headings_deg)
    middle = (min(times) + max(times)) / 2.0
    tacks = tacks or [Tack.POWER] * len(headings_deg)
    legs = []
    for heading, log, minute, tack in zip(headings_deg, indicated_kn, times, tacks, strict=True):
        way = heading + offset_deg + leeway_deg * tack.leeway_sign
        ground = factor * log * direction(way) + stream + change_kn_h * (minute - middle) / 60.0
        started = None if minutes is None else NOON + timedelta(minutes=minute)
        legs.append(leg_of(heading, log, ground, course=course, tack=tack, started_at=started, duration_s=120.0))
    return legs


def legs_of_case(name: str) -> list[Leg]:
    """The legs of a reference case."""
    given = case(name)["inputs"]
    courses = given.get("cog_deg", [None] * len(given["sog_kn"]))
    rows = zip(given["heading_true_deg"], given["log_kn"], given["sog_kn"], courses, strict=True)
    return [Leg(*row) for row in rows]
