"""Serves a workbook on a free port of this computer for the time of a test."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn

from truemile.web.app import create_app
from truemile.workbook.store import Workbook

PATIENCE_S = 20.0


@contextmanager
def serving(file: Path) -> Iterator[str]:
    """Serve a workbook and give its address."""
    with Workbook.open(file) as workbook, socket.create_server(("127.0.0.1", 0)) as listener:
        config = uvicorn.Config(create_app(workbook), lifespan="off", ws="none", log_level="warning")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        try:
            waited_until = time.monotonic() + PATIENCE_S
            while not server.started and thread.is_alive() and time.monotonic() < waited_until:
                time.sleep(0.02)
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(PATIENCE_S)
