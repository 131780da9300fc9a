"""Forms of the register pages: their fields, the values the user last saw, the function they run, and faults."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from django.db import IntegrityError, OperationalError
from django.http import HttpRequest

from fleet.errors import Fault, Refused

MAX_FIELD_LENGTH = 2000
Texts = dict[str, str]
BUSY_MESSAGE = "Somebody else is working on this building right now. Try again in a moment."


@dataclass(slots=True)
class FormField:
    """One field: its label, text, choices and hint, and the faults of what was sent."""

    name: str
    label: str
    value: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    unit: str = ""
    type: str = "text"
    required: bool = False
    optional_note: str = "if known"  # shown beside the label of a field that may stay empty
    faults: list[str] = field(default_factory=list)
    id: str = ""  # set by its form

    @property
    def label_note(self) -> str:
        """What stands beside the label: the unit, and that the field may stay empty."""
        return ", ".join(filter(None, (self.unit, "" if self.required else self.optional_note)))

    @property
    def described_by(self) -> str:
        """The ids of the hint and the faults, for `aria-describedby`."""
        return " ".join(f"{self.id}-{part}" for part in ("hint" * bool(self.hint), "fault" * bool(self.faults)) if part)

    def fault_text(self, message: str) -> str:
        """Return the message with the field's label in place of the column code it begins with."""
        rest = message.removeprefix(f"{self.name} ")
        return message if rest == message else f"{self.label} {rest}"


@dataclass(slots=True)
class Form:
    """A form, folded until opened. `page_values` are the values on the page, compared before anything is written."""

    key: str
    title: str
    fields: list[FormField]
    run: Callable[[Texts, Texts], object]
    page_values: Texts = field(default_factory=dict)
    button: str = "Save"
    note: str = ""
    faults: list[str] = field(default_factory=list)
    open: bool = False

    def __post_init__(self) -> None:
        for form_field in self.fields:
            form_field.id = f"{self.key}-{form_field.name}"

    def submit(self, request: HttpRequest) -> int:
        """Run what was sent; return 200, or the status of the refusal, whose faults are stored in the form."""
        texts = {f.name: request.POST.get(f.name, "")[:MAX_FIELD_LENGTH] for f in self.fields}
        for form_field in self.fields:
            form_field.value = texts[form_field.name]
        original = {name: request.POST.get(f"was:{name}", "").replace("\r\n", "\n") for name in self.page_values}
        try:
            self.run(texts, original)
        except Refused as refused:
            self._note_faults(refused)
            return refused.status
        except (OperationalError, IntegrityError):  # a lock held too long, or the same change twice: nothing was saved
            self.faults, self.open = [BUSY_MESSAGE], True
            return 503
        return 200

    def _note_faults(self, refused: Refused) -> None:
        self.open = True
        fields_by_name = {f.name: f for f in self.fields}
        for fault in refused.faults:
            form_field = fields_by_name.get(str(fault.at[0])) if fault.at else None
            message = (
                fault.message
                if not fault.at
                else form_field.fault_text(fault.message)
                if form_field
                else _fault_with_name(fault)
            )
            (form_field.faults if form_field else self.faults).append(message)


def _fault_with_name(fault: Fault) -> str:
    return f"{fault.at[0]}: {fault.message}"


def find_sent_form(forms: Iterable[Form], request: HttpRequest) -> Form | None:
    """Return the submitted form; None if there is no such form."""
    key = request.POST.get("form", "")
    return next((form for form in forms if form.key == key), None)


def build_choices(options: Iterable[str], words: Callable[[str], str]) -> tuple[tuple[str, str], ...]:
    """Return choices as pairs of code and words."""
    return tuple((code, words(code)) for code in options)
