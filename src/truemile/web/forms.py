"""Forms as data: what is asked, what was typed, and which fault stands at which field."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from truemile.core.errors import NavigationError
from truemile.web.errors import faults_of

Kind = Literal["text", "number", "choice", "tick", "file", "note", "date", "hidden"]


@dataclass(frozen=True, slots=True)
class Upload:
    """A file as it came."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Typed:
    """What a form brought: texts as typed, and files."""

    values: Mapping[str, str]
    files: Mapping[str, Upload] = dataclasses.field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return what was typed in a field, without the blanks around it."""
        return self.values.get(name, "").strip()

    def ticked(self, name: str) -> bool:
        """Tell whether a box was ticked."""
        return bool(self.text(name))

    def only(self, names: Iterable[str]) -> dict[str, str]:
        """Return the texts of these fields, leaving out what was left empty."""
        return {name: self.text(name) for name in names if self.text(name)}


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was refused, with everything typed in it."""

    form: str
    typed: Typed
    error: NavigationError


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the answers to choose from."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class Field:
    """One question of a form.

    Parameters
    ----------
    name
        Name under which it is sent.
    label
        The question.
    kind
        How it is answered.
    hint
        One line under the label, mostly an example.
    value
        What stands in it.
    choices
        The answers of a ``choice``.
    required
        Whether it must be filled.
    more
        Folded under "more" because the default mostly serves.
    faults
        What is wrong with it.
    """

    name: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    value: str = ""
    choices: tuple[Choice, ...] = ()
    required: bool = False
    more: bool = False
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Summary:
    """A fault in the list above a form, with the field it points to (empty if to none)."""

    field: str
    words: str


@dataclass(frozen=True, slots=True)
class Form:
    """A form on a page.

    Parameters
    ----------
    name
        Unique on the page; begins the identifiers of its fields.
    action
        Address it is sent to.
    send
        What the button says.
    fields
        The questions.
    title
        Heading; empty if the page has one already.
    method
        ``post`` to change something, ``get`` to ask.
    more
        What the folded part is called.
    faults
        Everything wrong, for the list above.
    quiet
        The button is the lesser one of the page.
    error
        What it was refused with.
    """

    name: str
    action: str
    send: str
    fields: tuple[Field, ...]
    title: str = ""
    method: Literal["post", "get"] = "post"
    more: str = "More"
    faults: tuple[Summary, ...] = ()
    quiet: bool = False
    error: NavigationError | None = None

    @property
    def has_files(self) -> bool:
        """Whether files are sent, which needs another encoding."""
        return any(item.kind == "file" for item in self.fields)

    @property
    def folded(self) -> tuple[Field, ...]:
        """The questions under "more"."""
        return tuple(item for item in self.fields if item.more)

    @property
    def unfolded(self) -> bool:
        """Whether the folded part must stand open, because a fault is in it."""
        return any(item.faults for item in self.folded)

    def filled(self, values: Mapping[str, str]) -> Form:
        """Return the form with these values in it."""
        fields = tuple(
            dataclasses.replace(item, value=_kept(item, values)) if item.kind != "file" else item
            for item in self.fields
        )
        return dataclasses.replace(self, fields=fields)

    def faulted(self, error: NavigationError) -> Form:
        """Return the form with the faults of an error at their fields and in the list above."""
        names = [item.name for item in self.fields if item.kind != "hidden"]
        placed = [(field_for(fault.field, names), fault) for fault in faults_of(error)]
        fields = tuple(
            dataclasses.replace(item, faults=tuple(words_of(fault) for name, fault in placed if name == item.name))
            for item in self.fields
        )
        faults = tuple(Summary(name, words_of(fault, self._label(name))) for name, fault in placed)
        return dataclasses.replace(self, fields=fields, faults=faults, error=error)

    def after(self, refused: Refused | None) -> Form:
        """Return the form as it must be shown after it was refused; itself if it was not."""
        return self if refused is None else self.filled(refused.typed.values).faulted(refused.error)

    def _label(self, name: str) -> str:
        return next((item.label for item in self.fields if item.name == name), "")


def _kept(item: Field, values: Mapping[str, str]) -> str:
    if item.kind == "tick":
        return values.get(item.name, "")
    return values.get(item.name, item.value)


def words_of(fault: NavigationError, label: str = "") -> str:
    """Say a fault at its field, which needs no name there; with the label of the field elsewhere."""
    given = "nothing was given" if fault.given in (None, "") else f"“{fault.given}” was given"
    words = f"{given}, but {fault.allowed}. {fault.remedy}"
    return f"{label}: {words}" if label else words[0].upper() + words[1:]


#: What core and workbook call a thing, where a form asks for it by another name.
_ASKED_AS: Final[Mapping[str, Sequence[str]]] = {
    "elapsed_s": ("elapsed", "started", "stopped"),
    "started_at": ("started",),
    "speed_readings_kn": ("speed_readings", "readings"),
    "log_start_nm": ("log_start",),
    "log_stop_nm": ("log_stop",),
    "heading_compass_deg": ("heading", "compass_course"),
    "engine_rpm": ("rpm",),
    "length_nm": ("length",),
    "precision_nm": ("precision",),
    "course_true_deg": ("course_true",),
    "setting": ("value",),
}


def field_for(path: str, names: Sequence[str]) -> str:
    """Return the field of a form that an error's path means, or an empty text.

    Examples
    --------
    >>> field_for("runs[1].elapsed_s", ["direction", "elapsed"])
    'elapsed'
    """
    tail = re.sub(r"\[\d+\]", "", path)
    for candidate in (path, tail, tail.rpartition(".")[2]):
        if candidate in names:
            return candidate
        for other in _ASKED_AS.get(candidate, ()):
            if other in names:
                return other
    return ""
