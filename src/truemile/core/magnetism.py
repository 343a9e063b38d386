"""Variation for a place and a date from the World Magnetic Model, with its uncertainty.

The model of today comes with `wmm-calculator`, kept by the producers of the model; those of 2010 to 2024, for older
logs, come with `pygeomag`. East is positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import cache
from typing import Any, Final, NamedTuple, NoReturn

from truemile.core.angles import wrap_180
from truemile.core.errors import ReadingError
from truemile.core.position import Position

#: Below this horizontal field a compass needs caution, in nT [WMM2025]_.
CAUTION_NT: Final = 6000.0
#: Below this one it cannot be relied on at all [WMM2025]_.
BLACKOUT_NT: Final = 2000.0
#: How long before its last day a model's end is spoken of.
_NEAR_THE_END: Final = timedelta(days=183)
#: From a standard uncertainty to one of 95 %, for a normal spread.
COVERAGE_FACTOR: Final = 1.96
#: The models are undefined at the very poles; so near one, in degrees, they are asked some metres away.
_POLE: Final = 90.0 - 2e-4
#: What no model and no rose knows; to be shown where variation is.
ANOMALY_CAUTION: Final = (
    "Neither model nor rose knows local iron: heed the notes of magnetic anomalies on an official, corrected chart."
)


class Zone(StrEnum):
    """How far the earth's field holds a compass at a place."""

    CLEAR = "clear"
    CAUTION = "caution"
    BLACKOUT = "blackout"

    @property
    def words(self) -> str:
        """What it means for the compass, empty where there is nothing to say."""
        return _ZONE_WORDS[self]


_ZONE_WORDS: Final = {
    Zone.CLEAR: "",
    Zone.CAUTION: "Near a magnetic pole the field holds a compass weakly: expect it slow and several degrees out.",
    Zone.BLACKOUT: "So near a magnetic pole a compass cannot be relied on. Steer by other means.",
}


@dataclass(frozen=True, slots=True)
class MagneticModel:
    """One issue of the World Magnetic Model.

    Attributes
    ----------
    name
        Such as WMM2025.
    first, last
        The days it is used for here, both included.
    u_floor_deg, u_field
        Standard uncertainty of variation: √(u_floor_deg² + (u_field / H)²), H in nT.
    borrowed_from
        The model that this uncertainty was published with, if not with this one.
    """

    name: str
    first: date
    last: date
    u_floor_deg: float
    u_field: float
    borrowed_from: str = ""

    def u_deg(self, horizontal_nt: float) -> float:
        """Standard uncertainty of variation in a horizontal field of this strength, half a turn at most.

        Examples
        --------
        >>> round(MODELS[-1].u_deg(20_000.0), 3)
        0.375
        """
        if horizontal_nt <= 0.0:
            return 180.0
        return min(math.hypot(self.u_floor_deg, self.u_field / horizontal_nt), 180.0)


#: The issues known here, oldest first. A new issue is valid from the day it came out, so WMM2025 begins in 2024.
#: The uncertainties of 2015 to 2025 are those published with each model; none was found for 2010.
MODELS: Final = (
    MagneticModel("WMM2010", date(2010, 1, 1), date(2014, 12, 31), 0.23, 5430.0, borrowed_from="WMM2015"),
    MagneticModel("WMM2015v2", date(2015, 1, 1), date(2019, 12, 31), 0.23, 5430.0),
    MagneticModel("WMM2020", date(2020, 1, 1), date(2024, 11, 12), 0.26, 5625.0),
    MagneticModel("WMM2025", date(2024, 11, 13), date(2029, 12, 31), 0.26, 5417.0),
)


class Field(NamedTuple):
    """What a model says at a place and time: variation, its change in a year, and the horizontal field."""

    variation_deg: float
    annual_change_deg: float
    horizontal_nt: float


@dataclass(frozen=True, slots=True)
class Variation:
    """Variation from the model, with what is not known about it.

    Attributes
    ----------
    position, on
        Where and when.
    model
        The issue that was used.
    variation_deg, annual_change_deg
        East positive; the change is that of one year.
    horizontal_nt
        Strength of the horizontal field, which holds the compass.
    u_deg
        Standard uncertainty: the model's own error and the rocks it does not know. Iron ashore or on the sea bed
        can do more.
    """

    position: Position
    on: date
    model: MagneticModel
    variation_deg: float
    annual_change_deg: float
    horizontal_nt: float
    u_deg: float

    @property
    def expanded_deg(self) -> float:
        """The 95 % uncertainty."""
        return COVERAGE_FACTOR * self.u_deg

    @property
    def zone(self) -> Zone:
        """How far the field holds a compass here."""
        if self.horizontal_nt < BLACKOUT_NT:
            return Zone.BLACKOUT
        return Zone.CAUTION if self.horizontal_nt < CAUTION_NT else Zone.CLEAR

    @property
    def words(self) -> str:
        """Variation in a sentence."""
        return (
            f"{east_west(self.variation_deg, 1)} ± {self.expanded_deg:.1f}°, {yearly(self.annual_change_deg)},"
            f" {self.model.name}"
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What to bear in mind with it, a sentence each."""
        said = [self.zone.words] if self.zone.words else []
        if self.model.borrowed_from:
            said.append(f"No uncertainty was found for {self.model.name}: the ± is that of {self.model.borrowed_from}.")
        if self.model is MODELS[-1] and self.model.last - self.on <= _NEAR_THE_END:
            said.append(
                f"{self.model.name} ends on {day_text(self.model.last)}: bring the program up to date before then."
            )
        return tuple(said)


def variation(position: Position, on: date) -> Variation:
    """Work out variation at sea level from the model that holds on a date.

    Raises
    ------
    ReadingError
        If no model known here holds on that date.

    Notes
    -----
    World Magnetic Model to degree 12 [WMM2025]_. Its standard uncertainty √(0.26² + (5417 / H)²), H the horizontal
    field in nT, is worked out here.

    Examples
    --------
    >>> found = variation(Position(50.0, -5.0), date(2026, 6, 1))
    >>> found.words
    '0.3° W ± 0.7°, 0.18° E a year, WMM2025'
    """
    model = model_for(on)
    field = field_at(model, position.latitude_deg, position.longitude_deg, decimal_year(on))
    return Variation(position, on, model, *field, model.u_deg(field.horizontal_nt))


def model_for(on: date) -> MagneticModel:
    """Return the model that holds on a date.

    Raises
    ------
    ReadingError
        If none does.

    Examples
    --------
    >>> model_for(date(2019, 7, 1)).name
    'WMM2015v2'
    """
    holding = [model for model in MODELS if model.first <= on <= model.last]
    return holding[0] if holding else _refuse_date(on)


def decimal_year(on: date) -> float:
    """Give a date as a year with decimals, as the models count it: the start of the day.

    Examples
    --------
    >>> decimal_year(date(2026, 1, 1)), round(decimal_year(date(2026, 7, 2)), 4)
    (2026.0, 2026.4986)
    """
    start = date(on.year, 1, 1)
    return on.year + (on - start).days / (date(on.year, 12, 31) - start + timedelta(days=1)).days


def field_at(
    model: MagneticModel, latitude_deg: float, longitude_deg: float, year: float, height_km: float = 0.0
) -> Field:
    """Work out the field of one model at a place, height above the ellipsoid and decimal year.

    Notes
    -----
    The ranges are trusted: they are those of `Position` and of the model.
    """
    latitude_deg = max(-_POLE, min(_POLE, latitude_deg))
    if model is MODELS[-1]:
        return _newest(latitude_deg, longitude_deg, year, height_km)
    return _older(model.name, latitude_deg, longitude_deg, year, height_km)


def _newest(latitude_deg: float, longitude_deg: float, year: float, height_km: float) -> Field:
    # Its object keeps state between calls and cannot be shared, so each call has one of its own. Its statement of
    # uncertainty is not used: it divides the wrong constant by the field.
    calculator = _calculator()()
    calculator.setup_time(dyear=year)
    calculator.setup_env(latitude_deg, longitude_deg, height_km)
    north, east, _ = (float(each[0]) for each in calculator.forward_base())
    north_rate, east_rate, _ = (float(each[0]) for each in calculator.forward_sv())
    horizontal = math.hypot(north, east)
    rate = math.degrees((north * east_rate - east * north_rate) / horizontal**2)
    return Field(math.degrees(math.atan2(east, north)), rate, horizontal)


@cache
def _calculator() -> Any:  # noqa: ANN401  a class of a package without type information
    from wmm import wmm_calc

    class Quiet(wmm_calc):  # type: ignore[misc]  # the package carries no type information
        """The calculator without its warnings: the zones are told from the field by `Variation.zone`."""

        def check_blackout_zone(self, *_: object) -> None:
            """Say nothing."""

    return Quiet


def _older(name: str, latitude_deg: float, longitude_deg: float, year: float, height_km: float) -> Field:
    from importlib import import_module

    from pygeomag import GeoMag

    year_of_issue = name.removeprefix("WMM")
    coefficients = getattr(import_module(f"pygeomag.wmm.wmm_{year_of_issue}"), f"WMM_{year_of_issue}")
    model = GeoMag(coefficients_data=coefficients)

    def at(moment: float) -> Any:  # noqa: ANN401  a result of a package without type information
        return model.calculate(latitude_deg, longitude_deg, height_km, moment, allow_date_outside_lifespan=True)

    here, step = at(year), 0.05
    rate = wrap_180(float(at(year + step).d) - float(at(year - step).d)) / (2.0 * step)
    return Field(wrap_180(float(here.d)), rate, float(here.h))


def _refuse_date(on: date) -> NoReturn:
    first, last = MODELS[0].first, MODELS[-1].last
    remedy = (
        "Take variation from the rose of a chart of that time, with its annual change."
        if on < first
        else "Bring the program up to date, or take variation from the rose of a newer chart."
    )
    allowed = f"the magnetic models here run from {day_text(first)} to {day_text(last)}"
    raise ReadingError("on", on.isoformat(), allowed, remedy)


def day_text(on: date) -> str:
    """Write a date in words.

    Examples
    --------
    >>> day_text(date(2029, 12, 3))
    '3 December 2029'
    """
    return f"{on.day} {on:%B %Y}"


def east_west(angle_deg: float, decimals: int) -> str:
    """Write variation, deviation or error with its name, east for plus.

    Examples
    --------
    >>> east_west(-3.25, 2), east_west(0.04, 1)
    ('3.25° W', '0.0°')
    """
    shown = f"{abs(angle_deg):.{decimals}f}"
    letter = "" if float(shown) == 0 else " E" if angle_deg > 0 else " W"
    return f"{shown}°{letter}"


def yearly(annual_change_deg: float) -> str:
    """Write an annual change in words.

    Examples
    --------
    >>> yearly(0.18), yearly(0.001)
    ('0.18° E a year', 'no change to speak of')
    """
    shown = east_west(annual_change_deg, 2)
    return "no change to speak of" if shown == "0.00°" else f"{shown} a year"
