"""Turn data into PDF: templates are package data, and whatever a person typed enters them only as data."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from typing import Any, Final

#: PDF for everybody, with reading order and words for what is drawn (ISO 14289-1).
STANDARD: Final = "ua-1"


def typeset(
    template: str, data: Mapping[str, Any], *, made_at: datetime, drawings: Mapping[str, str] | None = None
) -> bytes:
    """Return the PDF of a template.

    Parameters
    ----------
    template
        Name of the file in ``templates``, without its ending.
    data
        What the template shows, as plain data.
    made_at
        Date of the document; the same data and date give the same bytes.
    drawings
        SVG texts by name.
    """
    import typst

    inputs = {"data": json.dumps(data, ensure_ascii=False), **(drawings or {})}
    pdf = typst.compile(
        _source(template),
        sys_inputs=inputs,
        ignore_system_fonts=True,
        timestamp=int(made_at.astimezone(UTC).timestamp()),
        pdf_standards=STANDARD,
    )
    return bytes(pdf)


@cache
def _source(template: str) -> bytes:
    """Return the template with what all share put before it, so that no other file need be found."""
    folder = resources.files("truemile.reports") / "templates"
    shared = (folder / "shared.typ").read_text(encoding="utf-8")
    return (shared + (folder / f"{template}.typ").read_text(encoding="utf-8")).encode()
