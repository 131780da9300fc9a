"""Forms of the register pages: their fields, the values the user last saw, the function they run, and faults."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import IntegrityError, OperationalError
from django.http import HttpRequest

from fleet.errors import Fault, Refused

LONGEST = 2000
Texts = dict[str, str]
BUSY = "Somebody else is working on this building just now. Try again in a moment."


@dataclass(slots=True)
class Field:
    """One field: its label, text, choices and hint, and the faults of what was sent."""

    name: str
    label: str
    value: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    unit: str = ""
    type: str = "text"
    required: bool = False
    left_out: str = "if known"  # shown beside the label of a field that may stay empty
    faults: list[str] = field(default_factory=list)

    def said(self, message: str) -> str:
        """Return the message with the field's label in place of the column code it begins with."""
        rest = message.removeprefix(f"{self.name} ")
        return message if rest == message else f"{self.label} {rest}"


@dataclass(slots=True)
class Form:
    """A form, folded until opened. `page_values` are the values on the page, compared before anything is written."""

    key: str
    title: str
    fields: list[Field]
    run: Callable[[Texts, Texts], Any]
    was: Texts = field(default_factory=dict)
    button: str = "Save"
    note: str = ""
    faults: list[str] = field(default_factory=list)
    open: bool = False

    def sent(self, request: HttpRequest) -> int:
        """Run what was sent; return 200, or the status of the refusal, whose faults are stored in the form."""
        given = {f.name: request.POST.get(f.name, "")[:LONGEST] for f in self.fields}
        for one in self.fields:
            one.value = given[one.name]
        was = {name: request.POST.get(f"was:{name}", "").replace("\r\n", "\n") for name in self.was}
        try:
            self.run(given, was)
        except Refused as refused:
            self._note(refused)
            return refused.status
        except (OperationalError, IntegrityError):  # a lock held too long, or the same change twice: nothing was saved
            self.faults, self.open = [BUSY], True
            return 503
        return 200

    def _note(self, refused: Refused) -> None:
        self.open = True
        named = {f.name: f for f in self.fields}
        for fault in refused.faults:
            place = named.get(str(fault.at[0])) if fault.at else None
            words = fault.message if not fault.at else place.said(fault.message) if place else _named(fault)
            (place.faults if place else self.faults).append(words)


def _named(fault: Fault) -> str:
    return f"{fault.at[0]}: {fault.message}"


def found(forms: Iterable[Form], request: HttpRequest) -> Form | None:
    """Return the submitted form; None if there is no such form."""
    key = request.POST.get("form", "")
    return next((form for form in forms if form.key == key), None)


def chosen(options: Iterable[str], words: Callable[[str], str]) -> tuple[tuple[str, str], ...]:
    """Return choices as pairs of code and words."""
    return tuple((code, words(code)) for code in options)


def only(given: Mapping[str, str], *names: str) -> Texts:
    """Return some of the texts, by name."""
    return {name: given[name] for name in names}
