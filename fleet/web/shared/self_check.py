"""The health of the site: its parts, boundaries, database, disk, broker, and what could not be judged. No secrets."""

from collections.abc import Iterator
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import redis
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board import queries as board
from fleet.board.models import Judged
from fleet.catalog import queries as catalog
from fleet.evidence import build_of
from fleet.heartbeats.services import LATE_AFTER
from fleet.portfolio.models import Boiler
from fleet.records.disk_room import ROOM_FOR_WRITES_BYTES, free_bytes, has_room
from fleet.rules.judge import VERSION
from fleet.web.shared.heartbeat_checks import check_heartbeats
from fleet.web.shared.pages import signed_in_page
from fleet.web.shared.system_check import BEHIND, WELL, WRONG, SystemCheck

MAX_FAILED = 50
MB = 1024 * 1024


@signed_in_page
def show_self_check(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the checks to managers, owners and the office, about the boilers they answer for."""
    user = user_of(request)
    if not policy.grants_for(user, "self_check.see", at).exists():
        raise PermissionDenied
    boilers = policy.boilers_for(user, "self_check.see", at)
    failed = _failed_boilers(boilers)
    checks = [
        *check_heartbeats(at),
        _check_boundaries(boilers, at),
        _check_judging(boilers, len(failed)),
        _check_database(),
        _check_disk(),
        _check_broker(),
    ]
    checks.sort(key=lambda c: (WRONG, BEHIND, WELL).index(c.status))
    context = {
        "checks": checks,
        "failed": failed[:MAX_FAILED],
        "more": len(failed) > MAX_FAILED,
        "made_of": list(_running_versions(boilers, at)),
    }
    return render(request, "shared/self_check.html", {**context, "as_of": at, "zone": "UTC", "here": "account"})


def _check_boundaries(boilers: QuerySet[Boiler], at: datetime) -> SystemCheck:
    """Check for boundaries in time that have passed and that the sweep has not reached."""
    count, oldest = board.passed_boundaries(boilers, at)
    if oldest is None:
        return SystemCheck("Boundaries", WELL, "None waits", "Every boundary that has passed has been swept.")
    status = BEHIND if at - oldest > LATE_AFTER else WELL
    verb = "boiler waits" if count == 1 else "boilers wait"
    return SystemCheck(
        "Boundaries", status, says=f"{count} {verb}", sentence="The oldest boundary not swept yet passed:", at=oldest
    )


def _check_judging(boilers: QuerySet[Boiler], failed: int) -> SystemCheck:
    never = boilers.filter(judged=None).count()
    if failed:
        sentence = "They show what was concluded before and are tried again automatically."
        return SystemCheck("Judging", WRONG, f"{failed} could not be judged", sentence)
    if never:
        return SystemCheck("Judging", BEHIND, f"{never} not judged yet", "They are new. The next sweep judges them.")
    return SystemCheck("Judging", WELL, "All are judged", "No boiler is left out.")


def _failed_boilers(boilers: QuerySet[Boiler]) -> list[Judged]:
    failures = Judged.objects.filter(boiler__in=boilers, failures__gt=0).select_related("boiler__building")
    return list(failures.order_by("-failures", "boiler__building__address", "boiler__name")[: MAX_FAILED + 1])


def _check_database() -> SystemCheck:
    """Report the server version; that this page is shown at all proves that the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("show server_version")
        version_row = cursor.fetchone()
    return SystemCheck(
        "Database", WELL, "Answers", f"PostgreSQL {str(version_row[0]).split()[0] if version_row else ''}."
    )


def _check_disk() -> SystemCheck:
    if not settings.DISK_FOLDER:
        return SystemCheck(
            "Disk", WELL, "Not looked at", "The database is on another machine, or a command runs alone."
        )
    megabytes = (
        f"{free_bytes(Path(settings.DISK_FOLDER)) // MB} MB are free, {ROOM_FOR_WRITES_BYTES // MB} MB are needed."
    )
    if has_room():
        return SystemCheck("Disk", WELL, says="Has room", sentence=megabytes)
    sentence = f"{megabytes} Everything can be viewed. Nothing is saved, and alerts and jobs are not updated."
    return SystemCheck("Disk", WRONG, says="Is full", sentence=sentence)


def _check_broker() -> SystemCheck:
    if not settings.REDIS_URL:
        return SystemCheck("Broker", WRONG, "None is set", "Nothing wakes the worker, so imports of large sheets wait.")
    address = settings.REDIS_URL.replace("redis+socket://", "unix://", 1)
    try:
        with redis.Redis.from_url(address, socket_connect_timeout=0.5, socket_timeout=0.5) as client:
            client.ping()
    except (redis.RedisError, OSError, ValueError):
        sentence = "Nothing wakes the worker until it is back. Nothing that was posted is lost."
        return SystemCheck("Broker", WRONG, "Does not answer", sentence)
    return SystemCheck("Broker", WELL, "Answers", "It carries only wake-ups. Facts are in the database.")


def _running_versions(boilers: QuerySet[Boiler], at: datetime) -> Iterator[tuple[str, str]]:
    """Yield the releases in use: site, catalogue, rules, and how many boilers were judged by an older build."""
    try:
        yield "Site", version("gaugeglass")
    except PackageNotFoundError:
        yield "Site", "not installed as a package"
    yield "Catalogue", f"release {catalog.newest_release_number() or 'none'}"
    yield "Rules", f"version {VERSION}"
    outdated_count = 0
    for portfolio in boilers.order_by().values_list("portfolio", flat=True).distinct():
        outdated = Judged.objects.filter(boiler__in=boilers, portfolio=portfolio).exclude(build=build_of(portfolio, at))
        outdated_count += outdated.count()
    yield "Judged by an older build", f"{outdated_count} boilers" if outdated_count != 1 else "1 boiler"
