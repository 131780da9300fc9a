"""What a boiler needs by its kind, and which of that has no place on its register: what nobody knows is never clear."""

from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from fleet.calendar import day_of, day_start
from fleet.rules.catalogue import Catalogue, NeededRole, NeedExposure
from fleet.rules.facts import Value, as_number

PlaceKey = TypeVar("PlaceKey", bound=Hashable)

GRACE_DAYS = 60  # from the import, or the release that asks, until what is not on record is urgent (domain, section 12)

# What must be known of the boiler as a whole before anybody can say which devices it needs.
DATA_NAMES = {"construction": "its construction", "fuel": "its fuel", "draft": "its draft"}
OUTPUT_NAME = "its output or its burner's input"

# What may have to be known of one device, by the key of its value.
VALUE_NAMES = {"set_psi": "Set pressure"}


@dataclass(frozen=True, slots=True)
class PlaceOnRecord:
    """A place that the register names: its role, and the kind fitted there ('' none).

    `paths` are the roles of what it hangs on, `values` the keys of what is on record of the device.
    """

    role: str
    kind: str = ""
    paths: frozenset[str] = frozenset()
    values: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class RegisterGap:
    """Something that a boiler of its kind needs and that the register does not name.

    `roles` are the places that would answer it; empty where a value of the boiler as a whole is missing. `code` is the
    row of needed_roles.csv, or the key of the value.
    """

    code: str
    name: str
    roles: frozenset[str] = frozenset()
    none_allowed: bool = False
    exposes: NeedExposure = NeedExposure.NO
    hazard: str = ""


def find_register_gaps(
    catalogue: Catalogue, boiler: Mapping[str, Value], places: Collection[PlaceOnRecord], input_btu_h: float | None
) -> tuple[RegisterGap, ...]:
    """Return what is needed and not on record, in the catalogue's order, then the missing values of the boiler.

    `boiler` holds the register's values of the boiler as a whole; `input_btu_h` is its burner's, None if not on record.
    Where a value on which a need depends is missing, that value is the gap. A release without the table asks nothing.
    """
    if not catalogue.needed_roles:
        return ()
    facts = BoilerFacts(boiler, input_btu_h, frozenset(p.kind for p in places))
    gaps: list[RegisterGap] = []
    for need in catalogue.needed_roles:
        is_answered = _is_answered(need, facts, places)
        gaps += _gaps_of_devices(need, places, catalogue) if is_answered else [_gap_of(need, catalogue)]
    return (*gaps, *_missing_values(facts))


def needs_of_boiler(catalogue: Catalogue, facts: "BoilerFacts") -> Iterable[NeededRole]:
    """Return the rows of needed_roles.csv that ask something of such a boiler."""
    return (need for need in catalogue.needed_roles if facts.meets(need))


@dataclass(frozen=True, slots=True)
class BoilerFacts:
    """What decides which rows of needed_roles.csv ask something of a boiler."""

    boiler: Mapping[str, Value]
    input_btu_h: float | None
    kinds: frozenset[str]

    def meets(self, need: NeededRole) -> bool:
        """Return whether every condition of a row is known to hold."""
        return all(self._holds(key, words) for key, words in need.conditions)

    def _holds(self, key: str, words: tuple[str, ...]) -> bool:
        if key == "fitted":
            return bool(self.kinds & set(words))
        if key == "input_from":
            # A boiler's input is at least its output.
            known = self.input_btu_h or as_number(self.boiler.get("output_btu_h"))
            return known is not None and known >= float(words[0])
        if key == "cutoffs_needed":
            return str(cutoffs_needed(self.boiler)) in words
        return self.boiler.get(key) in words


def find_path_roles(
    place: PlaceKey, paths: Mapping[PlaceKey, Iterable[PlaceKey]], roles: Mapping[PlaceKey, str]
) -> frozenset[str]:
    """Return the roles of all that a place hangs on, directly or through another path. A circle is walked once."""
    walked: set[PlaceKey] = set()
    waiting = list(paths.get(place, ()))
    while waiting:
        path = waiting.pop()
        if path in roles and path not in walked:
            walked.add(path)
            waiting.extend(paths.get(path, ()))
    return frozenset(roles[path] for path in walked)


def sum_burner_inputs(plates_btu_h: Iterable[float | None]) -> float | None:
    """Return the sum of what the burners' plates say, in Btu/h; None where none is on record."""
    known = [plate for plate in plates_btu_h if plate]
    return sum(known) if known else None


def cutoffs_needed(boiler: Mapping[str, Value]) -> int:
    """Return how many cutoffs the register asks for: 2, or 1 where it says so."""
    return 1 if as_number(boiler.get("cutoffs_needed")) == 1 else 2


def grace_end(asked_at: datetime, zone: str) -> datetime:
    """Return when what is not on record becomes urgent: at the first instant of the building's day after the grace."""
    return day_start(day_of(asked_at, zone) + timedelta(days=GRACE_DAYS + 1), zone)


def may_be_left_out(
    catalogue: Catalogue, boiler: Mapping[str, Value], role: str, other_places: Collection[PlaceOnRecord]
) -> bool:
    """Return whether *needed: no* is heard for a place of this role; a release without the table hears it always.

    Each row of the table that asks for the role must allow *none here*, ask nothing of a boiler with these values, or
    be answered by another place that is counted on. `other_places` are those places, without the one asked about.
    """
    strict_needs = [need for need in catalogue.needed_roles if role in need.roles and not need.none_allowed]
    if not strict_needs:
        return True
    facts = BoilerFacts(boiler, None, frozenset(p.kind for p in other_places))
    return all(_is_answered(need, facts, other_places) for need in strict_needs)


def explain_always_needed(role_name: str) -> str:
    """Return why a place of this role cannot be left out, and what to do instead."""
    return f"Every such boiler needs this: {role_name.lower()}. Leave the place empty instead; it is then not fitted."


def in_words(gaps: Iterable[RegisterGap]) -> str:
    """Return the gaps as one list in words, as in "high limit, safety valve and its fuel"."""
    names = [gap.name[:1].lower() + gap.name[1:] for gap in gaps]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _is_answered(need: NeededRole, facts: BoilerFacts, places: Collection[PlaceOnRecord]) -> bool:
    """Return whether a row asks nothing of this boiler, or a place on record answers it."""
    if not facts.meets(need):
        return True
    return any(p.role in need.roles and _is_of_kind(p, need) for p in places)


def _is_of_kind(place: PlaceOnRecord, need: NeededRole) -> bool:
    """Return whether a place can be the one asked for: a fitted device of another kind is not."""
    return not need.kinds or not place.kind or place.kind in need.kinds


def _gap_of(need: NeededRole, catalogue: Catalogue) -> RegisterGap:
    hazards = {catalogue.roles[role].hazard for role in need.roles}
    return RegisterGap(
        need.code,
        need.name,
        need.roles,
        none_allowed=need.none_allowed,
        exposes=need.exposes,
        hazard=min(hazards),
    )


def _gaps_of_devices(
    need: NeededRole, places: Collection[PlaceOnRecord], catalogue: Catalogue
) -> Iterable[RegisterGap]:
    """Yield what is not on record of devices that are there: the path that a signal needs, a value that is needed."""
    hazard = min(catalogue.roles[role].hazard for role in need.roles)
    fitted = [place for place in places if place.kind]
    for role in sorted(need.carries):
        if any(p.role == role and not p.paths & need.roles for p in fitted):
            name = f"{need.name} of the {catalogue.roles[role].name.lower()}"
            yield RegisterGap(f"{need.code}_of_{role}", name, hazard=hazard)
    for key in sorted(need.values):
        if any(p.role in need.roles and key not in p.values for p in fitted):
            name = f"{VALUE_NAMES[key]} of the {need.name.lower()}"
            yield RegisterGap(f"{need.code}_{key}", name, hazard=hazard)


def _missing_values(facts: BoilerFacts) -> Iterable[RegisterGap]:
    for key, name in DATA_NAMES.items():
        if not facts.boiler.get(key):
            yield RegisterGap(key, name)
    if not as_number(facts.boiler.get("output_btu_h")) and not facts.input_btu_h:
        yield RegisterGap("output_btu_h", OUTPUT_NAME, hazard="over_pressure")
