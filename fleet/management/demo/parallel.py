"""Load the town's portfolios in parallel, one process each. They hold no locks that another one needs."""

import gc
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from datetime import datetime
from multiprocessing import get_context

import django

from fleet.management.town import invented_names, town
from fleet.management.town.town import TownSize

PROCESSES = 2


def load_all(seed: int, now: datetime, size: TownSize) -> None:
    """Load every portfolio of the town that does not exist yet. An exception in any process is raised."""
    fresh = get_context("spawn")  # a fork would share database connections
    with ProcessPoolExecutor(PROCESSES, mp_context=fresh, initializer=_start_process) as pool:
        list(
            pool.map(_load_one, *zip(*((seed, n, now, size) for n in range(len(invented_names.MANAGERS))), strict=True))
        )


def _start_process() -> None:
    """Set up Django and collect garbage rarely: judging makes no reference cycles, and the search costs a seventh."""
    django.setup()
    gc.freeze()
    gc.set_threshold(200_000, 20, 1_000)


def _load_one(seed: int, number: int, now: datetime, size: TownSize) -> None:
    from fleet.management.demo import load  # imports models, which need Django set up

    load.load_portfolio(town.make_manager_story(seed, number, now, size), now, _print_line)


def _print_line(line: str) -> None:
    print(line, flush=True)


def truth_as_json(seed: int, now: datetime, size: TownSize) -> str:
    """Return the hidden truth of all stories as JSON, for comparison. It never enters the database."""
    failures_by_portfolio = {
        story.ref: [asdict(failure) for failure in story.truth] for story in town.make_stories(seed, now, size)
    }
    return json.dumps(failures_by_portfolio, indent=1, default=str)


def sign_ins(password: str, say: Callable[[str], object]) -> None:
    """Print who may sign in to the town's portfolios."""
    for _, name, people in invented_names.MANAGERS:
        labels: Sequence[str] = [f"{m.username} ({m.role})" for m in people]
        say(f"{name}: {', '.join(labels)}; the password of each is {password}")
