"""A column of indicated speeds: handed in, corrected, looked at and taken away."""

from __future__ import annotations

import csv
import io

import pytest

from tests.web.conftest import Client
from tests.web.page_reader import words
from truemile.web.speed_column import MOST_ROWS

TABLE = "time;log;depth\n10:00;6,3;12,1\n10:01;6,4;12,0\n10:02;3,0;11,5\n"


def hand_in(client: Client, content: bytes, column: str = "") -> str:
    """Hand a file in and return where its result stands."""
    answer = client.post("/recordings", {"log": "1", "column": column}, files={"file": ("may.csv", content)})
    assert answer.status_code == 303, words(answer.text)
    return str(answer.headers["location"])


def test_a_column_is_corrected_row_by_row(demo: Client) -> None:
    """Every row must come back with true speed and ±, the same as a single reading gives, its cells as they were."""
    address = hand_in(demo, TABLE.encode(), "log")
    page = demo.data(f"{address}.json")
    assert page["preview"]["rows"] == 3
    assert page["preview"]["outside"] == 1
    rows = list(csv.DictReader(io.StringIO(demo.get(page["download"]).text), delimiter=";"))
    assert [row["depth"] for row in rows] == ["12,1", "12,0", "11,5"]
    assert [row["inside_measured_range"] for row in rows] == ["yes", "yes", "no"]
    (used,) = demo.data("/instruments/1/use.json?indicated=6.3")["answers"]
    assert float(rows[0]["true_kn"]) == pytest.approx(float(used["number"].split()[0]), abs=0.001)
    assert float(rows[0]["plus_minus_kn"]) == pytest.approx(float(used["plus_minus"].split()[0]), abs=0.001)


@pytest.mark.parametrize(
    ("content", "column", "says"),
    [
        (b"\x89PNG\r\n\xff\xfe\x00", "", "text in UTF-8"),
        (b"", "", "names in the first row"),
        (b"indicated_kn\n", "", "names in the first row"),
        (b"a,b\n1,2\n", "", "the columns are a, b"),
        (b"a,b\n1,2\n", "c", "the columns are a, b"),
        (b"indicated_kn\n6.3\nfast\n\n6.4\n", "", "row 3 must hold a speed"),
        (b"indicated_kn\n6.3\n-1\n", "", "0 to 60 kn"),
        (b"indicated_kn\n6.3\nnan\n", "", "row 3 must hold a speed"),
        (b"indicated_kn\n" + b"6.3\n" * (MOST_ROWS + 1), "", f"at most {MOST_ROWS} rows"),
    ],
)
def test_a_file_that_cannot_be_corrected_is_refused_with_words(
    demo: Client, content: bytes, column: str, says: str
) -> None:
    """Each kind of wrong file must get a page that says what is wrong with it and what to do."""
    answer = demo.post("/recordings", {"log": "1", "column": column}, files={"file": ("may.csv", content)})
    assert answer.status_code == 422
    assert says in words(answer.text)


def test_nothing_is_corrected_without_a_factor_in_force(dunlin: Client) -> None:
    """A file must not come back unchanged and look corrected."""
    answer = dunlin.post("/recordings", {"log": "1"}, files={"file": ("may.csv", b"indicated_kn\n6.3\n")})
    assert answer.status_code == 404
    assert "no correction is in force" in words(answer.text)


def test_no_file_is_said_so(demo: Client) -> None:
    """Sending the form without a file must be refused at that field."""
    answer = demo.post("/recordings", {"log": "1"})
    assert answer.status_code == 422
    assert "no file was chosen" in words(answer.text).lower()
