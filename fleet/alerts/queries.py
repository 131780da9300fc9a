"""Reading alerts: which are raised, how many on each boiler, and the feed."""

from datetime import datetime
from uuid import UUID

from django.db.models import Count, Max, QuerySet
from django.db.models.functions import Coalesce

from fleet.alerts.models import Alert
from fleet.portfolio.models import Boiler


def open_counts(boilers: QuerySet[Boiler]) -> dict[UUID, int]:
    """How many alerts are raised on each boiler that has any."""
    raised = Alert.objects.filter(boiler__in=boilers, until=None).order_by()
    return dict(raised.values_list("boiler").annotate(Count("id")))


def open_of(boiler: UUID) -> QuerySet[Alert]:
    """What is raised on one boiler, newest first."""
    return Alert.objects.filter(boiler=boiler, until=None).order_by("-since", "condition")


def newest(boilers: QuerySet[Boiler]) -> tuple[datetime | None, datetime | None]:
    """When an alert of these boilers was last raised, and when one last returned to normal."""
    found = Alert.objects.filter(boiler__in=boilers).aggregate(raised=Max("raised_at"), back=Max("returned_at"))
    return found["raised"], found["back"]


def feed(boilers: QuerySet[Boiler]) -> QuerySet[Alert]:
    """Alerts by their latest news, newest first; the id settles what was written in one breath."""
    found = Alert.objects.filter(boiler__in=boilers).select_related("boiler__building")
    return found.order_by(Coalesce("returned_at", "raised_at").desc(), "-since", "condition", "id")
