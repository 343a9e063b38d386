"""The crew's phones: in by the code on the laptop, known by a token that is nowhere else, out at once."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest

from tests.workbook.season import JUNE, Clock
from truemile.core.errors import ManyFaults, NotFound, ReadingError
from truemile.workbook import devices as crew
from truemile.workbook import journal
from truemile.workbook.devices import (
    ALPHABET,
    CODE_LENGTH,
    MOST_WRONG,
    device_for,
    devices,
    join,
    join_code,
    new_join_code,
    revoke,
)
from truemile.workbook.store import Workbook


def wrong(code: str) -> str:
    """Return a code that differs in one letter."""
    return code[:-1] + ("A" if code[-1] != "A" else "C")


def dump(wb: Workbook) -> str:
    """Return the whole file as text, as a thief would read it."""
    with closing(sqlite3.connect(wb.path)) as raw:
        return "\n".join(raw.iterdump())


def test_a_phone_joins_by_the_code_and_is_known_by_its_token(wb: Workbook) -> None:
    """The usual way, with the name of who holds it."""
    code = new_join_code(wb)
    joined = join(wb, code.code, "  Bram  ")
    assert (joined.device.name, joined.device.joined_at, joined.device.revoked) == ("Bram", JUNE, False)
    assert device_for(wb, joined.token) == joined.device
    assert devices(wb) == (joined.device,)


def test_one_code_serves_several_phones(wb: Workbook) -> None:
    """Each gets a token of its own."""
    code = new_join_code(wb).code
    tokens = {join(wb, code, name).token for name in ("Bram", "Okke", "Ines")}
    assert len(tokens) == 3
    assert [found.name for found in devices(wb)] == ["Bram", "Okke", "Ines"]


@pytest.mark.parametrize("change", [str.lower, lambda code: f" {code[:3]}-{code[3:]} "])
def test_a_code_may_be_typed_as_people_do(wb: Workbook, change: object) -> None:
    """Small letters, a dash in the middle, spaces around."""
    code = new_join_code(wb).code
    typed = change(code) if callable(change) else code
    assert join(wb, typed, "Bram").device.name == "Bram"


def test_codes_are_short_and_without_look_alikes(wb: Workbook) -> None:
    """Six characters; none of 0 O 1 I L 2 Z 5 S 8 B among them, and no two codes alike."""
    codes = [new_join_code(wb).code for _ in range(50)]
    assert len(set(codes)) == 50
    assert {len(code) for code in codes} == {CODE_LENGTH} == {6}
    assert set("".join(codes)) <= set(ALPHABET)
    assert not set(ALPHABET) & set("0O1IL2Z5S8B")


def test_a_code_expires_after_ten_minutes(wb: Workbook, clock: Clock) -> None:
    """To the second, and the laptop no longer shows it."""
    code = new_join_code(wb)
    assert code.expires_at == JUNE + timedelta(minutes=10)
    clock.at = JUNE + timedelta(minutes=10, seconds=-1)
    assert join_code(wb) == code
    join(wb, code.code, "Bram")
    clock.at = JUNE + timedelta(minutes=10)
    assert join_code(wb) is None
    with pytest.raises(ReadingError, match="no longer counts"):
        join(wb, code.code, "Okke")


def test_a_new_code_ends_the_one_before(wb: Workbook) -> None:
    """Only the newest counts."""
    first, second = new_join_code(wb), new_join_code(wb)
    assert join_code(wb) == second
    with pytest.raises(ReadingError, match="wrong, or no longer counts"):
        join(wb, first.code, "Bram")


def test_without_a_code_nobody_joins(wb: Workbook) -> None:
    """Nothing is guessed right where there is nothing to guess."""
    assert join_code(wb) is None
    with pytest.raises(ReadingError, match="ask for a new one"):
        join(wb, "ACDEFG", "Bram")


def test_a_wrong_code_is_refused_in_the_same_words_as_an_old_one(wb: Workbook, clock: Clock) -> None:
    """A guesser does not learn whether a code was ever right; nor is the guess repeated."""
    code = new_join_code(wb).code
    said: list[str] = []
    for at, typed in ((JUNE, wrong(code)), (JUNE + timedelta(minutes=11), code)):
        clock.at = at
        with pytest.raises(ReadingError) as caught:
            join(wb, typed, "Bram")
        said.append(str(caught.value))
    assert said[0] == said[1]
    assert code not in said[0]


def test_a_code_that_was_guessed_at_too_often_is_void(wb: Workbook) -> None:
    """Wrong tries are counted in the workbook, whatever the pages do; the last straw is in the journal."""
    code = new_join_code(wb).code
    for _ in range(MOST_WRONG - 1):
        with pytest.raises(ReadingError):
            join(wb, wrong(code), "Mallory")
    assert join(wb, code, "Bram").device.name == "Bram"
    with pytest.raises(ReadingError):
        join(wb, wrong(code), "Mallory")
    with pytest.raises(ReadingError):
        join(wb, code, "Okke")
    assert "void after 20 wrong tries" in journal.entries(wb, limit=1)[0].summary


def test_codes_are_compared_in_constant_time(wb: Workbook, monkeypatch: pytest.MonkeyPatch) -> None:
    """How long it takes tells nothing: the comparison is the one made for that."""
    asked: list[tuple[bytes, bytes]] = []

    def watch(first: bytes, second: bytes) -> bool:
        asked.append((first, second))
        return False

    monkeypatch.setattr(crew.hmac, "compare_digest", watch)
    code = new_join_code(wb).code
    with pytest.raises(ReadingError):
        join(wb, "Ä€", "Bram")
    assert asked == [(code.encode(), "Ä€".encode())]


def test_a_token_has_256_bits_and_is_nowhere_in_the_file(wb: Workbook) -> None:
    """Only its hash is kept, and neither token nor code is in the journal."""
    code = new_join_code(wb).code
    token = join(wb, code, "Bram").token
    assert len(token) >= 43
    assert token not in dump(wb)
    assert all(code not in f"{entry.summary} {entry.detail}" for entry in journal.entries(wb))


@pytest.mark.parametrize("token", [None, "", "guess", "x" * 10_000])
def test_an_unknown_token_belongs_to_nobody(wb: Workbook, token: str | None) -> None:
    """Missing, guessed, or a flood."""
    join(wb, new_join_code(wb).code, "Bram")
    assert device_for(wb, token) is None


def test_a_phone_that_is_shut_out_is_out_at_once(wb: Workbook) -> None:
    """Its token opens nothing; the list says so if asked; another phone stays."""
    code = new_join_code(wb).code
    bram, okke = join(wb, code, "Bram"), join(wb, code, "Okke")
    assert revoke(wb, bram.device.id).revoked
    assert device_for(wb, bram.token) is None
    assert device_for(wb, okke.token) == okke.device
    assert [found.name for found in devices(wb)] == ["Okke"]
    assert [(found.name, found.revoked) for found in devices(wb, revoked=True)] == [("Bram", True), ("Okke", False)]


def test_shutting_out_stands_in_the_journal_and_can_be_undone(wb: Workbook) -> None:
    """A slip of the finger is mended there."""
    bram = join(wb, new_join_code(wb).code, "Bram")
    revoke(wb, bram.device.id, author="Ines")
    newest = journal.entries(wb, limit=1)[0]
    assert (newest.author, newest.summary) == ("Ines", "Took back: Phone of Bram joined (shut out)")
    with pytest.raises(ReadingError, match="undone already"):
        revoke(wb, bram.device.id)
    journal.undo(wb, newest.id)
    assert device_for(wb, bram.token) == bram.device


def test_a_phone_that_is_not_there_cannot_be_shut_out(wb: Workbook) -> None:
    """The list is named as where to look."""
    with pytest.raises(NotFound, match="no phone of that number"):
        revoke(wb, 7)


def test_a_code_taken_back_in_the_journal_no_longer_counts(wb: Workbook) -> None:
    """Undoing its entry is one more way to end it."""
    code = new_join_code(wb)
    journal.undo(wb, journal.entries(wb, limit=1)[0].id)
    assert join_code(wb) is None
    with pytest.raises(ReadingError):
        join(wb, code.code, "Bram")


@pytest.mark.parametrize("name", [None, "   ", "x" * 61, "Br\x07am"])
def test_a_phone_needs_a_name_that_can_be_shown(wb: Workbook, name: str | None) -> None:
    """It stands beside every tap."""
    with pytest.raises(ReadingError) as caught:
        join(wb, new_join_code(wb).code, name)
    assert caught.value.field == "name"
    assert devices(wb) == ()


def test_an_empty_form_is_told_all_at_once(wb: Workbook) -> None:
    """Code and name; and an empty box is no wrong try."""
    code = new_join_code(wb).code
    for _ in range(MOST_WRONG + 1):
        with pytest.raises(ManyFaults) as caught:
            join(wb, None, None)
        assert [fault.field for fault in caught.value.faults] == ["code", "name"]
    assert join(wb, code, "Bram").device.id == 1
