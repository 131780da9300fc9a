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
from fleet.rules.values import number
from fleet.rules.vocabulary import DATA_ACTS, FITTING_ACTS, EntryAct
from fleet.visits.models import Entry, Reading

TRIPS = {"operating_control_trip": "trip_psi", "limit_trip": "trip_psi", "pop_test": "opens_psi"}
HEIGHTS = {"slow_drain": "trip_in", "evaporation": "trip_in"}
TESTS = (*TRIPS, *HEIGHTS, "combustion_test", "clock_input", "meter_reading")
MOST = 1000  # newest entries read: years of weekly meter readings
COLUMNS = ("id", "visit_id", "number", "act", "code", "position_id", "performed_at", "device_id", "values")


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
        return number(self.readings.get(name))


@dataclass(frozen=True, slots=True)
class Occupant:
    """The device in a position at an instant and its values: stamped, and set since."""

    device: UUID | None = None
    values: Mapping[str, Any] = field(default_factory=dict)

    def number(self, key: str) -> float | None:
        """Return a value as a number; None if it is not on record."""
        return number(self.values.get(key))


@dataclass(frozen=True, slots=True)
class _Fact:
    at: datetime
    rank: tuple[str, int]  # at one instant register facts come first, then entries by visit and line
    fits: bool
    device: UUID | None
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Measured:
    """One boiler's positions, facts and measures, oldest first."""

    boiler: Boiler
    at: datetime
    places: tuple[Position, ...]
    measures: tuple[Measure, ...]
    boilers_values: Mapping[str, Any]
    facts: Mapping[UUID, list[_Fact]]

    @property
    def zone(self) -> str:
        """The building's time zone."""
        return self.boiler.building.zone

    def value(self, key: str) -> float | None:
        """Return a value of the boiler as a whole as a number; None if it is not on record."""
        return number(self.boilers_values.get(key))

    def of_role(self, *roles: str) -> list[Position]:
        """Return the positions with these roles, in the order of the roles."""
        found = [p for p in self.places if p.role_id in roles]
        return sorted(found, key=lambda place: roles.index(place.role_id))

    def occupant(self, place: UUID, at: datetime | None = None) -> Occupant:
        """Return the device in a position and its values, now or at an instant."""
        device: UUID | None = None
        stamped: dict[str, Any] = {}
        since: dict[str, Any] = {}
        for fact in self.facts.get(place, ()):
            if fact.at > (at or self.at):
                break
            if fact.fits:
                device, stamped, since = fact.device, dict(fact.values), {}
            else:
                since.update(fact.values)
        return Occupant(device, {**stamped, **since})

    def tests(self, codes: Iterable[str], place: UUID | None = None) -> list[Measure]:
        """Return the measures of these tests, of one position or of all, oldest first."""
        wanted = set(codes)
        return [m for m in self.measures if m.code in wanted and place in (None, m.place)]


def of_boiler(boiler: Boiler, at: datetime, may_read: bool) -> Measured:
    """Read one boiler; without leave to read visits, only what is fitted and set, no readings."""
    places = list(_places(boiler))
    ids = [p.id for p in places]
    entries = list(_entries(ids, at, TESTS if may_read else ()))
    readings = _readings([e["id"] for e in entries if e["act"] == "test"]) if may_read else {}
    own, facts = _settings(boiler, ids, at)
    for place, fact in (*_fittings(ids, at), *_changed(entries)):
        facts[place].append(fact)
    for listed in facts.values():
        listed.sort(key=lambda fact: (fact.at, fact.rank))
    measures = tuple(_measure(e, readings[e["id"]]) for e in entries if e["act"] == "test")
    return Measured(boiler, at, tuple(places), measures, own, facts)


def _places(boiler: Boiler) -> QuerySet[Position]:
    shared = Q(header_group=boiler.header_group_id) if boiler.header_group_id else Q(pk__in=())
    return Position.objects.filter(Q(boiler=boiler) | shared).order_by("role", "ref")


def _entries(places: list[UUID], at: datetime, tests: Iterable[str]) -> Iterator[dict[str, Any]]:
    """Yield the newest tests with readings and entries that change values, of visits that count, oldest first."""
    # A correction that waits for its second person has no effect yet: what it corrects still counts.
    stands = Q(visit__corrected_by=None) | Q(visit__corrected_by__waiting__isnull=False)
    valid = Entry.objects.filter(stands, visit__void=False, visit__waiting=None, performed_at__lte=at)
    wanted = Q(act="test", code__in=list(tests)) | Q(act__in=DATA_ACTS)
    found = valid.filter(wanted, position__in=places).order_by("-performed_at", "-visit_id", "-number")
    yield from reversed(list(found.values(*COLUMNS)[:MOST]))


def _readings(entries: list[UUID]) -> Mapping[UUID, dict[str, Any]]:
    found: dict[UUID, dict[str, Any]] = defaultdict(dict)
    rows = Reading.objects.filter(entry__in=entries).values_list("entry", "name", "number", "flag", "word")
    for entry, name, figure, flag, word in rows:
        found[entry][name] = flag if flag is not None else word if figure is None else figure
    return found


def _measure(entry: Mapping[str, Any], readings: Mapping[str, Any]) -> Measure:
    return Measure(
        entry=entry["id"],
        visit=entry["visit_id"],
        line=entry["number"] + 1,
        code=entry["code"],
        place=entry["position_id"],
        at=entry["performed_at"],
        readings=readings,
    )


def _settings(boiler: Boiler, places: list[UUID], at: datetime) -> tuple[dict[str, Any], dict[UUID, list[_Fact]]]:
    """Return the boiler's own values in force and its positions' as facts; at one instant the later post holds."""
    rows = Setting.objects.filter(Q(boiler=boiler) | Q(position__in=places), since__lte=at)
    own: dict[str, Any] = {}
    facts: dict[UUID, list[_Fact]] = defaultdict(list)
    for row in rows.order_by("since", "posted_at"):
        if row.position_id is None:
            own[row.key] = row.value
        else:
            facts[row.position_id].append(_Fact(row.since, ("", 1), False, None, {row.key: row.value}))
    return own, facts


def _fittings(places: list[UUID], at: datetime) -> Iterator[tuple[UUID, _Fact]]:
    rows = Fitting.objects.filter(position__in=places, since__lte=at).select_related("device").order_by("posted_at")
    for row in {(r.position_id, r.since): r for r in rows}.values():
        stamped = row.device.attributes if row.device else {}
        yield row.position_id, _Fact(row.since, ("", 0), True, row.device_id, stamped)


def _changed(entries: Iterable[Mapping[str, Any]]) -> Iterator[tuple[UUID, _Fact]]:
    for entry in entries:
        if entry["act"] in DATA_ACTS:
            rank, fits = (str(entry["visit_id"]), entry["number"]), entry["act"] != "set"
            device = entry["device_id"] if entry["act"] in FITTING_ACTS else None
            values = {} if entry["act"] == EntryAct.REMOVE else entry["values"]
            yield entry["position_id"], _Fact(entry["performed_at"], rank, fits, device, values)
