"""Write working by hand: each line takes the printed numbers above it, and carries digits where they are needed.

A navigator who rounds every line to two decimals may end one digit off. The cure in hand work is to carry another digit
in the lines that the wrong one was made from. `settle` does that: it writes the working, looks where the hand value
differs from the program's, gives the lines above one more digit and writes it again.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from truemile.core.errors import ReadingError
from truemile.working.formula import parse_formula, put_in, symbols_in, work_out
from truemile.working.lines import Kind, Line, Section, Working, printed
from truemile.working.notation import formula_text

_SYMBOL = re.compile(r"[A-Za-z]+(?:_[A-Za-z0-9]+)?")
#: What is shown elsewhere is brought to the very digit; where a value lies so near the middle of two digits that this
#: would take more digits than so many, one unit of the last digit is let go.
_MOST_FOR_A_TIE = 4
_MOST_ROUNDS = 400
_MOST_DECIMALS = 11

Carried = dict[str, int]


@dataclass(slots=True)
class Hand:
    """The paper that one working is written on.

    Parameters
    ----------
    title
        What is worked out.
    carried
        How many digits more than usual each symbol is printed to.
    """

    title: str
    carried: Carried = field(default_factory=dict)
    _sections: list[tuple[str, list[Line]]] = field(default_factory=list)
    _notes: list[str] = field(default_factory=list)
    _texts: dict[str, str] = field(default_factory=dict)
    _unrounded: dict[str, float] = field(default_factory=dict)
    _exact: set[str] = field(default_factory=set)
    _above: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _formulas: dict[str, str] = field(default_factory=dict)
    _misses: dict[str, str] = field(default_factory=dict)

    def section(self, heading: str) -> None:
        """Begin lines under a heading."""
        self._sections.append((heading, []))

    def note(self, sentence: str) -> None:
        """Add a sentence below the lines."""
        self._notes.append(sentence)

    def given(
        self,
        symbol: str,
        words: str,
        value: float,
        decimals: int,
        unit: str = "",
        *,
        source: str = "",
        plus_minus: str = "",
    ) -> float:
        """Write a value that comes from elsewhere; return the printed number.

        Notes
        -----
        A value with no further digits, such as a length charted as 0.60 nm, never gets any.
        """
        exact = abs(float(printed(value, decimals)) - value) <= 1e-12 * abs(value)
        places = decimals if exact else self._places(symbol, decimals)
        if exact:
            self._exact.add(symbol)
        line = Line(symbol, words, "", "", float(printed(value, places)), unit, places, Kind.GIVEN, source, plus_minus)
        self._write(line)
        self._unrounded[symbol] = value
        return line.value

    def line(
        self,
        symbol: str,
        words: str,
        formula: str,
        decimals: int,
        unit: str = "",
        *,
        core: float | None = None,
        kind: Kind = Kind.WORKED,
        plus_minus: str = "",
    ) -> float:
        """Work out a line from the printed numbers above; return the printed number.

        Parameters
        ----------
        formula
            In the symbols of the lines above, see `truemile.working.formula`.
        core
            What the program says; None to take the formula without any rounding. It is to be met to one unit of
            the last printed digit, and in every digit by a line that is also shown elsewhere.
        kind
            What the line is for.

        Raises
        ------
        ReadingError
            If the formula uses a symbol that no line above has given, or has no finite value.
        """
        node = parse_formula(formula)
        above = symbols_in(node)
        unknown = [name for name in above if name not in self._texts]
        if unknown:
            raise ReadingError(
                "formula", formula, f"no line above gives {', '.join(unknown)}", "Write the line that gives it first."
            )
        try:
            value = work_out(node, {name: float(self._texts[name]) for name in above})
            self._unrounded[symbol] = work_out(node, self._unrounded) if core is None else core
            shown = printed(value, decimals)
        except (ArithmeticError, ValueError) as cause:
            raise ReadingError(
                "formula", formula, "the line must have a finite value", "Check the numbers put into it."
            ) from cause
        places = decimals
        exact = abs(float(shown) - value) <= 1e-12 * abs(value) and self._exact.issuperset(above)
        if exact or kind is Kind.ANSWER:
            self._exact.add(symbol)
        else:
            places = self._places(symbol, decimals)
            shown = printed(value, places)
        substitution = put_in(node, self._texts)
        line = Line(
            symbol,
            words,
            formula_text(node) if above else "",
            formula_text(substitution),
            float(shown),
            unit,
            places,
            kind,
            plus_minus=plus_minus,
            formula_node=node,
            substitution_node=substitution,
        )
        self._above[symbol], self._formulas[symbol] = above, formula
        self._write(line)
        core = self._unrounded[symbol]
        if not self._met(line, core, decimals):
            self._misses[symbol] = f"{words}: {line.number_text} by hand, {core:.{places}f} by the program"
        return line.value

    def printed_value(self, symbol: str) -> float:
        """Return the printed number of a line above."""
        return float(self._texts[symbol])

    def working(self, *parts: Working) -> Working:
        """Take the paper off the table."""
        notes = self._notes + [f"The last digit differs by rounding. {miss}." for miss in self._misses.values()]
        sections = tuple(Section(heading, tuple(lines)) for heading, lines in self._sections if lines)
        return Working(self.title, sections, tuple(notes), parts, tuple(self._misses))

    def wanted(self) -> Carried:
        """Return how many digits to carry next time, the same as now if nothing more can be done.

        Notes
        -----
        A line that is out is left alone while a line above it, that it was made from, is out too; and only what blurs
        it most gets a digit. So few digits are carried.
        """
        carried = dict(self.carried)
        waiting: set[str] = set()
        for symbol, above in self._above.items():
            if not waiting.isdisjoint(above):
                waiting.add(symbol)
            elif symbol in self._misses:
                waiting.add(symbol)
                for name in self._blurred_most_by(symbol):
                    carried[name] = self.carried.get(name, 0) + 1
        return carried

    def _blurred_most_by(self, symbol: str) -> list[str]:
        blurs = {name: self._blur(symbol, name) for name in self._above[symbol] if name not in self._exact}
        worst = max(blurs.values(), default=0.0)
        return [name for name, blur in blurs.items() if blur >= 0.7 * worst and self._places_of(name) < _MOST_DECIMALS]

    def _blur(self, symbol: str, name: str) -> float:
        """How far half a unit of the last printed digit of one symbol moves the line of another."""
        node = parse_formula(self._formulas[symbol])
        values = {each: float(self._texts[each]) for each in self._above[symbol]}
        middle = work_out(node, values)
        return abs(work_out(node, values | {name: values[name] + 0.5 * 10.0 ** -self._places_of(name)}) - middle)

    def _places_of(self, name: str) -> int:
        return len(self._texts[name].partition(".")[2])

    def _places(self, symbol: str, decimals: int) -> int:
        return min(decimals + self.carried.get(symbol, 0), _MOST_DECIMALS)

    def _met(self, line: Line, core: float, decimals: int) -> bool:
        """Carried digits are a help on the way: they need be right to one unit, the usual ones to the digit."""
        if abs(line.value - core) > 1.000001 * 10.0**-line.decimals:
            return False
        longest = max((self.carried.get(name, 0) for name in self._above[line.symbol]), default=_MOST_FOR_A_TIE)
        strict = line.kind in {Kind.SHOWN, Kind.ANSWER} and longest < _MOST_FOR_A_TIE
        return not strict or printed(core, decimals) == printed(line.value, decimals)

    def _write(self, line: Line) -> None:
        if not _SYMBOL.fullmatch(line.symbol) or line.symbol in self._texts:
            raise ReadingError(
                "symbol",
                line.symbol,
                "each line has a symbol of its own, a letter with or without a subscript",
                "Give the line another symbol, V_2 after V_1.",
            )
        if not self._sections:
            self._sections.append(("", []))
        self._sections[-1][1].append(line)
        self._texts[line.symbol] = printed(line.value, line.decimals)


def settle(write: Callable[[Carried], Hand]) -> Hand:
    """Write a working again, carrying more digits each time, until hand and program agree.

    Parameters
    ----------
    write
        Writes the working with the digits to carry that it is given.

    Returns
    -------
    Hand
        The first on which every line agrees; else the last, whose working notes what does not.
    """
    carried: Carried = {}
    hand = write(carried)
    for _ in range(_MOST_ROUNDS):
        wanted = hand.wanted()
        if wanted == carried:
            break
        carried = wanted
        hand = write(carried)
    return hand
