"""What a post costs beside a sweep over ten thousand boilers, what its locks cost, and the room that entries take."""

import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from importlib import import_module
from statistics import median
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection

from fleet import pipeline
from fleet.board import queries
from fleet.board import services as board
from fleet.board.models import ClassSpan, Judged, Pulse, Segment, StandingSpan, StateSegment
from fleet.figures import forecast, standing_counts
from fleet.portfolio.models import Boiler
from fleet.visits.models import Entry
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.pipeline import multitude
from tests.site_role import as_tables_owner
from tests.tasks.test_worker import environment

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.timeout(1200)]

concluding = import_module("fleet.pipeline.conclude")
MANY = 10_000
POSTS = 60
Capture = pytest.CaptureFixture[str]


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Three boilers, committed, serviced a month ago; in new files, since these are measured."""
    with as_tables_owner():
        call_command("flush", verbosity=0, interactive=False, reset_sequences=False)
    made = make_fleet("ALD12", "QUA48")
    for key in ("ALD12 B1", "ALD12 B2", "QUA48 B1"):
        made.post(made.serviced(NOW - 30 * DAY, key))
    return made


def posts(fleet: Fleet, key: str) -> list[float]:
    """How long each of some posts on one boiler took, in milliseconds."""
    took = []
    for n in range(POSTS):
        visit = fleet.flushed(NOW - timedelta(hours=n), key, burner_stopped=n % 5 > 0)
        took.append(milliseconds(lambda visit=visit: fleet.post(visit)))
    return took


def milliseconds(work: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


SWEEP = """
import django
django.setup()
from datetime import datetime
from fleet import pipeline
print("begun", flush=True)
print(pipeline.sweep(at=datetime.fromisoformat("{at}"), limit={many}), flush=True)
"""


@contextmanager
def sweeping(many: int) -> Iterator["subprocess.Popen[str]"]:
    """A worker's sweep in a process of its own, stopped afterwards."""
    code = SWEEP.format(at=NOW.isoformat(), many=many)
    process = subprocess.Popen(
        [sys.executable, "-c", code], cwd=settings.ROOT, env=environment(), stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "begun\n"
    try:
        yield process
    finally:
        process.kill()
        process.wait(30)


@pytest.mark.full
def test_a_post_beside_a_sweep_over_ten_thousand_boilers(fleet: Fleet, capsys: Capture) -> None:
    multitude.copy_boiler(fleet.bench("QUA48 B1").boiler.id, MANY)
    assert Judged.objects.filter(build=multitude.OLD).count() == MANY
    without = posts(fleet, "ALD12 B1")
    with sweeping(MANY) as sweep:
        first, begun = swept(), time.perf_counter()
        beside = posts(fleet, "ALD12 B2")
        judged, seconds = swept() - first, time.perf_counter() - begun
        assert sweep.poll() is None  # it ran all the while
    with capsys.disabled():
        print(
            f"\n{POSTS} posts beside a sweep over {MANY} boilers: median {median(beside):.0f} ms, "
            f"slowest {max(beside):.0f} ms; without: median {median(without):.0f} ms, slowest {max(without):.0f} ms\n"
            f"the sweep judged {judged} boilers in these {seconds:.1f} s"
        )
    assert judged > 0


def swept() -> int:
    """How many boilers have been judged by this build."""
    return Judged.objects.exclude(build=multitude.OLD).count()


@pytest.mark.full
def test_reading_ten_thousand_boilers(fleet: Fleet, capsys: Capture) -> None:
    fleet.post(*(fleet.flushed(NOW - timedelta(days=9 * n), "QUA48 B1", burner_stopped=n % 5 > 0) for n in range(40)))
    multitude.copy_boiler(fleet.bench("QUA48 B1").boiler.id, MANY, read=True)
    every, first, last = Boiler.objects.all(), (NOW - 365 * DAY).date(), NOW.date()
    asked: dict[str, Callable[[], Any]] = {
        "board": lambda: queries.board_rows(every, NOW),
        "a year of standings": lambda: standing_counts.standings_per_day(every, first, last),
        "of classes": lambda: standing_counts.open_by_class_per_day(every, first, last),
        "of ages": lambda: standing_counts.age_bands_per_day(every, first, last),
        "forecast": lambda: forecast.forecast_by_week(every, NOW),
    }
    times = {name: milliseconds(read) for name, read in asked.items()}
    rows = [m.objects.count() for m in (Segment, StateSegment, StandingSpan, ClassSpan)]
    with capsys.disabled():
        print(f"\n{every.count()} boilers with a year of visits; segments, states, spans of standing and class {rows}:")
        print(", ".join(f"{name} {took:.0f} ms" for name, took in times.items()))
    assert sum(standing_counts.standings_per_day(every, last, last)[0].counts.values()) == MANY + 3


def without_locks(patch: pytest.MonkeyPatch) -> None:
    """The same write, its lock statements replaced by plain reads and its version by a plain count."""

    def read(boilers: Any, **how: Any) -> list[Boiler]:
        return list(Boiler.objects.filter(id__in=list(boilers)).select_related("building").order_by("id"))

    def next_version(portfolio: Any) -> int:
        return Pulse.objects.get(portfolio_id=portfolio).version + 1

    patch.setattr(concluding, "lock_boilers", read)
    patch.setattr(board, "_next_version", next_version)
    patch.setattr(board.Change.objects, "bulk_create", lambda rows: list(rows))


def timed(took: list[float]) -> Callable[..., Any]:
    """Notes how long each statement took that locks a boiler, or locks or counts up the pulse."""

    def wrapper(execute: Callable[..., Any], sql: str, *more: Any) -> Any:
        if "FOR NO KEY UPDATE" not in sql and '"board_pulse"' not in sql:
            return execute(sql, *more)
        begun = time.perf_counter()
        try:
            return execute(sql, *more)
        finally:
            took.append((time.perf_counter() - begun) * 1000)

    return wrapper


@pytest.mark.full
def test_what_the_locks_cost(fleet: Fleet, capsys: Capture) -> None:
    took: dict[str, list[float]] = defaultdict(list)
    own: list[float] = []
    for n in range(2 * POSTS):
        name, visit = ("with", "without")[n % 2], fleet.flushed(NOW - timedelta(hours=n), burner_stopped=n % 5 > 0)
        locking: list[float] = []
        with pytest.MonkeyPatch.context() as patch, connection.execute_wrapper(timed(locking)):
            if name == "without":
                without_locks(patch)
            took[name].append(milliseconds(lambda visit=visit: fleet.post(visit)))
        if name == "with":
            own.append(sum(locking))
            assert len(locking) == 3  # the boiler; the pulse, and its next version
    with capsys.disabled():
        print(
            f"\n{POSTS} posts each: median {median(took['with']):.1f} ms with the locks, "
            f"{median(took['without']):.1f} ms without; the lock statements themselves {median(own):.1f} ms of it"
        )
    assert len(took["with"]) == len(took["without"])


def entries(fleet: Fleet, wanted: int) -> None:
    """At least so many entries on one boiler: half in yearly services, half in flushes, posted by the dozen."""
    visits, count = [], 0
    while count < wanted:
        at = NOW - timedelta(hours=9 * len(visits))
        visits.append(fleet.serviced(at) if len(visits) % 12 == 0 else fleet.flushed(at, burner_stopped=True))
        count += len(visits[-1].entries)
    for n in range(0, len(visits), 12):
        fleet.post(*visits[n : n + 12])


def told(fleet: Fleet, wanted: int) -> dict[str, float]:
    """Bytes for each entry, facts, conclusions and log apart."""
    groups = {"facts": multitude.FACTS, "conclusions": multitude.CONCLUSIONS, "log": multitude.LOG}
    before, had = {name: multitude.size(tables) for name, tables in groups.items()}, Entry.objects.count()
    entries(fleet, wanted)
    for tables in groups.values():
        multitude.packed(tables)
    made = Entry.objects.count() - had
    assert made >= wanted
    return {name: (multitude.size(tables) - before[name]) / made for name, tables in groups.items()}


@pytest.mark.full
def test_the_room_two_thousand_entries_take(fleet: Fleet, capsys: Capture) -> None:
    room = told(fleet, 2000)
    took = milliseconds(lambda: fleet.post(fleet.flushed(NOW + HOUR), at=NOW + HOUR))
    with capsys.disabled():
        print("\nbytes for each of 2,000 entries of one boiler, indexes with them, after VACUUM FULL:", end=" ")
        print(", ".join(f"{name} {size:.0f}" for name, size in room.items()))
        print(f"one more post on it takes {took:.0f} ms")
    assert pipeline.rebuild(at=NOW + HOUR) == 0


HOUR = timedelta(hours=1)


def test_an_entry_takes_a_few_kilobytes(fleet: Fleet) -> None:
    room = told(fleet, 200)
    assert 0 < room["facts"] < 4000
    assert 0 < room["conclusions"] < 6000
