"""Half-open spans of time, either end of which may be open (None): merged, intersected, subtracted."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

Span = tuple[datetime | None, datetime | None]


def union(spans: Iterable[Span]) -> list[Span]:
    """Return the spans in order; those that touch or overlap are merged into one."""
    found: list[Span] = []
    for since, until in sorted(spans, key=_begin):
        if found and (found[-1][1] is None or since is None or since <= found[-1][1]):
            begin, end = found.pop()
            found.append((begin, None if end is None or until is None else max(end, until)))
        else:
            found.append((since, until))
    return found


def meet(sets: Iterable[Sequence[Span]]) -> list[Span]:
    """Return the spans that lie within a span of every set; all of time if there is no set."""
    found: list[Span] = [(None, None)]
    for spans in sets:
        found = [both for one in found for other in spans if (both := _both(one, other)) is not None]
    return found


def minus(spans: Sequence[Span], taken: Iterable[Span]) -> list[Span]:
    """Return the parts of `spans` that no span of `removed` covers."""
    free: list[Span] = []
    since: datetime | None = None
    for begin, end in union(taken):
        if begin is not None:
            free.append((since, begin))
        since = end
        if end is None:
            return meet([spans, free])
    return meet([spans, [*free, (since, None)]])


def spells(words: Iterable[tuple[datetime, bool]]) -> Iterator[tuple[datetime, datetime | None]]:
    """Yield the spans in which the newest statement is true; the last may have no end. `words` must be in order."""
    since: datetime | None = None
    for at, yes in words:
        if yes and since is None:
            since = at
        elif not yes and since is not None:
            if since < at:
                yield since, at
            since = None
    if since is not None:
        yield since, None


def _begin(span: Span) -> tuple[bool, datetime | None]:
    return span[0] is not None, span[0]


def _both(one: Span, other: Span) -> Span | None:
    since = max((t for t in (one[0], other[0]) if t is not None), default=None)
    until = min((t for t in (one[1], other[1]) if t is not None), default=None)
    return (since, until) if since is None or until is None or since < until else None
