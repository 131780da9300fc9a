"""Matching rows with conditions: an alert keeps its row, and its acts, when late evidence moves it in time."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.alerts.models import Alert
from fleet.rules.values import Condition

Key = tuple[str, UUID, datetime]
Alike = Callable[[Alert, Condition, datetime], bool]


@dataclass(frozen=True, slots=True)
class Matched:
    """Rows paired with conditions, rows whose cause is gone, and conditions without a row."""

    pairs: Sequence[tuple[Alert, Condition]]
    gone: Sequence[Alert]
    new: Sequence[Condition]


def until(condition: Condition, at: datetime) -> datetime | None:
    """Return the condition's end if it has passed by `at`; None for an end that is still to come."""
    return condition.until if condition.until and condition.until <= at else None


def match(rows: Iterable[Alert], conditions: Iterable[Condition], at: datetime) -> Matched:
    """Pair rows with conditions: by the same beginning, else both still open, else the first that overlaps in time.

    A condition left over takes a withdrawn row of the same beginning: its cause is back, and so is the row.
    """
    listed = list(rows)
    wanted = {_key(c): c for c in sorted(conditions, key=_key)}
    live = {_key(r): r for r in sorted(listed, key=_key) if not r.withdrawn}
    pairs = [(live.pop(key), wanted.pop(key)) for key in list(live) if key in wanted]
    for alike in (_both_open, _overlap):
        pairs += list(_take(live, wanted, alike, at))
    resting = {_key(r): r for r in sorted(listed, key=lambda r: r.raised_at) if r.withdrawn}
    pairs += [(resting[key], wanted.pop(key)) for key in list(wanted) if key in resting]
    return Matched(pairs, list(live.values()), list(wanted.values()))


def _key(one: Alert | Condition) -> Key:
    return one.condition, one.subject, one.since


def _take(
    live: dict[Key, Alert], wanted: dict[Key, Condition], alike: Alike, at: datetime
) -> Iterator[tuple[Alert, Condition]]:
    """Remove from both, in order, the pairs that are alike, and yield them."""
    by_subject = _by_subject(wanted)
    for key, row in list(live.items()):
        for other in by_subject.get(key[:2], ()):
            if other in wanted and alike(row, wanted[other], at):
                yield live.pop(key), wanted.pop(other)
                break


def _by_subject(wanted: Mapping[Key, Condition]) -> dict[tuple[str, UUID], list[Key]]:
    found: dict[tuple[str, UUID], list[Key]] = {}
    for key in wanted:
        found.setdefault(key[:2], []).append(key)
    return found


def _both_open(row: Alert, condition: Condition, at: datetime) -> bool:
    return row.until is None and until(condition, at) is None


def _overlap(row: Alert, condition: Condition, at: datetime) -> bool:
    end = until(condition, at)
    return (end is None or row.since < end) and (row.until is None or condition.since < row.until)
