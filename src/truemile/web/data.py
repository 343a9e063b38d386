"""Turns page contexts into plain data for the .json twin."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from datetime import date, timedelta
from enum import Enum
from typing import Any


def as_data(thing: object) -> Any:  # noqa: ANN401 - JSON has whatever type the context has
    """Return dataclasses, enumerations, times and collections as what JSON can hold.

    Examples
    --------
    >>> as_data({"when": date(2026, 5, 14), "factors": (0.884, float("nan"))})
    {'when': '2026-05-14', 'factors': [0.884, None]}
    """
    if dataclasses.is_dataclass(thing):
        return {field.name: as_data(getattr(thing, field.name)) for field in dataclasses.fields(thing)}
    match thing:
        case Mapping():
            return {str(key): as_data(value) for key, value in thing.items()}
        case list() | tuple() | set() | frozenset():
            return [as_data(item) for item in thing]
        case _:
            return _plain(thing)


def _plain(thing: object) -> object:
    match thing:
        case Enum():
            return thing.value
        case None | str() | bool() | int():
            return thing
        case float():
            return thing if math.isfinite(thing) else None
        case date():
            return thing.isoformat()
        case timedelta():
            return thing.total_seconds()
        case _:
            return str(thing)
