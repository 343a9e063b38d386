"""The capture interface of the laptop's pages: taps handed in once or often, whole or in parts, right or wrong."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

import pytest

from tests.web.conftest import ADDRESS, NOW, Client
from tests.web.page_reader import find, read
from truemile.web.capture import handing_in, routes
from truemile.workbook.taps import taps

DEVICE = {"id": "11111111-1111-4111-8111-111111111111", "name": "Android"}
BEGAN_MS = datetime(2026, 9, 13, 9, 0, tzinfo=UTC).timestamp() * 1000.0


def tap(kind: str, at_s: float, value: str = "", *, run: str = "a" * 32, **more: Any) -> dict[str, Any]:
    """Return a tap as the page sends it, `at_s` seconds after nine."""
    return {
        "id": str(uuid.uuid4()),
        "trial_id": 1,
        "run_id": str(uuid.UUID(run)),
        "page": "run",
        "kind": kind,
        "value": value,
        "pressed_at_ms": BEGAN_MS + at_s * 1000.0,
        "clock_offset_ms": 250.5,
        "clock_offset_u_ms": 4.0,
        "by": "Ines",
        **more,
    }


def run_of(
    direction: str, began_s: float, took_s: float, *readings: str, run: str, group: str = ""
) -> list[dict[str, Any]]:
    """Return the taps of a whole run."""
    said = [tap("start", began_s, run=run), tap("direction", began_s, direction, run=run)]
    said += [tap("group", began_s, group, run=run)] if group else []
    said += [tap("speed", began_s + 30.0 + place, value, run=run) for place, value in enumerate(readings)]
    return [*said, tap("stop", began_s + took_s, run=run), tap("keep", began_s + took_s + 5, run=run)]


def hand_in(client: Client, given: list[Any], **more: Any) -> Any:
    """Post taps as the page does."""
    body = {"device": DEVICE, "trial_id": 1, "taps": given, **more}
    return client.ask("POST", "/capture/taps", json=body, headers={"origin": ADDRESS})


@pytest.fixture
def begun(dunlin: Client) -> Client:
    """A client on a workbook with a trial that has no run."""
    dunlin.post(
        "/instruments/1/trials", {"course": "1", "date": "2026-09-13", "steering": "track held", "crew": "Ines, Bram"}
    )
    assert dunlin.get("/trials/1/run.json").status_code == 200
    return dunlin


def workbook_of(client: Client) -> Any:
    """Return the workbook that a client looks at."""
    return client.app.state.workbook


def test_a_pair_of_runs_gives_the_factor_in_the_answer_itself(begun: Client) -> None:
    """The answer that acknowledges the taps of the second run must bring the factor with its ± and the hand mean."""
    first = hand_in(begun, run_of("out", 0, 522.25, "6.3", "6.4", "6.3", run="a" * 32)).json()
    (alone,) = first["run"]["groups"]
    assert alone["factor"] == ""
    assert "one each way" in alone["missing"]
    second = hand_in(begun, run_of("back", 900, 483.5, "6.3", "6.3", "6.3", run="b" * 32)).json()
    (pair,) = second["run"]["groups"]
    sheet = begun.data("/trials/1.json")
    assert pair["factor"] == sheet["answer"]["number"]
    assert pair["plus_minus"] == sheet["answer"]["plus_minus"]
    assert pair["hand"] == sheet["hand"]["number"]
    assert [run["elapsed_s"] for run in second["run"]["runs"]] == [522.25, 483.5]
    assert second["run"]["people"] == ["Ines", "Bram"]


def test_each_engine_setting_gives_its_factor_as_soon_as_its_pair_is_whole(begun: Client) -> None:
    """A third run at another setting must not take away the factor of the pair before."""
    hand_in(begun, run_of("out", 0, 522, "6.3", run="a" * 32, group="slow"))
    hand_in(begun, run_of("back", 900, 484, "6.3", run="b" * 32, group="slow"))
    answer = hand_in(begun, run_of("out", 1800, 450, "7.3", run="c" * 32, group="fast")).json()
    slow, fast = answer["run"]["groups"]
    assert (slow["label"], fast["label"]) == ("slow", "fast")
    assert slow["factor"]
    assert fast["missing"]
    assert not fast["factor"]


def test_taps_sent_again_are_acknowledged_again_and_kept_once(begun: Client) -> None:
    """The same post three times, and once more in parts in another order, must leave one run and each tap once."""
    given = run_of("out", 0, 522.2, "6.3", "6.4", run="a" * 32)
    answers = [hand_in(begun, given).json() for _ in range(3)]
    answers += [hand_in(begun, [one]).json() for one in reversed(given)]
    assert answers[0]["acknowledged"] == answers[2]["acknowledged"] == [one["id"] for one in given]
    kept = taps(workbook_of(begun), 1)
    assert sorted(one.id for one in kept) == sorted(one["id"] for one in given)
    assert len(begun.data("/trials/1.json")["runs"]) == 1


def test_a_time_is_kept_to_its_last_digit(begun: Client) -> None:
    """The press is kept as the browser gave it, to the ten-thousandth of a millisecond, with its offset beside it."""
    one = tap("start", 0.0, pressed_at_ms=1789030800123.4567, clock_offset_ms=-1234.0625, clock_offset_u_ms=3.5)
    hand_in(begun, [one])
    (kept,) = taps(workbook_of(begun), 1)
    assert kept.pressed_at_ms == 1789030800123.4567
    assert (kept.clock_offset_ms, kept.clock_offset_u_ms) == (-1234.0625, 3.5)
    assert (kept.device_id, kept.device_name) == (DEVICE["id"], "Android")


def test_a_tap_that_cannot_be_is_refused_alone(begun: Client) -> None:
    """One tap without a kind and one whose id has other content must be refused by name, and the rest be kept."""
    first, second, third = tap("start", 0), tap("speed", 30, "6.3"), tap("stop", 522)
    hand_in(begun, [first])
    answer = hand_in(begun, [{**first, "value": "changed"}, {**second, "kind": "jump"}, third]).json()
    assert answer["acknowledged"] == [third["id"]]
    assert [each["id"] for each in answer["refused"]] == [first["id"], second["id"]]
    assert "different tap" in answer["refused"][0]["error"]
    assert "a tap is one of" in answer["refused"][1]["error"]
    assert {one.kind.value for one in taps(workbook_of(begun), 1)} == {"start", "stop"}


def test_taps_for_a_trial_that_is_not_there_are_kept(begun: Client) -> None:
    """A phone that was set to a lost trial must not lose its taps; the answer says what is the matter."""
    answer = hand_in(begun, [tap("start", 0, trial_id=77)], trial_id=77).json()
    assert len(answer["acknowledged"]) == 1
    assert answer["outcomes"][0]["state"] == "unknown trial"
    assert "77" in answer["trouble"]
    assert len(taps(workbook_of(begun), 77)) == 1


def test_a_run_kept_without_a_stop_says_why_it_is_none(begun: Client) -> None:
    """A run that was called whole and is not must stand among the open ones, with the reason."""
    given = [each for each in run_of("out", 0, 522, "6.3", run="a" * 32) if each["kind"] != "stop"]
    said = hand_in(begun, given).json()["run"]
    assert said["runs"] == []
    (still,) = said["open"]
    assert "stop" in still["reasons"]
    assert still["device"] == "Android"


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{}", b'{"taps": 3}', b'{"taps": [7]}', b"\xff\xfe", b"[" * 100_000, b'{"taps": null}']
)
def test_what_is_no_list_of_taps_is_refused_with_words(begun: Client, body: bytes) -> None:
    """Any other body must be refused with one of our errors, and keep nothing."""
    headers = {"origin": ADDRESS, "content-type": "application/json", "accept": "application/json"}
    answer = begun.ask("POST", "/capture/taps", content=body, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["error"]["remedy"]
    assert taps(workbook_of(begun), 1) == ()


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_only_json_is_taken(begun: Client, kind: str) -> None:
    """What a form of another page could send without asking must be refused by its type."""
    answer = begun.ask(
        "POST", "/capture/taps", content=b'{"taps": []}', headers={"origin": ADDRESS, "content-type": kind}
    )
    assert answer.status_code == 415


def test_more_than_a_day_of_taps_is_refused(begun: Client) -> None:
    """Too many taps, and too many bytes, must be refused before they are worked on."""
    many = hand_in(begun, [tap("speed", place, "6.3") for place in range(1001)])
    assert many.status_code == 422
    assert taps(workbook_of(begun), 1) == ()
    headers = {"origin": ADDRESS, "content-type": "application/json", "accept": "application/json"}
    large = b" " * (handing_in.LARGEST_TAPS_BYTES + 1)
    assert begun.ask("POST", "/capture/taps", content=large, headers=headers).status_code == 413


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example"])
def test_taps_from_another_page_are_refused(begun: Client, origin: str | None) -> None:
    """A POST must carry this server's own Origin."""
    headers = {} if origin is None else {"origin": origin}
    answer = begun.ask("POST", "/capture/taps", json={"taps": [tap("start", 0)]}, headers=headers)
    assert answer.status_code == 403
    assert taps(workbook_of(begun), 1) == ()


def test_the_clock_is_told_in_milliseconds(begun: Client) -> None:
    """The time that phones are compared with is the server's own, in milliseconds of 1970, and never stored."""
    answer = begun.get("/capture/clock.json")
    assert answer.json() == {"utc_ms": NOW.timestamp() * 1000.0}
    assert answer.headers["cache-control"] == "no-store"


def test_the_run_page_holds_no_data_and_may_be_kept_for_a_week(shown: Client) -> None:
    """The page must be the same for every trial and theme, name nothing of the workbook, and be kept privately."""
    pages = [shown.get(f"/trials/{trial}/run") for trial in (1, 3, 999)]
    assert len({page.text for page in pages}) == 1
    for page in pages:
        assert page.headers["cache-control"] == "private, max-age=604800"
        for name in ("Dunlin", "Gannet", "Kestle"):
            assert name not in page.text
    assert shown.get("/trials/999/run.json").status_code == 404


def test_the_run_page_brings_nothing_that_the_policy_forbids(shown: Client) -> None:
    """No inline script, style or handler, each field with its label, each identity once."""
    text = shown.get("/trials/3/run").text
    elements = read(text).elements
    labelled = {element.attributes.get("for") for element in elements if element.tag == "label"}
    identities = [element.attributes["id"] for element in elements if "id" in element.attributes]
    assert len(identities) == len(set(identities))
    for element in elements:
        assert element.tag != "style"
        assert "style" not in element.attributes
        assert not [name for name in element.attributes if name.startswith("on")]
        assert element.tag != "script" or element.attributes["src"].startswith("/assets/")
        assert element.tag != "input" or element.attributes["id"] in labelled
    assert len(find(text, "h1")) == 1


def test_the_trial_leads_to_the_run_page(shown: Client) -> None:
    """From a trial's sheet one press must lead to timing its runs."""
    assert find(shown.get("/trials/3").text, "a", href="/trials/3/run")


def test_the_addresses_of_capture_are_as_declared(shown: Client) -> None:
    """The laptop must serve every declared capture address, and take taps nowhere else."""
    served = {
        (route.path, method) for route in shown.app.routes if hasattr(route, "methods") for method in route.methods
    }
    assert {(path, "GET") for path in routes.GETS} | {(path, "POST") for path in routes.POSTS} <= served
