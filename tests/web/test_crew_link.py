"""The crew link: what a phone gets without having joined (a join page), with it (the run page), and after."""

from __future__ import annotations

import asyncio
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.routing import Mount

from tests.web.conftest import NOW
from tests.web.page_reader import find, read
from truemile.core.errors import FileError
from truemile.web.app import create_app
from truemile.web.capture import routes as capture
from truemile.web.crew.app import LARGEST_FORM, create_crew_app
from truemile.web.crew.gate import BURST
from truemile.workbook import devices
from truemile.workbook.store import Workbook
from truemile.workbook.taps import taps

HOST = "192.168.7.2"
ADDRESS = f"http://{HOST}:8748"
#: What the crew link serves, in full.
ROUTES = {
    ("/", "GET"),
    ("/join", "GET"),
    ("/join", "POST"),
    *((path, "GET") for path in capture.GETS),
    *((path, "POST") for path in capture.POSTS),
}


@dataclass
class Clock:
    """A clock that tests set: what is a minute for a code is one step here."""

    at: datetime = NOW
    seconds: float = 0.0

    def now(self) -> datetime:
        """Return the time."""
        return self.at

    def counted(self) -> float:
        """Return the seconds that have passed."""
        return self.seconds

    def go_on(self, seconds: float) -> None:
        """Let time pass."""
        self.seconds += seconds
        self.at += timedelta(seconds=seconds)


@dataclass
class Phone:
    """A phone in the boat's network; keeps its cookie and follows nothing by itself."""

    app: FastAPI
    address: str = "192.168.7.30"
    cookie: str | None = None
    theme: str = ""

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Send one request."""
        headers = {**({"origin": ADDRESS} if method == "POST" else {}), **more.pop("headers", {})}
        if self.cookie is not None:
            headers["cookie"] = f"crew={self.cookie}; theme={self.theme}"

        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False, client=(self.address, 40000))
            async with httpx.AsyncClient(transport=transport, base_url=ADDRESS) as client:
                return await client.request(method, path, headers=headers, **more)

        return asyncio.run(asked())

    def join(self, code: str, name: str = "Bram") -> httpx.Response:
        """Fill in the join page."""
        answer = self.ask("POST", "/join", data={"code": code, "name": name})
        if answer.status_code == 303:
            self.cookie = answer.cookies["crew"]
        return answer


@dataclass
class Boat:
    """A workbook, its crew link, and the clock of both."""

    workbook: Workbook
    app: FastAPI
    clock: Clock

    def phone(self, address: str = "192.168.7.30") -> Phone:
        """Return a phone that has not joined."""
        return Phone(self.app, address)

    def joined(self) -> Phone:
        """Return a phone that has joined."""
        phone = self.phone()
        assert phone.join(devices.new_join_code(self.workbook, self.clock.at).code).status_code == 303
        return phone


@pytest.fixture
def boat(demo_file: Path, tmp_path: Path) -> Iterator[Boat]:
    """The demo boat, with its crew link open."""
    file = tmp_path / "demo.truemile"
    file.write_bytes(demo_file.read_bytes())
    clock = Clock()
    with Workbook.open(file, clock=clock.now) as workbook:
        app = create_crew_app(workbook, hosts=[HOST], clock=clock.now, seconds=clock.counted)
        yield Boat(workbook, app, clock)


def start(trial: int = 3) -> dict[str, Any]:
    """Return the tap of a start."""
    more = {"page": "run", "value": "", "pressed_at_ms": NOW.timestamp() * 1000.0, "by": "Bram"}
    return {"id": str(uuid.uuid4()), "run_id": str(uuid.uuid4()), "trial_id": trial, "kind": "start", **more}


def body(*given: dict[str, Any]) -> dict[str, Any]:
    """Return what a page posts."""
    return {"device": {"id": "one-browser", "name": "Android"}, "trial_id": 3, "taps": list(given)}


def filled(path: str) -> str:
    """Return an address with its parameters put in."""
    return re.sub(r"{[^}]*}", "3", path)


def is_join_page(answer: httpx.Response) -> bool:
    """Tell the join page by its form."""
    return bool(find(answer.text, "form", action="/join")) and "Dunlin" not in answer.text


def test_the_route_table_holds_the_few_addresses_of_the_crew_and_no_other(boat: Boat) -> None:
    """Join page, trials, run page, capture and built files: nothing else may be served on the boat's network."""
    table = {
        (route.path, method) for route in boat.app.routes if isinstance(route, APIRoute) for method in route.methods
    }
    assert table - {(path, "HEAD") for path, _ in ROUTES} == ROUTES
    (mount,) = [route for route in boat.app.routes if not isinstance(route, APIRoute)]
    assert isinstance(mount, Mount)
    assert mount.path == "/assets"


def test_without_having_joined_every_address_gives_the_join_page_only(boat: Boat) -> None:
    """Each route of both applications, and one that nobody has, must give a stranger the join page or a refusal."""
    laptop = {route.path for route in create_app(boat.workbook).routes if isinstance(route, APIRoute)}
    everything = {*(path for path, _ in ROUTES), *laptop, "/nowhere", "/assets", "/join/", "/assets/../instruments"}
    for path in sorted(everything - {"/join"}):
        phone = boat.phone()
        seen = phone.ask("GET", filled(path))
        if path.endswith(".json"):
            assert seen.json()["error"]["field"] == "phone", path
        else:
            assert is_join_page(seen), path
        assert seen.status_code == 401, path
        posted = phone.ask("POST", filled(path), json=body(start()))
        assert posted.status_code == 401, path
        assert posted.json()["error"]["field"] == "phone"
    assert boat.phone().ask("GET", "/join").status_code == 200
    assert taps(boat.workbook, 3) == ()


@pytest.mark.parametrize("cookie", ["", "x", "a" * 43, "a" * 4000, 'x"; crew=y', "é"])
def test_a_made_up_token_opens_nothing(boat: Boat, cookie: str) -> None:
    """Any other token must be the same as none."""
    answer = boat.phone().ask("GET", "/trials/3/run.json", headers={"cookie": f"crew={cookie}".encode()})
    assert answer.status_code == 401


def test_a_joined_phone_can_run_a_trial_and_nothing_else(boat: Boat) -> None:
    """It must open its few pages and hand in taps; every address of the laptop's own pages must not be there."""
    phone = boat.joined()
    for path, method in ROUTES - {("/capture/taps", "POST"), ("/join", "POST")}:
        assert phone.ask(method, filled(path)).status_code == 200, path
    own = {path for path, _ in ROUTES}
    laptop = [route for route in create_app(boat.workbook).routes if isinstance(route, APIRoute)]
    for route in laptop:
        if route.path in own:
            continue
        for method in route.methods:
            boat.clock.go_on(5.0)  # a phone that asks so much is slowed
            assert phone.ask(method, filled(route.path), json={}).status_code == 404, route.path
    one = start()
    assert phone.ask("POST", "/capture/taps", json=body(one)).json()["acknowledged"] == [one["id"]]
    (device,) = devices.devices(boat.workbook)
    assert (device.name, device.taps) == ("Bram", 1)


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(boat: Boat) -> None:
    """The token must come in an HttpOnly, SameSite=Strict cookie, and stand nowhere else."""
    phone = boat.phone()
    answer = phone.join(devices.new_join_code(boat.workbook, NOW).code)
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said
    assert answer.headers["location"] == "/"
    assert phone.cookie is not None
    assert phone.cookie not in answer.text


def test_the_trials_offered_are_those_without_a_factor_in_force(boat: Boat) -> None:
    """A joined phone must see the open trials with a link to each run page, and the boat's name."""
    page = boat.joined().ask("GET", "/")
    links = [each.attributes["href"] for each in find(page.text, "a") if "entry" in each.attributes.get("class", "")]
    assert links
    assert all(re.fullmatch(r"/trials/\d+/run", link) for link in links)
    assert "Dunlin" in page.text
    assert "not for navigation" in page.text


def test_a_phone_that_is_let_go_stops_at_its_next_request(boat: Boat) -> None:
    """After the laptop has let it go nothing of it may be answered, and no tap kept."""
    phone, other = boat.joined(), boat.joined()
    first, _ = devices.devices(boat.workbook)
    devices.revoke(boat.workbook, first.id)
    answer = phone.ask("POST", "/capture/taps", json=body(start()))
    assert answer.status_code == 401
    assert phone.ask("GET", "/capture/clock.json").status_code == 401
    assert is_join_page(phone.ask("GET", "/"))
    assert taps(boat.workbook, 3) == ()
    assert other.ask("GET", "/capture/clock.json").status_code == 200


def test_a_code_serves_several_phones_and_expires(boat: Boat) -> None:
    """Within ten minutes any number may join with one code; after that, or once another is made, none."""
    code = devices.new_join_code(boat.workbook, boat.clock.at).code
    assert boat.phone("192.168.7.30").join(code, "Bram").status_code == 303
    boat.clock.go_on(590)
    assert boat.phone("192.168.7.31").join(f" {code[:3]} {code[3:].lower()}", "Ines").status_code == 303
    boat.clock.go_on(11)
    late = boat.phone("192.168.7.32").join(code)
    assert late.status_code == 422
    assert "wrong, or no longer counts" in late.text
    newer = devices.new_join_code(boat.workbook, boat.clock.at).code
    devices.new_join_code(boat.workbook, boat.clock.at)
    assert boat.phone("192.168.7.33").join(newer).status_code == 422


def test_a_wrong_code_keeps_the_name_and_says_what_to_do(boat: Boat) -> None:
    """After a slip the name must still stand there, escaped, and the code must not come back."""
    devices.new_join_code(boat.workbook, NOW)
    page = boat.phone().join("WRONG9", '<b>"Bram')
    assert find(page.text, "input", id="name")[0].attributes["value"] == '<b>"Bram'
    assert "WRONG9" not in page.text
    assert "Read it from the laptop again" in page.text


def test_a_missing_name_is_asked_for_and_the_code_stays(boat: Boat) -> None:
    """Who forgot the name must not have to read the code again."""
    code = devices.new_join_code(boat.workbook, NOW).code
    page = boat.phone().ask("POST", "/join", data={"code": code, "name": " "})
    assert page.status_code == 422
    assert find(page.text, "input", id="code")[0].attributes["value"] == code
    assert "Give the name" in page.text


def test_wrong_codes_of_one_phone_are_slowed_ever_more(boat: Boat) -> None:
    """Three slips are free; then each wrong code must double the wait, also for the right code, and only for it."""
    code = devices.new_join_code(boat.workbook, boat.clock.at).code
    phone = boat.phone()
    for _ in range(4):
        assert phone.join("WRONG9").status_code == 422
    waits = []
    for _ in range(4):
        refused = phone.join(code)
        assert refused.status_code == 429
        waits.append(int(refused.headers["retry-after"]))
        assert f"Wait {waits[-1]} s" in refused.text
        boat.clock.go_on(waits[-1])
        assert phone.join("WRONG9").status_code == 422
    assert waits == [2, 4, 8, 16]
    assert boat.phone("192.168.7.99").join(code).status_code == 303


def test_wrong_codes_of_many_addresses_are_slowed_together(boat: Boat) -> None:
    """Someone with a hundred addresses must not get a hundred times as many tries."""
    for _ in range(3):  # a code of its own each time: the workbook voids one that was guessed at too often
        devices.new_join_code(boat.workbook, boat.clock.at)
    tried = [boat.phone(f"192.168.8.{host}").join("WRONG9").status_code for host in range(40)]
    assert tried.count(422) == 20
    assert tried[20:] == [429] * 20
    boat.clock.go_on(60)
    tried = [boat.phone(f"192.168.9.{host}").join("WRONG9").status_code for host in range(40)]
    assert tried.count(422) == 2


def test_a_right_code_is_not_counted_against_anybody(boat: Boat) -> None:
    """Thirty phones that join one after the other must all get in."""
    code = devices.new_join_code(boat.workbook, boat.clock.at).code
    assert {boat.phone().join(code, f"Phone {number}").status_code for number in range(30)} == {303}


def test_a_phone_that_asks_too_often_is_told_to_wait(boat: Boat) -> None:
    """Beyond its share a joined phone must get 429 with the time to wait, which its page obeys without losing taps."""
    phone = boat.joined()
    answers = [phone.ask("GET", "/capture/clock.json") for _ in range(BURST + 2)]
    assert [answer.status_code for answer in answers] == [200] * BURST + [429] * 2
    assert int(answers[-1].headers["retry-after"]) == 1
    boat.clock.go_on(1)
    assert phone.ask("GET", "/capture/clock.json").status_code == 200


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "http://192.168.7.2", "https://192.168.7.2:8748"]
)
def test_a_write_from_another_page_is_refused(boat: Boat, origin: str | None) -> None:
    """Joining and handing in must carry exactly this server's own Origin, cookie or not."""
    phone, code = boat.joined(), devices.new_join_code(boat.workbook, NOW).code
    headers = {"accept": "application/json"} | ({} if origin is None else {"origin": origin})
    for path, more in (("/join", {"data": {"code": code, "name": "Eve"}}), ("/capture/taps", {"json": body(start())})):
        asking = Phone(boat.app, cookie=phone.cookie)
        sent = {"cookie": f"crew={asking.cookie}", **headers}

        async def asked(path: str = path, more: dict[str, Any] = more, sent: dict[str, str] = sent) -> httpx.Response:
            async with httpx.AsyncClient(transport=httpx.ASGITransport(boat.app), base_url=ADDRESS) as client:
                return await client.post(path, headers=sent, **more)

        assert asyncio.run(asked()).status_code == 403
    assert len(devices.devices(boat.workbook)) == 1
    assert taps(boat.workbook, 3) == ()


@pytest.mark.parametrize("host", ["evil.example", "localhost", "127.0.0.1", "192.168.7.3", ""])
def test_another_host_name_is_refused(boat: Boat, host: str) -> None:
    """Only the addresses that are served may be asked for, joined or not."""
    phone = boat.joined()
    for path in ("/", "/join", "/capture/clock.json", "/assets/manifest.json"):
        assert phone.ask("GET", path, headers={"host": host}).status_code == 421


def test_looking_changes_nothing(boat: Boat) -> None:
    """No GET may change the workbook, not even one that looks like joining."""
    phone, code = boat.joined(), devices.new_join_code(boat.workbook, NOW).code
    before = [len(devices.devices(boat.workbook)), devices.join_code(boat.workbook, NOW)]
    for path in [filled(path) for path, method in ROUTES if method == "GET"] + [f"/join?code={code}&name=Eve"]:
        phone.ask("GET", path)
    assert [len(devices.devices(boat.workbook)), devices.join_code(boat.workbook, NOW)] == before


def test_a_form_that_is_too_large_or_strange_is_refused(boat: Boat) -> None:
    """A stranger must not be able to make the laptop work or remember: long, binary and empty forms are refused."""
    devices.new_join_code(boat.workbook, NOW)
    for content, status in (
        (b"x" * (LARGEST_FORM + 1), 413),
        (b"\xff\x00", 422),
        (b"", 422),
        (b"&".join([b"a=1"] * 50), 422),
    ):
        assert boat.phone().ask("POST", "/join", content=content).status_code == status
        boat.clock.go_on(700)


def test_the_join_page_brings_nothing_that_the_policy_forbids(boat: Boat) -> None:
    """No inline script, style or handler on any page of the crew link, one h1, each field with its label."""
    phone = boat.joined()
    for path in ("/join", "/", "/trials/999/run.json"):
        answer = phone.ask("GET", path)
        assert "default-src 'none'" in answer.headers["content-security-policy"]
    for path in ("/join", "/", "/nowhere"):
        text = phone.ask("GET", path).text
        elements = read(text).elements
        labelled = {element.attributes.get("for") for element in elements if element.tag == "label"}
        assert len([element for element in elements if element.tag == "h1"]) == 1
        for element in elements:
            assert element.tag != "style"
            assert "style" not in element.attributes
            assert element.tag != "script" or element.attributes["src"].startswith("/assets/")
            assert element.tag != "input" or element.attributes["id"] in labelled


def test_a_phone_keeps_its_theme(boat: Boat) -> None:
    """With the cookie of the night every page of the crew link must come dark from its first byte."""
    phone = boat.joined()
    phone.theme = "night"
    for path in ("/", "/join", "/nowhere"):
        assert find(phone.ask("GET", path).text, "html")[0].attributes["data-theme"] == "night"
    for cookie, theme in (("theme=night", "night"), ('theme="><script>', "day")):
        stranger = boat.phone().ask("GET", "/trials/3/run", headers={"cookie": cookie})
        assert find(stranger.text, "html")[0].attributes["data-theme"] == theme


def test_without_the_built_files_there_is_no_crew_link(boat: Boat, tmp_path: Path) -> None:
    """A missing front end must be said at once, with what to do."""
    with pytest.raises(FileError, match="hatch_build"):
        create_crew_app(boat.workbook, bundle=tmp_path)
