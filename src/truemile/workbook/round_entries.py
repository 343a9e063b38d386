"""The forms of a vector round: its conditions, and its legs as they were read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from statistics import fmean
from typing import Final

from truemile.core.angles import circular_mean
from truemile.core.errors import ReadingError
from truemile.core.ground_vectors import Leg, Tack, VectorConditions
from truemile.core.numbers import parse_number
from truemile.core.times import elapsed_between, parse_elapsed
from truemile.workbook.typed import (
    Entry,
    Faults,
    Text,
    identity,
    instant,
    needed,
    plain,
    reraised,
    several_numbers,
    short,
)

#: What the core calls a value, and the box it was typed in.
LEG_COLUMNS: Final = {
    "heading_deg": "heading",
    "indicated_kn": "indicated",
    "sog_kn": "sog",
    "cog_true_deg": "cog",
    "variation_deg": "variation",
    "duration_s": "duration",
}
ROUND_COLUMNS: Final = {
    "speed_resolution_kn": "speed_resolution",
    "sog_resolution_kn": "sog_resolution",
    "cog_resolution_deg": "cog_resolution",
    "heading_resolution_deg": "heading_resolution",
    "unevenness_kn": "unevenness",
    "tide_amplitude_kn": "tide_amplitude",
    "u_deviation_deg": "u_deviation",
    "wind_kn": "wind",
}
#: Conditions that a form holds; how well the unevenness is known stays as usual.
CONDITIONS: Final = tuple(ROUND_COLUMNS)
_POWER: Final = "power"


class RoundEntry(Entry):
    """A vector round: which log, when, and how things were read."""

    instrument: Text = None
    date: Text = None
    speed_resolution: Text = None
    sog_resolution: Text = None
    cog_resolution: Text = None
    heading_resolution: Text = None
    unevenness: Text = None
    tide_amplitude: Text = None
    u_deviation: Text = None
    wind: Text = None
    crew: Text = None
    weather: Text = None
    remarks: Text = None

    def read_conditions(self, usual: VectorConditions | None = None) -> VectorConditions:
        """Return the conditions; what is left empty is taken from the usual ones.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if they cannot be.
        """
        base = usual or VectorConditions()
        faults = Faults()
        values: dict[str, float | None] = {}
        for name, column in ROUND_COLUMNS.items():
            text: str | None = getattr(self, column)
            read = faults.take(
                lambda text=text, column=column: None if text is None else parse_number(text, column),  # type: ignore[misc]
                None,
            )
            values[name] = getattr(base, name) if read is None else read
        faults.done()
        return reraised(lambda: VectorConditions(**values), ROUND_COLUMNS)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class ReadLeg:
    """A leg as understood, with the text as typed in each box."""

    id: str
    leg: Leg
    typed: dict[str, str]

    @property
    def fingerprint(self) -> str:
        """Of the content, so that the same leg is known again and a different one is not taken for it."""
        content = [getattr(self.leg, field.name) for field in fields(Leg)]
        return hashlib.sha256(json.dumps(plain(content)).encode()).hexdigest()


class LegEntry(Entry):
    """One leg; heading, courses and speeds may be read several times, and count with their mean."""

    id: Text = None
    heading: Text = None
    indicated: Text = None
    sog: Text = None
    cog: Text = None
    variation: Text = None
    duration: Text = None
    started_at: Text = None
    ended_at: Text = None
    tack: Text = None

    def read(self, day: date | None = None, utc_offset: timedelta = timedelta(0)) -> ReadLeg:
        """Return the leg.

        Parameters
        ----------
        day
            Date on ship's clock, for clock times.
        utc_offset
            Ship's time minus UTC.

        Raises
        ------
        ReadingError
            Or `ManyFaults`, if it cannot be.
        """
        faults = Faults()
        leg_id = faults.take(lambda: identity(self.id), "")
        heading = faults.take(lambda: _mean_angle(_needed(self.heading, "heading"), "heading"), None)
        indicated = faults.take(lambda: _mean(_needed(self.indicated, "indicated"), "indicated"), None)
        sog = faults.take(lambda: _mean(_needed(self.sog, "sog"), "sog"), None)
        cog = faults.take(lambda: None if self.cog is None else _mean_angle(self.cog, "cog"), None)
        variation = faults.take(
            lambda: 0.0 if self.variation is None else parse_number(self.variation, "variation"), 0.0
        )
        tack = faults.take(lambda: _tack(self.tack), Tack.POWER)
        started_at, duration_s = self._times(faults, day, utc_offset)
        sure = faults.sure(heading), faults.sure(indicated), faults.sure(sog)
        leg = reraised(
            lambda: Leg(*sure, cog, variation_deg=variation, duration_s=duration_s, started_at=started_at, tack=tack),
            LEG_COLUMNS,
        )
        return ReadLeg(leg_id, leg, self.model_dump(exclude_none=True, exclude={"id"}))

    def _times(self, faults: Faults, day: date | None, utc_offset: timedelta) -> tuple[datetime | None, float | None]:
        watch = faults.take(lambda: None if self.duration is None else parse_elapsed(self.duration, "duration"), None)
        begun, stopped = (
            faults.take(
                lambda text=text, field=field: None if text is None else instant(text, field, day, utc_offset),  # type: ignore[misc]
                None,
            )
            for text, field in ((self.started_at, "started_at"), (self.ended_at, "ended_at"))
        )
        if watch is None:
            watch = faults.take(lambda: _between(begun, stopped), None)
        if begun is None and stopped is not None and watch is not None:
            begun = stopped - timedelta(seconds=watch)
        return begun, watch


def _between(begun: datetime | None, stopped: datetime | None) -> float | None:
    return None if begun is None or stopped is None else elapsed_between(begun, stopped, "ended_at")


def _needed(text: str | None, field: str) -> str:
    return short(needed(text, field, "A leg needs heading, log, and speed over the ground."), field)


def _mean(text: str, field: str) -> float:
    return fmean(_numbers(text, field))


def _mean_angle(text: str, field: str) -> float:
    numbers = _numbers(text, field)
    # One reading stays as it is, so that one beyond the circle is refused and not turned round.
    return numbers[0] if len(numbers) == 1 else _named(lambda: circular_mean(numbers).mean_deg, field)


def _named(read: Callable[[], float], field: str) -> float:
    return reraised(read, {"angles_deg": field})


def _numbers(text: str, field: str) -> tuple[float, ...]:
    numbers, _ = several_numbers(text, field)
    if not numbers:
        raise ReadingError(field, text, "it has no number in it", "Write the reading, or several of them.")
    return numbers


def _tack(text: str | None) -> Tack:
    word = (text or _POWER).lower()
    names = {tack.value or _POWER: tack for tack in Tack}
    fits = [tack for name, tack in names.items() if name.startswith(word)]
    # "p" may be port or power.
    if word in names:
        return names[word]
    if len(fits) != 1:
        raise ReadingError(
            "tack", text, f"it is {' or '.join(names)}", "Write the side the wind came from, or power for none."
        )
    return fits[0]
