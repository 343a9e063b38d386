"""A formula of hand working: written once as arithmetic in symbols, then read, worked out and put into numbers.

The language is a small part of Python's arithmetic: numbers, symbols such as ``V_1``, ``+ - * / **``, parentheses and
the functions of `FUNCTIONS`. Angles are in degrees.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NoReturn

from truemile.core.errors import ReadingError

_Function = Callable[..., float]

#: What a hand calculator has; angles in degrees.
FUNCTIONS: Final[dict[str, tuple[int, _Function]]] = {
    "sqrt": (1, math.sqrt),
    "abs": (1, abs),
    "hypot": (2, math.hypot),
    "sin": (1, lambda a: math.sin(math.radians(a))),
    "cos": (1, lambda a: math.cos(math.radians(a))),
    "tan": (1, lambda a: math.tan(math.radians(a))),
    "asin": (1, lambda x: math.degrees(math.asin(x))),
    "atan2": (2, lambda y, x: math.degrees(math.atan2(y, x))),
}
#: Functions whose argument is an angle in degrees.
OF_AN_ANGLE: Final = frozenset({"sin", "cos", "tan"})
_LONGEST = 20_000


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is printed, with ASCII minus and its trailing zeros."""

    text: str

    @property
    def negative(self) -> bool:
        """True below zero."""
        return self.text.startswith("-")


@dataclass(frozen=True, slots=True)
class Symbol:
    """A symbol that an earlier line gave a value."""

    name: str


@dataclass(frozen=True, slots=True)
class Negative:
    """Minus something."""

    of: Node


@dataclass(frozen=True, slots=True)
class Sum:
    """Terms added up, each with its sign."""

    terms: tuple[tuple[int, Node], ...]


@dataclass(frozen=True, slots=True)
class Product:
    """Factors multiplied from left to right."""

    factors: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Quotient:
    """One thing divided by another."""

    above: Node
    below: Node


@dataclass(frozen=True, slots=True)
class Power:
    """Something raised to a whole power."""

    of: Node
    exponent: int


@dataclass(frozen=True, slots=True)
class Call:
    """A function of the calculator."""

    name: str
    args: tuple[Node, ...]


Node = Number | Symbol | Negative | Sum | Product | Quotient | Power | Call


@lru_cache(maxsize=4096)
def parse_formula(text: str) -> Node:
    """Read a formula.

    Raises
    ------
    ReadingError
        If it is not arithmetic in symbols and numbers.

    Examples
    --------
    >>> symbols_in(parse_formula("60 * D / t_1"))
    ('D', 't_1')
    """
    if len(text) > _LONGEST:
        _refuse(text)
    try:
        tree = ast.parse(text, mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        _refuse(text)
    return _node(tree, text)


def symbols_in(node: Node) -> tuple[str, ...]:
    """Return the symbols of a formula in the order in which they are met, each once."""
    found: dict[str, None] = {}
    _collect(node, found)
    return tuple(found)


def work_out(node: Node, values: Mapping[str, float]) -> float:
    """Return the value of a formula for given values of its symbols.

    Examples
    --------
    >>> round(work_out(parse_formula("V / cos(a)"), {"V": 5.83, "a": 9.0}), 2)
    5.9
    """
    match node:
        case Number(text):
            return float(text)
        case Symbol(name):
            return values[name]
        case Negative(of):
            return -work_out(of, values)
        case Sum(terms):
            return math.fsum(sign * work_out(term, values) for sign, term in terms)
        case Product(factors):
            return math.prod(work_out(factor, values) for factor in factors)
        case Quotient(above, below):
            return work_out(above, values) / work_out(below, values)
        case Power(of, exponent):
            return float(work_out(of, values) ** exponent)
        case Call(name, args):
            return FUNCTIONS[name][1](*(work_out(arg, values) for arg in args))


def put_in(node: Node, printed: Mapping[str, str]) -> Node:
    """Return the formula with the printed numbers in place of its symbols."""
    match node:
        case Number():
            return node
        case Symbol(name):
            return Number(printed[name])
        case Negative(of):
            return Negative(put_in(of, printed))
        case Sum(terms):
            return Sum(tuple((sign, put_in(term, printed)) for sign, term in terms))
        case Product(factors):
            return Product(tuple(put_in(factor, printed) for factor in factors))
        case Quotient(above, below):
            return Quotient(put_in(above, printed), put_in(below, printed))
        case Power(of, exponent):
            return Power(put_in(of, printed), exponent)
        case Call(name, args):
            return Call(name, tuple(put_in(arg, printed) for arg in args))


def _collect(node: Node, found: dict[str, None]) -> None:
    match node:
        case Symbol(name):
            found[name] = None
        case Negative(of) | Power(of, _):
            _collect(of, found)
        case Sum(terms):
            for _, term in terms:
                _collect(term, found)
        case Product(parts) | Call(_, parts):
            for part in parts:
                _collect(part, found)
        case Quotient(above, below):
            _collect(above, found)
            _collect(below, found)
        case Number():
            pass


def _refuse(text: str) -> NoReturn:
    raise ReadingError(
        "formula",
        text,
        "a line of working is arithmetic in numbers and the symbols of lines above",
        f"Use + - * / **, parentheses and {', '.join(FUNCTIONS)}.",
    )


def _node(tree: ast.expr, text: str) -> Node:
    match tree:
        case ast.Constant(value=int() | float() as value) if not isinstance(value, bool):
            return Number(ast.get_source_segment(text, tree) or repr(value))
        case ast.Name(id=name):
            return Symbol(name)
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return Negative(_node(operand, text))
        case ast.BinOp(op=ast.Add() | ast.Sub()):
            return _sum(tree, text)
        case ast.BinOp():
            return _binary(tree, text)
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in FUNCTIONS:
            if len(args) == FUNCTIONS[name][0]:
                return Call(name, tuple(_node(arg, text) for arg in args))
    _refuse(text)


def _sum(tree: ast.expr, text: str) -> Sum:
    """Flatten a + b - c, which the parser nests to the left, so that a long sum needs no deep recursion."""
    terms: list[tuple[int, Node]] = []
    while isinstance(tree, ast.BinOp) and isinstance(tree.op, ast.Add | ast.Sub):
        terms.append((1 if isinstance(tree.op, ast.Add) else -1, _node(tree.right, text)))
        tree = tree.left
    terms.append((1, _node(tree, text)))
    return Sum(tuple(reversed(terms)))


def _binary(tree: ast.BinOp, text: str) -> Node:
    left, right = _node(tree.left, text), _node(tree.right, text)
    match tree.op:
        case ast.Mult():
            return Product((*left.factors, right)) if isinstance(left, Product) else Product((left, right))
        case ast.Div():
            return Quotient(left, right)
        case ast.Pow() if isinstance(right, Number) and right.text.isdecimal():
            return Power(left, int(right.text))
    _refuse(text)
