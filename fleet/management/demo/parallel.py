"""Load the town's portfolios in parallel, one process each. They hold no locks that another one needs."""

import gc
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from datetime import datetime
from multiprocessing import get_context

import django

from fleet.management.town import town, words
from fleet.management.town.town import Size

PROCESSES = 2


def load_all(seed: int, now: datetime, size: Size) -> None:
    """Load every portfolio of the town that does not exist yet. An exception in any process is raised."""
    fresh = get_context("spawn")  # a fork would share database connections
    with ProcessPoolExecutor(PROCESSES, mp_context=fresh, initializer=_begin) as pool:
        list(pool.map(_load, *zip(*((seed, n, now, size) for n in range(len(words.MANAGERS))), strict=True)))


def _begin() -> None:
    """Set up Django and collect garbage rarely: judging makes no reference cycles, and the search costs a seventh."""
    django.setup()
    gc.freeze()
    gc.set_threshold(200_000, 20, 1_000)


def _load(seed: int, number: int, now: datetime, size: Size) -> None:
    from fleet.management.demo import load  # imports models, which need Django set up

    load.load(town.manager(seed, number, now, size), now, _say)


def _say(line: str) -> None:
    print(line, flush=True)


def truth(seed: int, now: datetime, size: Size) -> str:
    """Return the hidden truth of all stories as JSON, for comparison. It never enters the database."""
    found = {story.ref: [asdict(failure) for failure in story.truth] for story in town.make(seed, now, size)}
    return json.dumps(found, indent=1, default=str)


def sign_ins(password: str, say: Callable[[str], object]) -> None:
    """Print who may sign in to the town's portfolios."""
    for _, name, people in words.MANAGERS:
        listed: Sequence[str] = [f"{m.username} ({m.role})" for m in people]
        say(f"{name}: {', '.join(listed)}; the password of each is {password}")
