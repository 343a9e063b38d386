"""One formula in three notations: plain text, spoken words, and a tree of parts for a typesetter."""

from __future__ import annotations

from typing import Any, Final

from truemile.working.formula import (
    OF_AN_ANGLE,
    Call,
    Negative,
    Node,
    Number,
    Power,
    Product,
    Quotient,
    Sum,
    Symbol,
)

MINUS: Final = "\N{MINUS SIGN}"
_LOWERED = str.maketrans("0123456789aehijklmnoprstuvx", "₀₁₂₃₄₅₆₇₈₉ₐₑₕᵢⱼₖₗₘₙₒₚᵣₛₜᵤᵥₓ")
_GREEK: Final = {"alpha": "α", "theta": "θ", "nu": "ν", "phi": "φ", "lam": "λ", "Delta": "Δ", "pi": "π"}
_RAISED: Final = {2: "²", 3: "³"}
_SPOKEN_FUNCTION: Final = {
    "sqrt": "the square root of",
    "abs": "the size of",
    "hypot": "the hypotenuse of",
    "sin": "sine",
    "cos": "cosine",
    "tan": "tangent",
    "asin": "the angle with sine",
    "atan2": "the angle towards",
}
_PRINTED_FUNCTION: Final = {"asin": "arcsin", "atan2": "angle"}

# How tightly each kind binds: what binds less tightly than its place needs parentheses.
_SUM, _PRODUCT, _POWER, _ATOM = range(1, 5)


def split_symbol(name: str) -> tuple[str, str]:
    """Return letter and subscript: ``V_1`` is V with 1, ``theta`` is θ.

    Examples
    --------
    >>> split_symbol("V_12"), split_symbol("theta")
    (('V', '12'), ('θ', ''))
    """
    letter, _, lowered = name.partition("_")
    return _GREEK.get(letter, letter), lowered


def symbol_text(name: str) -> str:
    """Return a symbol in plain text.

    Examples
    --------
    >>> symbol_text("V_12"), symbol_text("k_h"), symbol_text("theta_0")
    ('V₁₂', 'kₕ', 'θ₀')
    """
    letter, lowered = split_symbol(name)
    return letter + lowered.translate(_LOWERED)


def number_text(text: str) -> str:
    """Return a printed number with the true minus sign."""
    return text.replace("-", MINUS)


def formula_text(node: Node) -> str:
    """Return a formula in plain text.

    Examples
    --------
    >>> from truemile.working.formula import parse_formula
    >>> formula_text(parse_formula("60 * D / t_1")), formula_text(parse_formula("V / cos(9.0)"))
    ('60 × D / t₁', 'V / cos 9.0°')
    >>> formula_text(parse_formula("sqrt(a**2 + (b - c)**2) / (2 * d)"))
    '√(a² + (b − c)²) / (2 × d)'
    """
    return _text(node, 0)


def spoken(node: Node) -> str:
    """Return a formula in words, for a screen reader.

    Examples
    --------
    >>> from truemile.working.formula import parse_formula
    >>> spoken(parse_formula("60 * D / t_1"))
    '60 times D over t 1'
    """
    return _spoken(node, 0)


def parts(node: Node) -> list[Any]:
    """Return a formula as nested lists, each headed by its kind, for a typesetter to put in its own boxes.

    Notes
    -----
    ``num text``, ``sym letter subscript``, ``row part…`` (in line), ``op sign``, ``paren part``, ``frac above below``,
    ``sqrt part``, ``abs part``, ``pow part exponent``, ``fn name part…``, ``deg part``.
    """
    return _parts(node, 0)


def _binding(node: Node) -> int:
    match node:
        case Sum() | Negative():
            return _SUM
        case Product() | Quotient():
            return _PRODUCT
        case Power():
            return _POWER
        case Number() if node.negative:
            return _SUM
        case Number() | Symbol() | Call():
            return _ATOM


def _text(node: Node, place: int) -> str:
    inner = _bare_text(node)
    return f"({inner})" if _binding(node) < place else inner


def _bare_text(node: Node) -> str:
    match node:
        case Number(text):
            return number_text(text)
        case Symbol(name):
            return symbol_text(name)
        case Negative(of):
            return MINUS + _text(of, _PRODUCT)
        case Sum(terms):
            first, *rest = terms
            return _text(first[1], 0) + "".join(
                f" {'+' if sign > 0 else MINUS} {_text(term, _PRODUCT)}" for sign, term in rest
            )
        case Product(factors):
            return " × ".join(_factor_text(f, last=f is factors[-1], first=f is factors[0]) for f in factors)
        case Quotient(above, below):
            return f"{_factor_text(above, last=False, first=True)} / {_text(below, _POWER)}"
        case Power(of, exponent):
            return _text(of, _ATOM) + _RAISED.get(exponent, f"^{exponent}")
        case Call(name, args):
            return _call_text(name, args, tight=False)


def _factor_text(node: Node, *, last: bool, first: bool) -> str:
    """Keep cos(a) × V apart from cos (a × V), and a × (b / c) from a × b / c."""
    if isinstance(node, Call) and not last:
        return _call_text(node.name, node.args, tight=True)
    return _text(node, _PRODUCT if first else _POWER)


def _call_text(name: str, args: tuple[Node, ...], *, tight: bool) -> str:
    if name == "abs":
        return f"|{_text(args[0], 0)}|"
    degree = "°" if name in OF_AN_ANGLE and isinstance(args[0], Number) else ""
    inside = ", ".join(_text(arg, 0) for arg in args) + degree
    plain = len(args) == 1 and isinstance(args[0], Number | Symbol) and _binding(args[0]) == _ATOM
    if name == "sqrt":
        return f"√{inside}" if plain else f"√({inside})"
    printed = _PRINTED_FUNCTION.get(name, name)
    return f"{printed} {inside}" if plain and not tight else f"{printed}({inside})"


def _spoken(node: Node, place: int) -> str:
    inner = _bare_spoken(node)
    return f"open {inner} close" if _binding(node) < place else inner


def _bare_spoken(node: Node) -> str:
    match node:
        case Number(text):
            return text.replace("-", "minus ")
        case Symbol(name):
            return " ".join(part for part in split_symbol(name) if part)
        case Negative(of):
            return f"minus {_spoken(of, _PRODUCT)}"
        case Sum(terms):
            first, *rest = terms
            return _spoken(first[1], 0) + "".join(
                f" {'plus' if sign > 0 else 'minus'} {_spoken(term, _PRODUCT)}" for sign, term in rest
            )
        case Product(factors):
            return " times ".join(_spoken(factor, _PRODUCT) for factor in factors)
        case Quotient(above, below):
            return f"{_spoken(above, _PRODUCT)} over {_spoken(below, _POWER)}"
        case Power(of, exponent):
            return f"{_spoken(of, _ATOM)} {'squared' if exponent == 2 else f'to the power {exponent}'}"
        case Call(name, args):
            return f"{_SPOKEN_FUNCTION[name]} {' and '.join(_spoken(arg, _ATOM) for arg in args)}"


def _parts(node: Node, place: int) -> list[Any]:
    inner = _bare_parts(node)
    # A fraction stands by itself and a root or size encloses; only what is set in line needs parentheses.
    needs = _binding(node) < place and not (isinstance(node, Quotient) and place < _ATOM)
    return ["paren", inner] if needs else inner


def _bare_parts(node: Node) -> list[Any]:
    match node:
        case Number(text):
            return ["num", number_text(text)]
        case Symbol(name):
            return ["sym", *split_symbol(name)]
        case Negative(of):
            return ["row", ["op", MINUS], _parts(of, _PRODUCT)]
        case Sum(terms):
            row = [part for sign, term in terms[1:] for part in (_sign(sign), _parts(term, _PRODUCT))]
            return ["row", _parts(terms[0][1], 0), *row]
        case Product(factors):
            row = [part for factor in factors[1:] for part in (["op", "×"], _parts(factor, _PRODUCT))]
            return ["row", _parts(factors[0], _PRODUCT), *row]
        case Quotient(above, below):
            return ["frac", _parts(above, 0), _parts(below, 0)]
        case Power(of, exponent):
            return ["pow", _parts(of, _ATOM), str(exponent)]
        case Call(name, args):
            return _call_parts(name, args)


def _sign(sign: int) -> list[Any]:
    return ["op", "+" if sign > 0 else MINUS]


def _call_parts(name: str, args: tuple[Node, ...]) -> list[Any]:
    inside = [_parts(arg, 0) for arg in args]
    if name in {"sqrt", "abs"}:
        return [name, *inside]
    if name in OF_AN_ANGLE and isinstance(args[0], Number):
        inside = [["deg", *inside]]
    plain = len(args) == 1 and isinstance(args[0], Number | Symbol) and _binding(args[0]) == _ATOM
    if plain:
        return ["row", ["fn", _PRINTED_FUNCTION.get(name, name)], *inside]
    listed: list[Any] = [inside[0]]
    for each in inside[1:]:
        listed += [["op", ","], each]
    return ["row", ["fn", _PRINTED_FUNCTION.get(name, name)], ["paren", ["row", *listed]]]
