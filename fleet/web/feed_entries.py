"""The entries of the alert feed: similar alerts are grouped under one heading, worst first."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.alerts.acts import RANK
from fleet.alerts.models import Alert
from fleet.portfolio.models import Building

ACTIONS = {"acknowledge": ("alert.acknowledge", "acknowledged"), "shelve": ("alert.shelve", "shelved")}
Faults = Mapping[UUID, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Item:
    """One alert, whether it is new to the user, what the user may do about it, and the faults of the last attempt."""

    alert: Any  # an Alert annotated with its time zone
    house: Building | None
    new: bool
    may: frozenset[str]
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """The alerts under one heading: of one boiler (or all jobs of one building), one condition, one moment or week."""

    items: Sequence[Item]

    @property
    def first(self) -> Item:
        """The worst alert."""
        return self.items[0]

    @property
    def several(self) -> bool:
        """Whether there is more than one alert."""
        return len(self.items) > 1

    @property
    def new(self) -> int:
        """How many alerts are new to the user."""
        return sum(item.new for item in self.items)

    @property
    def begun(self) -> datetime:
        """When the first alert began."""
        return min(item.alert.since for item in self.items)

    @property
    def raised(self) -> datetime:
        """When the last alert was raised."""
        return max(item.alert.raised_at for item in self.items)

    @property
    def latest(self) -> datetime:
        """When the last alert began."""
        return max(item.alert.since for item in self.items)

    @property
    def over(self) -> tuple[datetime, datetime] | None:
        """When the first and the last alert ended; None while they are raised."""
        ends = [item.alert.until for item in self.items if item.alert.until]
        return (min(ends), max(ends)) if ends else None

    @property
    def acknowledged(self) -> int:
        """How many alerts somebody has acknowledged."""
        return sum(item.alert.acknowledged_at is not None for item in self.items)

    @property
    def to_acknowledge(self) -> list[Item]:
        """The alerts this user can still acknowledge."""
        return [i for i in self.items if "acknowledge" in i.may and i.alert.acknowledged_at is None]

    @property
    def to_shelve(self) -> list[Item]:
        """The alerts this user can shelve."""
        return [i for i in self.items if "shelve" in i.may]

    @property
    def faulty(self) -> bool:
        """Whether an action on any of the alerts was refused."""
        return any(item.faults for item in self.items)


def of(rows: QuerySet[Any], user: User, action: str, at: datetime) -> QuerySet[Any]:
    """Return the alerts on which the user may do `action`: of boilers, of their buildings, and of whole portfolios."""
    return alerts.of(rows, policy.boilers(user, action, at), policy.portfolios(user, action, at))


def entries(
    user: User, rows: QuerySet[Alert], keys: Sequence[str], looked: datetime | None, faults: Faults, at: datetime
) -> list[Entry]:
    """Return the entries with these keys, in the order of the keys."""
    found: dict[str, list[Item]] = {key: [] for key in keys}
    for item in _items(user, list(alerts.under(rows, keys)), looked, faults, at):
        found[item.alert.key].append(item)
    return [Entry(sorted(items, key=_worst)) for items in found.values() if items]


def _worst(item: Item) -> tuple[int, datetime, str]:
    return RANK[item.alert.level], item.alert.since, item.alert.sentence


def _items(user: User, rows: Sequence[Any], looked: datetime | None, faults: Faults, at: datetime) -> Iterable[Item]:
    may = {kind: _may(user, rows, action, at) for kind, (action, _) in ACTIONS.items()}
    houses = Building.objects.in_bulk([row.house or row.subject for row in rows if row.boiler_id is None])
    makes = set(policy.boilers(user, "job.create", at).values_list("building", flat=True)) if rows else set()
    for row in rows:
        house = row.boiler.building if row.boiler_id else houses.get(row.house or row.subject)
        open_to = {k for k, ids in may.items() if row.id in ids and row.until is None}
        if house and house.id in makes and row.until is None:
            open_to |= {"see_job" if row.house else "job"}  # a user who may make jobs in a building sees all its jobs
        news = looked is not None and (row.returned_at or row.raised_at) > looked
        yield Item(row, house, news, frozenset(open_to), faults.get(row.id, ()))


def _may(user: User, rows: Iterable[Alert], action: str, at: datetime) -> set[UUID]:
    raised = Alert.objects.filter(id__in=[row.id for row in rows if row.until is None])
    return set(of(raised, user, action, at).values_list("id", flat=True))
