"""Physical constants and definitions, each with its pedigree.

=====================  ==========  ======  ==========================================================
name                   value       unit    where from
=====================  ==========  ======  ==========================================================
METRES_PER_NM          1852        m       exact; International Hydrographic Conference, Monaco, 1929
FOOT_M                 0.3048      m       exact; international yard and pound agreement, 1959
ADMIRALTY_MILE_FT      6080        ft      exact; the older British nautical mile
METRES_PER_FATHOM      1.8288      m       exact; six international feet
SECONDS_PER_HOUR       3600        s       exact; SI brochure, table of non-SI units
SECONDS_PER_DAY        86400       s       exact; SI brochure, table of non-SI units
MINUTES_PER_DEGREE     60          ′       exact; SI brochure, table of non-SI units
WGS84_A_M              6378137     m       exact; NGA.STND.0036, defining parameter
WGS84_INVERSE_F        298.257...  1       exact; NGA.STND.0036, defining parameter 298.257223563
WGS84_F                1/298.2...  1       from the line above
METRES_PER_MINUTE      1852        m       common practice, no source: one minute of latitude in hand work
=====================  ==========  ======  ==========================================================
"""

from __future__ import annotations

from typing import Final

METRES_PER_NM: Final = 1852.0
FOOT_M: Final = 0.3048
ADMIRALTY_MILE_FT: Final = 6080
METRES_PER_FATHOM: Final = 6 * FOOT_M
SECONDS_PER_HOUR: Final = 3600.0
SECONDS_PER_DAY: Final = 86400.0
MINUTES_PER_DEGREE: Final = 60
WGS84_A_M: Final = 6378137.0
WGS84_INVERSE_F: Final = 298.257223563
WGS84_F: Final = 1 / WGS84_INVERSE_F
METRES_PER_MINUTE: Final = METRES_PER_NM
