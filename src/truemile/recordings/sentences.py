"""What the sentences of NMEA 0183 say, decoded by pynmeagps and judged here.

The meaning of the fields is that of IEC 61162-1 as the library names them (from memory beyond that).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, time
from functools import lru_cache
from math import hypot
from typing import Any, Final

from pynmeagps import NMEAMessage, NMEAReader
from pynmeagps.exceptions import NMEAParseError, NMEATypeError
from pynmeagps.nmeatypes_core import NMEA_MSGIDS

from truemile.core.constants import METRES_PER_NM
from truemile.recordings.counts import LineKind
from truemile.recordings.quantities import (
    COG,
    HEADING_MAGNETIC,
    HEADING_TRUE,
    LAT,
    LON,
    SOG,
    STW,
    VARIATION,
    Quantity,
)

#: Modes in which a receiver gives no measurement: none, estimated, by hand, simulated.
_NO_MEASUREMENT: Final = frozenset("NEMS")
#: Fix quality of GGA: 1 to 5 are measured, 0 is none, 6 to 8 are estimated, by hand, simulated.
_MEASURED_QUALITY: Final = frozenset({1, 2, 3, 4, 5, 9})
_ADDRESS = re.compile(rb"[A-Z0-9]{2}[A-Z]{3}")
_TEXT = re.compile(rb"[\x20-\x7e]*")
#: Speeds are sent in tenths, so the two units may differ by the rounding of both.
_UNITS_AGREE_KN: Final = 0.1
_UNITS_AGREE: Final = 0.02


@dataclass(slots=True)
class Decoded:
    """What one sentence gives.

    Parameters
    ----------
    kind
        What became of it, a time not considered.
    source
        Talker and formatter, ``GPRMC`` say.
    values
        Quantities with their values.
    of_day, day
        UTC time of day and date, if it has them.
    """

    kind: LineKind
    source: str = ""
    values: list[tuple[Quantity, float]] = field(default_factory=list)
    of_day: time | None = None
    day: date | None = None
    wrong: bool = False

    def take(self, quantity: Quantity, value: float | None) -> None:
        """Keep a value if there is one and it can be right."""
        if value is None:
            return
        if quantity.possible(value):
            self.values.append((quantity, value))
        else:
            self.wrong = True


@lru_cache(maxsize=16_384)
def decode(body: bytes) -> Decoded:
    """Say what a sentence holds; its checksum was right. Many come again and again, so the answers are kept.

    Examples
    --------
    >>> decode(b"SDVHW,231.3,T,229.9,M,6.6,N,12.3,K").values[-1][1]
    6.6
    """
    address = body.split(b",", 1)[0]
    if address[:1] == b"P":
        return Decoded(LineKind.PROPRIETARY)
    name = address[-3:].decode("ascii", "replace")
    if not _ADDRESS.fullmatch(address) or name not in NMEA_MSGIDS:
        return Decoded(LineKind.UNKNOWN)
    reader = _READERS.get(name)
    if reader is None:
        return Decoded(LineKind.NOT_NEEDED)
    if not _TEXT.fullmatch(body) or b"_" in body:
        return Decoded(LineKind.WRONG_VALUE)
    try:
        message = NMEAReader.parse(b"$" + body + b"*00", validate=0)
    except (NMEAParseError, NMEATypeError):
        return Decoded(LineKind.WRONG_VALUE)
    return _judged(message, address.decode("ascii"), reader)


def _judged(message: NMEAMessage, source: str, reader: Callable[[NMEAMessage, Decoded], bool]) -> Decoded:
    told = Decoded(LineKind.USED, source)
    valid = reader(message, told)
    if not valid:
        told.values.clear()
        told.kind = LineKind.VOID
    elif told.wrong:
        told.kind = LineKind.WRONG_VALUE
    elif not told.values and told.of_day is None:
        told.kind = LineKind.NO_VALUES
    return told


def _number(message: NMEAMessage, name: str) -> float | None:
    value = _field(message, name)
    return float(value) if isinstance(value, float | int) else None


def _field(message: NMEAMessage, name: str) -> Any:  # noqa: ANN401  the library gives text, numbers, dates
    return getattr(message, name, "")


def _signed(message: NMEAMessage, name: str, side: str, told: Decoded) -> float | None:
    """Give an angle that is counted east or west, east positive."""
    value = _number(message, name)
    if value is None:
        return None
    sense = {"E": 1.0, "W": -1.0}.get(_field(message, side))
    if sense is None:
        told.wrong = True
        return None
    return sense * value


def _take_time(message: NMEAMessage, told: Decoded, at: int) -> None:
    """Take the time of day, which is the field of that number."""
    of_day = _field(message, "time")
    if isinstance(of_day, time):
        told.of_day = of_day
    elif _sent(message, at):
        told.wrong = True


def _sent(message: NMEAMessage, at: int) -> str:
    """Give a field as it was sent, empty if the sentence is shorter."""
    return str(message.payload[at]) if at < len(message.payload) else ""


def _take_position(message: NMEAMessage, told: Decoded, at: int) -> None:
    """Take latitude and longitude, which begin at the field of that number; both or neither."""
    texts = _sent(message, at), _sent(message, at + 2)
    if not any(texts):
        return
    lat, lon = _number(message, "lat"), _number(message, "lon")
    sides = _field(message, "NS") in {"N", "S"} and _field(message, "EW") in {"E", "W"}
    if lat is None or lon is None or not sides or not all(_minutes_below_60(text) for text in texts):
        told.wrong = True
    elif LAT.possible(lat) and LON.possible(lon):
        told.values += [(LAT, lat), (LON, lon)]
    else:
        told.wrong = True


def _minutes_below_60(text: str) -> bool:
    whole = text.split(".", 1)[0]
    return whole.isdigit() and len(whole) >= 3 and int(whole[-2:]) < 60


def _measured(message: NMEAMessage) -> bool:
    return _field(message, "posMode") not in _NO_MEASUREMENT


def _rmc(message: NMEAMessage, told: Decoded) -> bool:
    _take_time(message, told, 0)
    day = _field(message, "date")
    if isinstance(day, date):
        told.day = day
    elif _sent(message, 8):
        told.wrong = True
    _take_position(message, told, 2)
    told.take(SOG, _number(message, "spd"))
    told.take(COG, _number(message, "cog"))
    told.take(VARIATION, _signed(message, "mv", "mvEW", told))
    return _field(message, "status") == "A" and _measured(message)


def _gga(message: NMEAMessage, told: Decoded) -> bool:
    _take_time(message, told, 0)
    _take_position(message, told, 1)
    return _field(message, "quality") in _MEASURED_QUALITY


def _gll(message: NMEAMessage, told: Decoded) -> bool:
    _take_position(message, told, 0)
    _take_time(message, told, 4)
    return _field(message, "status") in {"A", ""} and _measured(message)


def _zda(message: NMEAMessage, told: Decoded) -> bool:
    _take_time(message, told, 0)
    year, month, day = (_field(message, name) for name in ("year", "month", "day"))
    if not (isinstance(year, int) and isinstance(month, int) and isinstance(day, int)):
        return True
    try:
        told.day = date(year, month, day)
    except ValueError:
        told.wrong = True
    return True


def _vtg(message: NMEAMessage, told: Decoded) -> bool:
    if len(message.payload) == 4:  # an older form without the letters: true, magnetic, knots, km/h
        told.take(COG, _number(message, "cogt"))
        told.take(SOG, _plain_number(_sent(message, 2)))
        return True
    told.take(COG, _number(message, "cogt"))
    _take_speed(message, told, SOG, ("sogn", "sogk"))
    return _measured(message)


def _plain_number(text: str) -> float | None:
    return float(text) if re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,6})?", text) else None


def _vhw(message: NMEAMessage, told: Decoded) -> bool:
    told.take(HEADING_TRUE, _number(message, "hdgT"))
    told.take(HEADING_MAGNETIC, _number(message, "hdgM"))
    _take_speed(message, told, STW, ("spdN", "spdK"))
    return True


def _take_speed(message: NMEAMessage, told: Decoded, quantity: Quantity, names: tuple[str, str]) -> None:
    """Take a speed that is sent in knots and in km/h; if the two disagree, neither can be trusted."""
    knots, kmh = (_number(message, name) for name in names)
    from_kmh = None if kmh is None else kmh * 1000 / METRES_PER_NM
    if knots is None or from_kmh is None:
        told.take(quantity, knots if from_kmh is None else from_kmh)
    elif abs(knots - from_kmh) <= _UNITS_AGREE_KN + _UNITS_AGREE * abs(knots):
        told.take(quantity, knots)
    else:
        told.wrong = True


def _hdt(message: NMEAMessage, told: Decoded) -> bool:
    told.take(HEADING_TRUE, _number(message, "headingT"))
    return True


def _hdm(message: NMEAMessage, told: Decoded) -> bool:
    told.take(HEADING_MAGNETIC, _number(message, "headingM"))
    return True


def _hdg(message: NMEAMessage, told: Decoded) -> bool:
    heading = _number(message, "headingM")
    told.take(VARIATION, _signed(message, "variation", "variationEW", told))
    deviation = _signed(message, "deviation", "deviationEW", told)
    if heading is not None and HEADING_MAGNETIC.possible(heading):
        told.take(HEADING_MAGNETIC, (heading + (deviation or 0.0)) % 360.0)
    elif heading is not None:
        told.wrong = True
    return True


def _vbw(message: NMEAMessage, told: Decoded) -> bool:
    if _field(message, "waterspdstatus") == "A":
        told.take(STW, _number(message, "longwaterspd"))
    along, across = _number(message, "longgroundspd"), _number(message, "transgroundspd")
    if _field(message, "groundspdstatus") == "A" and along is not None:
        told.take(SOG, hypot(along, across or 0.0))
    return True


_READERS: Final[dict[str, Callable[[NMEAMessage, Decoded], bool]]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GLL": _gll,
    "ZDA": _zda,
    "VTG": _vtg,
    "VHW": _vhw,
    "HDT": _hdt,
    "HDM": _hdm,
    "HDG": _hdg,
    "VBW": _vbw,
}
