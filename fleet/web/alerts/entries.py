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
from fleet.alerts.acts import LEVEL_RANKS
from fleet.alerts.models import Alert
from fleet.portfolio.models import Building

ACTIONS = {"acknowledge": ("alert.acknowledge", "acknowledged"), "shelve": ("alert.shelve", "shelved")}
AlertFaults = Mapping[UUID, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class FeedItem:
    """One alert, whether it is new to the user, what the user may do about it, and the faults of the last attempt."""

    alert: Any  # an Alert annotated with its time zone
    building: Building | None
    new: bool
    may: frozenset[str]
    faults: tuple[str, ...] = ()

    @property
    def place_name(self) -> str:
        """The address of its building; of an alert about a whole portfolio, the portfolio's name."""
        return self.building.address if self.building else str(self.alert.portfolio.name)

    @property
    def shows_job(self) -> bool:
        """Whether it is about a job that the user may see."""
        return "see_job" in self.may

    @property
    def may_acknowledge(self) -> bool:
        """Whether the user may acknowledge it, and nobody has."""
        return "acknowledge" in self.may and self.alert.acknowledged_at is None

    @property
    def may_shelve(self) -> bool:
        """Whether the user may shelve it."""
        return "shelve" in self.may


@dataclass(frozen=True, slots=True)
class FeedEntry:
    """The alerts under one heading: of one boiler (or all jobs of one building), one condition, one moment or week."""

    items: Sequence[FeedItem]

    @property
    def first(self) -> FeedItem:
        """The worst alert."""
        return self.items[0]

    @property
    def several(self) -> bool:
        """Whether there is more than one alert."""
        return len(self.items) > 1

    @property
    def status(self) -> str:
        """The code of the status of all its alerts together."""
        alert = self.first.alert
        if alert.until:
            return "returned_to_normal"
        if not self.several:
            return str(alert.status)
        if alert.shelved_until:
            return "shelved"
        return "acknowledged" if self.acknowledged == len(self.items) else "raised"

    @property
    def partly_acknowledged(self) -> bool:
        """Whether some of its alerts are acknowledged and the user may acknowledge others."""
        return self.several and self.acknowledged > 0 and bool(self.to_acknowledge)

    @property
    def may_make_job(self) -> bool:
        """Whether the user may make a job for it."""
        return "job" in self.first.may

    @property
    def new(self) -> int:
        """How many alerts are new to the user."""
        return sum(item.new for item in self.items)

    @property
    def begun(self) -> datetime:
        """When the first alert began."""
        since: datetime = min(item.alert.since for item in self.items)
        return since

    @property
    def raised(self) -> datetime:
        """When the last alert was raised."""
        raised_at: datetime = max(item.alert.raised_at for item in self.items)
        return raised_at

    @property
    def latest(self) -> datetime:
        """When the last alert began."""
        since: datetime = max(item.alert.since for item in self.items)
        return since

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
    def to_acknowledge(self) -> list[FeedItem]:
        """The alerts this user can still acknowledge."""
        return [item for item in self.items if item.may_acknowledge]

    @property
    def to_shelve(self) -> list[FeedItem]:
        """The alerts this user can shelve."""
        return [item for item in self.items if item.may_shelve]

    @property
    def faulty(self) -> bool:
        """Whether an action on any of the alerts was refused."""
        return any(item.faults for item in self.items)


def alerts_permitted_to(rows: QuerySet[Any], user: User, action: str, at: datetime) -> QuerySet[Any]:
    """Return the alerts on which the user may do `action`: of boilers, of their buildings, and of whole portfolios."""
    return alerts.alerts_of(rows, policy.boilers_for(user, action, at), policy.portfolios_for(user, action, at))


def build_entries(
    user: User,
    rows: QuerySet[Alert],
    keys: Sequence[str],
    last_look: datetime | None,
    faults: AlertFaults,
    at: datetime,
) -> list[FeedEntry]:
    """Return the entries with these keys, in the order of the keys."""
    items_by_key: dict[str, list[FeedItem]] = {key: [] for key in keys}
    for item in _build_items(user, list(alerts.alerts_under(rows, keys)), last_look=last_look, faults=faults, at=at):
        items_by_key[item.alert.key].append(item)
    return [FeedEntry(sorted(items, key=_severity_key)) for items in items_by_key.values() if items]


def _severity_key(item: FeedItem) -> tuple[int, datetime, str]:
    return LEVEL_RANKS[item.alert.level], item.alert.since, item.alert.sentence


def _build_items(
    user: User, rows: Sequence[Any], last_look: datetime | None, faults: AlertFaults, at: datetime
) -> Iterable[FeedItem]:
    permitted_ids = {kind: _permitted_alerts(user, rows, action, at) for kind, (action, _) in ACTIONS.items()}
    buildings = Building.objects.in_bulk([row.house or row.subject for row in rows if row.boiler_id is None])
    job_buildings = (
        set(policy.boilers_for(user, "job.create", at).values_list("building", flat=True)) if rows else set()
    )
    for row in rows:
        building = row.boiler.building if row.boiler_id else buildings.get(row.house or row.subject)
        actions = {k for k, ids in permitted_ids.items() if row.id in ids and row.until is None}
        if building and building.id in job_buildings and row.until is None:
            actions |= {"see_job" if row.house else "job"}  # a user who may make jobs in a building sees all its jobs
        is_news = last_look is not None and (row.returned_at or row.raised_at) > last_look
        yield FeedItem(row, building, new=is_news, may=frozenset(actions), faults=faults.get(row.id, ()))


def _permitted_alerts(user: User, rows: Iterable[Alert], action: str, at: datetime) -> set[UUID]:
    raised_alerts = Alert.objects.filter(id__in=[row.id for row in rows if row.until is None])
    return set(alerts_permitted_to(raised_alerts, user, action, at).values_list("id", flat=True))
