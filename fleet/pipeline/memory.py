"""Replays and visit lines of the boilers this process judged last, kept so that the next judgement can continue.

This saves time and decides nothing: what is kept is compared by content with the database before it is used.
"""

from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Lock
from uuid import UUID

from fleet.evidence import Read
from fleet.rules import Played

MOST = 30_000  # visit lines kept by one process, about 5 kB each (measured): 100 boilers of three years


@dataclass(frozen=True, slots=True)
class Known:
    """What is kept of one boiler: the lines read of its visits, and the replays of its evidence."""

    read: Read = field(default_factory=Read)
    played: Played = field(default_factory=Played)


_KNOWN: OrderedDict[UUID, Known] = OrderedDict()
_LOCK = Lock()


@contextmanager
def known(boiler: UUID) -> Iterator[Known]:
    """Yield what is kept of a boiler, for one thread at a time. It is dropped where the block raises."""
    with _LOCK:
        mine = _KNOWN.pop(boiler, None) or Known()
    yield mine
    with _LOCK:
        _KNOWN[boiler] = mine
        while sum(one.read.count for one in _KNOWN.values()) > MOST:
            _KNOWN.popitem(last=False)  # the least recently used


def forget() -> None:
    """Drop everything kept: the next judgements read and replay from the beginning."""
    with _LOCK:
        _KNOWN.clear()
