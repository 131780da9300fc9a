"""Replays and visit lines of the boilers this process judged last, kept so that the next judgement can continue.

This saves time and decides nothing: what is kept is compared by content with the database before it is used.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Lock
from uuid import UUID

from cachetools import LRUCache

from fleet.evidence import VisitLineCache
from fleet.rules import ReplayCache

MAX_KEPT_LINES = 30_000  # visit lines kept by one process, about 5 kB each (measured): 100 boilers of three years


@dataclass(frozen=True, slots=True)
class BoilerMemory:
    """What is kept of one boiler: the lines read of its visits, and the replays of its evidence."""

    line_cache: VisitLineCache = field(default_factory=VisitLineCache)
    replay_cache: ReplayCache = field(default_factory=ReplayCache)


def make_memory_cache(max_lines: int) -> LRUCache[UUID, BoilerMemory]:
    """Return an empty cache of what is kept by boiler; the least recently used are dropped beyond so many lines."""
    return LRUCache(max_lines, getsizeof=lambda memory: memory.line_cache.count)


_MEMORIES = make_memory_cache(MAX_KEPT_LINES)
_LOCK = Lock()


@contextmanager
def boiler_memory(boiler: UUID) -> Iterator[BoilerMemory]:
    """Yield what is kept of a boiler, for one thread at a time. It is dropped where the block raises."""
    with _LOCK:
        memory = _MEMORIES.pop(boiler, None) or BoilerMemory()
    yield memory
    with _LOCK:
        if memory.line_cache.count <= _MEMORIES.maxsize:  # the cache refuses what alone is too large
            _MEMORIES[boiler] = memory


def forget_boilers() -> None:
    """Drop everything kept: the next judgements read and replay from the beginning."""
    with _LOCK:
        _MEMORIES.clear()
