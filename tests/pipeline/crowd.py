"""Many clients at once, each with a connection of its own, and somebody who watches what they wait for."""

import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import psycopg
from django.db import connection, connections

from api.http.retry import run_with_retries
from fleet.pipeline import PostedVisit
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingVisit
from tests.cast import Fleet

WAITS = """
    SELECT waiting.application_name, waiting.query, holding.application_name, holding.query,
           coalesce(holding.wait_event_type, '') = 'Lock'
    FROM pg_stat_activity waiting
    CROSS JOIN LATERAL unnest(pg_blocking_pids(waiting.pid)) AS blocker
    JOIN pg_stat_activity holding ON holding.pid = blocker
    WHERE waiting.datname = current_database() AND waiting.wait_event_type = 'Lock'
"""
TICK = 0.003


def at_once(*works: Callable[[], Any], timeout: float = 60) -> list[Any]:
    """Run each in a thread with a connection of its own; raises what any of them raised."""

    def closing(work: Callable[[], Any]) -> Any:
        try:
            return work()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(works)) as pool:
        return [f.result(timeout=timeout) for f in [pool.submit(closing, w) for w in works]]


def called(boiler: UUID) -> None:
    """Let the server show which boiler this connection works on."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('application_name', %s, false)", [str(boiler)])


@dataclass
class Client:
    """Posts its visits one after another as the door does, with pauses, and notes how long each took."""

    fleet: Fleet
    visits: list[IncomingVisit]
    seed: int
    pause: float = 0.02
    took: list[float] = field(default_factory=list)
    tries: int = 0

    def run(self) -> None:
        """Post all of them."""
        chance = random.Random(self.seed)
        for visit in self.visits:
            time.sleep(chance.uniform(0, self.pause))
            called(visit.boiler)
            begun = time.perf_counter()
            run_with_retries(lambda visit=visit: self.post(visit))
            self.took.append(time.perf_counter() - begun)

    def post(self, visit: IncomingVisit) -> PostedVisit:
        """Once; counted, so that what was tried again is known."""
        self.tries += 1
        return self.fleet.post(visit)[0]


@dataclass
class Seen:
    """What the watcher saw: waits for the own boiler, the jobs of the own house, the pulse, and all others in words.

    Two boilers of a house share its jobs, which each locks after its boilers (`lock_jobs_of`).
    """

    houses: dict[str, str] = field(default_factory=dict)
    looks: int = 0
    own: int = 0
    jobs: int = 0
    pulse: int = 0
    strange: Counter[str] = field(default_factory=Counter)

    def note(self, waiting: str, query: str, holding: str, its_query: str, also_waits: bool) -> None:
        """Sort one wait. Who waits for the pulse waits for one transaction that waits for nothing but the pulse."""
        if '"board_pulse"' in query[:400]:
            self.pulse += 1
            if also_waits and '"board_pulse"' not in its_query[:400]:
                self.strange[f"the holder of the pulse waits itself: {its_query[:120]}"] += 1
        elif waiting == holding:
            self.own += 1
        elif '"jobs_job"' in query[:400] and self.houses.get(waiting, waiting) == self.houses.get(holding, holding):
            self.jobs += 1
        else:
            self.strange[f"{waiting} waits for {holding}: {query[:120]} / {its_query[:120]}"] += 1


@contextmanager
def watched() -> Iterator[Seen]:
    """Look at who waits for whom, again and again, from a connection of its own."""
    houses = {str(boiler): str(house) for boiler, house in Boiler.objects.values_list("id", "building")}
    seen, done = Seen(houses), threading.Event()
    told = connection.settings_dict
    place = {"host": told["HOST"], "port": told["PORT"] or None, "dbname": told["NAME"]}
    who = {"user": told["USER"], "password": told["PASSWORD"]}

    def look() -> None:
        with psycopg.connect(**place, **who, autocommit=True) as own:
            while not done.wait(TICK):
                seen.looks += 1
                for row in own.execute(WAITS).fetchall():
                    seen.note(*row)

    with ThreadPoolExecutor(1) as pool:
        watching = pool.submit(look)
        try:
            yield seen
        finally:
            done.set()
            watching.result(timeout=30)
