"""A recording on one time base, and what it gives and lacks in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from truemile.recordings.gathering import STEP_S, Gathering, Means, SourceUse
from truemile.recordings.quantities import (
    COG,
    HEADING_COMPASS,
    HEADING_MAGNETIC,
    HEADING_TRUE,
    LAT,
    LON,
    SOG,
    STW,
    VARIATION,
    Quantity,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from truemile.recordings.counts import LineCounts

    FloatArray = NDArray[np.float64]

#: What the headings of a recording are counted from.
HeadingReference = Literal["true", "magnetic", "compass"]
#: Ways to write a recorded file.
FileKind = Literal["NMEA 0183", "CSV"]

_HEADINGS: tuple[tuple[Quantity, HeadingReference], ...] = (
    (HEADING_TRUE, "true"),
    (HEADING_MAGNETIC, "magnetic"),
    (HEADING_COMPASS, "compass"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """Instrument readings in means of one second; a value that is missing is nan.

    Parameters
    ----------
    name
        Name of the file, for display only.
    kind
        How the file was written.
    started_at
        UTC instant of the first row, or None if the file gives no date.
    t_s
        Seconds from the first row, rising.
    lat, lon
        Position, WGS84 degrees, north and east positive.
    sog_kn, cog_true_deg
        Speed and course over the ground.
    stw_kn
        Speed through the water as the log indicated it.
    heading_deg, heading_reference
        Heading, and whether it is true, magnetic or by compass; None if there is none.
    variation_deg
        Variation, east positive.
    counts
        What became of every line.
    sources
        Which sentence or column gave which quantity, and which were left aside.
    left_aside
        Columns that were not understood, with the reason.
    """

    name: str
    kind: FileKind
    started_at: datetime | None
    t_s: FloatArray
    lat: FloatArray
    lon: FloatArray
    sog_kn: FloatArray
    cog_true_deg: FloatArray
    stw_kn: FloatArray
    heading_deg: FloatArray
    heading_reference: HeadingReference | None
    variation_deg: FloatArray
    counts: LineCounts
    sources: tuple[SourceUse, ...]
    left_aside: tuple[str, ...] = ()

    @property
    def duration_s(self) -> float:
        """Seconds from the first row to the last."""
        return float(self.t_s[-1]) if self.t_s.size else 0.0

    @property
    def has_position(self) -> bool:
        """Whether there is a position anywhere."""
        return _any(self.lat)

    @property
    def has_ground(self) -> bool:
        """Whether speed and course over the ground are both there."""
        return _any(self.sog_kn) and _any(self.cog_true_deg)

    @property
    def has_water(self) -> bool:
        """Whether there is a speed through the water."""
        return _any(self.stw_kn)

    @property
    def has_heading(self) -> bool:
        """Whether there is a heading."""
        return self.heading_reference is not None

    @property
    def what_it_gives(self) -> tuple[str, ...]:
        """What can be read from it, in plain words."""
        found = [words for words, there in self._stock() if there]
        return tuple(found) if found else ("nothing that a log or compass can be checked with",)

    @property
    def what_it_lacks(self) -> tuple[str, ...]:
        """What is missing, and what that makes impossible, in plain words."""
        lacks = [f"no {words}" for words, there in self._stock() if not there]
        if not self.t_s.size:
            lacks.append("no clock: nothing in it can be placed in time")
        elif self.started_at is None:
            lacks.append("no date: times of day only")
        if not self.has_water:
            lacks.append("so the log cannot be checked")
        elif not (self.has_position or self.has_ground):
            lacks.append("so there is no velocity over the ground to check the log against")
        elif not self.has_heading:
            lacks.append("so the stream cannot be told from an error of the log")
        return tuple(lacks)

    def _stock(self) -> tuple[tuple[str, bool], ...]:
        reference = "" if self.heading_reference in {None, "compass"} else f"{self.heading_reference} "
        heading = f"{reference}heading" if self.heading_reference != "compass" else "heading by compass"
        return (
            ("speed through the water", self.has_water),
            (heading, self.has_heading),
            ("position", self.has_position),
            ("speed over the ground", _any(self.sog_kn)),
            ("course over the ground", _any(self.cog_true_deg)),
            ("variation", _any(self.variation_deg)),
        )


def assemble(
    name: str,
    kind: FileKind,
    gathering: Gathering,
    counts: LineCounts,
    *,
    instant: Callable[[float], datetime | None],
    left_aside: tuple[str, ...] = (),
) -> Recording:
    """Put the chosen series on one time base.

    Parameters
    ----------
    instant
        Turns the seconds of the series into an instant, or None if there is no date.
    """
    import numpy as np

    means = {quantity: series.means() for quantity, series in gathering.chosen().items()}
    heading, reference = _heading(means)
    seconds = np.unique(np.concatenate([np.zeros(0, np.int64), *(series.seconds for series in means.values())]))
    times = _times(seconds, means)

    def column(quantity: str, *, circle: bool = False) -> FloatArray:
        values = np.full(seconds.size, np.nan)
        if quantity in means:
            values[np.searchsorted(seconds, means[quantity].seconds)] = means[quantity].values
        return values % 360.0 if circle else values

    start = float(times[0]) if times.size else 0.0
    return Recording(
        name,
        kind,
        started_at=instant(start) if times.size else None,
        t_s=times - start,
        lat=column(LAT.name),
        lon=column(LON.name),
        sog_kn=column(SOG.name),
        cog_true_deg=column(COG.name, circle=True),
        stw_kn=column(STW.name),
        heading_deg=column(heading, circle=True),
        heading_reference=reference,
        variation_deg=column(VARIATION.name),
        counts=counts,
        sources=gathering.uses(),
        left_aside=left_aside,
    )


def _heading(means: dict[str, Means]) -> tuple[str, HeadingReference | None]:
    """Choose the heading that needs least correcting, among those that run through."""
    longest = max((means[q.name].seconds.size for q, _ in _HEADINGS if q.name in means), default=0)
    for quantity, reference in _HEADINGS:
        if quantity.name in means and 2 * means[quantity.name].seconds.size >= longest:
            return quantity.name, reference
    return "", None


def _times(seconds: NDArray[np.int64], means: dict[str, Means]) -> FloatArray:
    """Give each row the mean time of its positions, or the middle of its second where it has none."""
    import numpy as np

    offset = np.full(seconds.size, STEP_S / 2)
    if LAT.name in means:
        offset[np.searchsorted(seconds, means[LAT.name].seconds)] = means[LAT.name].offset_s
    return np.asarray(seconds * STEP_S + offset, dtype=np.float64)


def _any(values: FloatArray) -> bool:
    import numpy as np

    return bool(np.isfinite(values).any())
