"""The entries of a visit, in the words of the API and held against the catalogue."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID, uuid5

from fleet.rules.catalogue import Catalogue, KindSpec, ReadingSpec, RoleSpec
from fleet.rules.values import EntryFact, Value
from tests.rules.scenarios.nodes import Here

ACTS = ("test", "action", "observe", "replace", "fit", "remove", "set")
OUTCOMES = ("pass", "fail", "inconclusive", "not_done")
WHY = ("no_call_for_heat", "out_of_time", "no_access", "no_part", "unsafe", "not_fitted")
TAKES = {
    "test": {"position", "phase", "outcome", "why", "readings", "serial"},
    "action": {"position"},
    "observe": {"position", "phase", "readings", "serial"},
}
ALWAYS = {"performed_at", "ref"}

Work = Mapping[str, list[Here]]


@dataclass(frozen=True)
class Place:
    """A symbolic position: its id and its role."""

    id: UUID
    role: RoleSpec


@dataclass(frozen=True)
class Register:
    """What entries may name."""

    catalogue: Catalogue
    zone: str
    places: Mapping[str, Place]
    work: Work


def place_of(here: Here, register: Register) -> Place:
    """The position that is named."""
    return register.places[here.one_of(register.places, "position")]


def entries(visit: UUID, listed: list[Here], begun: datetime, register: Register) -> tuple[EntryFact, ...]:
    """The entries in the order done; one without a time of its own was done when the one before it was."""
    found: list[EntryFact] = []
    at = begun
    for here in _unfolded(listed, register.work):
        entry = _entry(visit, len(found), here, at, register)
        if entry.at < at:
            raise here.wrong("entries stand in the order done")
        at = entry.at
        found.append(entry)
    return tuple(found)


def _unfolded(listed: list[Here], work: Work, within: tuple[str, ...] = ()) -> Iterator[Here]:
    """Named work in the place of its entries; work may name other work, never itself."""
    for here in listed:
        pairs = here.pairs()
        if "work" not in pairs:
            yield here
            continue
        name = here.keys({"work"})["work"].one_of(work, "work")
        if name in within:
            raise here.wrong(f"the work {name!r} names itself")
        yield from _unfolded(work[name], work, (*within, name))


def _entry(visit: UUID, number: int, here: Here, at: datetime, register: Register) -> EntryFact:
    pairs = here.pairs()
    acts = [a for a in ACTS if a in pairs]
    if len(acts) != 1:
        raise here.wrong(f"exactly one of {', '.join(ACTS)} belongs here, or work")
    act = acts[0]
    here.keys({act} | TAKES.get(act, set()) | ALWAYS)
    when = pairs["performed_at"].instant(register.zone) if "performed_at" in pairs else at
    blank = EntryFact(uuid5(visit, str(number)), number, act, "", None, when)
    return _READ[act](blank, here, pairs, register)


def _test(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    here.keys(pairs, ("position", "outcome"))
    place = place_of(pairs["position"], register)
    procedure = register.catalogue.procedures[pairs["test"].one_of(register.catalogue.procedures, "test")]
    if not procedure.kinds & place.role.kinds:
        raise pairs["test"].wrong(f"{procedure.name} is not for a {place.role.name.lower()}")
    outcome = pairs["outcome"].one_of(OUTCOMES, "outcome")
    if (outcome == "not_done") != ("why" in pairs):
        raise here.wrong("what was not done, and only that, has a why")
    readings = pairs["readings"].keys(procedure.readings) if "readings" in pairs else {}
    return replace(
        entry,
        code=procedure.code,
        position=place.id,
        outcome=outcome,
        why=pairs["why"].one_of(WHY, "why") if "why" in pairs else "",
        phase=_phase(pairs),
        readings={name: _reading(procedure.readings[name], value) for name, value in readings.items()},
        values=_serial(pairs),
    )


def _serial(pairs: dict[str, Here]) -> dict[str, Value]:
    """The serial of the device that a paper names."""
    return {"serial": pairs["serial"].text("a serial")} if "serial" in pairs else {}


def _reading(spec: ReadingSpec, here: Here) -> Value:
    if here.is_null:
        return None
    if spec.type == "bool":
        return here.flag()
    if spec.type == "choice":
        return here.one_of(spec.choices, spec.name)
    number = here.number()
    if (spec.low is not None and number < spec.low) or (spec.high is not None and number > spec.high):
        raise here.wrong(f"{spec.name} can't be {number:g} {spec.unit}".rstrip())
    return number


def _action(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    here.keys(pairs, ("position",))
    code = pairs["action"].one_of(register.catalogue.actions, "action")
    return replace(entry, code=code, position=place_of(pairs["position"], register).id)


def _observe(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    seen = register.catalogue.observations[pairs["observe"].one_of(register.catalogue.observations, "observation")]
    place = place_of(pairs["position"], register) if "position" in pairs else None
    if seen.roles and (place is None or place.role.code not in seen.roles):
        raise here.wrong(f"{seen.name!r} is seen on one of {', '.join(sorted(seen.roles))}")
    told = pairs["readings"].keys({"burner_firing", "looked_for"}) if "readings" in pairs else {}
    readings = {n: _seen_reading(n, value) for n, value in told.items()}
    return replace(
        entry,
        code=seen.code,
        position=place.id if place else None,
        phase=_phase(pairs),
        readings=readings,
        values=_serial(pairs),
    )


def _seen_reading(name: str, here: Here) -> Value:
    return here.text("what was looked for") if name == "looked_for" else here.flag()


def _phase(pairs: dict[str, Here]) -> str:
    return pairs["phase"].one_of(("as_found", "as_left"), "phase") if "phase" in pairs else ""


def _replace(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    inner = pairs[entry.act].keys({"position", "reason", "with"}, ("position", "with"))
    place = place_of(inner["position"], register)
    device = inner["with"].pairs()
    if "kind" not in device:
        raise inner["with"].wrong("'kind' is missing")
    kind = register.catalogue.kinds[device.pop("kind").one_of(place.role.kinds, "kind")]
    values = attributes(device, kind)
    return replace(entry, position=place.id, device=uuid5(entry.id, "device"), kind=kind.code, values=values)


def attributes(told: dict[str, Here], kind: KindSpec) -> dict[str, Value]:
    """What is stamped or set on a device of this kind."""
    return {name: _known(name, value, kind.attributes) for name, value in told.items()}


def _known(name: str, here: Here, known: frozenset[str]) -> Value:
    if name not in known:
        raise here.wrong(f"unknown value {name!r}: known are {', '.join(sorted(known))}")
    return here.value()


def _remove(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    inner = pairs["remove"].keys({"position", "reason"}, ("position",))
    return replace(entry, position=place_of(inner["position"], register).id)


def _set(entry: EntryFact, here: Here, pairs: dict[str, Here], register: Register) -> EntryFact:
    inner = pairs["set"].pairs()
    if "position" not in inner or len(inner) == 1:
        raise pairs["set"].wrong("a position and at least one value belong here")
    place = place_of(inner.pop("position"), register)
    known = frozenset().union(*(register.catalogue.kinds[k].attributes for k in place.role.kinds))
    return replace(entry, position=place.id, values={name: _known(name, v, known) for name, v in inner.items()})


_READ: dict[str, Callable[[EntryFact, Here, dict[str, Here], Register], EntryFact]] = {
    "test": _test,
    "action": _action,
    "observe": _observe,
    "replace": _replace,
    "fit": _replace,
    "remove": _remove,
    "set": _set,
}
