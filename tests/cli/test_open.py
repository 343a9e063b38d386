"""``truemile open``: the pages on this computer only."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from truemile.cli.open import HOST, USUAL_PORT, demo_workbook, has_screen, listening
from truemile.core.errors import ReadingError


@contextmanager
def opened(folder: Path, *words: str) -> Iterator[tuple[str, str]]:
    """Open the pages in another process; give their address and all it printed before."""
    environment = {"PATH": os.environ["PATH"], "XDG_DATA_HOME": str(folder), "HOME": str(folder)}
    process = subprocess.Popen(
        [sys.executable, "-m", "truemile", "open", "--port", "0", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
    )
    assert process.stdout is not None
    try:
        printed = ""
        for line in process.stdout:
            printed += line
            if line.startswith("Truemile is open at "):
                yield line.split()[-1], printed
                break
        else:
            pytest.fail(printed)
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)


def fetched(address: str) -> str:
    """Return what the server answers."""
    with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 (our own server on this computer)
        text: str = answer.read().decode()
        return text


def test_the_demo_is_made_and_served(tmp_path: Path) -> None:
    """The first time the demo workbook is made; the page says that the waters are invented; then it is kept."""
    with opened(tmp_path, "--demo") as (address, printed):
        assert address.startswith("http://127.0.0.1:")
        assert "Making the demo workbook" in printed
        assert "Dunlin" in fetched(f"{address}instruments")
        assert json.loads(fetched(f"{address}instruments.json"))["slate"]
    with opened(tmp_path, "--demo") as (_, printed):
        assert "Making" not in printed


def test_an_empty_workbook_is_begun_and_served(tmp_path: Path) -> None:
    """Without any entry the front page helps to begin, and the new file is named."""
    with opened(tmp_path) as (address, printed):
        assert f"New workbook: {tmp_path / 'truemile' / 'workbook.truemile'}" in printed
        assert "boat" in fetched(address).lower()


def test_the_demo_is_made_anew_for_another_version(
    workbook_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A demo workbook of another version of the program is not shown."""
    monkeypatch.setattr("truemile.cli.open.data_folder", lambda: tmp_path / "data")
    demo_workbook().close()
    file = tmp_path / "data" / "demo.truemile"
    made = file.stat().st_mtime_ns
    demo_workbook().close()
    assert file.stat().st_mtime_ns == made
    (tmp_path / "data" / "demo.version").write_text("0.0.0\n")
    demo_workbook().close()
    assert file.stat().st_mtime_ns != made


def test_demo_and_workbook_clash(run: Run) -> None:
    """--demo and --workbook together are refused with the remedy."""
    found = run("open --demo --workbook x.truemile")
    assert found.code == 1
    assert "Leave out --demo or --workbook." in found.err


def test_only_this_computer_is_served() -> None:
    """The socket listens on the loopback address."""
    with listening(0) as connection:
        assert connection.getsockname()[0] == HOST == "127.0.0.1"


def test_a_taken_port_is_told() -> None:
    """A port asked for and taken by another program is refused; one not asked for gives way to a free one."""
    with socket.socket() as other:
        other.bind((HOST, 0))
        other.listen()
        taken = other.getsockname()[1]
        with pytest.raises(ReadingError, match=r"another program listens there.*Choose another port"):
            listening(taken)


def test_the_usual_port_gives_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two workbooks can be open at once."""
    with socket.socket() as other:
        other.bind((HOST, 0))
        other.listen()
        monkeypatch.setattr("truemile.cli.open.USUAL_PORT", other.getsockname()[1])
        with listening(None) as connection:
            assert connection.getsockname()[1] not in {0, other.getsockname()[1]}
    assert 1024 < USUAL_PORT < 49152


def test_a_browser_is_shown_only_where_there_is_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A server in the cupboard has none."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    assert has_screen("linux") is False
    assert has_screen("darwin") is True
    monkeypatch.setenv("WAYLAND_DISPLAY", "wayland-0")
    assert has_screen("linux") is True
