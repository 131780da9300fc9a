"""The boiler's set-up: positions, terms, service states and the people who visit it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from fleet.calendar import HeatingSeason, Interval
from fleet.rules.catalogue import Catalogue, RoleSpec
from fleet.rules.values import (
    AdoptedTerms,
    Evidence,
    FittingFact,
    Override,
    PositionFact,
    RegisterPosted,
    ServiceChange,
    ServiceMode,
    SettingFact,
    Value,
)
from fleet.rules.vocabulary import QUALIFICATIONS
from fleet.sheets import columns
from tests.rules.scenarios.entries import Place, attributes
from tests.rules.scenarios.nodes import Here, merged

BOILER = UUID("7d0c6a52-1c1f-4f0e-8a34-000000000001")
MEASURED = ("output_btu_h", "cutoffs_needed", "lowest_safe_line_in", "heating_surface_ft2")
CHOSEN = {key: columns.CHOICES[key] for key in ("construction", "firing", "fuel", "draft")}
TOLD = (*MEASURED, *CHOSEN, "heats")
BOILER_KEYS = {"name", "since", "posted", "part", "positions", *TOLD}
POSITION_KEYS = {"role", "kind", "name", "hangs_on", "attributes", "settings", "needed", "fitted", "declared"}
TERM_KEYS = {
    "from",
    "season",
    "urgent_days",
    "due_soon_days",
    "operator_firing_days",
    "variants",
    "overrides",
    "gauge_most_psi",
    "relief_rule",
}
RELIEF_RULES = ("output_only", "greater_of")
DEFAULT_TERMS = AdoptedTerms(None, HeatingSeason(10, 1, 5, 31))


@dataclass(frozen=True)
class Held:
    """A qualification, from and until an instant."""

    code: str
    since: datetime | None
    until: datetime | None


People = Mapping[str, tuple[Held, ...]]


def zone(here: Here) -> str:
    """An IANA zone that exists."""
    name = here.text("a time zone")
    try:
        ZoneInfo(name)
    except (KeyError, OSError, ValueError):
        raise here.wrong(f"unknown time zone {name!r}") from None
    return name


def boiler(here: Here, shared: Here | None, zone: str, catalogue: Catalogue) -> tuple[Evidence, dict[str, Place]]:
    """The boiler on the day the register begins, and its symbolic positions. What is shared is changed key by key."""
    told = dict(merged(here.keys(BOILER_KEYS), shared.keys(BOILER_KEYS) if shared else {}))
    for name in ("since", "positions"):
        if name not in told:
            raise here.wrong(f"'{name}' is missing")
    listed = _positions(here, shared)
    since = told["since"].instant(zone)
    roles = {ref: _role(at, keys, catalogue) for ref, (at, keys) in listed.items()}
    places = {ref: Place(uuid5(BOILER, ref), role) for ref, role in roles.items()}
    register = _register(told, since, zone)
    evidence = Evidence(
        boiler=BOILER,
        name=told["name"].text() if "name" in told else "the boiler",
        zone=zone,
        catalogue=catalogue,
        terms=(DEFAULT_TERMS,),
        positions=tuple(
            _position(ref, keys, places[ref], _on_record_since(keys, since, zone) if register else None)
            for ref, (_, keys) in listed.items()
        ),
        settings=tuple(SettingFact(None, key, boiler_value(told[key], key), since) for key in TOLD if key in told),
        register=register,
    )
    for ref, (at, keys) in listed.items():
        evidence = _furnish(evidence, _Spot(places[ref], at, keys, since), places)
    return evidence, places


def _register(told: Mapping[str, Here], since: datetime, zone: str) -> RegisterPosted | None:
    """When the whole register was posted; nothing where the story tells only a part of it."""
    if "part" in told and told["part"].flag():
        return None
    return RegisterPosted(told["posted"].instant(zone) if "posted" in told else since)


def boiler_value(here: Here, key: str) -> Value:
    """A value of the boiler as a whole: measured, chosen, or (`heats`) yes or no."""
    if key in MEASURED:
        return here.number()
    return here.one_of(CHOSEN[key], key) if key in CHOSEN else here.flag()


def device_id(place: Place, since: datetime) -> UUID:
    """The id of a device that the register fits later on."""
    return uuid5(place.id, f"device of {since.isoformat()}")


def _positions(here: Here, shared: Here | None) -> dict[str, tuple[Here, dict[str, Here]]]:
    """Each position's node and keys: one's own first, then the shared ones; one set to nothing is taken out."""
    mine, common = (_listed(h) for h in (here, shared))
    found: dict[str, tuple[Here, dict[str, Here]]] = {}
    for ref, at in {**common, **mine}.items():
        if at.is_null:
            continue
        below = common[ref].keys(POSITION_KEYS) if ref in common and ref in mine else {}
        found[ref] = at, {**below, **at.keys(POSITION_KEYS)}
    return found


def _listed(here: Here | None) -> dict[str, Here]:
    told = here.pairs() if here else {}
    return told["positions"].pairs() if "positions" in told else {}


def _role(at: Here, keys: dict[str, Here], catalogue: Catalogue) -> RoleSpec:
    if "role" not in keys:
        raise at.wrong("'role' is missing")
    return catalogue.roles[keys["role"].one_of(catalogue.roles, "role")]


def _position(ref: str, keys: dict[str, Here], place: Place, since: datetime | None) -> PositionFact:
    name = keys["name"].text("a name") if "name" in keys else place.role.name.lower()
    return PositionFact(place.id, ref, name, place.role.code, since)


def _on_record_since(keys: dict[str, Here], since: datetime, zone: str) -> datetime:
    """From when the register names a place: the day its device was fitted, an empty one from the first day."""
    return keys["fitted"].instant(zone) if "fitted" in keys else since


@dataclass(frozen=True)
class _Spot:
    place: Place
    at: Here
    keys: dict[str, Here]
    since: datetime


def _furnish(evidence: Evidence, spot: _Spot, places: Mapping[str, Place]) -> Evidence:
    """Add what the register says of one position: its device, its paths, its settings."""
    keys, place = spot.keys, spot.place
    fitted = keys["fitted"].instant(evidence.zone) if "fitted" in keys else spot.since
    settings = list(evidence.settings)
    if "hangs_on" in keys:
        settings.append(SettingFact(place.id, "paths", paths(keys["hangs_on"], places), spot.since))
    if "needed" in keys:
        settings.append(SettingFact(place.id, "needed", keys["needed"].flag(), spot.since))
    fitting = _fitting(evidence, spot, fitted)
    told = keys["settings"].pairs() if "settings" in keys else {}
    if fitting:
        known = attributes(told, evidence.catalogue.kinds[fitting.kind])
        settings += [SettingFact(place.id, name, value, fitted) for name, value in known.items()]
    elif told:
        raise keys["settings"].wrong("nothing is fitted there that could be set")
    fittings = (*evidence.fittings, fitting) if fitting else evidence.fittings
    return replace(evidence, settings=tuple(settings), fittings=fittings)


def paths(here: Here, places: Mapping[str, Place]) -> tuple[UUID, ...]:
    """The positions one hangs on."""
    refs = here.words(places, "position") if here.is_list else [here.one_of(places, "position")]
    return tuple(places[ref].id for ref in refs)


def _fitting(evidence: Evidence, spot: _Spot, since: datetime) -> FittingFact | None:
    """What is fitted: the one kind of the role where none is named, nothing where the kind is left empty."""
    keys, kinds = spot.keys, spot.place.role.kinds
    if "kind" in keys and keys["kind"].is_null:
        return None
    if "kind" not in keys and len(kinds) > 1:
        raise spot.at.wrong(f"'kind' is missing: one of {', '.join(sorted(kinds))}")
    kind = evidence.catalogue.kinds[keys["kind"].one_of(kinds, "kind") if "kind" in keys else next(iter(kinds))]
    stamped = attributes(keys["attributes"].pairs(), kind) if "attributes" in keys else {}
    declared = keys["declared"].keys(evidence.catalogue.procedures) if "declared" in keys else {}
    days = {code: _day(value) for code, value in declared.items()}
    return FittingFact(spot.place.id, uuid5(spot.place.id, "first device"), kind.code, since, stamped, days)


def _day(here: Here) -> date:
    try:
        return date.fromisoformat(here.text("a day"))
    except ValueError:
        raise here.wrong("a day such as 2025-10-15 belongs here") from None


def terms(here: Here, zone: str, catalogue: Catalogue) -> tuple[AdoptedTerms, ...]:
    """What the portfolio adopted: once, or a list of which every one after the first has a `from`."""
    found = tuple(_terms(item, zone, catalogue) for item in (here.items() if here.is_list else [here]))
    undated = [t for t in found if t.since is None]
    if len(undated) != 1 or found[0].since is not None:
        raise here.wrong("the first terms, and only they, have no 'from'")
    return found


def _terms(here: Here, zone: str, catalogue: Catalogue) -> AdoptedTerms:
    told = here.keys(TERM_KEYS)
    days = ("urgent_days", "due_soon_days", "operator_firing_days")
    return replace(
        DEFAULT_TERMS,
        since=told["from"].instant(zone) if "from" in told else None,
        **({"season": _season(told["season"])} if "season" in told else {}),
        **{name: told[name].whole() for name in days if name in told},
        variants=_variants(told["variants"], catalogue) if "variants" in told else {},
        overrides=_overrides(told["overrides"], catalogue) if "overrides" in told else {},
        **({"gauge_most_psi": told["gauge_most_psi"].number()} if "gauge_most_psi" in told else {}),
        **({"relief_rule": told["relief_rule"].one_of(RELIEF_RULES, "rule")} if "relief_rule" in told else {}),
    )


def _season(here: Here) -> HeatingSeason | None:
    """ "10-01/05-31"; nothing for a boiler that heats all year."""
    if here.is_null:
        return None
    try:
        start, end = here.text("a season").split("/")
        (start_month, start_day), (end_month, end_day) = (map(int, part.split("-")) for part in (start, end))
        return HeatingSeason(start_month, start_day, end_month, end_day)
    except ValueError:
        raise here.wrong("a season such as 10-01/05-31 belongs here") from None


def _variants(here: Here, catalogue: Catalogue) -> dict[str, str]:
    return {
        code: value.one_of({name for c, name in catalogue.variants if c == code}, "variant")
        for code, value in here.keys(catalogue.procedures).items()
    }


def _overrides(here: Here, catalogue: Catalogue) -> dict[str, Override]:
    return {code: _override(value) for code, value in here.keys(catalogue.procedures).items()}


def _override(here: Here) -> Override:
    told = here.keys({"interval", "anchor", "grace_days", "source"}, ("interval", "grace_days", "source"))
    try:
        interval = Interval.parse(told["interval"].text("an interval"))
    except ValueError as error:
        raise told["interval"].wrong(str(error)) from None
    anchor = told["anchor"].one_of(("season",), "anchor") if "anchor" in told else ""
    return Override(interval, anchor, told["grace_days"].whole(), told["source"].text("a source"))


def services(here: Here, zone: str) -> Iterator[ServiceChange]:
    """The service states, each from an instant on."""
    for item in here.items():
        told = item.keys({"state", "since"}, ("state", "since"))
        state = told["state"].one_of([s.value for s in ServiceMode], "service state")
        yield ServiceChange(ServiceMode(state), told["since"].instant(zone))


def people(told: Mapping[str, Here], zone: str) -> People:
    """Who there is, and what each is qualified for."""
    return {name: tuple(_held(item, zone) for item in here.items()) for name, here in told.items()}


def _held(here: Here, zone: str) -> Held:
    if not here.is_map:
        return Held(here.one_of(QUALIFICATIONS, "qualification"), None, None)
    told = here.keys({"code", "from", "until"}, ("code",))
    since, until = (told[k].instant(zone) if k in told else None for k in ("from", "until"))
    return Held(told["code"].one_of(QUALIFICATIONS, "qualification"), since, until)


def day(here: Here) -> date:
    """A day alone, as 2026-03-31."""
    try:
        return date.fromisoformat(here.text("a day"))
    except ValueError:
        raise here.wrong("a day such as 2026-03-31 belongs here") from None


def held_at(people: People, names: list[str], at: datetime) -> frozenset[str]:
    """What those who were there were qualified for then."""
    held = [h for name in names for h in people[name]]
    return frozenset(h.code for h in held if (h.since is None or h.since <= at) and (h.until is None or at < h.until))
