"""What is set, stamped and read on one boiler, for the pages of numbers: five queries for any amount of data.

Values follow the order of the rules: what is stamped on the device, then what was set since it was fitted.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.portfolio.models import Boiler, Fitting, Position, Setting
from fleet.rules.values import as_number
from fleet.rules.vocabulary import DATA_ACTS, FITTING_ACTS, EntryAct
from fleet.visits.models import Entry, Reading

TRIP_READINGS = {"operating_control_trip": "trip_psi", "limit_trip": "trip_psi", "pop_test": "opens_psi"}
HEIGHT_READINGS = {"slow_drain": "trip_in", "evaporation": "trip_in"}
MEASURING_TESTS = (*TRIP_READINGS, *HEIGHT_READINGS, "combustion_test", "clock_input", "meter_reading")
MAX_ENTRIES = 1000  # newest entries read: years of weekly meter readings
ENTRY_COLUMNS = ("id", "visit_id", "number", "act", "code", "position_id", "performed_at", "device_id", "values")


@dataclass(frozen=True, slots=True)
class Measure:
    """One test with readings: its entry, when, on which position, and what was read."""

    entry: UUID
    visit: UUID
    line: int
    code: str
    place: UUID | None
    at: datetime
    readings: Mapping[str, float | str | bool]

    def number(self, name: str) -> float | None:
        """Return a reading as a number; None if it is not a number or was not taken."""
        return as_number(self.readings.get(name))


@dataclass(frozen=True, slots=True)
class PlaceOccupant:
    """The device in a position at an instant and its values: stamped, and set since."""

    device: UUID | None = None
    values: Mapping[str, object] = field(default_factory=dict)

    def number(self, key: str) -> float | None:
        """Return a value as a number; None if it is not on record."""
        return as_number(self.values.get(key))


@dataclass(frozen=True, slots=True)
class _PlaceFact:
    at: datetime
    rank: tuple[str, int]  # at one instant register facts come first, then entries by visit and line
    fits: bool
    device: UUID | None
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class BoilerData:
    """One boiler's positions, facts and measures, oldest first."""

    boiler: Boiler
    at: datetime
    places: tuple[Position, ...]
    measures: tuple[Measure, ...]
    boiler_values: Mapping[str, Any]
    facts: Mapping[UUID, list[_PlaceFact]]

    @property
    def zone(self) -> str:
        """The building's time zone."""
        return self.boiler.building.zone

    def boiler_number(self, key: str) -> float | None:
        """Return a value of the boiler as a whole as a number; None if it is not on record."""
        return as_number(self.boiler_values.get(key))

    def positions_of_role(self, *roles: str) -> list[Position]:
        """Return the positions with these roles, in the order of the roles."""
        positions = [p for p in self.places if p.role_id in roles]
        return sorted(positions, key=lambda place: roles.index(place.role_id))

    def occupant_at(self, place: UUID, at: datetime | None = None) -> PlaceOccupant:
        """Return the device in a position and its values, now or at an instant."""
        device: UUID | None = None
        stamped_values: dict[str, object] = {}
        later_values: dict[str, object] = {}
        for fact in self.facts.get(place, ()):
            if fact.at > (at or self.at):
                break
            if fact.fits:
                device, stamped_values, later_values = fact.device, dict(fact.values), {}
            else:
                later_values.update(fact.values)
        return PlaceOccupant(device, {**stamped_values, **later_values})

    def measures_of(self, codes: Iterable[str], place: UUID | None = None) -> list[Measure]:
        """Return the measures of these tests, of one position or of all, oldest first."""
        wanted_codes = set(codes)
        return [m for m in self.measures if m.code in wanted_codes and place in (None, m.place)]


def read_boiler_data(boiler: Boiler, at: datetime, may_read: bool) -> BoilerData:
    """Read one boiler; without leave to read visits, only what is fitted and set, no readings."""
    places = list(_boiler_positions(boiler))
    ids = [p.id for p in places]
    entries = list(_counting_entries(ids, at, MEASURING_TESTS if may_read else ()))
    readings = _readings_by_entry([e["id"] for e in entries if e["act"] == "test"]) if may_read else {}
    boiler_values, facts = _read_settings(boiler, ids, at)
    for place, fact in (*_fitting_facts(ids, at), *_change_facts(entries)):
        facts[place].append(fact)
    for place_facts in facts.values():
        place_facts.sort(key=lambda fact: (fact.at, fact.rank))
    measures = tuple(_build_measure(e, readings[e["id"]]) for e in entries if e["act"] == "test")
    return BoilerData(boiler, at, places=tuple(places), measures=measures, boiler_values=boiler_values, facts=facts)


def _boiler_positions(boiler: Boiler) -> QuerySet[Position]:
    shared = Q(header_group=boiler.header_group_id) if boiler.header_group_id else Q(pk__in=())
    return Position.objects.filter(Q(boiler=boiler) | shared).order_by("role", "ref")


def _counting_entries(places: list[UUID], at: datetime, tests: Iterable[str]) -> Iterator[dict[str, Any]]:
    """Yield the newest tests with readings and entries that change values, of visits that count, oldest first."""
    # A correction that waits for its second person has no effect yet: what it corrects still counts.
    is_effective = Q(visit__corrected_by=None) | Q(visit__corrected_by__waiting__subject="correction")
    waits = Q(visit__waiting__subject="correction")
    valid = Entry.objects.filter(is_effective, ~waits, visit__void=False, performed_at__lte=at)
    wanted_entries = Q(act="test", code__in=list(tests)) | Q(act__in=DATA_ACTS)
    entries = valid.filter(wanted_entries, position__in=places).order_by("-performed_at", "-visit_id", "-number")
    yield from reversed(list(entries.values(*ENTRY_COLUMNS)[:MAX_ENTRIES]))


def _readings_by_entry(entries: list[UUID]) -> Mapping[UUID, dict[str, Any]]:
    readings: dict[UUID, dict[str, object]] = defaultdict(dict)
    rows = Reading.objects.filter(entry__in=entries).values_list("entry", "name", "number", "flag", "word")
    for entry, name, figure, flag, word in rows:
        readings[entry][name] = flag if flag is not None else word if figure is None else figure
    return readings


def _build_measure(entry: Mapping[str, Any], readings: Mapping[str, Any]) -> Measure:
    return Measure(
        entry=entry["id"],
        visit=entry["visit_id"],
        line=entry["number"] + 1,
        code=entry["code"],
        place=entry["position_id"],
        at=entry["performed_at"],
        readings=readings,
    )


def _read_settings(
    boiler: Boiler, places: list[UUID], at: datetime
) -> tuple[dict[str, object], dict[UUID, list[_PlaceFact]]]:
    """Return the boiler's own values in force and its positions' as facts; at one instant the later post holds."""
    rows = Setting.objects.filter(Q(boiler=boiler) | Q(position__in=places), since__lte=at)
    boiler_values: dict[str, object] = {}
    facts: dict[UUID, list[_PlaceFact]] = defaultdict(list)
    for row in rows.order_by("since", "posted_at"):
        if row.position_id is None:
            boiler_values[row.key] = row.value
        else:
            facts[row.position_id].append(
                _PlaceFact(row.since, ("", 1), fits=False, device=None, values={row.key: row.value})
            )
    return boiler_values, facts


def _fitting_facts(places: list[UUID], at: datetime) -> Iterator[tuple[UUID, _PlaceFact]]:
    rows = Fitting.objects.filter(position__in=places, since__lte=at).select_related("device").order_by("posted_at")
    for row in {(r.position_id, r.since): r for r in rows}.values():
        attributes = row.device.attributes if row.device else {}
        yield row.position_id, _PlaceFact(row.since, ("", 0), fits=True, device=row.device_id, values=attributes)


def _change_facts(entries: Iterable[Mapping[str, Any]]) -> Iterator[tuple[UUID, _PlaceFact]]:
    for entry in entries:
        if entry["act"] in DATA_ACTS:
            rank, fits = (str(entry["visit_id"]), entry["number"]), entry["act"] != "set"
            device = entry["device_id"] if entry["act"] in FITTING_ACTS else None
            values = {} if entry["act"] == EntryAct.REMOVE else entry["values"]
            yield entry["position_id"], _PlaceFact(entry["performed_at"], rank, fits=fits, device=device, values=values)
