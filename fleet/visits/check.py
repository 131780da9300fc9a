"""What a visit can be refused for: its own content, and references to things that do not exist. All faults at once."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from fleet.errors import Fault, Place
from fleet.portfolio.models import Device
from fleet.portfolio.sheet import measures, possible
from fleet.rules.catalogue import Catalogue, ReadingSpec, Role
from fleet.rules.values import Value
from fleet.rules.vocabulary import OCCUPANT_ACTS, EntryAct
from fleet.visits.incoming import IncomingEntry, IncomingVisit

AHEAD = timedelta(minutes=10)  # phones' clocks differ; more is a mistake

MOST_ENTRIES = 200


@dataclass(frozen=True, slots=True)
class Register:
    """What exists at a boiler: roles by position, its first day, the people known here, the catalogue.

    `devices` gives the kinds of existing devices whose ids the visit names, '' for another portfolio's.
    """

    since: datetime
    roles: Mapping[UUID, str]
    users: frozenset[UUID]
    catalogue: Catalogue
    devices: Mapping[UUID, str] = field(default_factory=dict)


def known_devices(visit: IncomingVisit, portfolio: UUID) -> dict[UUID, str]:
    """Return the kinds of existing devices whose ids the visit names; '' for another portfolio's."""
    found = Device.objects.filter(id__in=[e.device for e in visit.entries if e.device])
    return {d.id: d.kind_id if d.portfolio_id == portfolio else "" for d in found}


def faults(visit: IncomingVisit, register: Register, now: datetime) -> list[Fault]:
    """Return everything wrong with the visit by itself; an empty list if it may be written. `now` is server time."""
    if len(visit.entries) > MOST_ENTRIES:  # no further check of so many
        return [Fault("too_many", f"A visit has at most {MOST_ENTRIES} entries.", ("entries",))]
    found = [*_times(visit, register, now), *_people(visit, register), *_refs(visit), *_occupants(visit)]
    for number, entry in enumerate(visit.entries):
        found += _entry(entry, register, ("entries", number))
    return found


def _times(visit: IncomingVisit, register: Register, now: datetime) -> Iterator[Fault]:
    for at, place in _own_times(visit):
        if at > now + AHEAD:
            yield Fault("in_the_future", f"This lies ahead of the server's time, {now.isoformat()}.", place)
        elif at < register.since:
            yield Fault("before_the_boiler", f"The boiler is on record since {register.since.isoformat()}.", place)
    for number, (earlier, later) in enumerate(zip(visit.entries, visit.entries[1:], strict=False), start=1):
        if later.at < earlier.at:
            yield Fault("out_of_order", "Entries stand in the order done.", ("entries", number, "performed_at"))


def _own_times(visit: IncomingVisit) -> Iterator[tuple[datetime, Place]]:
    """Yield the different instants of the visit in order, each once, with its place in the request."""
    at = visit.performed_at
    yield at, ("performed_at",)
    for number, entry in enumerate(visit.entries):
        if entry.at != at:
            at = entry.at
            yield at, ("entries", number, "performed_at")


def _people(visit: IncomingVisit, register: Register) -> Iterator[Fault]:
    for number, person in enumerate(visit.people):
        if person.user is not None and person.user not in register.users:
            yield Fault("unknown_person", "No such person here.", ("people", number, "user"))


def _refs(visit: IncomingVisit) -> Iterator[Fault]:
    seen: set[str] = set()
    for number, entry in enumerate(visit.entries):
        if entry.ref in seen:
            yield Fault("double_ref", f"Another entry is {entry.ref!r} already.", ("entries", number, "ref"))
        seen |= {entry.ref} - {""}


def _occupants(visit: IncomingVisit) -> Iterator[Fault]:
    """Yield contradictions within the visit about which device is where.

    What was there before the visit depends on the times of other facts and is left to the rules.
    """
    held: dict[UUID | None, UUID | None] = {}
    for number, entry in enumerate(visit.entries):
        if entry.act not in OCCUPANT_ACTS:
            continue
        place: Place = ("entries", number, *entry.inner)
        spoken, occupant, device = entry.position in held, held.get(entry.position), visit.device_id(number)
        if entry.act == EntryAct.FIT and spoken and occupant:
            yield Fault("position_taken", "This visit has put a device there already.", (*place, "position"))
        if entry.act != EntryAct.FIT and spoken and occupant is None:
            yield Fault("position_empty", "This visit has emptied it already.", (*place, "position"))
        if device and device in {d for p, d in held.items() if p != entry.position}:
            yield Fault("device_twice", "This visit has put that device elsewhere.", (*place, "with", "id"))
        held[entry.position] = device


def _entry(entry: IncomingEntry, register: Register, place: Place) -> Iterable[Fault]:
    seen = register.catalogue.observations.get(entry.code) if entry.act == EntryAct.OBSERVE else None
    if entry.position is None and seen is not None and not seen.roles:
        return _seen_with(entry, place)
    if entry.position is None or entry.position not in register.roles:
        return [Fault("unknown_position", "This boiler has no such position.", (*place, *entry.inner, "position"))]
    role = register.catalogue.roles[register.roles[entry.position]]
    return _CHECKS[entry.act](entry, role, register, place)


def _test(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    procedure = register.catalogue.procedures.get(entry.code)
    if procedure is None:
        yield Fault("unknown_procedure", f"No procedure {entry.code!r}.", (*place, "test"))
        return
    if not procedure.kinds & role.kinds:
        yield Fault("procedure_does_not_fit", f"{procedure.name} is not for a {role.name.lower()}.", (*place, "test"))
    for name, value in entry.readings.items():
        spec = procedure.readings.get(name)
        here = (*place, "readings", name)
        if spec is None:
            yield Fault("unknown_reading", f"{procedure.name} has no reading {name!r}.", here)
        else:
            yield from _reading(spec, value, here)


def _reading(spec: ReadingSpec, value: Value, place: Place) -> Iterator[Fault]:
    if value is None:
        return
    if not _TYPES[spec.type](value):
        yield Fault("wrong_type", f"{spec.name} is a {spec.type}.", place)
    elif spec.type == "choice" and value not in spec.choices:
        yield Fault("unknown_choice", f"{spec.name} is one of {', '.join(spec.choices)}.", place)
    elif spec.type == "number" and not _within(spec, float(value)):
        yield Fault("not_possible", f"{spec.name} lies outside {spec.low:g} to {spec.high:g} {spec.unit}.", place)


def _within(spec: ReadingSpec, value: float) -> bool:
    low, high = spec.low if spec.low is not None else -math.inf, spec.high if spec.high is not None else math.inf
    return math.isfinite(value) and low <= value <= high


def _is_number(value: Value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


_TYPES = {
    "bool": lambda value: isinstance(value, bool),
    "number": _is_number,
    "choice": lambda value: isinstance(value, str),
}


def _action(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    if entry.code not in register.catalogue.actions:
        yield Fault("unknown_action", f"No action {entry.code!r}.", (*place, "action"))
    yield from _no_readings(entry, place)


def _observe(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    seen = register.catalogue.observations.get(entry.code)
    if seen is None:
        yield Fault("unknown_observation", f"No observation {entry.code!r}.", (*place, "observe"))
    elif seen.roles and role.code not in seen.roles:
        yield Fault(
            "observation_does_not_fit", f"{seen.name} is not seen on a {role.name.lower()}.", (*place, "observe")
        )
    yield from _seen_with(entry, place)


def _seen_with(entry: IncomingEntry, place: Place) -> Iterator[Fault]:
    """Yield the faults of an observation's readings: whether the burner fired, and for a found cause the manager."""
    for name, value in entry.readings.items():
        known = _WITH_SEEN.get(name) if name != "manager" or entry.code == "cause_found" else None
        if known is None:
            yield Fault("unknown_reading", f"An observation has no reading {name!r}.", (*place, "readings", name))
        elif not isinstance(value, known):
            yield Fault("wrong_type", f"{name} is a {known.__name__}.", (*place, "readings", name))
        elif name == "manager" and not str(value).strip():
            yield Fault("required", "Name the manager.", (*place, "readings", name))


_WITH_SEEN = {"burner_firing": bool, "manager": str}


def _no_readings(entry: IncomingEntry, place: Place) -> Iterator[Fault]:
    for name in entry.readings:
        yield Fault("unknown_reading", "Only a test has readings.", (*place, "readings", name))


def _fit(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    kind = register.catalogue.kinds.get(entry.kind)
    here = (*place, *entry.inner, "with")
    if kind is None or kind.code not in role.kinds:
        yield Fault("device_does_not_fit", f"A {role.name.lower()} is not a {entry.kind!r}.", (*here, "kind"))
        return
    if entry.device and register.devices.get(entry.device, entry.kind) != entry.kind:
        yield Fault("device_id_taken", "This id is another device's.", (*here, "id"))
    stamped = {name: value for name, value in entry.values.items() if value is not None}  # null: unreadable
    yield from _values(stamped, kind.attributes, here)


def _set(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    known = frozenset().union(*(register.catalogue.kinds[k].attributes for k in role.kinds)) - {"fitted_on"}
    here = (*place, *entry.inner)
    if not entry.values:
        yield Fault("nothing_set", "Name at least one value.", here)
    yield from _values(entry.values, known, here)


def _values(values: Mapping[str, Value], known: frozenset[str], place: Place) -> Iterator[Fault]:
    for name, value in values.items():
        here = (*place, name)
        if name not in known:
            yield Fault("unknown_value", f"No value {name!r} here.", here)
        elif not (_is_number(value) if measures(name) else isinstance(value, str)):
            yield Fault("wrong_type", f"{name} is a {'number' if measures(name) else 'word'}.", here)
        elif measures(name) and not possible(name, float(value or 0)):
            yield Fault("not_possible", f"{name} can't be {value:g}.", here)


def _remove(entry: IncomingEntry, role: Role, register: Register, place: Place) -> Iterator[Fault]:
    return iter(())


_CHECKS = {
    "test": _test,
    "action": _action,
    "observe": _observe,
    "replace": _fit,
    "fit": _fit,
    "remove": _remove,
    "set": _set,
}
