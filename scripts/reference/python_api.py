"""A page for each module of the core, and one for each layer above it, from signatures and docstrings."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import truemile.core
from truemile import api

#: Layers above the core that are shown together on one page each, with what a reader should know first.
LAYERS = {
    "working": "The hand lines behind results.",
    "recordings": "Recorded instrument files, and the steady legs in them.",
    "workbook": "The skipper's data: what can be entered, asked and undone.",
    "plots": "Charts as plain Vega-Lite specifications, and as SVG or PNG.",
    "reports": "Sheets as PDF.",
}
_SECTION = re.compile(r"^(?P<name>[A-Z][A-Za-z ]+)\n-{3,}$", re.MULTILINE)
_CITED = re.compile(r"\[(?P<key>[A-Za-z0-9-]+)\]_")


def write() -> dict[str, str]:
    """Return the pages by name."""
    modules = {info.name: importlib.import_module(f"truemile.core.{info.name}") for info in _modules(truemile.core)}
    found = {f"python/{name}.md": _core_page(module) for name, module in modules.items()}
    for name, words in LAYERS.items():
        found[f"python/{name}.md"] = _layer_page(name, importlib.import_module(f"truemile.{name}"), words)
    found["python/api.md"] = _api_page(modules)
    found["python/index.md"] = _index(modules)
    return found


def _modules(package: ModuleType) -> Iterator[pkgutil.ModuleInfo]:
    return (info for info in pkgutil.iter_modules(package.__path__) if not info.name.startswith("_") and not info.ispkg)


def _index(modules: dict[str, ModuleType]) -> str:
    rows = "\n".join(f"| [`{name}`]({name}.md) | {_first(module)} |" for name, module in modules.items())
    layers = "\n".join(f"| [`truemile.{name}`]({name}.md) | {words} |" for name, words in LAYERS.items())
    return textwrap.dedent("""\
        # Python

        [Use it from Python](../../how-to/use-from-python.md) shows the usual way. Here is everything, module by module,
        from the code itself.

        ## truemile.api

        [`truemile.api`](api.md) gathers the names that most scripts need.

        ## truemile.core

        Pure computation: numbers in, numbers out; no files, clock, database or network.

        | module | |
        |---|---|
        {rows}

        ## The layers above

        | package | |
        |---|---|
        {layers}
        """).format(rows=rows, layers=layers)


def _api_page(modules: dict[str, ModuleType]) -> str:
    """Every name that the façade gathers, with where it comes from and what it is."""
    rows = []
    for name in api.__all__:
        value = getattr(api, name)
        origin = value.__module__
        layer, _, module = origin.removeprefix("truemile.").partition(".")
        page = f"{module}.md" if layer == "core" and module in modules else f"{layer}.md"
        rows.append(f"| [`{name}`]({page}#{name.lower()}) | `{origin}` | {_inline(_summary(value), in_table=True)} |")
    head = f"# truemile.api\n\n{_docstring(inspect.getdoc(api) or '', examples=True)}\n"
    return head + "| name | comes from | |\n|---|---|---|\n" + "\n".join(rows) + "\n"


def _core_page(module: ModuleType) -> str:
    name = module.__name__
    head = f"# {name}\n\n{_prose(inspect.getdoc(module) or '')}\n"
    members = list(_members(module))
    body = "\n".join(_member(each, 2) for each in members)
    imports = _imports(module, members)
    if imports:
        lines = "\n".join(f">>> {line}" for line in imports)
        head += f"\nThe examples on this page begin with:\n\n```pycon\n{lines}\n\n```\n"
    return f"{head}\n{_constants(module, 2)}{body}"


def _layer_page(name: str, package: ModuleType, words: str) -> str:
    parts = [f"# truemile.{name}\n\n{words}\n"]
    for info in _modules(package):
        module = importlib.import_module(f"{package.__name__}.{info.name}")
        members = list(_members(module))
        if members:
            parts.append(f"## {module.__name__}\n\n{_prose(inspect.getdoc(module) or '')}\n")
            parts += [_member(each, 3, examples=False) for each in members]
    return "\n".join(parts)


@dataclass(frozen=True, slots=True)
class Member:
    """One public function or class of a module."""

    name: str
    value: Any

    @property
    def doc(self) -> str:
        """Its own docstring, cleaned; empty where it is the one that dataclasses make up."""
        doc = self.value.__doc__ or ""
        return "" if doc.startswith(f"{self.name}(") else inspect.cleandoc(doc)


def _members(module: ModuleType) -> Iterator[Member]:
    order = _order(module)
    own = {
        name: value
        for name, value in vars(module).items()
        if not name.startswith("_")
        and (inspect.isfunction(value) or inspect.isclass(value))
        and value.__module__ == module.__name__
    }
    for name in sorted(own, key=lambda name: order.get(name, len(order))):
        yield Member(name, own[name])


def _imports(module: ModuleType, members: list[Member]) -> list[str]:
    """Return what a reader must import before the examples of a module run."""
    examples = [each for member in members for each in doctest.DocTestParser().get_examples(member.doc)]
    used = {
        node.id
        for example in examples
        for node in ast.walk(ast.parse(example.source))
        if isinstance(node, ast.Name) and node.id in vars(module)
    }
    plain = sorted(name for name in used if inspect.ismodule(getattr(module, name)))
    origins: dict[str, list[str]] = {}
    for name in sorted(used.difference(plain)):
        origins.setdefault(getattr(getattr(module, name), "__module__", module.__name__), []).append(name)
    return [_import_of(name, getattr(module, name).__name__) for name in plain] + [
        f"from {origin} import {', '.join(names)}" for origin, names in sorted(origins.items())
    ]


def _import_of(name: str, whole: str) -> str:
    return f"import {name}" if name == whole else f"import {whole} as {name}"


def _order(module: ModuleType) -> dict[str, int]:
    tree = ast.parse(inspect.getsource(module))
    names = [node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)]
    return {name: place for place, name in enumerate(dict.fromkeys(names))}


def _member(member: Member, level: int, *, examples: bool = True) -> str:
    kind = "class " if inspect.isclass(member.value) else ""
    parts = [f"{'#' * level} {member.name}\n", f"```text\n{kind}{member.name}{_signature(member.value)}\n```\n"]
    if member.doc:
        parts.append(_docstring(member.doc, examples=examples))
    if inspect.isclass(member.value):
        parts += _inside(member.value)
    return "\n".join(parts)


def _signature(value: Callable[..., object]) -> str:
    if inspect.isclass(value) and (
        issubclass(value, str | Exception) or not hasattr(value, "__init__") or _is_form(value)
    ):
        return ""
    try:
        signature = inspect.signature(value)
    except (TypeError, ValueError):
        return ""
    parts = [_parameter(each) for each in signature.parameters.values()]
    bare, star = [], False
    for each, text in zip(signature.parameters.values(), parts, strict=True):
        if each.kind is each.KEYWORD_ONLY and not star:
            bare.append("*")
            star = True
        star = star or each.kind is each.VAR_POSITIONAL
        bare.append(text)
    returns = "" if inspect.isclass(value) or signature.return_annotation is signature.empty else _returns(signature)
    line = f"({', '.join(bare)}){returns}"
    return line if len(line) < 80 else "(\n    " + ",\n    ".join(bare) + f"\n){returns}"


def _returns(signature: inspect.Signature) -> str:
    return f" -> {_annotation(signature.return_annotation)}"


def _is_form(value: type) -> bool:
    return hasattr(value, "model_fields")


def _parameter(each: inspect.Parameter) -> str:
    stars = "*" if each.kind is each.VAR_POSITIONAL else "**" if each.kind is each.VAR_KEYWORD else ""
    text = f"{stars}{each.name}"
    if each.annotation is not each.empty:
        text += f": {_annotation(each.annotation)}"
    if each.default is not each.empty:
        text += f" = {_default(each.default)}"
    return text


def _default(value: object) -> str:
    if callable(value):
        return getattr(value, "__name__", "…")
    text = str(value) if "Enum" in type(type(value)).__name__ else repr(value)
    return "…" if " at 0x" in text or "<factory>" in text else text


def _annotation(value: object) -> str:
    return value if isinstance(value, str) else getattr(value, "__name__", str(value))


def _inside(kind: type) -> list[str]:
    """Values of an enumeration, then properties and methods with their first sentence."""
    members = getattr(kind, "__members__", None)
    parts = []
    if members:
        parts.append("".join(f"- `{name}`: `{value.value}`\n" for name, value in members.items()))
    rows = []
    for name, value in vars(kind).items():
        if name.startswith("_") or name in (members or {}) or name == "model_config":
            continue
        function = value.fget if isinstance(value, property) else getattr(value, "__func__", value)
        if not inspect.isfunction(function):
            continue
        call = name if isinstance(value, property) else f"{name}()"
        rows.append(f"| `{call}` | {_inline(_summary(function), in_table=True)} |")
    if rows:
        parts.append("| property or method | |\n|---|---|\n" + "\n".join(rows) + "\n")
    return parts


def _constants(module: ModuleType, level: int) -> str:
    """Public constants that carry a comment of their own."""
    lines = inspect.getsource(module).splitlines()
    rows = []
    said: list[str] = []
    for line in lines:
        if line.startswith("#: "):
            said.append(line[3:].strip())
            continue
        match = re.match(r"(?P<name>[A-Z][A-Z0-9_]*)\b.*=", line)
        if match and said and isinstance(getattr(module, match["name"], None), int | float | str | tuple):
            value = repr(getattr(module, match["name"]))
            shown = value if len(value) <= 30 else "…"
            rows.append(f"| `{match['name']}` | `{shown}` | {_inline(' '.join(said), in_table=True)} |")
        said = []
    if not rows:
        return ""
    return f"{'#' * level} Constants\n\n| name | value | |\n|---|---|---|\n" + "\n".join(rows) + "\n\n"


def _first(module: ModuleType) -> str:
    return _inline((inspect.getdoc(module) or "").split("\n\n")[0].replace("\n", " "), in_table=True)


def _summary(function: Callable[..., object]) -> str:
    return inspect.cleandoc(function.__doc__ or "").split("\n\n")[0].replace("\n", " ")


def _docstring(doc: str, *, examples: bool) -> str:
    """Turn the sections of a docstring into Markdown."""
    pieces = _SECTION.split(doc)
    parts = [_prose(pieces[0])]
    for name, text in zip(pieces[1::2], pieces[2::2], strict=True):
        if name == "Examples":
            if examples:
                parts.append(f"```pycon\n{text.strip()}\n\n```\n")
        elif name in {"Parameters", "Attributes", "Raises", "Returns"}:
            parts.append(f"**{name}**\n\n{_items(text)}")
        else:
            parts.append(f"**{name}**\n\n{_prose(text)}")
    return "\n".join(parts)


def _items(text: str) -> str:
    """Names at the margin, what they are indented below."""
    items: list[tuple[str, list[str]]] = []
    for line in text.strip("\n").splitlines():
        if line and not line.startswith(" "):
            items.append((line.strip(), []))
        elif line.strip() and items:
            items[-1][1].append(line.strip())
    return "".join(f"- `{name}`{': ' if words else ''}{_inline(' '.join(words))}\n" for name, words in items)


def _prose(text: str) -> str:
    """Paragraphs; a block behind ``::``, or a table ruled with =, stays as it was typed."""
    found: list[str] = []
    for block in re.split(r"\n{2,}(?=\S)", text.strip("\n")):
        lead, colons, literal = block.partition("::\n")
        if colons:
            words = [_inline(lead.strip()) + ":"] if lead.strip() else []
            found += [*words, f"```text\n{textwrap.dedent(literal).strip(chr(10))}\n```"]
        elif block.startswith("==="):
            found.append(f"```text\n{block}\n```")
        else:
            found.append(_inline(block))
    return "\n\n".join(found) + "\n"


def _inline(text: str, *, in_table: bool = False) -> str:
    text = re.sub(r"``(.+?)``", r"`\1`", text)
    text = _CITED.sub(lambda match: f"[{match['key']}](../../references.md#{match['key'].lower()})", text)
    return text.replace("|", "\\|") if in_table else text
