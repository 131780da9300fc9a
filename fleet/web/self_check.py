"""The health of the site: worker, boundaries, database, broker and boilers that could not be judged. No secrets."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import redis
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.board import swept
from fleet.board.models import Judged
from fleet.catalog import queries as catalog
from fleet.evidence import build_of
from fleet.portfolio.models import Boiler
from fleet.rules.judge import VERSION
from fleet.web.pages import page

EVERY = timedelta(seconds=30)  # how often the sweep runs
LATE = timedelta(minutes=2)
MOST = 50
WELL, BEHIND, WRONG = "well", "late", "wrong"


@dataclass(frozen=True, slots=True)
class Check:
    """One check: its status in one word, a headline and a sentence."""

    name: str
    how: str
    says: str
    sentence: str
    at: datetime | None = None


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the checks to managers, owners and the office, about the boilers they answer for."""
    user: Any = request.user
    if not policy.grants(user, "self_check.see", at).exists():
        raise PermissionDenied
    boilers = policy.boilers(user, "self_check.see", at)
    failed = _failed(boilers)
    checks = [_worker(at), _boundaries(boilers, at), _judged(boilers, len(failed)), _database(), _broker()]
    checks.sort(key=lambda c: (WRONG, BEHIND, WELL).index(c.how))
    told = {
        "checks": checks,
        "failed": failed[:MOST],
        "more": len(failed) > MOST,
        "made_of": list(_made_of(boilers, at)),
    }
    return render(request, "self_check.html", {**told, "as_of": at, "zone": "UTC", "here": "account"})


def _worker(at: datetime) -> Check:
    last = swept.last()
    if last is None:
        told = "No sweep is on record within a day, or this process shares no cache with the worker."
        return Check("Worker", WRONG, "Not known to run", f"{told} Boards stay right; alerts and jobs do not move.")
    if at - last > LATE:
        told = "It should go round every 30 seconds. Boards stay right; alerts and jobs do not move."
        return Check("Worker", WRONG, "Stands still", f"{told} Last sweep:", last)
    return Check("Worker", WELL, "Runs", "It goes round every 30 seconds. Last sweep:", last)


def _boundaries(boilers: QuerySet[Boiler], at: datetime) -> Check:
    """Check for boundaries in time that have passed and that the sweep has not reached."""
    passed = Judged.objects.filter(boiler__in=boilers, next_at__lte=at).order_by("next_at")
    oldest, count = passed.values_list("next_at", flat=True).first(), passed.count()
    if oldest is None:
        return Check("Boundaries", WELL, "None waits", "Every boundary that has passed has been swept.")
    how = BEHIND if at - oldest > LATE else WELL
    verb = "boiler waits" if count == 1 else "boilers wait"
    return Check("Boundaries", how, f"{count} {verb}", "The oldest boundary not swept yet passed:", oldest)


def _judged(boilers: QuerySet[Boiler], failed: int) -> Check:
    never = boilers.filter(judged=None).count()
    if failed:
        told = "What is shown of them is what was concluded before; they are tried again by themselves."
        return Check("Judging", WRONG, f"{failed} could not be judged", told)
    if never:
        return Check("Judging", BEHIND, f"{never} not judged yet", "They are new: the next sweep takes them.")
    return Check("Judging", WELL, "All are judged", "No boiler is left out.")


def _failed(boilers: QuerySet[Boiler]) -> list[Judged]:
    found = Judged.objects.filter(boiler__in=boilers, failures__gt=0).select_related("boiler__building")
    return list(found.order_by("-failures", "boiler__building__address", "boiler__name")[: MOST + 1])


def _database() -> Check:
    """Report the server version; that this page is shown at all proves that the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("show server_version")
        found = cursor.fetchone()
    return Check("Database", WELL, "Answers", f"PostgreSQL {str(found[0]).split()[0] if found else ''}.")


def _broker() -> Check:
    if not settings.REDIS_URL:
        return Check("Broker", WRONG, "None is set", "Nothing wakes the worker: imports of large sheets wait.")
    place = settings.REDIS_URL.replace("redis+socket://", "unix://", 1)
    try:
        with redis.Redis.from_url(place, socket_connect_timeout=0.5, socket_timeout=0.5) as client:
            client.ping()
    except (redis.RedisError, OSError, ValueError):
        told = "Nothing wakes the worker until it is back; nothing that was posted is lost."
        return Check("Broker", WRONG, "Does not answer", told)
    return Check("Broker", WELL, "Answers", "It carries wake-ups only; facts are in the database.")


def _made_of(boilers: QuerySet[Boiler], at: datetime) -> Iterator[tuple[str, str]]:
    """Yield the releases in use: site, catalogue, rules, and how many boilers were judged by an older build."""
    try:
        yield "Site", version("gaugeglass")
    except PackageNotFoundError:
        yield "Site", "not installed as a package"
    yield "Catalogue", f"release {catalog.newest() or 'none'}"
    yield "Rules", f"version {VERSION}"
    old = 0
    for portfolio in boilers.order_by().values_list("portfolio", flat=True).distinct():
        stale = Judged.objects.filter(boiler__in=boilers, portfolio=portfolio).exclude(build=build_of(portfolio, at))
        old += stale.count()
    yield "Judged by an older build", f"{old} boilers" if old != 1 else "1 boiler"
