"""What a visit can be refused for: its own content, and references to things that do not exist. All faults at once."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from fleet.errors import Fault, FaultPath
from fleet.portfolio.models import Device
from fleet.rules.catalogue import Catalogue, ReadingSpec, RoleSpec
from fleet.rules.values import Value
from fleet.rules.vocabulary import OCCUPANT_ACTS, EntryAct
from fleet.sheets.register_sheet import is_measured, is_possible
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from fleet.visits.paper_check import paper_faults
from fleet.visits.photograph_check import photograph_faults

MAX_CLOCK_AHEAD = timedelta(minutes=10)  # phones' clocks differ; more is a mistake

MAX_ENTRIES = 200


@dataclass(frozen=True, slots=True)
class BoilerRegister:
    """What exists at a boiler: roles by position, its first day and zone, the people known here, the catalogue.

    `devices` gives the kinds of existing devices whose ids the visit names, '' for another portfolio's.
    """

    since: datetime
    zone: str
    roles: Mapping[UUID, str]
    users: frozenset[UUID]
    catalogue: Catalogue
    devices: Mapping[UUID, str] = field(default_factory=dict)


def known_devices(visit: IncomingVisit, portfolio: UUID) -> dict[UUID, str]:
    """Return the kinds of existing devices whose ids the visit names; '' for another portfolio's."""
    devices = Device.objects.filter(id__in=[e.device for e in visit.entries if e.device])
    return {d.id: d.kind_id if d.portfolio_id == portfolio else "" for d in devices}


def visit_faults(visit: IncomingVisit, register: BoilerRegister, now: datetime) -> list[Fault]:
    """Return everything wrong with the visit by itself; an empty list if it may be written. `now` is server time."""
    if len(visit.entries) > MAX_ENTRIES:  # no further check of so many
        return [Fault("too_many", f"A visit can have at most {MAX_ENTRIES} entries.", ("entries",))]
    faults = [
        *_time_faults(visit, register, now),
        *_people_faults(visit, register),
        *_ref_faults(visit),
        *_occupant_faults(visit),
        *photograph_faults(visit),
        *paper_faults(
            visit,
            catalogue=register.catalogue,
            roles=register.roles,
            since=register.since,
            zone=register.zone,
            now=now + MAX_CLOCK_AHEAD,
        ),
    ]
    for number, entry in enumerate(visit.entries):
        faults += _entry_faults(entry, register, ("entries", number))
    return faults


def _time_faults(visit: IncomingVisit, register: BoilerRegister, now: datetime) -> Iterator[Fault]:
    for at, place in _stated_times(visit):
        if at > now + MAX_CLOCK_AHEAD:
            yield Fault("in_the_future", f"This is later than the server's time, {now.isoformat()}.", place)
        elif at < register.since:
            yield Fault(
                "before_the_boiler", f"The boiler has been on record only since {register.since.isoformat()}.", place
            )
    for number, (earlier, later) in enumerate(zip(visit.entries, visit.entries[1:], strict=False), start=1):
        if later.at < earlier.at:
            yield Fault(
                "out_of_order", "Entries must be in the order they were done.", ("entries", number, "performed_at")
            )


def _stated_times(visit: IncomingVisit) -> Iterator[tuple[datetime, FaultPath]]:
    """Yield the different instants of the visit in order, each once, with its place in the request."""
    at = visit.performed_at
    yield at, ("performed_at",)
    for number, entry in enumerate(visit.entries):
        if entry.at != at:
            at = entry.at
            yield at, ("entries", number, "performed_at")


def _people_faults(visit: IncomingVisit, register: BoilerRegister) -> Iterator[Fault]:
    for number, person in enumerate(visit.people):
        if person.user is not None and person.user not in register.users:
            yield Fault("unknown_person", "Person not found.", ("people", number, "user"))


def _ref_faults(visit: IncomingVisit) -> Iterator[Fault]:
    known_refs: set[str] = set()
    for number, entry in enumerate(visit.entries):
        if entry.ref in known_refs:
            yield Fault("double_ref", f"Another entry already has the ref {entry.ref!r}.", ("entries", number, "ref"))
        known_refs |= {entry.ref} - {""}


def _occupant_faults(visit: IncomingVisit) -> Iterator[Fault]:
    """Yield contradictions within the visit about which device is where.

    What was there before the visit depends on the times of other facts and is left to the rules.
    """
    occupants: dict[UUID | None, UUID | None] = {}
    for number, entry in enumerate(visit.entries):
        if entry.act not in OCCUPANT_ACTS:
            continue
        place: FaultPath = ("entries", number, *entry.inner)
        spoken, occupant, device = entry.position in occupants, occupants.get(entry.position), visit.device_id(number)
        if entry.act == EntryAct.FIT and spoken and occupant:
            yield Fault("position_taken", "This visit has already fitted a device there.", (*place, "position"))
        if entry.act != EntryAct.FIT and spoken and occupant is None:
            yield Fault("position_empty", "This visit has already removed the device there.", (*place, "position"))
        if device and device in {d for p, d in occupants.items() if p != entry.position}:
            yield Fault("device_twice", "This visit has already fitted that device elsewhere.", (*place, "with", "id"))
        occupants[entry.position] = device


def _entry_faults(entry: IncomingEntry, register: BoilerRegister, place: FaultPath) -> Iterable[Fault]:
    observation = register.catalogue.observations.get(entry.code) if entry.act == EntryAct.OBSERVE else None
    if entry.position is None and observation is not None and not observation.roles:
        return _observation_reading_faults(entry, place)
    if entry.position is None or entry.position not in register.roles:
        return [Fault("unknown_position", "This boiler has no such position.", (*place, *entry.inner, "position"))]
    role = register.catalogue.roles[register.roles[entry.position]]
    return _CHECKS[entry.act](entry, role, register, place)


def _test_faults(entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath) -> Iterator[Fault]:
    procedure = register.catalogue.procedures.get(entry.code)
    if procedure is None:
        yield Fault("unknown_procedure", f"There is no procedure {entry.code!r}.", (*place, "test"))
        return
    if not procedure.kinds & role.kinds:
        yield Fault(
            "procedure_does_not_fit", f"{procedure.name} cannot be done on a {role.name.lower()}.", (*place, "test")
        )
    for name, value in entry.readings.items():
        spec = procedure.readings.get(name)
        reading_place = (*place, "readings", name)
        if spec is None:
            yield Fault("unknown_reading", f"{procedure.name} has no reading {name!r}.", reading_place)
        else:
            yield from _reading_faults(spec, value, reading_place)


def _reading_faults(spec: ReadingSpec, value: Value, place: FaultPath) -> Iterator[Fault]:
    if value is None:
        return
    if not _TYPES[spec.type](value):
        yield Fault("wrong_type", f"{spec.name} must be a {spec.type}.", place)
    elif spec.type == "choice" and value not in spec.choices:
        yield Fault("unknown_choice", f"{spec.name} must be one of {', '.join(spec.choices)}.", place)
    elif spec.type == "number" and not _is_within(spec, float(value)):
        yield Fault("not_possible", f"{spec.name} is outside {spec.low:g} to {spec.high:g} {spec.unit}.", place)


def _is_within(spec: ReadingSpec, value: float) -> bool:
    low, high = spec.low if spec.low is not None else -math.inf, spec.high if spec.high is not None else math.inf
    return math.isfinite(value) and low <= value <= high


def _is_number(value: Value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


_TYPES: Mapping[str, Callable[[Value], bool]] = {
    "bool": lambda value: isinstance(value, bool),
    "number": _is_number,
    "choice": lambda value: isinstance(value, str),
}


def _action_faults(entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath) -> Iterator[Fault]:
    if entry.code not in register.catalogue.actions:
        yield Fault("unknown_action", f"There is no action {entry.code!r}.", (*place, "action"))
    yield from _unexpected_reading_faults(entry, place)


def _observation_faults(
    entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath
) -> Iterator[Fault]:
    observation = register.catalogue.observations.get(entry.code)
    if observation is None:
        yield Fault("unknown_observation", f"There is no observation {entry.code!r}.", (*place, "observe"))
    elif observation.roles and role.code not in observation.roles:
        yield Fault(
            "observation_does_not_fit",
            f"{observation.name} cannot be seen on a {role.name.lower()}.",
            (*place, "observe"),
        )
    yield from _observation_reading_faults(entry, place)


def _observation_reading_faults(entry: IncomingEntry, place: FaultPath) -> Iterator[Fault]:
    """Yield the faults of an observation's readings.

    Whether the burner fired; of a cause that was found the manager, of one that was not what was looked for.
    """
    for name, value in entry.readings.items():
        is_asked = entry.code == _READINGS_OF.get(name, entry.code)
        reading_type = _OBSERVATION_READINGS.get(name) if is_asked else None
        if reading_type is None:
            yield Fault("unknown_reading", f"An observation has no reading {name!r}.", (*place, "readings", name))
        elif not isinstance(value, reading_type):
            yield Fault("wrong_type", f"{name} must be a {reading_type.__name__}.", (*place, "readings", name))
        elif name in _READINGS_OF and not str(value).strip():
            message = "Name the manager." if name == "manager" else "Say what was looked for."
            yield Fault("required", message, (*place, "readings", name))
    if entry.code == "cause_not_found" and "looked_for" not in entry.readings:
        yield Fault("required", "Say what was looked for.", (*place, "readings", "looked_for"))


_OBSERVATION_READINGS = {"burner_firing": bool, "manager": str, "looked_for": str}
_READINGS_OF = {"manager": "cause_found", "looked_for": "cause_not_found"}


def _unexpected_reading_faults(entry: IncomingEntry, place: FaultPath) -> Iterator[Fault]:
    for name in entry.readings:
        yield Fault("unknown_reading", "Only a test can have readings.", (*place, "readings", name))


def _fit_faults(entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath) -> Iterator[Fault]:
    kind = register.catalogue.kinds.get(entry.kind)
    device_place = (*place, *entry.inner, "with")
    if kind is None or kind.code not in role.kinds:
        yield Fault(
            "device_does_not_fit", f"A {role.name.lower()} cannot be a {entry.kind!r}.", (*device_place, "kind")
        )
        return
    if entry.device and register.devices.get(entry.device, entry.kind) != entry.kind:
        yield Fault("device_id_taken", "This id belongs to another device.", (*device_place, "id"))
    stamped = {name: value for name, value in entry.values.items() if value is not None}  # null: unreadable
    yield from _value_faults(stamped, kind.attributes, device_place)


def _set_faults(entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath) -> Iterator[Fault]:
    settable_names = frozenset().union(*(register.catalogue.kinds[k].attributes for k in role.kinds)) - {
        "fitted_on",
        "serial",  # stamped on the device: reading it changes nothing
    }
    act_place = (*place, *entry.inner)
    if not entry.values:
        yield Fault("nothing_set", "Name at least one value.", act_place)
    yield from _value_faults(entry.values, settable_names, act_place)


def _value_faults(values: Mapping[str, Value], known_names: frozenset[str], place: FaultPath) -> Iterator[Fault]:
    for name, value in values.items():
        value_place = (*place, name)
        if name not in known_names:
            yield Fault("unknown_value", f"There is no value {name!r} here.", value_place)
        elif not (_is_number(value) if is_measured(name) else isinstance(value, str)):
            yield Fault("wrong_type", f"{name} must be a {'number' if is_measured(name) else 'word'}.", value_place)
        elif is_measured(name) and not is_possible(name, float(value or 0)):
            yield Fault("not_possible", f"{name} can't be {value:g}.", value_place)


def _remove_faults(entry: IncomingEntry, role: RoleSpec, register: BoilerRegister, place: FaultPath) -> Iterator[Fault]:
    return iter(())


_CHECKS = {
    "test": _test_faults,
    "action": _action_faults,
    "observe": _observation_faults,
    "replace": _fit_faults,
    "fit": _fit_faults,
    "remove": _remove_faults,
    "set": _set_faults,
}
