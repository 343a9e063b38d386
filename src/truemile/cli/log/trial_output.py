"""A trial's result for a machine, its working as text, and its picture in a file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from truemile.cli.present import WIDTH, as_plain
from truemile.core.errors import FileError

if TYPE_CHECKING:
    from pathlib import Path

    from truemile.core.log_trial import TrialResult
    from truemile.working.lines import Working


def trial_data(result: TrialResult, *, working: bool = False) -> dict[str, Any]:
    """Return the result with what would improve it, and with its working if wanted."""
    from truemile.core.improvements import improvements, way_to_halve

    data: dict[str, Any] = {
        "result": as_plain(result),
        "improvements": as_plain(improvements(result)),
        "way_to_halve": as_plain(way_to_halve(result)),
    }
    if working:
        data["working"] = [part.as_dict() for part in workings(result)]
    return data


def workings(result: TrialResult) -> list[Working]:
    """Return the hand lines of each engine speed."""
    from truemile.working.log_factor import explain

    return [explain(group.best) for group in result.groups]


def working_text(result: TrialResult) -> str:
    """Return the hand lines as ruled text."""
    from truemile.working.render_text import render_text

    return "\n\n".join(render_text(part, width=WIDTH) for part in workings(result))


def result_text(result: TrialResult, *, working: bool = False) -> str:
    """Return the result as text, with the hand lines below it if wanted."""
    from truemile.cli.log.render import trial_text

    return f"{trial_text(result)}\n\n{working_text(result)}".rstrip() if working else trial_text(result)


def write_plot(result: TrialResult, target: Path) -> None:
    """Draw the runs to a file, as its ending says.

    Raises
    ------
    FileError
        If the ending is not known, or the file cannot be written.
    """
    from truemile.plots import log_charts, render

    drawn: bytes
    match target.suffix.lower():
        case ".svg":
            drawn = render.svg(log_charts.runs_chart(result)).encode()
        case ".png":
            drawn = render.png(log_charts.runs_chart(result))
        case other:
            raise FileError(
                "plot", str(target), f"a picture is .svg or .png, and not {other or 'without ending'}", "Rename it."
            )
    write_bytes(target, drawn, "plot")


def write_bytes(target: Path, content: bytes, field: str = "out") -> None:
    """Write a file whole or not at all.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    part = target.with_name(f".{target.name}.part")
    try:
        part.write_bytes(content)
        part.replace(target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(
            field, str(target), f"it cannot be written ({error.strerror})", "Choose a folder where you may write."
        ) from error
