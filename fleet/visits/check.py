"""What a visit can be refused for: what it says itself, or things that do not exist. All faults at once."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from fleet.errors import Fault, Place
from fleet.rules.catalogue import Catalogue, ReadingSpec, Role
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingEntry, IncomingVisit

AHEAD = timedelta(minutes=10)  # clocks of phones differ; more than this is a mistake


@dataclass(frozen=True, slots=True)
class Register:
    """What exists at the boiler: roles by position, when it came to be, and the people known here."""

    since: datetime
    roles: Mapping[UUID, str]
    users: frozenset[UUID]
    catalogue: Catalogue


def faults(visit: IncomingVisit, register: Register, now: datetime) -> list[Fault]:
    """Return everything wrong with the visit by itself; an empty list if it may be written."""
    found = [*_times(visit, register, now), *_people(visit, register)]
    for number, entry in enumerate(visit.entries):
        found += _entry(entry, register, ("entries", number))
    return found


def _times(visit: IncomingVisit, register: Register, now: datetime) -> Iterator[Fault]:
    places: list[tuple[datetime, Place]] = [(visit.performed_at, ("performed_at",))]
    places += [(e.at, ("entries", n, "performed_at")) for n, e in enumerate(visit.entries)]
    for at, place in places:
        if at > now + AHEAD:
            yield Fault("in_the_future", f"This lies ahead of the server's time, {now.isoformat()}.", place)
        elif at < register.since:
            yield Fault("before_the_boiler", f"The boiler is on record since {register.since.isoformat()}.", place)
    for number, (earlier, later) in enumerate(zip(visit.entries, visit.entries[1:], strict=False), start=1):
        if later.at < earlier.at:
            yield Fault("out_of_order", "Entries stand in the order done.", ("entries", number, "performed_at"))


def _people(visit: IncomingVisit, register: Register) -> Iterator[Fault]:
    for number, person in enumerate(visit.people):
        if person.user is not None and person.user not in register.users:
            yield Fault("unknown_person", "No such person here.", ("people", number, "user"))


def _entry(entry: IncomingEntry, register: Register, place: Place) -> Iterable[Fault]:
    if entry.position is None or entry.position not in register.roles:
        return [Fault("unknown_position", "This boiler has no such position.", (*place, "position"))]
    role = register.catalogue.roles[register.roles[entry.position]]
    return _CHECKS[entry.act](entry, role, register.catalogue, place)


def _test(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
    procedure = catalogue.procedures.get(entry.code)
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
    elif spec.type == "number" and not _possible(spec, float(value)):
        yield Fault("not_possible", f"{spec.name} lies outside {spec.low:g} to {spec.high:g} {spec.unit}.", place)


def _possible(spec: ReadingSpec, value: float) -> bool:
    low, high = spec.low if spec.low is not None else -math.inf, spec.high if spec.high is not None else math.inf
    return math.isfinite(value) and low <= value <= high


def _is_number(value: Value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


_TYPES = {
    "bool": lambda value: isinstance(value, bool),
    "number": _is_number,
    "choice": lambda value: isinstance(value, str),
}


def _action(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
    if entry.code not in catalogue.actions:
        yield Fault("unknown_action", f"No action {entry.code!r}.", (*place, "action"))


def _observe(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
    seen = catalogue.observations.get(entry.code)
    if seen is None:
        yield Fault("unknown_observation", f"No observation {entry.code!r}.", (*place, "observe"))
    elif seen.roles and role.code not in seen.roles:
        yield Fault(
            "observation_does_not_fit", f"{seen.name} is not seen on a {role.name.lower()}.", (*place, "observe")
        )


def _fit(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
    kind = catalogue.kinds.get(entry.kind)
    if kind is None or kind.code not in role.kinds:
        yield Fault("device_does_not_fit", f"A {role.name.lower()} is not a {entry.kind!r}.", (*place, "with", "kind"))
        return
    yield from _values(entry, kind.attributes, (*place, "with"))


def _set(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
    known = frozenset().union(*(catalogue.kinds[k].attributes for k in role.kinds))
    yield from _values(entry, known, (*place, "set"))


def _values(entry: IncomingEntry, known: frozenset[str], place: Place) -> Iterator[Fault]:
    for name, value in entry.values.items():
        if name not in known:
            yield Fault("unknown_value", f"No value {name!r} here.", (*place, name))
        elif _is_number(value) and not math.isfinite(float(value or 0)):
            yield Fault("not_possible", f"{name} is no number.", (*place, name))


def _remove(entry: IncomingEntry, role: Role, catalogue: Catalogue, place: Place) -> Iterator[Fault]:
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
