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
        data["working"] = working_of(result).as_dict()
    return data


def working_of(result: TrialResult) -> Working:
    """Return the hand lines, those of each engine speed as parts."""
    from truemile.working.log_trial import explain_trial

    return explain_trial(result)


def working_text(working: Working) -> str:
    """Return hand lines as ruled text."""
    from truemile.working.render_text import render_text

    return render_text(working, width=WIDTH).rstrip()


def with_working(data: object, *workings: Working | None) -> object:
    """Return a result with its working beside it, if one was asked for."""
    shown = [working.as_dict() for working in workings if working is not None]
    return {"result": data, "working": shown} if shown else data


def text_with_working(text: str, *workings: Working | None) -> str:
    """Return text with the hand lines below it, if they were asked for."""
    return "\n\n".join([text, *(working_text(working) for working in workings if working is not None)])


def result_text(result: TrialResult, *, working: bool = False) -> str:
    """Return the result as text, with the hand lines below it if wanted."""
    from truemile.cli.log.render import trial_text

    return text_with_working(trial_text(result), working_of(result) if working else None)


def write_plot(result: TrialResult, target: Path) -> None:
    """Draw the runs to a file, as its ending says.

    Raises
    ------
    FileError
        If the ending is not known, or the file cannot be written.
    """
    from truemile.plots.log_charts import runs_chart

    write_picture(runs_chart(result), target)


def write_picture(spec: dict[str, Any], target: Path) -> None:
    """Draw a chart to a file, as its ending says.

    Raises
    ------
    FileError
        If the ending is not known, or the file cannot be written.
    """
    from truemile.plots import render

    drawn: bytes
    match target.suffix.lower():
        case ".svg":
            drawn = render.svg(spec).encode()
        case ".png":
            drawn = render.png(spec)
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
