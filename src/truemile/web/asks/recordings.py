"""Questions about a recording."""

from __future__ import annotations

from collections.abc import Sequence

from truemile.web.forms import Choice, Field, Form


def column_form(logs: Sequence[Choice]) -> Form:
    """Ask for a file with a column of indicated speeds."""
    choose = Field("log", "Which log", "choice", "", logs[0].value if logs else "", tuple(logs))
    alone = Field("log", "Which log", "hidden", value=logs[0].value if logs else "")
    return Form(
        "column",
        "/recordings",
        "Correct it",
        (
            choose if len(logs) > 1 else alone,
            Field("file", "CSV file", "file", "The first row holds the names of the columns; speeds are in knots."),
            Field(
                "column", "Column of the indicated speeds", hint="Its name; empty for indicated_kn, or an only column."
            ),
        ),
        quiet=True,
    )
