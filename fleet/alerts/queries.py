"""Reading alerts: which are raised, how many on each boiler, and the feed."""

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, CharField, Count, Max, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Cast, Coalesce, Concat, TruncWeek

from fleet.alerts.models import Alert
from fleet.jobs.models import Job
from fleet.portfolio.models import Boiler, Building, Portfolio


def open_counts(boilers: Iterable[UUID]) -> dict[UUID, int]:
    """Return how many alerts are open on each of these boilers; boilers without any are left out."""
    raised = Alert.objects.filter(boiler__in=list(boilers), until=None).order_by()
    return dict(raised.values_list("boiler").annotate(Count("id")))


def alert_zone() -> Coalesce:
    """Return the time zone of an alert: its boiler's, building's or job's, else its portfolio's first building's."""
    of_building = Building.objects.filter(id=OuterRef("subject")).values("zone")
    job = Job.objects.filter(id=OuterRef("subject")).values("building__zone")
    first = Building.objects.filter(portfolio=OuterRef("portfolio")).order_by("ref").values("zone")[:1]
    return Coalesce("boiler__building__zone", Subquery(of_building), Subquery(job), Subquery(first), Value("UTC"))


def open_alerts_of_boiler(boiler: UUID) -> QuerySet[Alert]:
    """Return the open alerts of one boiler, newest first."""
    return Alert.objects.filter(boiler=boiler, until=None).order_by("-since", "condition")


def shelvings_over(at: datetime) -> QuerySet[Alert]:
    """Return the open alerts without a boiler whose shelving is over by `at`. A boiler's follow its judgement."""
    return Alert.objects.filter(boiler=None, until=None, shelved_until__lte=at).order_by("portfolio", "id")


def newest_instants(boilers: QuerySet[Boiler]) -> tuple[datetime | None, datetime | None]:
    """Return when an alert of these boilers was last raised, and when one last returned to normal."""
    instants = Alert.objects.filter(boiler__in=boilers).aggregate(raised=Max("raised_at"), back=Max("returned_at"))
    return instants["raised"], instants["back"]


def alerts_of(rows: QuerySet[Alert], boilers: QuerySet[Boiler], portfolios: QuerySet[Portfolio]) -> QuerySet[Alert]:
    """Return the alerts of these boilers, of their buildings and the jobs there, and of these portfolios as a whole."""
    houses = boilers.values("building")
    jobs = Job.objects.filter(building__in=houses).values("id")
    whole = Q(portfolio__in=portfolios) | Q(subject__in=houses) | Q(subject__in=jobs)
    return rows.filter(Q(boiler__in=boilers) | (Q(boiler=None) & whole))


def open_alerts_of_building(building: UUID) -> QuerySet[Alert]:
    """Return the open alerts of a building as a whole, newest first."""
    return Alert.objects.filter(boiler=None, subject=building, until=None).order_by("-since", "condition")


def alert_feed(boilers: QuerySet[Boiler], portfolios: QuerySet[Portfolio]) -> QuerySet[Alert]:
    """Return alerts by their latest change, newest first; ties are ordered by id."""
    alerts = alerts_of(Alert.objects.all(), boilers, portfolios).select_related("boiler__building", "portfolio")
    alerts = alerts.annotate(zone=alert_zone())
    return alerts.order_by(_latest_change().desc(), "-since", "condition", "id")


def group_entries(rows: QuerySet[Alert]) -> QuerySet[Alert, dict[str, Any]]:
    """Return the feed's entries, by their latest change: the `key`, latest change (`told`) and `count` of each.

    An entry groups the alerts of one boiler (or building as a whole, all jobs of a building, portfolio) and one
    condition: those raised, those shelved, and those that returned to normal at one moment. Alerts of jobs are grouped
    by the week of their return (Monday to Sunday, UTC), since a job that is not done is planned again day after day.
    """
    keyed = rows.order_by().alias(house=_building_of_job()).annotate(key=_entry_key()).values("key")
    return keyed.annotate(told=Max(_latest_change()), count=Count("id")).order_by("-told", "key")  # type: ignore[return-value]


def alerts_under(rows: QuerySet[Alert], keys: Iterable[str]) -> QuerySet[Alert]:
    """Return the alerts of these entries, with their `key`; `house` is the building of an alert about a job."""
    return rows.annotate(house=_building_of_job()).annotate(key=_entry_key()).filter(key__in=list(keys))


def _building_of_job() -> Subquery:
    return Subquery(Job.objects.filter(id=OuterRef("subject")).values("building"))


def _entry_key() -> Concat:
    """Return the key of an alert's entry, as text; `house` must be annotated."""
    whose = Coalesce(Cast("boiler", CharField()), Cast("house", CharField()), Cast("subject", CharField()))
    shelved = Case(When(until=None, shelved_until__isnull=False, then=Value("shelved")), default=Value(""))
    week = Cast(TruncWeek("returned_at", tzinfo=UTC), CharField())
    moment = Case(When(house=None, then=Cast("returned_at", CharField())), default=week)
    back = Coalesce(moment, Value(""))
    return Concat(whose, Value(" "), "condition", Value(" "), shelved, back)


def changed_since(rows: QuerySet[Alert], looked: datetime) -> QuerySet[Alert]:
    """Return the alerts whose latest change was stored after an instant."""
    return rows.alias(news=_latest_change()).filter(news__gt=looked)


def _latest_change() -> Coalesce:
    return Coalesce("returned_at", "raised_at")
