"""The main job on the pages, without a screen: from two marks to a corrected reading."""

from __future__ import annotations

import shutil
import uuid
from datetime import timedelta
from pathlib import Path

import pytest

from tests.web.conftest import NOW, Client
from tests.web.page_reader import find, words
from truemile.web.app import create_app
from truemile.workbook.store import Workbook

OUT = {"direction": "out", "elapsed": "8:42", "readings": "6.3 6.4 6.3"}
BACK = {"direction": "back", "elapsed": "8:03", "readings": "6.3 6.3 6.3"}


def begin(client: Client, **more: str) -> None:
    """Begin a trial on the first course."""
    answer = client.post("/instruments/1/trials", {"course": "1", "date": "2026-09-12", **more})
    assert answer.status_code == 303, answer.text


def with_runs(client: Client) -> None:
    """Begin a trial and enter a pair of runs."""
    begin(client)
    for run in (OUT, BACK):
        assert client.post("/trials/1/runs", run).status_code == 303


def test_an_empty_workbook_leads_to_the_welcome(client: Client) -> None:
    """The front door must open on the first question there is, and on the instruments once it is answered."""
    assert client.get("/").headers["location"] == "/welcome"
    client.post("/welcome", {"boat": "Dunlin", "log": "log"})
    assert client.get("/").headers["location"] == "/instruments"


def test_a_mark_is_shown_as_understood_before_it_is_kept(client: Client) -> None:
    """Asking must keep nothing; the answer must say the position in one form; sending on must keep it."""
    page = client.get("/waters/marks/new", params={"name": "Gannet Pier", "position": "N47 12 0.0, W31 3 0.0"})
    assert "47°12.000′N 031°03.000′W" in words(page.text)
    assert client.data("/waters.json")["marks"] == []
    hidden = {box.attributes["name"]: box.attributes["value"] for box in find(page.text, "input", type="hidden")}
    answer = client.post("/waters/marks", {name: hidden[name] for name in ("name", "position")})
    assert answer.status_code == 303
    (mark,) = client.data("/waters.json")["marks"]
    assert mark["position"] == "47°12.000′N 031°03.000′W"


def test_the_judge_answers_for_the_plan(dunlin: Client) -> None:
    """A slower plan must take longer in proportion, and a stream along the course must make out shorter than back."""
    usual = dunlin.data("/waters/courses/1.json")["judged"]
    assert usual["out"] == usual["back"] == "8:10"
    slow = dunlin.data("/waters/courses/1.json?speed=3")["judged"]
    minutes, seconds = slow["out"].split(":")
    # 0.8171 nm at 3 kn, by hand.
    assert int(minutes) * 60 + int(seconds) == pytest.approx(980.5, abs=0.6)
    fair = dunlin.data("/waters/courses/1.json?set=64&drift=1")["judged"]
    assert (fair["out"], fair["back"]) == ("7:00", "9:48")


def test_a_floating_mark_is_refused_until_insisted_on(dunlin: Client) -> None:
    """The judge and the trial must both refuse it, say where to insist, and take it then with the swing in the ±."""
    dunlin.post("/waters/marks", {"name": "Wren Ledge", "position": "47°11.52′N 031°02.10′W", "fixed": "no"})
    dunlin.post("/waters/courses", {"start": "1", "end": "3"})
    first = dunlin.get("/waters/courses/2")
    assert first.status_code == 200
    assert "The judge refuses this course as it is" in words(first.text)
    assert "Wren Ledge floats" in words(first.text)
    refused = dunlin.get("/waters/courses/2?speed=5")
    assert refused.status_code == 422
    assert find(refused.text, "input", id="plan-insist")[0].attributes["aria-invalid"] == "true"
    assert dunlin.data("/waters/courses/2.json?insist=yes")["judged"]["level"] == "poor"
    answer = dunlin.post("/instruments/1/trials", {"course": "2"})
    assert answer.status_code == 422
    assert find(answer.text, "input", id="trial-insist_floating")[0].attributes["aria-invalid"] == "true"
    assert dunlin.post("/instruments/1/trials", {"course": "2", "insist_floating": "yes"}).status_code == 303


def test_runs_that_are_still_too_few_are_guided(dunlin: Client) -> None:
    """A trial without a pair must be a page that says what is missing, never an error."""
    begin(dunlin)
    for count in range(2):
        page = dunlin.get("/trials/1")
        assert page.status_code == 200
        assert "No factor yet" in words(page.text)
        assert dunlin.data("/trials/1.json")["missing"][0]["remedy"]
        assert len(dunlin.data("/trials/1.json")["runs"]) == count
        dunlin.post("/trials/1/runs", OUT)
    page = dunlin.get("/trials/1")
    assert "These runs give no factor" in words(page.text)
    assert "the other way" in words(page.text)


def test_the_next_run_is_asked_the_other_way(dunlin: Client) -> None:
    """After a run out the form must stand on back, with the names of the crew as before."""
    begin(dunlin)
    dunlin.post("/trials/1/runs", {**OUT, "noted_by": "Ines", "speed_group": "1800"})
    fields = {field["name"]: field["value"] for field in dunlin.data("/trials/1.json")["run_form"]["fields"]}
    assert fields["direction"] == "back"
    assert (fields["noted_by"], fields["speed_group"], fields["readings"]) == ("Ines", "1800", "")


def test_the_table_says_what_a_calculator_says(dunlin: Client) -> None:
    """0.6 nm in 5 min 34 s is 6.47 kn, and with 7.6 kn on the log the factor is 0.851 (common practice, no source)."""
    dunlin.post("/waters/courses", {"name": "Harbour mile", "distance": "0.60", "course_true": "118"})
    begin(dunlin, course="2")
    dunlin.post("/trials/1/runs", {"direction": "out", "elapsed": "5:34", "readings": "7.6"})
    (run,) = dunlin.data("/trials/1.json")["runs"]
    assert (run["ground"], run["factor"]) == ("6.47", "0.851")


def test_the_mean_of_two_factors_is_shown_beside_the_estimate(dunlin: Client) -> None:
    """Run factors 0.85 and 0.86 average 0.855 (common practice, no source)."""
    dunlin.post("/waters/courses", {"name": "Harbour mile", "distance": "1.000", "course_true": "118"})
    begin(dunlin, course="2")
    dunlin.post("/trials/1/runs", {"direction": "out", "elapsed": f"{3600 / (0.85 * 6):.3f} s", "readings": "6.0"})
    dunlin.post("/trials/1/runs", {"direction": "back", "elapsed": f"{3600 / (0.86 * 6):.3f} s", "readings": "6.0"})
    page = dunlin.data("/trials/1.json")
    assert [run["factor"] for run in page["runs"]] == ["0.850", "0.860"]
    assert page["hand"]["number"] == "0.855"
    assert "0.855" in words(dunlin.get("/trials/1").text)


def test_the_same_run_sent_twice_is_kept_once(dunlin: Client) -> None:
    """A form sent again, after a lost answer say, carries the same id and must add nothing."""
    begin(dunlin)
    run = {**OUT, "id": str(uuid.uuid4())}
    first, again = dunlin.post("/trials/1/runs", run), dunlin.post("/trials/1/runs", run)
    assert (first.status_code, again.status_code) == (303, 303)
    assert len(dunlin.data("/trials/1.json")["runs"]) == 1


def test_a_withdrawn_run_stays_in_sight_and_comes_back(dunlin: Client) -> None:
    """Withdrawing must take the run out of the factor, and the notice must bring it back."""
    with_runs(dunlin)
    before = dunlin.data("/trials/1.json")
    answer = dunlin.post(f"/trials/1/runs/{before['runs'][1]['id']}/withdraw")
    page = dunlin.data("/trials/1.json")
    assert page["answer"] is None
    assert len(page["withdrawn_runs"]) == 1
    notice = dunlin.get(answer.headers["location"]).text
    (form,) = [form for form in find(notice, "form") if form.attributes["action"].endswith("/undo")]
    assert dunlin.post(form.attributes["action"], {"back": "/trials/1"}).headers["location"].startswith("/trials/1?")
    assert dunlin.data("/trials/1.json")["answer"] == before["answer"]


def test_runs_come_from_a_file_or_not_at_all(dunlin: Client) -> None:
    """A good file must be taken whole; one faulty row must keep all of it out and be named with its line."""
    begin(dunlin)
    head = b"direction,elapsed,readings\n"
    bad = dunlin.post("/trials/1/runs/import", files={"file": ("r.csv", head + b"out,8:42,6.3\nback,none,6.3\n")})
    assert bad.status_code == 422
    assert "line 3 of the file" in words(bad.text)
    assert dunlin.data("/trials/1.json")["runs"] == []
    good = dunlin.post("/trials/1/runs/import", files={"file": ("r.csv", head + b"out,8:42,6.3 6.4\nback,8:03,6.3\n")})
    assert good.status_code == 303
    assert dunlin.data("/trials/1.json")["answer"]
    assert dunlin.post("/trials/1/runs/import").status_code == 422


def test_a_factor_is_put_in_force_and_used_both_ways(dunlin: Client) -> None:
    """The slate must show it, a reading must be corrected by it, and the way back must lead to the reading again."""
    with_runs(dunlin)
    answer = dunlin.data("/trials/1.json")["answer"]
    assert dunlin.post("/trials/1/in-force", {"how": "applied"}).status_code == 303
    shown = dunlin.get("/instruments.json").json()["slate"]["items"][0]
    assert shown["text"].startswith("factor 0.9")
    assert shown["plus_minus"] == answer["plus_minus"]
    (used,) = dunlin.data("/instruments/1/use.json?indicated=6.3")["answers"]
    true_kn = float(used["number"].split()[0])
    assert true_kn == pytest.approx(6.3 * float(answer["number"]), abs=0.004)
    (back,) = dunlin.data(f"/instruments/1/use.json?wanted={true_kn}")["answers"]
    assert float(back["number"].split()[0]) == pytest.approx(6.3, abs=0.01)
    (far,) = dunlin.data("/instruments/1/use.json?logged=10&elapsed=1h40m")["answers"]
    assert far["inside"] is False
    assert float(far["number"].split()[0]) == pytest.approx(10 * float(answer["number"]), abs=0.01)


def test_a_factor_set_in_the_log_leaves_nearly_one(dunlin: Client) -> None:
    """With the offered value entered in the instrument, what is left to apply must be 1 to half its last digit."""
    with_runs(dunlin)
    form = dunlin.data("/trials/1.json")["force"]
    offered = next(field["value"] for field in form["fields"] if field["name"] == "set_value")
    assert dunlin.post("/trials/1/in-force", {"how": "set", "set_value": offered}).status_code == 303
    page = dunlin.data("/instruments/1.json")
    assert float(page["standing"]["number"]) == pytest.approx(1.0, abs=0.006)
    assert page["setting"] == f"× {float(offered):.3f}"


def test_a_setting_that_cannot_be_meant_is_refused_at_its_field(dunlin: Client) -> None:
    """A value that would leave more than a few percent over must be refused, and nothing put in force."""
    with_runs(dunlin)
    answer = dunlin.post("/trials/1/in-force", {"how": "set", "set_value": "1.9"})
    assert answer.status_code == 422
    assert find(answer.text, "input", id="force-set_value")[0].attributes["aria-invalid"] == "true"
    assert dunlin.data("/instruments/1.json")["standing"] is None


def test_a_check_trial_gets_its_verdict(dunlin: Client) -> None:
    """The same runs again, with the factor in force, must pass with a factor of 1.00."""
    with_runs(dunlin)
    dunlin.post("/trials/1/in-force", {"how": "applied"})
    begin(dunlin, kind="check")
    for run in (OUT, BACK):
        dunlin.post("/trials/2/runs", run)
    check = dunlin.data("/trials/2.json")["check"]
    assert check["passed"] is True
    assert float(check["factor"]) == pytest.approx(1.0, abs=0.0005)


def test_undo_and_undo_of_undo_keep_the_history(dunlin: Client) -> None:
    """Taking a correction back must leave none in force; taking that back must restore it; all three stay listed."""
    with_runs(dunlin)
    dunlin.post("/trials/1/in-force", {"how": "applied"})
    number = dunlin.data("/deck-log.json")["entries"][0]["id"]
    dunlin.post(f"/deck-log/{number}/undo")
    assert dunlin.data("/instruments/1.json")["standing"] is None
    dunlin.post(f"/deck-log/{number + 1}/undo")
    assert dunlin.data("/instruments/1.json")["standing"]
    first, second, third = dunlin.data("/deck-log.json")["entries"][:3]
    assert (first["undoes"], second["undone_by"], third["standing"]) == (number + 1, number + 2, True)


def test_what_others_rest_on_cannot_be_taken_back_first(dunlin: Client) -> None:
    """Undoing the course beneath a trial must be refused on the page, with what to undo first."""
    with_runs(dunlin)
    entries = dunlin.data("/deck-log.json")["entries"]
    course = next(entry for entry in entries if entry["words"].startswith("Course"))
    answer = dunlin.post(f"/deck-log/{course['id']}/undo")
    assert answer.status_code == 422
    assert "Undo trial 1 first" in words(answer.text)


def test_the_demo_says_on_every_page_that_its_waters_are_invented(demo: Client, dunlin: Client) -> None:
    """The demo must carry the words, a workbook of one's own must not."""
    assert "Invented waters, not for navigation." in words(demo.get("/trials/3").text)
    assert "Invented waters" not in dunlin.get("/instruments").text


def test_an_old_correction_is_underlined_on_the_slate(demo_file: Path, tmp_path: Path) -> None:
    """After more than a year the slate must mark it and say what to do; after five months it must not."""
    with Workbook.open(shutil.copy(demo_file, tmp_path / "demo.truemile")) as workbook:
        for now, stale in ((NOW, False), (NOW + timedelta(days=300), True)):
            page = Client(create_app(workbook, clock=lambda now=now: now), {}).get("/waters").text
            (item,) = [each for each in find(page, "li") if "factor" in each.text]
            assert (item.attributes.get("class") == "stale") is stale
            assert ("measure again" in item.text) is stale


def test_an_exercise_hides_its_results_and_keeps_its_givens(demo: Client) -> None:
    """The blanks must be as many as the lines to be worked, and the givens must stand there."""
    working = demo.data("/class/trials/1.json")["working"]
    lines = [line for section in working["sections"] for line in section["lines"]]
    page = demo.get("/class/trials/1").text
    assert all(line["substitution"] in page for line in lines if line["substitution"] and not line["formula"])
    assert len(find(page, "span", class_="blank")) == len([line for line in lines if line["kind"] != "given"])


@pytest.mark.parametrize(("cookie", "shown"), [("night", "night"), ("day", "day"), ("<x>", "day"), (None, "day")])
def test_the_theme_comes_with_the_first_byte(demo: Client, cookie: str | None, shown: str) -> None:
    """The page must be sent in the theme of the cookie, so that no bright page flashes at night."""
    if cookie is not None:
        demo.cookies["theme"] = cookie
    assert find(demo.get("/instruments").text, "html")[0].attributes["data-theme"] == shown


@pytest.mark.parametrize(
    ("back", "to"),
    [("/trials/3", "/trials/3"), ("//evil.example", "/"), ("https://evil.example", "/"), ("/\\evil", "/")],
)
def test_the_theme_button_works_without_scripts(demo: Client, back: str, to: str) -> None:
    """It must set the cookie and lead back to the page, but never to another host."""
    answer = demo.post("/theme", {"theme": "night", "back": back})
    assert answer.headers["location"] == to
    assert answer.headers["set-cookie"].startswith("theme=night")
    assert demo.post("/theme", {"theme": "blue", "back": "/"}).status_code == 422
