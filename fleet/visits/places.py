"""What filled each place and what was set there, by the register and by valid visits."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.portfolio.models import Device, Fitting, Position, Setting
from fleet.rules.vocabulary import OCCUPANT_ACTS, EntryAct
from fleet.visits.models import Entry

Moment = tuple[datetime, str, int]
REGISTER_ORDER = ("", 0)  # a register fact comes before entries of the same instant


@dataclass(frozen=True, slots=True)
class Stay:
    """A device at a place from an instant to another (None: it is still there)."""

    position: UUID
    device: Device
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True)
class PlaceValue:
    """A value set at a place, and the instant since which it holds."""

    key: str
    value: Any
    since: datetime


def standing_entries(entries: QuerySet[Entry]) -> QuerySet[Entry]:
    """Return the entries of valid visits: neither corrected nor void."""
    return entries.filter(visit__corrected_by=None, visit__void=False)


def stays_at_places(positions: Iterable[UUID], at: datetime) -> dict[UUID, list[Stay]]:
    """Return the stays of devices at each place up to `at`, the oldest first: two queries."""
    position_ids = list(positions)
    moments_by_place: dict[UUID, dict[Moment, Device | None]] = {}
    fitted = Fitting.objects.filter(position__in=position_ids, since__lte=at).select_related("device__kind")
    for fitting in fitted.order_by("posted_at"):
        moments_by_place.setdefault(fitting.position_id, {})[fitting.since, *REGISTER_ORDER] = fitting.device
    swapped = standing_entries(
        Entry.objects.filter(position__in=position_ids, act__in=OCCUPANT_ACTS, performed_at__lte=at)
    )
    for entry in swapped.select_related("device__kind"):
        moment = (entry.performed_at, str(entry.visit_id), entry.number)
        moments_by_place.setdefault(_place_of(entry), {})[moment] = (
            entry.device if entry.act != EntryAct.REMOVE else None
        )
    return {position: _build_stays(position, moments) for position, moments in moments_by_place.items()}


def _place_of(entry: Entry) -> UUID:
    assert entry.position_id is not None  # the queries filter by position
    return entry.position_id


def _build_stays(position: UUID, moments: Mapping[Moment, Device | None]) -> list[Stay]:
    ordered: list[tuple[Moment, Device | None]] = sorted(moments.items(), key=lambda pair: pair[0])
    ends: list[datetime | None] = [after[0][0] for _, after in pairwise(ordered)]
    spans = zip(ordered, [*ends, None], strict=True)
    return [Stay(position, device, moment[0], end) for (moment, device), end in spans if device is not None]


def present_stay(stays_of: Sequence[Stay]) -> Stay | None:
    """Return the stay that has not ended, None where the place is empty."""
    return next((s for s in stays_of if s.until is None), None)


def values_at_places(positions: Iterable[UUID], at: datetime) -> dict[UUID, list[PlaceValue]]:
    """Return the values in force at each place at `at`, by key: two queries."""
    position_ids = list(positions)
    moments_by_place: dict[UUID, dict[str, dict[Moment, Any]]] = {}
    for setting in Setting.objects.filter(position__in=position_ids, since__lte=at).order_by("posted_at"):
        if setting.position_id:
            moments_by_place.setdefault(setting.position_id, {}).setdefault(setting.key, {})[
                setting.since, *REGISTER_ORDER
            ] = setting.value
    set_entries = standing_entries(Entry.objects.filter(position__in=position_ids, act="set", performed_at__lte=at))
    for entry in set_entries:
        for key, value in entry.values.items():
            moment = (entry.performed_at, str(entry.visit_id), entry.number)
            moments_by_place.setdefault(_place_of(entry), {}).setdefault(key, {})[moment] = value
    return {position: _newest_values(keys) for position, keys in moments_by_place.items()}


def _newest_values(keys: Mapping[str, Mapping[Moment, Any]]) -> list[PlaceValue]:
    newest = ((key, max(moments)) for key, moments in sorted(keys.items()))
    return [PlaceValue(key, keys[key][moment], moment[0]) for key, moment in newest]


def last_tests(positions: Iterable[UUID], at: datetime) -> dict[tuple[UUID, str], Entry]:
    """Return the newest test of each procedure at each place up to `at`, with readings and verdict: two queries."""
    test_entries = standing_entries(
        Entry.objects.filter(position__in=list(positions), act="test", performed_at__lte=at)
    )
    newest = test_entries.order_by("position_id", "code", "-performed_at", "-visit_id", "-number").distinct(
        "position_id", "code"
    )
    return {(_place_of(e), e.code): e for e in newest.select_related("verdict").prefetch_related("readings")}


def devices_at_places(positions: QuerySet[Position]) -> QuerySet[Device]:
    """Return the devices that fill or once filled one of these places."""
    in_register = Q(id__in=Fitting.objects.filter(position__in=positions, device__isnull=False).values("device"))
    in_visits = Q(
        id__in=standing_entries(Entry.objects.filter(position__in=positions, act__in=OCCUPANT_ACTS)).values("device")
    )
    return Device.objects.filter(in_register | in_visits).select_related("kind")


def stays_of_devices(devices: Sequence[UUID], positions: QuerySet[Position], at: datetime) -> dict[UUID, list[Stay]]:
    """Return the stays of each device at these positions up to `at`, the newest last: four queries."""
    fitted = Fitting.objects.filter(device__in=devices).values("position")
    swapped = Entry.objects.filter(device__in=devices, act__in=OCCUPANT_ACTS).values("position")
    touched = positions.filter(Q(id__in=fitted) | Q(id__in=swapped)).values_list("id", flat=True)
    by_device: dict[UUID, list[Stay]] = {}
    for place in stays_at_places(touched, at).values():
        for stay in place:
            by_device.setdefault(stay.device.id, []).append(stay)
    return by_device
