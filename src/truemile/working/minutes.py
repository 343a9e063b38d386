"""Minutes and seconds as they are written, and turned into minutes by hand."""

from __future__ import annotations


def elapsed_text(elapsed_s: float) -> str:
    """Return an elapsed time as minutes and seconds.

    Examples
    --------
    >>> elapsed_text(334.0), elapsed_text(602.25)
    ('5:34', '10:02.25')
    """
    minutes, seconds = _minutes_seconds(elapsed_s)
    whole, point, fraction = seconds.partition(".")
    return f"{minutes}:{whole.zfill(2)}{point}{fraction}"


def _minutes_seconds(elapsed_s: float) -> tuple[int, str]:
    minutes, seconds = divmod(round(elapsed_s, 3), 60.0)
    return int(minutes), f"{round(seconds, 3):g}"


def in_minutes(elapsed_s: float) -> str:
    """Return the formula that turns minutes and seconds into minutes.

    Examples
    --------
    >>> in_minutes(334.0)
    '5 + 34 / 60'
    """
    minutes, seconds = _minutes_seconds(elapsed_s)
    return f"{minutes}" if seconds == "0" else f"{minutes} + {seconds} / 60"
