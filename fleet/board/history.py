"""Reading the change log, newest first."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.board.models import Change

OF_REGISTER = Q(kind__startswith="register.") | Q(kind="paper.added")


def boiler_changes(boiler: UUID) -> QuerySet[Change]:
    """Return the register changes of one boiler with its places."""
    return _newest_first(Change.objects.filter(OF_REGISTER, boiler=boiler))


def building_changes(building: UUID, boilers: Iterable[UUID]) -> QuerySet[Change]:
    """Return the register changes of a building itself and of these of its boilers."""
    return _newest_first(
        Change.objects.filter(OF_REGISTER).filter(Q(boiler=None, subject=building) | Q(boiler__in=list(boilers)))
    )


def deficiency_changes(deficiency: UUID) -> QuerySet[Change]:
    """Return the recorded status changes of one deficiency."""
    return _newest_first(Change.objects.filter(kind="deficiency.changed", subject=deficiency))


def _newest_first(changes: QuerySet[Change]) -> QuerySet[Change]:
    return changes.order_by("-recorded_at", "-version", "-number")
