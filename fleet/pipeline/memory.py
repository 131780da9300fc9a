"""What this process keeps of the boilers it judged last, so that the next judgement of one goes on from there.

It saves time and decides nothing: what is kept is compared with what the database says, by content, before it is used.
"""

from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Lock
from uuid import UUID

from fleet.evidence import Read
from fleet.rules import Played

MOST = 30_000  # lines of visits kept by one process, some 5 kB with each (measured): 100 boilers of three years


@dataclass(frozen=True, slots=True)
class Known:
    """Of one boiler: what was read of its visits, and the replays of its evidence."""

    read: Read = field(default_factory=Read)
    played: Played = field(default_factory=Played)


_KNOWN: OrderedDict[UUID, Known] = OrderedDict()
_LOCK = Lock()


@contextmanager
def known(boiler: UUID) -> Iterator[Known]:
    """What is known of a boiler, for one thread at a time; given up where what is done with it fails."""
    with _LOCK:
        mine = _KNOWN.pop(boiler, None) or Known()
    yield mine
    with _LOCK:
        _KNOWN[boiler] = mine
        while sum(one.read.count for one in _KNOWN.values()) > MOST:
            _KNOWN.popitem(last=False)  # the longest unused


def forget() -> None:
    """Keep nothing: whatever is judged next is read and replayed from its beginning."""
    with _LOCK:
        _KNOWN.clear()
