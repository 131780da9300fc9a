"""A visit as it arrives, with a validated shape: the form in which it is checked, hashed and written."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID, uuid5

from fleet.records.difference_store import as_json
from fleet.rules.values import Value
from fleet.rules.vocabulary import DATA_ACTS


@dataclass(frozen=True, slots=True)
class IncomingEntry:
    """One entry. `kind` and `values` describe a fitted device; `values` alone are values that are set."""

    act: str
    code: str
    position: UUID | None
    at: datetime
    phase: str = ""
    outcome: str = ""
    why: str = ""
    reason: str = ""
    readings: Mapping[str, Value] = field(default_factory=dict)
    kind: str = ""
    values: Mapping[str, Value] = field(default_factory=dict)
    device: UUID | None = None
    ref: str = ""

    @property
    def inner(self) -> tuple[str, ...]:
        """The path in the request to its position and device: acts on a place's device are nested under their name."""
        return (self.act,) if self.act in DATA_ACTS else ()


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who was there: a user of the site, or only a name."""

    user: UUID | None
    name: str = ""


@dataclass(frozen=True, slots=True)
class RegisterAnswer:
    """What a visit says of a role that the register leaves out: there (with its kind), none (and why), or not seen."""

    role: str
    answer: str
    kind: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PaperFile:
    """What tells the file of a paper from others: the file itself is not kept here."""

    name: str
    sha256: str
    size: int  # in bytes
    type: str


@dataclass(frozen=True, slots=True)
class IncomingPaper:
    """The paper of another body on which the entries of a visit rest, posted by whoever holds it."""

    body: str
    name: str
    number: str
    dated_on: date
    file: PaperFile


@dataclass(frozen=True, slots=True)
class IncomingPhotograph:
    """A picture that somebody took at the visit, of one of its entries or of the whole: its bytes follow later."""

    sha256: str
    size: int  # in bytes
    type: str
    entry: int | None = None


@dataclass(frozen=True, slots=True)
class IncomingVisit:
    """People at one boiler, once; with a `paper`, what that paper tells."""

    id: UUID
    boiler: UUID
    kind: str
    performed_at: datetime
    entries: tuple[IncomingEntry, ...]
    people: tuple[Person, ...] = ()
    call_for_heat: bool | None = None
    state_on_arrival: str = "unknown"
    left_as: str = ""
    leaving_checks: Mapping[str, object] = field(default_factory=dict)
    note: str = ""
    corrects: UUID | None = None
    reason: str = ""
    void: bool = False
    register_answers: tuple[RegisterAnswer, ...] = ()
    paper: IncomingPaper | None = None
    photographs: tuple[IncomingPhotograph, ...] = ()

    @property
    def digest(self) -> str:
        """The SHA-256 of the normalized content: equal for a repeat, different for other content under the same id."""
        content = json.dumps(_normalize_numbers(visit_as_json(self)), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(content.encode()).hexdigest()

    def entry_id(self, number: int) -> UUID:
        """Return the id of an entry. It follows from the visit's id, so a repeat makes the same rows."""
        return uuid5(self.id, f"entry {number}")

    def device_id(self, number: int) -> UUID | None:
        """Return the id of the device this entry fits: the sender's, or from visit and `ref`; None without one."""
        entry = self.entries[number]
        if not entry.kind:
            return None
        # Quoted, so that a ref "3" is not the device of entry 3.
        return entry.device or uuid5(self.id, f"device {entry.ref!r}" if entry.ref else f"device {number}")


def visit_as_json(visit: IncomingVisit) -> dict[str, object]:
    """Return the visit as JSON values; instants are in UTC."""
    content: dict[str, object] = {}
    for name in visit.__dataclass_fields__:
        value = getattr(visit, name)
        if name in ("register_answers", "paper", "photographs") and not value:
            continue  # visits posted before there were any keep their digests
        content[name] = [_entry_as_json(e) for e in value] if name == "entries" else as_json(value)
    return content


def _entry_as_json(entry: IncomingEntry) -> dict[str, object]:
    return {name: as_json(getattr(entry, name)) for name in entry.__dataclass_fields__}


def _normalize_numbers(value: object) -> object:
    """Return a value with integers as floats: 8 and 8.0 are the same reading."""
    if isinstance(value, Mapping):
        return {name: _normalize_numbers(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_normalize_numbers(inner) for inner in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
