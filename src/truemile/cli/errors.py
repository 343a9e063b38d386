"""The one place where an error becomes text or JSON, and an exit code: 1 refused, 2 wrong usage."""

from __future__ import annotations

import json
from typing import Any

import click

from truemile.core.errors import ManyFaults, NavigationError

REFUSED = 1
WRONG_USAGE = 2


def error_as_plain(error: NavigationError) -> dict[str, Any]:
    """Return the error as JSON shows it, under the key ``error``.

    All faults found together stand in ``faults``; the outer fields are those of the first.
    """
    return {"error": {**_fault(error), "faults": [_fault(fault) for fault in _faults_of(error)]}}


def error_as_text(error: NavigationError) -> str:
    """Return the error in four lines: where, what was given, what is allowed, what to do."""
    return "\n".join(_block(fault) for fault in _faults_of(error))


def show_refusal(error: NavigationError, *, as_json: bool) -> int:
    """Print what was refused and why, and return the exit code."""
    if as_json:
        click.echo(json.dumps(error_as_plain(error), ensure_ascii=False, indent=2, allow_nan=False))
    else:
        click.echo(error_as_text(error), err=True)
    return REFUSED


def show_wrong_usage(error: click.ClickException, *, as_json: bool) -> int:
    """Print how the command is used, and return the exit code."""
    if not as_json:
        error.show()
        return error.exit_code
    context = getattr(error, "ctx", None)
    remedy = f"See {context.command_path} --help." if context is not None else "See truemile --help."
    fault = {
        "kind": "WrongUsage",
        "field": _option_of(error),
        "given": None,
        "allowed": error.format_message(),
        "remedy": remedy,
        "message": f"{error.format_message()} {remedy}",
    }
    click.echo(json.dumps({"error": {**fault, "faults": [fault]}}, ensure_ascii=False, indent=2))
    return error.exit_code


def _option_of(error: click.ClickException) -> str:
    if isinstance(error, click.NoSuchOption):
        return error.option_name
    if isinstance(error, click.BadParameter) and error.param is not None:
        return error.param.opts[0]
    return "command"


def _fault(error: NavigationError) -> dict[str, Any]:
    given = error.given
    return {
        "kind": type(error).__name__,
        "field": error.field,
        "given": given if given is None or isinstance(given, str | int | bool) else str(given),
        "allowed": error.allowed,
        "remedy": error.remedy,
        "message": str(error),
    }


def _faults_of(error: NavigationError) -> tuple[NavigationError, ...]:
    return error.faults if isinstance(error, ManyFaults) else (error,)


def _block(error: NavigationError) -> str:
    given = "nothing" if error.given is None else str(error.given)
    shown = given if len(given) <= 60 else f"{given[:59]}…"
    return f"Refused: {error.field}\n  given   {shown}\n  but     {error.allowed}\n  do      {error.remedy}"
