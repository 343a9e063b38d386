"""The lock files fix every package by hash and carry no address of an index."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import vl_convert

ROOT = Path(__file__).parents[2]
LOCKS = ("requirements/run.txt", "requirements/dev.txt")


def pins(lock: str) -> dict[str, int]:
    """Return the packages a lock file pins, each with the number of its hashes."""
    text = (ROOT / lock).read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return {line.split(" ")[0]: line.count("--hash=sha256:") for line in lines}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_line_is_a_pin_with_hashes(lock: str) -> None:
    """Each line names one version and at least one hash; none is an option such as an index address."""
    found = pins(lock)
    assert found
    assert [line for line in found if not re.fullmatch(r"[a-z0-9-]+==[^ ;]+", line)] == []
    assert [line for line, hashes in found.items() if hashes == 0] == []


def test_the_running_set_is_part_of_the_development_set() -> None:
    """What scripts/start installs is installed in the same version by scripts/test."""
    run, dev = map(pins, LOCKS)
    assert run.keys() - dev.keys() == set()


def test_the_front_end_lock_names_no_registry() -> None:
    """Packages of the front end are fixed by content hash, from whatever registry npm is set to."""
    lock = json.loads((ROOT / "web" / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: entry for name, entry in lock["packages"].items() if name}
    assert [name for name, entry in packages.items() if "resolved" in entry] == []
    assert [name for name, entry in packages.items() if "integrity" not in entry] == []


def test_charts_are_drawn_by_one_grammar() -> None:
    """Page and PDF read a chart by the same minor version of Vega-Lite, so that they draw the same picture."""
    package = json.loads((ROOT / "web" / "package.json").read_text(encoding="utf-8"))
    major, minor, _ = package["dependencies"]["vega-lite"].split(".")
    assert f"{major}.{minor}" in vl_convert.get_vegalite_versions()
