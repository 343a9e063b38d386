"""The sections of the site, in the order of the section bar."""

from __future__ import annotations

from truemile.web.crew import laptop
from truemile.web.pages import Section
from truemile.web.views import (
    classroom,
    course,
    deck_log,
    history,
    instrument,
    instruments,
    new_round,
    new_trial,
    planned,
    recordings,
    trial_actions,
    use_log,
    vector_round,
    waters,
    welcome,
)

SECTIONS: tuple[Section, ...] = (
    welcome.SECTION,
    instruments.SECTION,
    instrument.SECTION,
    history.SECTION,
    use_log.SECTION,
    new_trial.SECTION,
    new_round.SECTION,
    vector_round.SECTION,
    trial_actions.SECTION,
    waters.SECTION,
    course.SECTION,
    planned.SECTION,
    deck_log.SECTION,
    recordings.SECTION,
    classroom.SECTION,
    laptop.SECTION,
)
