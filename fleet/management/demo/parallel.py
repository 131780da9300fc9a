"""The town's portfolios side by side: a process for each, none of which holds anything the other waits for."""

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
    """Load every portfolio of the town that is not there yet; raises what failed in any."""
    fresh = get_context("spawn")  # no connection is shared by a fork
    with ProcessPoolExecutor(PROCESSES, mp_context=fresh, initializer=_begin) as pool:
        list(pool.map(_load, *zip(*((seed, n, now, size) for n in range(len(words.MANAGERS))), strict=True)))


def _begin() -> None:
    """Each judgement makes and drops many small things, none in a circle: looking for circles costs a seventh."""
    django.setup()
    gc.freeze()
    gc.set_threshold(200_000, 20, 1_000)


def _load(seed: int, number: int, now: datetime, size: Size) -> None:
    from fleet.management.demo import load  # models: only once Django is set up

    load.load(town.manager(seed, number, now, size), now, _say)


def _say(line: str) -> None:
    print(line, flush=True)


def truth(seed: int, now: datetime, size: Size) -> str:
    """What really failed, when, and how it came out, as JSON: for whoever compares, never for the database."""
    found = {story.ref: [asdict(failure) for failure in story.truth] for story in town.make(seed, now, size)}
    return json.dumps(found, indent=1, default=str)


def sign_ins(password: str, say: Callable[[str], object]) -> None:
    """Who may sign in to the town's portfolios."""
    for _, name, people in words.MANAGERS:
        listed: Sequence[str] = [f"{m.username} ({m.role})" for m in people]
        say(f"{name}: {', '.join(listed)}; the password of each is {password}")
