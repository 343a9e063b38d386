"""The shape of an error: the same words for a person, a machine, and the pages."""

from __future__ import annotations

import json

import pytest

from truemile.cli.errors import error_as_plain, error_as_text
from truemile.cli.present import as_plain, ruled
from truemile.core.errors import ManyFaults, NavigationError, NotFound, ReadingError
from truemile.web.errors import error_data

ONE = ReadingError("runs[0].elapsed", "0:00", "an elapsed time is more than 0 s", "Enter the time again.")
ERRORS = [
    ONE,
    NotFound("mark", None, "there is no mark of that name", "Did you mean Gannet Pier?"),
    ReadingError("speed_kn", float("nan"), "it must be a number", "Read it again."),
    ReadingError("runs", 3, "there are too few", "Make more."),
    ManyFaults([ONE, NotFound("course", "x", "there is none", "Add one.")]),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_commands_and_pages_tell_a_machine_the_same(error: NavigationError) -> None:
    """One shape of an error for whoever asks, and it is valid JSON."""
    assert error_as_plain(error) == error_data(error)
    json.dumps(error_as_plain(error), allow_nan=False)


def test_an_error_in_four_lines() -> None:
    """Where, what was given, what is allowed, what to do."""
    assert error_as_text(ONE) == (
        "Refused: runs[0].elapsed\n"
        "  given   0:00\n"
        "  but     an elapsed time is more than 0 s\n"
        "  do      Enter the time again."
    )


def test_what_was_not_given_is_called_nothing() -> None:
    """An empty box is told in words, and a long one is cut."""
    assert "given   nothing" in error_as_text(ERRORS[1])
    long = error_as_text(ReadingError("x", "y" * 5000, "it is shorter", "Shorten it."))
    assert max(map(len, long.splitlines())) < 80


def test_every_fault_has_its_block() -> None:
    """Faults found together are told one after the other."""
    assert error_as_text(ERRORS[4]).count("Refused: ") == 2


def test_what_is_no_number_becomes_null() -> None:
    """JSON has no infinity; a machine gets null instead of a broken file."""
    assert as_plain({"dof": float("inf"), "values": (1.5, float("nan"))}) == {"dof": None, "values": [1.5, None]}


def test_what_has_no_form_is_a_fault_of_the_program() -> None:
    """A value that nobody thought of is not passed on as text."""
    with pytest.raises(TypeError, match="object has no form in JSON"):
        as_plain(object())


def test_empty_columns_are_left_out() -> None:
    """A table shows only columns that hold something."""
    assert ruled(("run", "note", "kn"), [("1", "", "6.3")]) == "  run   kn\n  ────────\n  1    6.3"
