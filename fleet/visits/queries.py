"""Reading visits: the recent ones of a boiler, those to several boilers, and an entry's visit and line."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import Exists, F, OuterRef, QuerySet

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler
from fleet.rules.vocabulary import NameReply, OperatorRelay
from fleet.visits.models import Attendance, Entry, NameAnswer, Visit


def visits_to(boilers: QuerySet[Boiler]) -> QuerySet[Visit]:
    """Return the visits to these boilers, with the related rows that the head of a visit's page needs."""
    visits = Visit.objects.filter(boiler__in=boilers)
    return visits.select_related("boiler__building", "posted_by", "corrected_by", "paper").prefetch_related(
        "people__user"
    )


def recent_visits(boiler: UUID, limit: int) -> Iterable[Visit]:
    """Return the boiler's newest visits, at most `limit`, corrected and void ones included."""
    visits = (
        Visit.objects.filter(boiler=boiler).select_related("corrected_by", "paper").prefetch_related("people__user")
    )
    return visits.order_by("-performed_at", "-id")[:limit]


def is_under_pin_of(visit: Visit, user: User) -> bool:
    """Return whether a visit came by a card under this person's PIN, and he has not said yet whether it was so."""
    if visit.operator_relay != OperatorRelay.PIN:
        return False
    is_named = Attendance.objects.filter(visit=visit, user=user).exists()
    return is_named and not NameAnswer.objects.filter(visit=visit, by=user).exists()


def entry_places(entries: Iterable[UUID]) -> dict[str, tuple[UUID, int]]:
    """Return each entry's visit and its line there, counted from 1, by the entry's id as text."""
    rows = Entry.objects.filter(id__in=list(entries)).annotate(line=F("number") + 1)
    return {str(e): (visit, line) for e, visit, line in rows.values_list("id", "visit", "line")}


def people_of(boilers: Iterable[UUID], since: datetime, at: datetime) -> list[tuple[User, datetime]]:
    """Return who was at these boilers from `since` to `at`, with each last time, newest first; no void visits.

    Who holds a paper of others was not there, nor who is named and denied it.
    """
    attendances = Attendance.objects.filter(user__is_active=True, visit__boiler__in=list(boilers), visit__void=False)
    denied = NameAnswer.objects.filter(visit=OuterRef("visit"), by=OuterRef("user"), answer=NameReply.DENIED)
    attendances = attendances.filter(~Exists(denied), visit__paper=None)
    attendances = attendances.filter(visit__performed_at__gte=since, visit__performed_at__lte=at)
    last = attendances.order_by("user", "-visit__performed_at").distinct("user").select_related("user", "visit")
    met = [(attendance.user, attendance.visit.performed_at) for attendance in last if attendance.user is not None]
    return sorted(met, key=lambda pair: pair[1], reverse=True)
