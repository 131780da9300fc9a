"""Eight clients at once: nothing lost, nothing doubled, nobody waits for another's boiler; and what it all costs."""

import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import import_module
from statistics import median
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.assessments.models import Answer
from fleet.board.models import Change, Pulse
from fleet.figures import standing_counts
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Entry, Visit
from tests.cast import DAY, NOW, Fleet, conclusions, make_fleet
from tests.pipeline.crowd import Client, Seen, at_once, called, watched

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.timeout(900)]

sweeping = import_module("fleet.pipeline.sweep")  # the room offers its function under the same name

KEYS = ("ALD12 B1", "ALD12 B2", "QUA48 B1")
CLIENTS = 8
POSTS = {"small": 6, "full": 50}
LATER = NOW + 20 * DAY


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Three boilers, committed, so that other connections see them."""
    return make_fleet("ALD12", "QUA48")


def busy_weeks(fleet: Fleet, posts: int) -> list[list[IncomingVisit]]:
    """What each client posts: flushes of all three boilers, every fifth failed, every seventh a repair."""
    made = []
    for client in range(CLIENTS):
        own = []
        for number in range(posts):
            nth = number * CLIENTS + client
            at, key = NOW - timedelta(hours=3 * nth + 1), KEYS[nth % len(KEYS)]
            own.append(fleet.repaired(at, key) if nth % 7 == 3 else fleet.flushed(at, key, burner_stopped=nth % 5 > 0))
        made.append(own)
    return made


@dataclass(frozen=True)
class Whole:
    """Everything concluded of everything."""

    boilers: dict[UUID, Any]
    standings: list[standing_counts.DayCounts]
    classes: list[standing_counts.DayCounts]
    ages: list[standing_counts.DayCounts]


def whole() -> Whole:
    every, first, last = Boiler.objects.all(), (NOW - 90 * DAY).date(), (NOW + 90 * DAY).date()
    return Whole(
        {b.id: conclusions(b.id) for b in every},
        standing_counts.standings_per_day(every, first, last),
        standing_counts.open_by_class_per_day(every, first, last),
        standing_counts.age_bands_per_day(every, first, last),
    )


def serial(fleet: Fleet, visits: list[IncomingVisit]) -> Whole:
    """The same posts one after another, then the sweeps; the database is as before afterwards."""
    with transaction.atomic():
        for visit in visits:
            fleet.post(visit)
        for at in (NOW + 10 * DAY, LATER):
            pipeline.sweep(at=at)
        found = whole()
        transaction.set_rollback(True)
    return found


@pytest.fixture
def named_sweeps(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sweep shows which boiler it has in hand, as a post does."""
    lock = sweeping.lock_boilers

    def named(boilers: list[UUID], **how: Any) -> list[Boiler]:
        called(boilers[0])
        return lock(boilers, **how)

    monkeypatch.setattr(sweeping, "lock_boilers", named)


@dataclass(frozen=True)
class Run:
    """What a crowd left behind."""

    fleet: Fleet
    visits: list[IncomingVisit]
    clients: list[Client]
    seen: Seen
    seconds: float
    alone: Whole
    together: Whole


@pytest.fixture
def run(fleet: Fleet, named_sweeps: None, request: pytest.FixtureRequest) -> Run:
    """Eight clients post on three boilers, two sweeps run meanwhile, one more when all is done."""
    sheets = busy_weeks(fleet, POSTS[request.config.getoption("load")])
    visits = [v for own in sheets for v in own]
    alone = serial(fleet, visits)
    clients = [Client(fleet, own, seed) for seed, own in enumerate(sheets)]

    def sweep(share: float, at: datetime) -> None:
        while sum(len(c.took) for c in clients) < share * len(visits):
            time.sleep(0.01)
        pipeline.sweep(at=at)

    begun = time.perf_counter()
    sweeps = [lambda: sweep(0.3, NOW + 10 * DAY), lambda: sweep(0.6, LATER)]
    with watched() as seen:
        at_once(*(c.run for c in clients), *sweeps, timeout=800)
    seconds = time.perf_counter() - begun
    pipeline.sweep(at=LATER)
    return Run(fleet, visits, clients, seen, seconds, alone, whole())


def test_eight_clients_and_two_sweeps_leave_what_a_serial_run_leaves(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    told(run, capsys)
    assert Visit.objects.count() == Answer.objects.count() == len(run.visits)
    assert Entry.objects.count() == sum(len(v.entries) for v in run.visits)
    assert sum(c.tries for c in run.clients) == len(run.visits)  # no deadlock, no lock held too long
    assert run.seen.looks > 100
    assert run.seen.strange == {}
    versions = set(Change.objects.values_list("version", flat=True))
    assert versions <= set(range(1, Pulse.objects.get().version + 1))
    assert run.together == run.alone
    assert pipeline.rebuild(at=LATER) == 0


def told(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Print what was measured."""
    took = sorted(t for c in run.clients for t in c.took)
    with capsys.disabled():
        print(
            f"\n{len(run.visits)} posts by {CLIENTS} clients on {len(KEYS)} boilers, two sweeps between: "
            f"{run.seconds:.1f} s, tried {sum(c.tries for c in run.clients)} times; "
            f"median {median(took) * 1000:.0f} ms, slowest {took[-1] * 1000:.0f} ms\n"
            f"{run.seen.looks} looks at the locks: {run.seen.own} waits for the own boiler, "
            f"{run.seen.jobs} for the jobs of the own house, {run.seen.pulse} for the pulse, "
            f"{sum(run.seen.strange.values())} for anything else"
        )
