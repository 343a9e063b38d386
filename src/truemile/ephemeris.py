"""The bundled ephemeris: opened once, and handed to the core, which opens no files."""

from __future__ import annotations

import atexit
from datetime import date
from functools import cache
from pathlib import Path
from typing import Final

from truemile.core.sky import Sky

#: Excerpt of DE421 [DE421]_; its README says how it was cut.
EPHEMERIS: Final = Path(__file__).parent / "data" / "de421-2020-2050.bsp"


@cache
def sky() -> Sky:
    """Return the sky of 2020 to 2050; the first call takes a quarter of a second.

    Notes
    -----
    Nothing is fetched: the ephemeris comes with the program, and the table of the earth's rotation with skyfield.

    Examples
    --------
    >>> sky().first.isoformat(), sky().last.isoformat()
    ('2020-01-03', '2050-12-29')
    """
    from skyfield.api import load, load_file

    kernel = load_file(str(EPHEMERIS))
    atexit.register(kernel.close)
    # Two days are kept at each end for light time, time scales and searches that begin the day before.
    return Sky(load.timescale(builtin=True), kernel, date(2020, 1, 3), date(2050, 12, 29))
