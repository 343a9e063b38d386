from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.working.by_hand import keyed_in
from truemile.core.errors import ReadingError
from truemile.working.formula import parse_formula, put_in, work_out
from truemile.working.hand import Hand, settle
from truemile.working.lines import Kind
from truemile.working.notation import formula_text, parts, spoken
from truemile.working.render_text import render_text

_ATOMS = st.one_of(
    st.integers(1, 99).map(str),
    st.decimals(0, 99, places=2).map(str),
    st.sampled_from(["a", "b", "c_1"]),
)


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    pair = st.tuples(inner, inner)
    return st.one_of(
        pair.map(lambda p: f"({p[0]}) + ({p[1]})"),
        pair.map(lambda p: f"({p[0]}) - ({p[1]})"),
        pair.map(lambda p: f"({p[0]}) * ({p[1]})"),
        pair.map(lambda p: f"({p[0]}) / ({p[1]})"),
        inner.map(lambda x: f"-({x})"),
        inner.map(lambda x: f"({x})**2"),
        inner.map(lambda x: f"sqrt(abs({x}))"),
        inner.map(lambda x: f"cos({x})"),
        pair.map(lambda p: f"hypot({p[0]}, {p[1]})"),
        pair.map(lambda p: f"atan2({p[0]}, {p[1]})"),
    )


@given(
    text=st.recursive(_ATOMS, _grown, max_leaves=8),
    values=st.tuples(*[st.decimals(-20, 20, places=2).map(str)] * 3),
)
def test_printed_formula_means_what_was_written(text: str, values: tuple[str, ...]) -> None:
    """Any formula with numbers put in, keyed in as printed by an independent reader, gives the value of the formula."""
    node = parse_formula(text)
    texts = dict(zip(("a", "b", "c_1"), values, strict=True))
    try:
        expected = work_out(node, {name: float(value) for name, value in texts.items()})
    except (ZeroDivisionError, OverflowError):
        return
    if abs(expected) > 1e12:
        return
    found = keyed_in(formula_text(put_in(node, texts)))
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a +",
        "a == b",
        "__import__('os')",
        "a.b",
        "f(a)",
        "a ** b",
        "a ** 0.5",
        "sqrt(a, b)",
        "a % b",
        "True",
        "'a'",
        "1j",
        "sqrt(x=1)",
        "~a",
        "(" * 500 + "a" + ")" * 500,
        "1 + " * 9000 + "1",
    ],
)
def test_what_is_no_arithmetic_is_refused(text: str) -> None:
    """Anything but arithmetic in numbers and symbols is refused in words."""
    with pytest.raises(ReadingError, match="arithmetic in numbers and the symbols"):
        parse_formula(text)


def test_a_long_sum_is_read() -> None:
    """Two hundred weighted runs in one sum are no trouble."""
    text = " + ".join(f"w_{i} * V_{i}" for i in range(200))
    assert formula_text(parse_formula(text)).count("×") == 200


def test_lines_take_printed_numbers() -> None:
    """A later line is worked out from what is printed above it, not from what was there before rounding."""
    hand = Hand("By hand")
    hand.given("a", "a", 1.0, 0)
    hand.line("b", "a third", "a / 3", 2)
    hand.line("c", "three of them", "b * 3", 2)
    assert hand.working().line("c").number_text == "0.99"


def test_digits_are_carried_where_needed() -> None:
    """Where rounding would show in the answer, the line above it is printed to more digits, and no other."""

    def write(carried: dict[str, int]) -> Hand:
        hand = Hand("By hand", carried)
        hand.given("a", "a", 1.0, 0)
        hand.line("b", "a third", "a / 3", 2, core=1 / 3)
        hand.line("d", "half", "a / 2", 2, core=1 / 2)
        hand.line("c", "a thousand of them", "b * 1000", 0, core=1000 / 3, kind=Kind.ANSWER)
        return hand

    assert write({}).working().misses == ("c",)
    working = settle(write).working()
    assert working.misses == ()
    assert (working.line("b").number_text, working.line("d").number_text) == ("0.333", "0.50")
    assert working.line("c").number_text == "333"


def test_what_cannot_agree_is_said() -> None:
    """A line whose formula differs from the program is never silently given the program's value."""

    def write(carried: dict[str, int]) -> Hand:
        hand = Hand("By hand", carried)
        hand.given("a", "a", 1.0, 0)
        hand.line("b", "wrong", "a * 2", 2, core=3.0)
        return hand

    working = settle(write).working()
    assert working.misses == ("b",)
    assert working.line("b").value == 2.0
    assert working.notes == ("The last digit differs by rounding. wrong: 2.00 by hand, 3.00 by the program.",)


def test_faults_of_a_writer_are_named() -> None:
    """A symbol that no line gives, a symbol used twice, and a line without finite value are refused."""
    hand = Hand("By hand")
    hand.given("a", "a", 0.0, 1)
    with pytest.raises(ReadingError, match="no line above gives b"):
        hand.line("c", "c", "a + b", 1)
    with pytest.raises(ReadingError, match="symbol of its own"):
        hand.given("a", "again", 1.0, 1)
    with pytest.raises(ReadingError, match="symbol of its own"):
        hand.given("#a", "not a symbol", 1.0, 1)
    with pytest.raises(ReadingError, match="finite value"):
        hand.line("d", "d", "1 / a", 1)
    with pytest.raises(ReadingError, match="finite value"):
        hand.line("e", "e", "sqrt(a - 1)", 1)


def _demo_hand() -> Hand:
    hand = Hand("Speed through the water")
    hand.section("Run 1")
    hand.given("D", "length", 0.6, 2, "nm", source="charted")
    hand.line("t", "elapsed time 5:34, in minutes", "5 + 34 / 60", 3, "min")
    hand.line("V", "speed over the ground", "60 * D / t", 2, "kn")
    hand.given("a", "crab angle", 9.0, 1, "°")
    hand.line("W", "speed through the water", "V / cos(a)", 2, "kn", kind=Kind.ANSWER, plus_minus="0.07")
    hand.note("One run still holds the stream.")
    return hand


def test_text_is_ruled_and_fits_the_terminal() -> None:
    """The text has each line's number, words, formula and value, and no row is wider than asked."""
    text = render_text(_demo_hand().working(), width=60)
    assert all(len(row) <= 60 for row in text.splitlines())
    assert f"  3  {'speed over the ground':<44}V = 6.47 kn" in text
    assert "60 × D / t = 60 × 0.60 / 5.567" in text
    assert "W = 6.55 ± 0.07 kn" in text
    assert text.endswith("One run still holds the stream.\n")


def test_spoken_line() -> None:
    """A screen reader hears formula, numbers, value, uncertainty and unit."""
    assert _demo_hand().working().line("W").alt == (
        "W equals V over cosine a, that is 6.47 over cosine 9.0, gives 6.55 plus or minus 0.07 knots"
    )


def test_data_for_json() -> None:
    """The lines are numbered through, and a line carries its numbers and its texts."""
    data = _demo_hand().working().as_dict()
    lines = data["sections"][0]["lines"]
    assert [line["number_of_line"] for line in lines] == [1, 2, 3, 4, 5]
    assert lines[4]["value_text"] == "6.55 ± 0.07 kn"
    assert lines[2]["substitution"] == "60 × 0.60 / 5.567"
    assert "formula_parts" not in lines[0]


def test_parts_for_a_typesetter() -> None:
    """A quotient becomes a fraction without parentheses, and a difference inside a product keeps them."""
    assert parts(parse_formula("(a + b) / 2"))[0] == "frac"
    assert parts(parse_formula("(a + b) / 2"))[1][0] == "row"
    assert parts(parse_formula("(a - b) * c"))[1][0] == "paren"
    assert spoken(parse_formula("(a - b) * c")) == "open a minus b close times c"
