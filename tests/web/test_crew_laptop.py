"""The laptop's side of the crew link: its page, its addresses, and the brakes."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
import segno

from tests.web.conftest import NOW, Client
from tests.web.page_reader import find
from truemile.web.app import create_app
from truemile.web.crew import brake
from truemile.web.crew.addresses import crew_addresses, fresh_addresses, sorted_addresses
from truemile.web.crew.brake import Brake, WrongCodes
from truemile.web.crew.laptop import qr_drawing
from truemile.web.crew.link import CrewLink
from truemile.workbook import devices
from truemile.workbook.store import Workbook

ROOT = "http://192.168.7.2:8748"


@pytest.fixture
def laptop(workbook: Workbook) -> Client:
    """A client on an empty workbook whose crew link is open."""
    link = CrewLink(8748, lambda: ("192.168.7.2", "10.0.0.7"))
    client = Client(create_app(workbook, clock=lambda: NOW, crew=link), {})
    client.post("/welcome", {"boat": "Dunlin", "log": "log", "ship_utc_offset_min": "60"})
    return client


def test_the_page_of_a_closed_link_says_how_to_open_it(client: Client) -> None:
    """Without the crew link there must be no code and no address, only the command; a code is refused."""
    page = client.get("/crew")
    assert "truemile open --crew" in page.text
    assert not find(page.text, "form", action="/crew/code")
    assert client.post("/crew/code").status_code == 422


def test_looking_at_the_page_makes_no_code(laptop: Client, workbook: Workbook) -> None:
    """A code is made by a press, never by opening the page."""
    for path in ("/crew", "/crew.json", "/crew"):
        assert laptop.get(path).status_code == 200
    assert devices.join_code(workbook, NOW) is None


def test_the_page_shows_code_expiry_and_a_drawing_for_each_address(laptop: Client) -> None:
    """After a press the page must show the code, until when it counts on ship's clock, and a QR for each network."""
    assert laptop.post("/crew/code").headers["location"] == "/crew"
    shown = laptop.data("/crew.json")
    assert re.fullmatch(r"[A-Z3-9]{6}", shown["code"])
    assert shown["until"] == "13:10"
    assert [way["address"] for way in shown["ways"]] == [ROOT, "http://10.0.0.7:8748"]
    text = laptop.get("/crew").text
    assert shown["code"] in text
    assert len(find(text, "svg")) == 2
    assert "style=" not in text
    earlier = shown["code"]
    laptop.post("/crew/code")
    assert laptop.data("/crew.json")["code"] != earlier


def test_the_drawing_says_the_join_page_with_the_code_in_the_fragment() -> None:
    """As many modules must be drawn as the encoder sets for that address; the style sheet alone colours them."""
    address = f"{ROOT}/join#ACDEFG"
    (path,) = find(qr_drawing(address), "path")
    drawn = sum(int(length) for length in re.findall(r"h(\d+)", path.attributes["d"]))
    assert drawn == sum(bit for row in segno.make(address, error="m", micro=False).matrix for bit in row)
    assert path.attributes["class"] == "dark"
    assert "style" not in path.attributes


def test_phones_stand_on_the_page_until_they_are_let_go(laptop: Client, workbook: Workbook) -> None:
    """Each phone must stand there by name with its taps, and one press must let it go; twice must be refused."""
    code = devices.new_join_code(workbook, NOW).code
    joined = devices.join(workbook, code, "<Bram>", NOW)
    (row,) = laptop.data("/crew.json")["phones"]
    assert (row["name"], row["taps"], row["last"]) == ("<Bram>", 0, "")
    assert "&lt;Bram&gt;" in laptop.get("/crew").text
    assert joined.token not in laptop.get("/crew").text
    assert laptop.post(f"/crew/phones/{row['id']}/let-go").status_code == 303
    assert devices.device_for(workbook, joined.token, NOW) is None
    assert laptop.data("/crew.json")["phones"] == []
    assert laptop.post("/crew/phones/77/let-go").status_code == 404


def test_the_addresses_are_of_networks_a_phone_can_be_in() -> None:
    """Neither loopback nor made-up addresses may be offered, and each only once; asking must send nothing."""
    found = crew_addresses()
    assert len(found) == len(set(found))
    assert not [address for address in found if address.startswith(("127.", "169.254.", "0."))]
    assert sorted_addresses(["0.0.0.0", "224.0.0.1", "172.20.1.1", "10.1.1.1"]) == ("10.1.1.1", "172.20.1.1")  # noqa: S104


def test_an_address_given_later_is_answered_too() -> None:
    """A laptop that joins the boat's network after it was opened must be reached there, within seconds."""
    now, given = [0.0], [()]
    asked = fresh_addresses(lambda: now[0], lambda: given[0])
    assert asked() == ()
    given[0] = ("192.168.7.2",)
    now[0] = 2.9
    assert asked() == ()
    now[0] = 3.0
    assert asked() == ("192.168.7.2",)


@dataclass
class Seconds:
    """Counts seconds as the test says."""

    now: float = 0.0

    def __call__(self) -> float:
        """Return the count."""
        return self.now


def test_a_brake_lets_a_burst_through_and_then_a_steady_trickle() -> None:
    """Five at once, then two a second; the wait it names must be enough, and callers must not share."""
    seconds = Seconds()
    slow = Brake(5, 2.0, seconds)
    assert [slow.wait_s("a") for _ in range(5)] == [0.0] * 5
    wait = slow.wait_s("a")
    assert wait == pytest.approx(0.5)
    assert slow.wait_s("b") == 0.0
    seconds.now += wait
    assert slow.wait_s("a") == 0.0
    slow.give_back("a")
    assert slow.wait_s("a") == 0.0


def test_a_brake_remembers_no_more_than_it_has_room_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten thousand addresses must not fill the memory."""
    monkeypatch.setattr(brake, "ROOM", 50)
    slow, wrong = Brake(1, 1.0, Seconds()), WrongCodes(Seconds())
    for caller in range(10_000):
        slow.wait_s(str(caller))
        wrong.wait_s(str(caller))
    assert len(slow._buckets) == 50
    assert len(wrong._wrong) <= 50


def test_many_wrong_codes_at_the_same_time_are_slowed_too() -> None:
    """A try counts from its beginning, so that a hundred at once are not looked at before the first is known wrong."""
    wrong = WrongCodes(Seconds())
    begun = [wrong.wait_s("192.168.7.30") for _ in range(100)]
    assert begun.count(0) == WrongCodes.FREE + 1
    assert max(begun) <= WrongCodes.LONGEST_S


def test_no_wait_is_longer_than_ten_minutes() -> None:
    """A skipper who mistyped all evening must still get in within ten minutes."""
    seconds = Seconds()
    wrong = WrongCodes(seconds)
    for _ in range(60):
        wait = wrong.wait_s("192.168.7.30")
        assert wait <= 600
        seconds.now += max(wait, 1)
