"""Judging a boiler costs no more than reading its facts; both sides are measured in one run, the database's CPU too."""

import gc
import os
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection

from fleet.evidence import gather_evidence
from fleet.management.demo import visit_entries
from fleet.portfolio.models import Boiler
from fleet.rules import judge
from fleet.visits import services
from fleet.visits.incoming import IncomingVisit
from tests.cast import NOW, Fleet

pytestmark = pytest.mark.django_db
WEEKS_PER_SERVICE = 40
TICK = os.sysconf("SC_CLK_TCK")


def history(fleet: Fleet, entries: int) -> None:
    """Write a boiler's past: weekly flushes of both cutoffs and a siphon check, and a service every forty weeks."""
    boiler, at, made = fleet.bench().boiler, NOW - timedelta(days=800), 0
    step = timedelta(days=780) / (entries / 3)
    week, told = 0, list[services.NewVisit]()
    while made < entries:
        week, at = week + 1, at + step
        visit = fleet.serviced(at) if week % WEEKS_PER_SERVICE == 1 else routine(fleet, at)
        told.append(services.NewVisit(visit, boiler, NOW, fleet.technician))
        made += len(visit.entries)
    services.add_visits(told)
    with connection.cursor() as cursor:  # plans made while the tables were empty read them from end to end
        cursor.execute("ANALYZE")


def routine(fleet: Fleet, at: datetime) -> IncomingVisit:
    """What a technician does every week on a boiler that gives no trouble."""
    bench = fleet.bench()
    entries = [bench.test_entry(at, "flush", place, **visit_entries.GOOD_FLUSH) for place in ("upper", "lower")]
    entries.append(
        bench.test_entry(at, "siphon_check", min(p for p in bench.places if "siphon" in p), passes_water=True)
    )
    return bench.compose_visit("routine_check", at, [fleet.technician.id], entries)


def of_database() -> float:
    """CPU seconds that this connection's server process has used."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        pid = cursor.fetchone()[0]
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def cpu(work: Callable[[], object], times: int) -> float:
    """CPU seconds of one call, both processes together."""
    ours, theirs = time.process_time(), of_database()
    for _ in range(times):
        work()
    return (time.process_time() - ours + of_database() - theirs) / times


@pytest.fixture
def collected_as_the_site_collects() -> Iterator[None]:
    """Python's own pace of looking for garbage: the tests look seldom, and what one boiler leaves is then no cost."""
    ours = gc.get_threshold()
    gc.set_threshold(700, 10, 10)
    yield
    gc.set_threshold(*ours)


# After two turns: later ones could bring it over 1 only by gathering in a fifth less than the better of these two.
CLEARLY_LESS = 0.8


@pytest.mark.usefixtures("collected_as_the_site_collects")
@pytest.mark.parametrize(("entries", "times"), [(200, 25), (5_000, 1)])
def test_judging_costs_no_more_than_gathering(fleet: Fleet, entries: int, times: int) -> None:
    history(fleet, entries)
    boiler = Boiler.objects.get(id=fleet.bench().boiler.id).id
    evidence, _ = gather_evidence(boiler, NOW)
    for _ in range(3):  # a busy neighbour only ever adds: the least of five turns each is what the work itself takes
        turns = list[tuple[float, float]]()
        while len(turns) < 5:
            judged, gathered = lambda: judge(evidence, (), NOW), lambda: gather_evidence(boiler, NOW)
            turns.append((cpu(judged, times), cpu(gathered, times)))
            judging, gathering = (min(turn[i] for turn in turns) for i in (0, 1))
            ratio = judging / gathering
            if len(turns) == 2 and ratio <= CLEARLY_LESS:
                break
        print(f"\n{entries} entries: judge {judging:.3f} s, gather {gathering:.3f} s, ratio {ratio:.2f}")
        if ratio <= 1:
            return
    pytest.fail(f"judging costs {ratio:.2f} of gathering")
