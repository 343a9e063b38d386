"""What each coefficient means on a yacht, and what a licensed compass adjuster would look at.

The names and cures are those of the handbooks of compass adjustment ([HoMCA]_, from memory). The causes on a yacht are
common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from truemile.core.deviation_curve import LETTERS, ApproximateCurve, HarmonicCurve
from truemile.core.deviation_remarks import east_west
from truemile.core.uncertainty import coverage_factor

#: Said with everything about cures, in the place where it is read.
CAUTION: Final = "Magnets and correctors are for a licensed compass adjuster; swing again after any change."


@dataclass(frozen=True, slots=True)
class CoefficientWords:
    """One coefficient in words.

    Attributes
    ----------
    letter
        A to E.
    value_deg, expanded_deg
        As an angle, with its 95 % uncertainty; None if not known.
    shows
        True where it is larger than its uncertainty.
    name
        As the handbooks have it.
    greatest_on
        Headings where it does most.
    effect
        What this value does.
    causes
        What makes it on a yacht.
    adjuster
        What an adjuster would look at.
    """

    letter: str
    value_deg: float
    expanded_deg: float | None
    shows: bool
    name: str
    greatest_on: str
    effect: str
    causes: str
    adjuster: str


_NAMES: Final = {
    "A": ("constant deviation", "all headings alike"),
    "B": ("semicircular deviation, fore and aft", "east and west"),
    "C": ("semicircular deviation, athwartships", "north and south"),
    "D": ("quadrantal deviation", "NE, SE, SW and NW"),
    "E": ("quadrantal deviation of unsymmetrical iron", "north, east, south and west"),
}
_CAUSES: Final = {
    "A": "A lubber line that is not in line with the keel, a wrong variation or bearing in the swing, a bent pivot;"
    " only seldom iron, placed without symmetry.",
    "B": "Magnetism that lasts, ahead of or behind the compass: the engine, an iron keel, a loudspeaker or an"
    " instrument on the bulkhead, a tool in a locker. In a steel hull also what the earth induces in upright iron,"
    " which changes with latitude.",
    "C": "Magnetism that lasts, to one side of the compass: a loudspeaker, a radio, a stove, a single wire with"
    " current; a steel hull that was built lying east or west.",
    "D": "Soft iron that lies evenly about the compass: engine block, keel, the deck beams of a steel hull.",
    "E": "Soft iron askew to the keel line: a tank, an engine or a steel pedestal to one side.",
}
_ADJUSTER: Final = {
    "A": "First the reference: variation, bearing, lubber line. Then the compass is turned on its base.",
    "B": "What iron can be moved away; then magnets laid fore and aft, and with much change of latitude a vertical bar"
    " of soft iron.",
    "C": "What can be moved or twisted together with its return wire; then magnets laid athwartships.",
    "D": "Soft iron on either side of the compass; on a yacht more often another place for the compass.",
    "E": "Seldom worth a cure on a yacht; a larger one asks for another place for the compass.",
}


def words_on_coefficients(curve: HarmonicCurve) -> tuple[CoefficientWords, ...]:
    """Return what the five coefficients of a curve mean.

    Examples
    --------
    >>> from truemile.core.deviation_curve import Coefficients
    >>> words = words_on_coefficients(ApproximateCurve(Coefficients(0.0, 4.0, -2.5, 0.0, 0.0)))
    >>> words[1].effect
    'Adds 4.0° E on east and 4.0° W on west.'
    >>> words[2].effect
    'Adds 2.5° W on north and 2.5° E on south.'
    """
    angles = curve.in_degrees
    per_unit = [
        1.0 if isinstance(curve, ApproximateCurve) else math.degrees(1.0) / math.sqrt(1.0 - c * c)
        for c in curve.coefficients
    ]
    u = curve.u_coefficients
    k = coverage_factor(curve.dof)
    found = []
    for i, letter in enumerate(LETTERS):
        around = None if u is None else k * u[i] * per_unit[i]
        shows = abs(angles[i]) > (0.0 if around is None else around)
        name, greatest = _NAMES[letter]
        effect = _effect(letter, angles[i])
        found.append(
            CoefficientWords(
                letter, angles[i], around, shows, name, greatest, effect, _CAUSES[letter], _ADJUSTER[letter]
            )
        )
    return tuple(found)


def _effect(letter: str, value: float) -> str:
    """What the value adds, where."""
    if east_west(value).endswith("°"):
        return "Adds nothing to speak of."
    one, other = east_west(value), east_west(-value)
    if letter == "A":
        return f"Adds {one} on every heading."
    places = {
        "B": ("east", "west"),
        "C": ("north", "south"),
        "D": ("NE and SW", "SE and NW"),
        "E": ("north and south", "east and west"),
    }[letter]
    return f"Adds {one} on {places[0]} and {other} on {places[1]}."
