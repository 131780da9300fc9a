"""Half-open spans of time, either end of which may be open (None): merged, intersected, subtracted."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

Span = tuple[datetime | None, datetime | None]


def merge_spans(spans: Iterable[Span]) -> list[Span]:
    """Return the spans in order; those that touch or overlap are merged into one."""
    merged: list[Span] = []
    for since, until in sorted(spans, key=_start_key):
        if merged and (merged[-1][1] is None or since is None or since <= merged[-1][1]):
            begin, end = merged.pop()
            merged.append((begin, None if end is None or until is None else max(end, until)))
        else:
            merged.append((since, until))
    return merged


def intersect_spans(sets: Iterable[Sequence[Span]]) -> list[Span]:
    """Return the spans that lie within a span of every set; all of time if there is no set."""
    common: list[Span] = [(None, None)]
    for spans in sets:
        common = [
            overlap for span in common for other_span in spans if (overlap := _overlap_of(span, other_span)) is not None
        ]
    return common


def subtract_spans(spans: Sequence[Span], removed: Iterable[Span]) -> list[Span]:
    """Return the parts of `spans` that no span of `removed` covers."""
    gaps: list[Span] = []
    since: datetime | None = None
    for begin, end in merge_spans(removed):
        if begin is not None:
            gaps.append((since, begin))
        since = end
        if end is None:
            return intersect_spans([spans, gaps])
    return intersect_spans([spans, [*gaps, (since, None)]])


def true_spans(words: Iterable[tuple[datetime, bool]]) -> Iterator[tuple[datetime, datetime | None]]:
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


def _start_key(span: Span) -> tuple[bool, datetime | None]:
    return span[0] is not None, span[0]


def _overlap_of(first: Span, second: Span) -> Span | None:
    since = max((t for t in (first[0], second[0]) if t is not None), default=None)
    until = min((t for t in (first[1], second[1]) if t is not None), default=None)
    return (since, until) if since is None or until is None or since < until else None
