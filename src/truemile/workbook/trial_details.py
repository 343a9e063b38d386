"""Conditions and remarks of a trial, which may be amended while all else stays as it began."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from truemile.core.log_runs import Conditions
from truemile.workbook.entries import TrialEntry
from truemile.workbook.schema import Instrument, Journal, TrialDetails
from truemile.workbook.typed import Faults, short


def usual_conditions(log: Instrument) -> Conditions:
    """Return the conditions of a trial on which nobody said otherwise: the log's own digits."""
    return Conditions(speed_resolution_kn=log.speed_resolution_kn, distance_resolution_nm=log.distance_resolution_nm)


def details_of(entry: TrialEntry, usual: Conditions) -> dict[str, Any]:
    """Return the boxes of a trial that may be amended, as columns; what is left empty is as usual.

    Raises
    ------
    ReadingError
        Or `ManyFaults`, if one cannot be.
    """
    faults = Faults()
    conditions = faults.take(lambda: entry.read_conditions(usual), usual)
    words = {
        field: faults.take(lambda field=field: short(getattr(entry, field), field), "")  # type: ignore[misc]
        for field in ("crew", "weather", "remarks")
    }
    faults.done()
    return {
        "steering": conditions.steering,
        "speed_resolution_kn": conditions.speed_resolution_kn,
        "distance_resolution_nm": conditions.distance_resolution_nm,
        "timing_limit_s": conditions.timing_limit_s,
        "stream_irregularity_kn": conditions.stream_irregularity_kn,
        "tide_amplitude_kn": conditions.tide_amplitude_kn,
        "crab_deg": conditions.crab_deg,
        "u_crab_deg": conditions.u_crab_deg,
        "crossing_deg": conditions.crossing_deg,
        **words,
    }


def details_row(session: Session, trial_id: int) -> TrialDetails:
    """Return the row of conditions that counts."""
    query = sa.select(TrialDetails).join(Journal, TrialDetails.entry_id == Journal.id)
    query = query.where(TrialDetails.trial_id == trial_id)
    rows = session.scalars(query.order_by(Journal.standing, TrialDetails.id)).all()
    # The newest that stands; of a withdrawn trial, whose first row fell with it, the newest there is.
    return rows[-1]


def conditions_of(row: TrialDetails) -> Conditions:
    """Return a row of conditions as a core value."""
    return Conditions(
        steering=row.steering,
        speed_resolution_kn=row.speed_resolution_kn,
        distance_resolution_nm=row.distance_resolution_nm,
        timing_limit_s=row.timing_limit_s,
        stream_irregularity_kn=row.stream_irregularity_kn,
        tide_amplitude_kn=row.tide_amplitude_kn,
        crab_deg=row.crab_deg,
        u_crab_deg=row.u_crab_deg,
        crossing_deg=row.crossing_deg,
    )
