"""What comes after the first day: changes of the register, dated papers, and what people decide about deficiencies."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from fleet.rules.values import ActFact, Evidence, FittingFact, PaperFact, SettingFact, deficiency_id
from tests.rules.scenarios import setup
from tests.rules.scenarios.entries import Place, Register, attributes
from tests.rules.scenarios.nodes import Here
from tests.rules.scenarios.setup import BOILER

OF_PLACE = {"settings", "hangs_on", "needed", "kind", "attributes"}
DECIDED = {"defer": "deferred", "report_repair": "repair_reported"}


def register(here: Here, evidence: Evidence, places: Mapping[str, Place]) -> Evidence:
    """The boiler after each change of the register, of a position or (none named) of the boiler as a whole."""
    for item in here.items():
        told = item.keys({"since", "position", *OF_PLACE, *setup.TOLD}, ("since",))
        change = _of_place if "position" in told else _of_boiler
        evidence = change(item, told, evidence, places)
    return evidence


def _of_boiler(here: Here, told: dict[str, Here], evidence: Evidence, places: Mapping[str, Place]) -> Evidence:
    if told.keys() & OF_PLACE:
        raise here.wrong("'position' is missing")
    since = told["since"].instant(evidence.zone)
    more = tuple(SettingFact(None, key, setup.boiler_value(told[key], key), since) for key in setup.TOLD if key in told)
    return replace(evidence, settings=(*evidence.settings, *more))


def _of_place(here: Here, told: dict[str, Here], evidence: Evidence, places: Mapping[str, Place]) -> Evidence:
    if told.keys() & set(setup.TOLD):
        raise here.wrong("a change is of a position or of the boiler")
    place, since = places[told["position"].one_of(places, "position")], told["since"].instant(evidence.zone)
    settings = list(evidence.settings)
    if "hangs_on" in told:
        settings.append(SettingFact(place.id, "paths", setup.paths(told["hangs_on"], places), since))
    if "needed" in told:
        settings.append(SettingFact(place.id, "needed", told["needed"].flag(), since))
    if "settings" in told:
        settings += [SettingFact(place.id, key, value, since) for key, value in _set(told, evidence, place).items()]
    fittings = (*evidence.fittings, *_fitted(told, evidence, place)) if told.keys() & {"kind", "attributes"} else None
    return replace(evidence, settings=tuple(settings), fittings=fittings or evidence.fittings)


def _set(told: dict[str, Here], evidence: Evidence, place: Place) -> Mapping[str, object]:
    kinds = [evidence.catalogue.kinds[k] for k in sorted(place.role.kinds)]
    known = replace(kinds[0], attributes=frozenset().union(*(k.attributes for k in kinds)))
    return attributes(told["settings"].pairs(), known)


def _fitted(told: dict[str, Here], evidence: Evidence, place: Place) -> Iterator[FittingFact]:
    """Another device from then on, or nothing where the kind is left empty."""
    since = told["since"].instant(evidence.zone)
    if "kind" in told and told["kind"].is_null:
        yield FittingFact(place.id, None, "", since)
        return
    kinds = place.role.kinds
    code = told["kind"].one_of(kinds, "kind") if "kind" in told else next(iter(kinds))
    stamped = attributes(told["attributes"].pairs(), evidence.catalogue.kinds[code]) if "attributes" in told else {}
    yield FittingFact(place.id, setup.device_id(place, since), code, since, stamped)


def papers(here: Here, zone: str) -> Iterator[PaperFact]:
    """Dated papers: a kind, when it came and its last day."""
    for item in here.items():
        told = item.keys({"kind", "name", "since", "until"}, ("kind", "since", "until"))
        kind = told["kind"].text("a kind of paper")
        last = setup.day(told["until"])
        yield PaperFact(kind, told["name"].text() if "name" in told else kind, told["since"].instant(zone), last)


def acts(here: Here, register: Register) -> Iterator[ActFact]:
    """Deferrals and reported repairs of an episode, the first where none is named."""
    for item in here.items():
        told = item.keys({*DECIDED, "position", "episode", "at", "until"}, ("at",))
        named = told.keys() & DECIDED.keys()
        if len(named) != 1:
            raise item.wrong(f"one of {', '.join(DECIDED)} belongs here")
        act = named.pop()
        rule = told[act].one_of(register.catalogue.findings, "rule")
        place = register.places[told["position"].one_of(register.places, "position")] if "position" in told else None
        subject = deficiency_id(
            BOILER, place.id if place else None, rule, told["episode"].whole() if "episode" in told else 1
        )
        until = told["until"].instant(register.zone) if "until" in told else None
        yield ActFact(DECIDED[act], subject, told["at"].instant(register.zone), until)
