"""Errors: one shape for machines, one page for people, and nothing that was typed is lost."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.web.conftest import ADDRESS, Client
from tests.web.page_reader import find, words
from truemile.core.errors import FileError
from truemile.web.app import create_app
from truemile.web.assets import read_bundle
from truemile.web.guard import LARGEST_BODY
from truemile.workbook.store import Workbook

SHAPE = {"kind", "field", "given", "allowed", "remedy", "message"}


@pytest.mark.parametrize(
    ("path", "status", "kind", "field"),
    [
        ("/trials/99.json", 404, "NotFound", "trial"),
        ("/nothing.json", 404, "NotFound", "address"),
        ("/trials/3/plots/none.json", 404, "NotFound", "plot"),
        ("/recordings/none.json", 404, "NotFound", "result"),
        ("/deck-log.json?from=x", 422, "ReadingError", "from"),
        ("/waters/courses/1.json?speed=fast", 422, "ReadingError", "speed"),
        ("/waters/courses/1.json?runs=40", 422, "ReadingError", "runs"),
        ("/instruments/1/use.json?indicated=0", 422, "ReadingError", "indicated"),
        ("/instruments/1/use.json?elapsed=5m", 422, "ReadingError", "logged"),
        ("/waters/marks/new.json?name=A&position=here", 422, "ReadingError", "position"),
    ],
)
def test_a_machine_is_told_in_one_shape(demo: Client, path: str, status: int, kind: str, field: str) -> None:
    """Kind, field, given, allowed, remedy, message and the list of faults must be there for every error."""
    answer = demo.get(path)
    assert answer.status_code == status
    error = answer.json()["error"]
    assert set(error) == {*SHAPE, "faults"}
    assert (error["kind"], error["field"]) == (kind, field)
    assert error["remedy"].endswith((".", "?"))
    assert all(set(fault) == SHAPE for fault in error["faults"])


@pytest.mark.parametrize(("path", "status"), [("/trials/99", 404), ("/nothing", 404), ("/trials/abc", 404)])
def test_a_person_is_told_on_a_page_with_the_sections(demo: Client, path: str, status: int) -> None:
    """An error page must say what to do, and keep the slate and the sections in view."""
    answer = demo.get(path)
    assert answer.status_code == status
    assert "That did not work" in words(answer.text)
    assert len(find(answer.text, "nav")[0].text.split("\n")) > 7


def test_a_wrong_method_is_said_so(demo: Client) -> None:
    """Looking at an address that only takes entries must be refused with words, not with a bare code."""
    answer = demo.get("/trials/3/in-force")
    assert answer.status_code == 405
    assert "something else" in words(answer.text)


def test_all_faults_of_a_form_stand_at_their_fields(dunlin: Client) -> None:
    """Each fault must be marked at its field and linked from a list above, and every typed text must still be there."""
    dunlin.post("/instruments/1/trials", {"course": "1", "date": "2026-09-12"})
    typed = {
        "direction": "back",
        "elapsed": "0",
        "readings": "6.3 0 6.3",
        "log_start": "12.5",
        "log_stop": "11.9",
        "heading_compass": "400",
        "remarks": "<b>spray</b> & cold hands",
    }
    answer = dunlin.post("/trials/1/runs", typed)
    assert answer.status_code == 422
    for name in ("elapsed", "readings", "log_stop", "heading_compass"):
        (field,) = find(answer.text, "input", id=f"run-{name}")
        assert field.attributes["aria-invalid"] == "true"
        assert f"run-{name}-fault" in field.attributes["aria-describedby"]
        assert find(answer.text, "span", id=f"run-{name}-fault")[0].text.strip()
        assert find(answer.text, "a", href=f"#run-{name}")
        assert field.attributes["value"] == typed[name]
    assert find(answer.text, "input", id="run-remarks")[0].attributes["value"] == typed["remarks"]
    (chosen,) = [box for box in find(answer.text, "input", name="direction") if "checked" in box.attributes]
    assert chosen.attributes["value"] == "back"
    assert find(answer.text, "div", role="alert")
    assert dunlin.data("/trials/1.json")["runs"] == []


def test_a_machine_gets_all_faults_of_a_form(dunlin: Client) -> None:
    """The same refusal must reach a program as data, and an entry that is taken must give the next address."""
    answer = dunlin.post("/waters/marks", {"position": "91 N 0 E"}, headers={"accept": "application/json"})
    assert answer.status_code == 422
    assert {fault["field"] for fault in answer.json()["error"]["faults"]} == {"name", "position"}
    kept = dunlin.post(
        "/waters/marks", {"name": "Wren Ledge", "position": "47 11.5 N 31 2 W"}, headers={"accept": "application/json"}
    )
    assert kept.status_code == 201
    assert kept.json()["address"].startswith("/waters?done=")


@pytest.mark.parametrize("body", [b"[]", b"{", b'{"name": ["A"]}', b"\xff"])
def test_a_body_that_is_no_form_is_refused(dunlin: Client, body: bytes) -> None:
    """JSON that is not one object of texts must be refused with words."""
    headers = {"content-type": "application/json", "accept": "application/json", "origin": "http://127.0.0.1:8470"}
    answer = dunlin.ask("POST", "/waters/marks", content=body, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == "body"


def test_a_body_beyond_the_limit_is_refused_before_it_is_read(dunlin: Client) -> None:
    """What claims to be larger than the limit must be refused at once."""
    answer = dunlin.post("/recordings", headers={"content-length": str(LARGEST_BODY + 1)})
    assert answer.status_code == 413


def test_a_body_that_grows_beyond_the_limit_is_refused_while_it_is_read(
    dunlin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What does not say its length must be refused as soon as it has grown too large, with the same words."""
    monkeypatch.setattr("truemile.web.guard.LARGEST_BODY", 1000)

    async def growing() -> AsyncIterator[bytes]:
        for _ in range(30):
            yield b"name=" + b"a" * 95

    headers = {"content-type": "application/x-www-form-urlencoded", "origin": ADDRESS}
    answer = dunlin.ask("POST", "/waters/marks", content=growing(), headers=headers)
    assert answer.status_code == 413
    assert "at most 1000 bytes" in words(answer.text)


def test_what_was_not_foreseen_becomes_a_page_that_says_so(dunlin: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of the program must be told as one, with what was entered kept, and in the one shape for machines."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("truemile.web.views.waters.courses.marks", broken)
    page = dunlin.get("/waters")
    assert page.status_code == 500
    assert "fault of the program" in words(page.text)
    assert dunlin.get("/waters.json").json()["error"]["given"] == "ZeroDivisionError"


def test_the_boat_is_not_kept_when_her_log_is_refused(client: Client) -> None:
    """The first form adds two things, and must add neither if one cannot be."""
    answer = client.post("/welcome", {"boat": "Dunlin", "log": "log", "speed_resolution": "7"})
    assert answer.status_code == 422
    assert find(answer.text, "input", id="welcome-boat")[0].attributes["value"] == "Dunlin"
    assert client.data("/welcome.json")["boat"] == ""
    assert client.post("/welcome", {"boat": "Dunlin", "log": "log"}).status_code == 303


def test_a_missing_front_end_is_said_with_the_remedy(tmp_path: Path, workbook: Workbook) -> None:
    """Without the built scripts there must be a clear error at the start, not pages without style."""
    with pytest.raises(FileError, match=r"hatch_build\.py"):
        create_app(workbook, bundle=tmp_path)
    (tmp_path / "manifest.json").write_text("{}", encoding="utf-8")
    with pytest.raises(FileError, match="front end"):
        read_bundle(tmp_path)
