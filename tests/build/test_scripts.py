"""The two commands say plainly what is missing and what to do about it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = ("sh", "cat", "cksum", "cut", "date", "dirname", "grep", "mkdir", "rm", "tail")


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A checkout on a machine that has the shell's own tools and nothing else."""
    for folder in ("scripts", "requirements"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    (tmp_path / "bin").mkdir()
    for tool in TOOLS:
        where = shutil.which(tool)
        assert where is not None
        (tmp_path / "bin" / tool).symlink_to(where)
    return tmp_path


def run(tree: Path, *command: str) -> subprocess.CompletedProcess[str]:
    """Run a script of the tree with an all but empty environment."""
    script, *rest = command
    environment = {"PATH": str(tree / "bin"), "HOME": str(tree)}
    return subprocess.run(
        [str(tree / "bin" / "sh"), str(tree / "scripts" / script), *rest],
        capture_output=True, check=False, cwd=tree.parent, env=environment, text=True,
    )  # fmt: skip


def fake_python(tree: Path, version: str, *, enough: bool) -> None:
    """Put a Python on the path that gives its version, is new enough or not, and cannot make environments."""
    script = f'#!/bin/sh\ncase "$2" in *print*) echo {version} ;; *exit*) exit {int(not enough)} ;; *) exit 1 ;; esac\n'
    path = tree / "bin" / "python3"
    path.write_text(script, encoding="utf-8")
    path.chmod(0o755)


@pytest.mark.parametrize("script", ["start", "test"])
def test_no_python_is_said(bare: Path, script: str) -> None:
    """Without any Python the command names the version needed and how to get it."""
    done = run(bare, script)
    assert done.returncode == 1
    assert "needs Python 3.11 or later" in done.stderr
    assert "apt-get install python3 python3-venv" in done.stderr


def test_an_old_python_is_named(bare: Path) -> None:
    """When only an older Python is there, its version stands in the message."""
    fake_python(bare, "3.9.2", enough=False)
    done = run(bare, "start")
    assert done.returncode == 1
    assert "python3 (3.9.2)" in done.stderr
    assert "PYTHON=" in done.stderr


def test_a_missing_venv_module_is_named(bare: Path) -> None:
    """When Python is new enough but cannot make environments, the package to install is named."""
    fake_python(bare, "3.11.2", enough=True)
    done = run(bare, "start", "--setup-only")
    assert done.returncode == 1
    assert "apt-get install python3-venv" in done.stderr


def test_an_unknown_word_is_refused(bare: Path) -> None:
    """A word that scripts/test does not know stops it before anything is set up."""
    done = run(bare, "test", "quik")
    assert done.returncode == 1
    assert "knows only the word quick" in done.stderr
    assert not (bare / ".venv").exists()
