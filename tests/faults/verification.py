"""Looks into the database of a fault run's site: what it must hold, and what it must not. Prints JSON.

Run beside the site as `python -m tests.faults.verification FILE QUESTION…`. FILE is what the run knows from outside.
"""

import json
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import django

django.setup()

from django.db import transaction  # noqa: E402
from django.utils import timezone  # noqa: E402

from fleet import pipeline  # noqa: E402
from fleet.alerts.matching import end_by  # noqa: E402
from fleet.alerts.models import Alert  # noqa: E402
from fleet.alerts.services import UNJUDGED  # noqa: E402
from fleet.board import queries as board  # noqa: E402
from fleet.board.models import Judged  # noqa: E402
from fleet.evidence import build_of, gather_evidence  # noqa: E402
from fleet.heartbeats.services import read_heartbeats  # noqa: E402
from fleet.notices import calling  # noqa: E402
from fleet.notices.channels.contract import DeliveryOutcome  # noqa: E402
from fleet.notices.channels.registry import channels_in_use  # noqa: E402
from fleet.notices.delivery import deliver_next  # noqa: E402
from fleet.notices.models import FOLDED, SENT, WAITING, DeliveryAttempt, Notice  # noqa: E402
from fleet.pipeline.portfolio_conditions import lock_pulse, settle_building, settle_portfolio  # noqa: E402
from fleet.portfolio.models import Boiler, Building, Portfolio  # noqa: E402
from fleet.rules import judge  # noqa: E402
from fleet.visits.models import Entry, Visit  # noqa: E402

SETTLE_SECONDS = 120.0
# What fails is put off for up to an hour, and what is told together waits ten minutes.
LATER_MINUTES = (3, 15, 80, 150, 220, 290, 360, 430)
Told = Mapping[str, Any]


def wait_until_settled(told: Told) -> dict[str, Any]:
    """Wait until these parts were seen after the last kill and no boiler waits to be judged."""
    since = datetime.fromisoformat(told["since"])
    ends_at = time.monotonic() + SETTLE_SECONDS
    while time.monotonic() < ends_at:
        heartbeats = read_heartbeats()
        are_seen = all(part in heartbeats and heartbeats[part].seen_at > since for part in told["parts"])
        if are_seen and not _count_waiting():
            return {"settled": True}
        time.sleep(0.5)
    return {"settled": False, "seen": {part: str(beat.seen_at) for part, beat in read_heartbeats().items()}}


def _count_waiting() -> int:
    now = timezone.now()
    builds = [(portfolio, build_of(portfolio, now)) for portfolio in Portfolio.objects.values_list("id", flat=True)]
    return board.waiting_boilers(builds, now).count()


def check_facts(told: Told) -> dict[str, Any]:
    """Check that every acknowledged visit is there once and whole, and each condition has exactly one open alert."""
    entries = Counter(str(visit) for visit in Entry.objects.values_list("visit", flat=True))
    stored = Counter(str(visit) for visit in Visit.objects.values_list("id", flat=True))
    acknowledged = told["acknowledged"]
    faults = [f"visit {visit} is there {stored[visit]} times" for visit in acknowledged if stored[visit] != 1]
    faults += [f"visit {visit} is not whole" for visit, count in acknowledged.items() if entries[visit] != count]
    expected, opened, alert_faults = _compare_alerts()
    rows = pipeline.rebuild(at=timezone.now())
    if rows:
        alert_faults.append(f"a rebuild wrote {rows} rows")
    return {"expected": expected, "open": opened, "rebuild_rows": rows, "faults": faults + alert_faults}


def _compare_alerts() -> tuple[int, int, list[str]]:
    """Return how many alerts the rules call for, how many are open, and what differs."""
    expected: Counter[tuple[str, str, str]] = Counter()
    for boiler in Boiler.objects.order_by("id"):
        expected.update(
            (condition, str(subject), str(boiler.id)) for condition, subject in _conditions_that_hold(boiler)
        )
    rows = Alert.objects.filter(until=None).exclude(boiler=None).values_list("condition", "subject", "boiler")
    opened = Counter((condition, str(subject), str(boiler)) for condition, subject, boiler in rows)
    faults = [f"no open alert of {missing}" for missing in expected - opened]
    faults += [f"an open alert too many of {extra}" for extra in opened - expected]
    faults += list(_differences_of_portfolios())
    if Alert.objects.filter(until=None, condition=UNJUDGED).exists() or Judged.objects.filter(failures__gt=0).exists():
        faults.append("a boiler could not be judged")
    return expected.total(), opened.total(), faults


def _conditions_that_hold(boiler: Boiler) -> Iterator[tuple[str, Any]]:
    """Yield what the rules say of a boiler now, from its facts alone: nothing stored or remembered is used."""
    at = max(timezone.now(), Judged.objects.get(boiler=boiler).judged_at)
    evidence, _ = gather_evidence(boiler.id, at)
    for condition in judge(evidence, acts=(), at=at).conditions:
        if condition.since <= at and end_by(condition, at) is None:
            yield condition.condition, condition.subject


def _differences_of_portfolios() -> Iterator[str]:
    """Yield what reconciling portfolios and buildings would still write. Nothing of it is kept."""
    with transaction.atomic():
        now = timezone.now()
        for portfolio in Portfolio.objects.values_list("id", flat=True):
            if settle_portfolio(portfolio=portfolio, at=now).written:
                yield f"the alerts of portfolio {portfolio} differ"
        for building in Building.objects.all():
            if settle_building(building=building, at=now).written:
                yield f"the alerts of building {building.ref} differ"
        transaction.set_rollback(True)


def wait_for_delivery(told: Told) -> dict[str, Any]:
    """Wait so many seconds at most until the site itself has sent what was to be sent by now. Return what is left."""
    ends_at = time.monotonic() + told["seconds"]
    while _ready_notices() and time.monotonic() < ends_at:
        time.sleep(1.0)
    return {"left": _ready_notices(), "sent": Notice.objects.filter(status=SENT).count()}


def _ready_notices() -> int:
    return Notice.objects.filter(status=WAITING, next_at__lte=timezone.now()).count()


def deliver_later(_: Told) -> dict[str, Any]:
    """Send what waits for a later time, with that time as the argument. Return how many attempts that took."""
    attempts = 0
    for minutes in LATER_MINUTES:
        at = timezone.now() + timedelta(minutes=minutes)
        while deliver_next(channels=channels_in_use(), at=at) is not None:
            attempts += 1
        if not Notice.objects.filter(status=WAITING).exists():
            break
    return {"attempts": attempts}


def check_notices(told: Told) -> dict[str, Any]:
    """Check that no notice was lost, and that what came twice came so only because an answer was lost."""
    taken: Mapping[str, int] = told["taken"]
    notices = {str(notice.id): notice for notice in Notice.objects.select_related("folded_into")}
    outcomes: dict[str, list[str]] = {}
    for notice, outcome in DeliveryAttempt.objects.order_by("at", "id").values_list("notice", "outcome"):
        outcomes.setdefault(str(notice), []).append(outcome)
    faults = [f"message {stray} has no notice" for stray in taken.keys() - notices.keys()]
    lost = [id_ for id_, notice in notices.items() if not _arrived(notice, taken)]
    faults += [f"notice {id_} ({notices[id_].status}) did not arrive" for id_ in lost]
    for id_, count in taken.items():
        if id_ in notices:
            faults += _repeat_faults(notices[id_], count, outcomes.get(id_, []))
    faults += _missing_calls()
    statuses = Counter(notice.status for notice in notices.values())
    repeats = [(count - 1, outcomes.get(id_, [])) for id_, count in taken.items() if count > 1]
    unanswered = sum(min(count, ways.count(DeliveryOutcome.UNKNOWN.value)) for count, ways in repeats)
    repeated = {"after a lost answer": unanswered, "after a kill": sum(count for count, _ in repeats) - unanswered}
    return {"written": len(notices), "statuses": statuses, "lost": len(lost), "repeated": repeated, "faults": faults}


def _arrived(notice: Notice, taken: Mapping[str, int]) -> bool:
    """Return whether a notice arrived, by itself or as a line of the one that stands for several."""
    carrier = notice.folded_into if notice.status == FOLDED else notice
    return carrier is not None and carrier.status == SENT and taken.get(str(carrier.id), 0) > 0


def _repeat_faults(notice: Notice, count: int, outcomes: list[str]) -> Iterator[str]:
    """Yield what is wrong with how often a message came.

    A claim without a recorded attempt is one whose worker was killed, or whose database was: its answer was lost.
    """
    sent, unknown = outcomes.count(DeliveryOutcome.SENT.value), outcomes.count(DeliveryOutcome.UNKNOWN.value)
    interrupted = notice.tries - len(outcomes)
    if count > sent + unknown + interrupted:
        yield f"notice {notice.id} came {count} times: {sent} sent, {unknown} unknown, {interrupted} interrupted"
    if sent > 1 or (sent and outcomes[-1] != DeliveryOutcome.SENT.value):
        yield f"notice {notice.id} was tried again after its success was recorded: {outcomes}"
    if notice.status == SENT and not sent:
        yield f"notice {notice.id} is marked as sent and no attempt says so"


def _missing_calls() -> Iterator[str]:
    """Yield the portfolios in which somebody was to be called, or told of an end, and no notice was written."""
    with transaction.atomic():
        now = timezone.now()
        for portfolio in Portfolio.objects.values_list("id", flat=True):
            lock_pulse(portfolio)
            count = calling.call_people(portfolio=portfolio, at=now) + calling.tell_returns(portfolio=portfolio, at=now)
            if count:
                yield f"{count} notices of portfolio {portfolio} were never written"
        transaction.set_rollback(True)


QUESTIONS: Mapping[str, Callable[[Told], dict[str, Any]]] = {
    "settled": wait_until_settled,
    "facts": check_facts,
    "delivered": wait_for_delivery,
    "later": deliver_later,
    "notices": check_notices,
}

if __name__ == "__main__":
    known = json.loads(Path(sys.argv[1]).read_text())
    print(json.dumps([QUESTIONS[question](known) for question in sys.argv[2:]]))
