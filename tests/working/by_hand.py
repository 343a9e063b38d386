"""A calculator for printed lines, written apart from the program's own reader of formulas."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

_TOKEN = re.compile(r"\s*(\d+(?:\.\d+)?|arcsin|angle|hypot|sin|cos|tan|√|[²³]|[-+×/()|,°]|−)")
_DEGREES: dict[str, Callable[..., float]] = {
    "sin": lambda a: math.sin(a * math.pi / 180),
    "cos": lambda a: math.cos(a * math.pi / 180),
    "tan": lambda a: math.tan(a * math.pi / 180),
    "arcsin": lambda x: math.asin(x) * 180 / math.pi,
    "angle": lambda y, x: math.atan2(y, x) * 180 / math.pi,
    "hypot": lambda a, b: math.sqrt(a * a + b * b),
}


class Calculator:
    """Reads the text from left to right as a person keys it in."""

    def __init__(self, text: str) -> None:
        self.tokens: list[str] = []
        at = 0
        while at < len(text.rstrip()):
            match = _TOKEN.match(text, at)
            if match is None:
                raise ValueError(f"cannot key in {text[at:]!r}")
            self.tokens.append(match[1].replace("−", "-"))
            at = match.end()
        self.at = 0

    def peek(self) -> str:
        """Look at the next key."""
        return self.tokens[self.at] if self.at < len(self.tokens) else ""

    def take(self, wanted: str = "") -> str:
        """Press the next key."""
        token = self.peek()
        if wanted and token != wanted:
            raise ValueError(f"{wanted!r} expected, {token!r} found")
        self.at += 1
        return token

    def sum(self) -> float:
        """Terms."""
        value = -self.product() if self.peek() == "-" and self.take() else self.product()
        while self.peek() in {"+", "-"}:
            value = value + self.product() if self.take() == "+" else value - self.product()
        return value

    def product(self) -> float:
        """Factors."""
        value = self.power()
        while self.peek() in {"×", "/"}:
            value = value * self.power() if self.take() == "×" else value / self.power()
        return value

    def power(self) -> float:
        """Squares and cubes."""
        value = self.atom()
        while self.peek() in {"²", "³"}:
            value = value**2 if self.take() == "²" else value**3
        if self.peek() == "°":
            self.take()
        return value

    def atom(self) -> float:
        """A number, a group or a function."""
        key = self.take()
        if key == "(":
            value = self.sum()
            self.take(")")
            return value
        if key == "|":
            value = abs(self.sum())
            self.take("|")
            return value
        if key == "√":
            return math.sqrt(self.atom())
        if key in _DEGREES:
            return self.function(key)
        return float(key)

    def function(self, name: str) -> float:
        """A function of one or two values."""
        if self.peek() != "(":
            value = self.atom()
            if self.peek() == "°":
                self.take()
            return _DEGREES[name](value)
        self.take("(")
        arguments = [self.sum()]
        while self.peek() == ",":
            self.take(",")
            arguments.append(self.sum())
        self.take(")")
        return _DEGREES[name](*arguments)


def keyed_in(text: str) -> float:
    """Return what a calculator gives for a printed substitution."""
    calculator = Calculator(text)
    value = calculator.sum()
    if calculator.peek():
        raise ValueError(f"{calculator.tokens[calculator.at :]} left over in {text!r}")
    return value
