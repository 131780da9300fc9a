"""Reading the change log, newest first."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.board.models import Change

OF_REGISTER = Q(kind__startswith="register.") | Q(kind="paper.added")


def of_boiler(boiler: UUID) -> QuerySet[Change]:
    """Return the register changes of one boiler with its places."""
    return _newest(Change.objects.filter(OF_REGISTER, boiler=boiler))


def of_building(building: UUID, boilers: Iterable[UUID]) -> QuerySet[Change]:
    """Return the register changes of a building itself and of these of its boilers."""
    return _newest(
        Change.objects.filter(OF_REGISTER).filter(Q(boiler=None, subject=building) | Q(boiler__in=list(boilers)))
    )


def of_deficiency(deficiency: UUID) -> QuerySet[Change]:
    """Return the recorded status changes of one deficiency."""
    return _newest(Change.objects.filter(kind="deficiency.changed", subject=deficiency))


def _newest(found: QuerySet[Change]) -> QuerySet[Change]:
    return found.order_by("-recorded_at", "-version", "-number")
