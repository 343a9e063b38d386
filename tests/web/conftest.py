"""A client that calls the application in process, on an empty workbook and on the demo."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from truemile.web.app import create_app
from truemile.workbook.demo import make_demo
from truemile.workbook.store import Workbook

ADDRESS = "http://127.0.0.1:8470"
#: The day after the last trial of the demo season.
NOW = datetime(2026, 9, 13, 12, 0, tzinfo=UTC)


@dataclass
class Client:
    """A browser without a screen: sends the Origin that a browser sends, keeps cookies, follows nothing by itself."""

    app: FastAPI
    cookies: dict[str, str]

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Send one request."""

        async def sent() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=ADDRESS, cookies=self.cookies) as client:
                return await client.request(method, path, **more)

        return asyncio.run(sent())

    def get(self, path: str, **more: Any) -> httpx.Response:
        """Look at a page."""
        return self.ask("GET", path, **more)

    def post(self, path: str, data: dict[str, str] | None = None, **more: Any) -> httpx.Response:
        """Send a form from a page of the application itself."""
        headers = {"origin": ADDRESS, **more.pop("headers", {})}
        return self.ask("POST", path, data=data or {}, headers=headers, **more)

    def data(self, path: str) -> dict[str, Any]:
        """Return the page part of a .json twin."""
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        page: dict[str, Any] = answer.json()["page"]
        return page


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo workbook, made once."""
    return make_demo(tmp_path_factory.mktemp("demo") / "demo.truemile")


def _clock() -> datetime:
    return NOW


@pytest.fixture(scope="session")
def shown(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """A client on one copy of the demo, for tests that only look or are refused."""
    file = shutil.copy(demo_file, tmp_path_factory.mktemp("shown") / "demo.truemile")
    with Workbook.open(file, clock=_clock) as workbook:
        yield Client(create_app(workbook, clock=_clock), {})


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Iterator[Client]:
    """A client on a copy of the demo."""
    with Workbook.open(shutil.copy(demo_file, tmp_path / "demo.truemile"), clock=_clock) as workbook:
        yield Client(create_app(workbook, clock=_clock), {})


@pytest.fixture
def workbook(tmp_path: Path) -> Iterator[Workbook]:
    """An empty workbook."""
    with Workbook.create(tmp_path / "empty.truemile", clock=_clock) as made:
        yield made


@pytest.fixture
def client(workbook: Workbook) -> Client:
    """A client on an empty workbook."""
    return Client(create_app(workbook, clock=_clock), {})


@pytest.fixture
def dunlin(client: Client) -> Client:
    """A client on a workbook with a boat, her log, and a measured course between two fixed marks."""
    client.post("/welcome", {"boat": "Dunlin", "log": "log", "ship_utc_offset_min": "-120"})
    client.post("/instruments/1/settings", {"value": "1.00", "convention": "multiplier", "set_at": "2026-09-01T08:00Z"})
    client.post("/waters/marks", {"name": "Gannet Pier", "position": "47°12.000′N 031°03.000′W", "precision_m": "3"})
    client.post("/waters/marks", {"name": "Kestle Beacon", "position": "47°12.354′N 031°01.920′W", "precision_m": "3"})
    client.post("/waters/courses", {"start": "1", "end": "2", "transits": "yes"})
    return client
