"""Load the reference cases, and compare with them at the tolerance that each case states."""

from __future__ import annotations

import math
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

REFERENCE = Path(__file__).parent / "reference"


@cache
def _loaded(name: str) -> dict[str, Any]:
    return tomllib.loads((REFERENCE / name).read_text(encoding="utf-8"))


def case(case_id: str) -> dict[str, Any]:
    """Return the case with this id; its ``inputs``, ``answer``, ``tolerance`` and maybe ``naive``."""
    for entry in _loaded("calibration.toml")["case"]:
        if entry["id"] == case_id:
            return dict(entry)
    raise KeyError(case_id)


def cases(topic: str) -> list[dict[str, Any]]:
    """Return all cases of a topic, ``measured-mile`` say."""
    return [dict(entry) for entry in _loaded("calibration.toml")["case"] if entry["topic"] == topic]


def handbook(topic: str) -> list[dict[str, Any]]:
    """Return all cases of a topic from handbooks and training texts."""
    return [dict(entry) for entry in _loaded("handbook.toml")["case"] if entry["topic"] == topic]


def facts() -> dict[str, dict[str, Any]]:
    """Return the facts by id, each with its ``statement``, ``source`` and ``values`` (if any)."""
    return {entry["id"]: dict(entry) for entry in _loaded("calibration.toml")["fact"]}


def nist(name: str) -> dict[str, Any]:
    """Return a certified data set: ``norris``, ``noint1``, ``longley`` or ``misra1a``."""
    return dict(_loaded(f"nist/{name}.toml"))


def allowance(entry: dict[str, Any], key: str, size: float) -> float:
    """Return by how much an answer of this size may miss under this key.

    ``abs`` and ``rel`` hold for every number of the answer, unless the tolerance has a name that
    the key begins with or contains: then the longest such name holds. A key without any tolerance
    must agree to the rounding of the arithmetic.
    """
    tolerance = entry.get("tolerance", {})
    names = [name for name in tolerance if name not in {"abs", "rel"}]
    fitting = [name for name in names if key.startswith(name)] or [name for name in names if name in key]
    if fitting:
        return float(tolerance[max(fitting, key=len)])
    if "abs" in tolerance or "rel" in tolerance:
        return max(tolerance.get("abs", 0.0), tolerance.get("rel", 0.0) * abs(size))
    return 1e-12 * abs(size)


def matches(entry: dict[str, Any], key: str, got: float) -> bool:
    """Say whether a number agrees with the case's answer under this key."""
    wanted = entry["answer"][key]
    return math.isfinite(got) and abs(got - wanted) <= allowance(entry, key, wanted)


def is_naive(entry: dict[str, Any], key: str, got: float) -> bool:
    """Say whether a number is the one that the common short cut gives."""
    wrong = entry["naive"][key]
    return abs(got - wrong) <= allowance(entry, key, wrong)
