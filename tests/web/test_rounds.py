"""Vector rounds and the history of a log on the pages: typed, from a recording, put in force or refused, watched."""

from __future__ import annotations

import json

import pytest

from tests.recordings.recorded_files import file_bytes
from tests.web.conftest import Client
from tests.web.page_reader import words

LEGS = (
    {"heading": "035", "indicated": "5.0", "sog": "5.6", "cog": "041"},
    {"heading": "125", "indicated": "5.0", "sog": "5.6", "cog": "119"},
    {"heading": "215", "indicated": "5.0", "sog": "4.5", "cog": "207"},
    {"heading": "305", "indicated": "5.0", "sog": "4.4", "cog": "312"},
)


def begun(client: Client) -> str:
    """Begin a round and return its address."""
    answer = client.post("/instruments/1/rounds", {"date": "2026-09-10", "wind": "4"})
    assert answer.status_code == 303, words(answer.text)
    return str(answer.headers["location"].partition("?")[0])


def looked_at(client: Client, name: str, **more: str) -> str:
    """Hand a recording in and return where its page is."""
    files = {"file": (name, file_bytes(name))}
    answer = client.post("/instruments/1/rounds/recording", more, files=files)
    assert answer.status_code == 303, words(answer.text)
    return str(answer.headers["location"])


def test_a_round_is_typed_leg_by_leg_and_put_in_force(dunlin: Client) -> None:
    """After each leg the next heading is advised; four legs give a factor that goes in force and corrects a reading."""
    address = begun(dunlin)
    assert dunlin.data(f"{address}.json")["answer"] is None
    for number, leg in enumerate(LEGS, 1):
        assert dunlin.post(f"{address}/legs", leg).status_code == 303
        page = dunlin.data(f"{address}.json")
        assert len(page["legs"]) == number
        if number > 1:
            assert "next" in page["next_heading"]
            heading = next(f["value"] for f in page["leg_form"]["fields"] if f["name"] == "heading")
            assert heading in page["next_heading"]
    assert page["refusals"] == []
    assert page["answer"]["number"].startswith(("0.9", "1.0"))
    forced = dunlin.post(f"{address}/in-force", {"how": "applied"})
    assert forced.status_code == 303
    assert dunlin.data(f"{address}.json")["in_force"]
    standing = dunlin.data("/instruments/1.json")["standing"]
    assert standing["address"] == address
    assert dunlin.get(standing["address"]).status_code == 200
    assert dunlin.get(f"{address}/report.pdf").content.startswith(b"%PDF-")


def test_one_leg_is_guided_and_a_wrong_one_keeps_what_was_typed(dunlin: Client) -> None:
    """One heading gives words and no number; a leg that cannot be comes back with its fault at the field."""
    address = begun(dunlin)
    dunlin.post(f"{address}/legs", LEGS[0])
    assert "two headings" in words(dunlin.get(address).text)
    answer = dunlin.post(f"{address}/legs", {**LEGS[1], "heading": "725"})
    assert answer.status_code == 422
    assert "725" in answer.text
    assert "000 to 359.9" in words(answer.text)


def test_a_leg_is_withdrawn_and_comes_back(dunlin: Client) -> None:
    """A withdrawn leg leaves the result and stays in sight."""
    address = begun(dunlin)
    for leg in LEGS:
        dunlin.post(f"{address}/legs", leg)
    first = dunlin.data(f"{address}.json")["legs"][0]["id"]
    assert dunlin.post(f"{address}/legs/{first}/withdraw").status_code == 303
    page = dunlin.data(f"{address}.json")
    assert (len(page["legs"]), len(page["withdrawn_legs"])) == (3, 1)


def test_a_circle_is_refused_in_words(dunlin: Client) -> None:
    """On a full circle no leg is found; its turns, insisted on, give a number that no form puts in force."""
    page = dunlin.data(f"{looked_at(dunlin, 'circle-starboard.csv')}.json")
    assert page["answer"][0] == "This recording gives no log factor."
    assert any("continuous turn to starboard" in sentence for sentence in page["answer"])
    assert page["keep"] is None
    address = looked_at(dunlin, "circle-starboard.csv", arcs="yes")
    page = dunlin.data(f"{address}.json")
    assert not page["may"]
    assert float(page["result"]["number"]) == pytest.approx(1.36, abs=0.03)  # recordings/README.md: near 1.36
    ticks = {f"leg{piece['number']}": "yes" for piece in page["pieces"]}
    kept = dunlin.post(address, {**ticks, "date": "2026-09-10"})
    rounds = kept.headers["location"].partition("?")[0]
    shown = dunlin.data(f"{rounds}.json")
    assert shown["force"] is None
    assert "were turns" in shown["refusals"][0]["words"]
    answer = dunlin.post(f"{rounds}/in-force", {"how": "applied"})
    assert answer.status_code == 422
    assert "not put in force" in words(answer.text)


def test_one_tack_is_said_to_be_one_tack(dunlin: Client) -> None:
    """The inland recording gives the ratio 0.87 of that one tack, and nothing of it is kept by looking."""
    before = len(dunlin.data("/instruments/1.json")["trials"])
    page = dunlin.data(f"{looked_at(dunlin, 'sailing.nmea', tide_amplitude='0')}.json")
    said = " ".join(page["answer"])
    assert "On that one tack" in said
    assert "ratio of 0.87" in said
    assert "15 % too much" in said
    assert page["lines"] == "5006 lines: 4999 whole, 7 faulty."
    assert len(dunlin.data("/instruments/1.json")["trials"]) == before


def test_only_ticked_legs_are_kept(dunlin: Client) -> None:
    """A box that is not ticked leaves its leg out, and none ticked is refused at the first."""
    address = looked_at(dunlin, "circle-starboard.nmea", arcs="yes")
    assert dunlin.post(address, {"date": "2026-09-10"}).status_code == 422
    kept = dunlin.post(address, {"leg2": "yes", "leg9": "yes", "date": "2026-09-10"})
    assert len(dunlin.data(f"{kept.headers['location'].partition('?')[0]}.json")["legs"]) == 2


def test_what_is_no_recording_is_refused(dunlin: Client) -> None:
    """A picture, and no file at all, are refused at the field."""
    for files in ({"file": ("a.png", b"\x89PNG\r\n")}, {}):
        answer = dunlin.post("/instruments/1/rounds/recording", {"variation": ""}, files=files or None)
        assert answer.status_code == 422
        assert "recording-file-fault" in answer.text


def test_a_corrected_column_is_no_recording(demo: Client) -> None:
    """The word of another result on the shelf leads to no page of legs."""
    answer = demo.post("/recordings", {"log": "1"}, files={"file": ("a.csv", b"indicated_kn\n6.3\n")})
    word = answer.headers["location"].rpartition("/")[2]
    assert demo.get(f"/rounds/recordings/{word}").status_code == 404


def test_the_history_says_when_to_measure_again(demo: Client) -> None:
    """The demo's history has its words, its points with Eₙ, three charts in both themes, and events."""
    page = demo.data("/instruments/1/history.json")
    assert page["words"]
    assert page["due"]
    assert page["points"][-1]["error"] == ""
    assert all(float(point["error"]) >= 0 for point in page["points"][:-1])
    assert {each["kind"] for each in page["events"]} >= {"cleaning", "haul-out", "setting change"}
    assert len(page["pictures"]) == 3
    for each in page["pictures"]:
        day, night = (json.loads(demo.get(f"{each['address']}?theme={theme}").text) for theme in ("day", "night"))
        assert day["layer"] == night["layer"]
        assert day["config"] != night["config"]
    assert demo.get("/instruments/1/history/plots/budget.json").status_code == 404
    assert demo.get("/instruments/1/history.pdf").content.startswith(b"%PDF-")


def test_an_event_is_noted(dunlin: Client) -> None:
    """A collision stands among the events and makes the log due; one without a date that can be is refused."""
    assert dunlin.post("/instruments/1/events", {"kind": "collision", "note": "driftwood"}).status_code == 303
    page = dunlin.data("/instruments/1/history.json")
    assert [(each["kind"], each["note"]) for each in page["events"]] == [("collision", "driftwood")]
    assert dunlin.post("/instruments/1/events", {"kind": "cleaning", "date": "soon"}).status_code == 422
    assert dunlin.get("/instruments/1/history.pdf", headers={"accept": "application/json"}).status_code >= 400
