"""The stated truths of the coverage study: what was measured, in which water, how it was read.

In the main list each part of the truth is drawn as the crew allowed for it: the tide has the amplitude they allowed and
any phase, uneven water scatters by what they judged, known as vaguely as they said, the compass has an unknown
deviation within theirs. In the list of what is warned about the truth goes beyond that on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Course:
    """Runs over a measured course. Stream: a tide of random phase, and a steady part along the course."""

    name: str
    runs: int
    tide_kn: float = 1.0
    fair_first: bool = False  # begun with the stream and while it slackens, as crews like to
    steady_kn: float = 0.0
    across_kn: float = 0.0
    uneven_kn: float = 0.05
    speeds_kn: tuple[float, ...] = (5.5,)  # one for each engine speed
    add_kn: float = 0.0  # the log is true to a straight line that misses the origin by this
    speed_drift_kn: float = 0.1  # sd of the boat's speed from run to run
    length_nm: float = 1.0
    precision_nm: float = 0.01
    readings: int = 10
    reading_sd_kn: float = 0.1  # scatter of a reading before it is rounded
    speed_digit_kn: float = 0.1
    counter_digit_nm: float = 0.01
    counter: bool = False
    counter_zeroed: bool = False
    track_held: bool = False
    compass_noted: bool = True
    deviation_deg: float = 1.9  # sd of the error of the crab angle that runs both ways share
    compass_sd_deg: float = 1.0  # sd of a course as noted
    start_times: bool = True
    order: str = ""  # O and B for out and back; by turns if empty
    note: str = ""


@dataclass(frozen=True, slots=True)
class Round:
    """Legs of a vector round, two minutes each. Stream: a tide of random phase and direction, and a steady part."""

    name: str
    headings_deg: tuple[float, ...]
    tide_kn: float = 1.0
    steady_kn: float = 0.5
    uneven_kn: float = 0.08
    speed_kn: float = 5.5
    speed_drift_kn: float = 0.15
    deviation_deg: float = 1.0  # sd of each of the coefficients B and C
    offset_deg: float = 3.0  # sd of the heading offset
    digit_kn: float = 0.1
    course_digit_deg: float = 1.0
    heading_digit_deg: float = 1.0
    courses_noted: bool = True
    start_times: bool = True
    leg_s: float = 120.0
    turn_s: float = 60.0
    note: str = ""


Scenario = Course | Round

_TRACK = Course("track held, stream across, compass noted", 4, across_kn=1.0, track_held=True)
_ROUND4 = Round("four legs, 90° apart", (30.0, 210.0, 120.0, 300.0))

COURSES: tuple[Course, ...] = (
    *(Course("tide along the course, display", n) for n in (2, 3, 4, 6)),
    *(Course("begun with a fair, slackening stream", n, fair_first=True) for n in (3, 4, 5, 6)),
    Course("steady 1.5 kn besides", 4, steady_kn=1.5),
    Course("no tide, steady 1.5 kn", 3, tide_kn=0.0, steady_kn=1.5),
    Course("steady display", 4, reading_sd_kn=0.01),
    *(Course("one reading a run", n, readings=1) for n in (3, 4)),
    *(Course("counter 0.01 nm", n, counter=True) for n in (2, 4)),
    Course("counter 0.01 nm, zeroed", 4, counter=True, counter_zeroed=True),
    Course("counter 0.1 nm", 4, counter=True, counter_digit_nm=0.1),
    replace(_TRACK, runs=2),
    _TRACK,
    replace(_TRACK, name="the same in a stronger cross stream", across_kn=1.6),
    Course("heading held, stream across", 4, across_kn=1.0),
    Course("no start times", 4, start_times=False),
    Course("half a mile, 8 kn", 4, length_nm=0.5, speeds_kn=(8.0,)),
    Course("speed drifts by 0.5 kn", 4, speed_drift_kn=0.5),
    Course("three engine speeds, one factor", 2, speeds_kn=(4.0, 5.5, 7.0)),
    Course("three engine speeds, one factor", 4, speeds_kn=(4.0, 5.5, 7.0)),
    Course("three engine speeds, factor changes", 2, speeds_kn=(4.0, 5.5, 7.0), add_kn=0.5),
    Course("three engine speeds, factor changes", 4, speeds_kn=(4.0, 5.5, 7.0), add_kn=0.5),
    Course("five engine speeds, factor changes", 2, speeds_kn=(3.5, 4.5, 5.5, 6.5, 7.5), add_kn=0.5),
)

ROUNDS: tuple[Round, ...] = (
    Round("two legs, 90° apart", (30.0, 120.0)),
    Round("two legs, there and back", (30.0, 210.0)),
    Round("three legs, 120° apart", (30.0, 150.0, 270.0)),
    _ROUND4,
    replace(_ROUND4, name="the same in a stream of 2 kn", steady_kn=2.0),
    replace(_ROUND4, name="four legs, no start times", start_times=False),
    Round("six legs, 60° apart", (30.0, 210.0, 90.0, 270.0, 150.0, 330.0)),
    Round("eight legs, 45° apart", (0.0, 180.0, 45.0, 225.0, 90.0, 270.0, 135.0, 315.0)),
    replace(_ROUND4, name="four legs, read to 0.01 kn and 0.1°", digit_kn=0.01, course_digit_deg=0.1),
    Round("three legs, speeds over the ground only", (30.0, 150.0, 270.0), courses_noted=False),
    replace(_ROUND4, name="four legs, no tide", tide_kn=0.0),
)

WARNED: tuple[Scenario, ...] = (
    Course("two runs, fair and slackening stream", 2, fair_first=True, note="two runs cannot remove a change"),
    Course(
        "track held, across, no compass noted",
        4,
        across_kn=0.7,
        track_held=True,
        compass_noted=False,
        note="allowed for up to 10°; bias stays",
    ),
    Course("out out back back", 4, order="OOBB", fair_first=True, note="not by turns"),
    Course("tide of 2 kn", 4, tide_kn=2.0, note="1 kn was allowed for"),
    Course("tide of 2 kn, two runs", 2, tide_kn=2.0, note="1 kn was allowed for"),
    Course("uneven stream 0.15 kn", 4, uneven_kn=0.15, note="0.05 kn was allowed for"),
    replace(_TRACK, name="track held, deviation of 6°", deviation_deg=6.0, note="2° was allowed for"),
    Round("legs uneven by 0.2 kn", _ROUND4.headings_deg, uneven_kn=0.2, note="0.08 kn was allowed for"),
    Round("two legs uneven by 0.2 kn", (30.0, 120.0), uneven_kn=0.2, note="0.08 kn, and nothing left over to show it"),
    Round("legs on one side, within 60°", (30.0, 60.0, 90.0), note="bunched headings"),
    Round("tide of 3 kn, long round", ROUNDS[6].headings_deg, tide_kn=3.0, leg_s=300.0, note="1 kn was allowed for"),
)
