"""The check trial: after a correction is in force, the same runs must give a factor of 1."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truemile.core.errors import ReadingError

#: Borrowed bar: speed right within 2 % or 0.2 kn, whichever is more [MSC1575]_ table C-1 footnote 11, from [MSC96]_.
BAR_RELATIVE = 0.02
BAR_KN = 0.2


@dataclass(frozen=True, slots=True)
class CheckVerdict:
    """Whether a log, corrected or newly set, reads true.

    Attributes
    ----------
    factor, expanded
        Found by the check trial, with its 95 % uncertainty.
    speed_kn
        At which it was found.
    expanded_in_force
        95 % uncertainty of the factor that is being checked, relative to it.
    agrees
        True where 1.00 lies within both uncertainties together.
    error_kn, bar_kn
        How much the log is out at that speed, and what is allowed.
    within_bar
        True where the error is no more than the bar.
    conclusive
        False where the check's own uncertainty exceeds the bar, so that a pass says little.
    """

    factor: float
    expanded: float
    speed_kn: float
    expanded_in_force: float
    agrees: bool
    error_kn: float
    bar_kn: float
    within_bar: bool
    conclusive: bool

    @property
    def expanded_together(self) -> float:
        """How far from 1.00 the check may lie: its own 95 % uncertainty and that of what it checks, squared and added.

        Notes
        -----
        Two right measurements of one thing differ by both their errors, as in the normalised error En of ISO/IEC 17043.
        """
        return math.hypot(self.expanded, self.expanded_in_force)

    @property
    def words(self) -> str:
        """The verdict in one or two sentences."""
        against = f"1.00 lies {'within' if self.agrees else 'outside'} its ±"
        if self.expanded_in_force:
            against += " and that of the factor in force together"
        bar = "within" if self.within_bar else "more than"
        found = (
            f"{'Pass' if self.agrees else 'Fail'} against its own ±: {against}. "
            f"{'Pass' if self.within_bar else 'Fail'} against 2 % or 0.2 kn: {self.error_kn:.2f} kn out,"
            f" {bar} the {self.bar_kn:.2f} kn allowed."
        )
        if not self.conclusive:
            return f"{found} The check itself is too uncertain to prove it: make more runs."
        if not self.agrees and self.within_bar:
            return f"{found} Put the new factor in force to take the rest out."
        return found


def check_verdict(factor: float, expanded: float, speed_kn: float, *, expanded_in_force: float = 0.0) -> CheckVerdict:
    """Return whether a log reads true, from the factor that a check trial found.

    Parameters
    ----------
    factor, expanded
        Factor of the corrected readings and its 95 % uncertainty.
    speed_kn
        True speed it was found at.
    expanded_in_force
        95 % uncertainty of the factor that is being checked, relative to it; 0 for a log that is taken as it is.

    Raises
    ------
    ReadingError
        If one of the first three is not a finite number above 0, or the last is below 0.

    Examples
    --------
    >>> check_verdict(1.012, 0.015, 6.0).agrees
    True
    >>> check_verdict(0.95, 0.015, 6.0).within_bar
    False
    """
    for name, value in (("factor", factor), ("expanded", expanded), ("speed_kn", speed_kn)):
        if not (math.isfinite(value) and value > 0):
            raise ReadingError(name, value, "it must be a number above 0", "Work the check trial out again.")
    if not 0.0 <= expanded_in_force < math.inf:
        raise ReadingError(
            "expanded_in_force", expanded_in_force, "it must be 0 or more", "Work the correction in force out again."
        )
    error_kn = abs(speed_kn / factor - speed_kn)
    bar_kn = max(BAR_RELATIVE * speed_kn, BAR_KN)
    return CheckVerdict(
        factor=factor,
        expanded=expanded,
        speed_kn=speed_kn,
        expanded_in_force=expanded_in_force,
        agrees=abs(factor - 1.0) <= math.hypot(expanded, expanded_in_force),
        error_kn=error_kn,
        bar_kn=bar_kn,
        within_bar=error_kn <= bar_kn,
        conclusive=expanded * speed_kn <= bar_kn,
    )
