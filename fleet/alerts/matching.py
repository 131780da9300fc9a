"""Matching rows with conditions: an alert keeps its row, and its acts, when late evidence moves it in time."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.alerts.models import Alert
from fleet.rules.values import Condition

AlertKey = tuple[str, UUID, datetime]
IsAlike = Callable[[Alert, Condition, datetime], bool]


@dataclass(frozen=True, slots=True)
class MatchedAlerts:
    """Rows paired with conditions, rows whose cause is gone, and conditions without a row."""

    pairs: Sequence[tuple[Alert, Condition]]
    gone: Sequence[Alert]
    new: Sequence[Condition]


def end_by(condition: Condition, at: datetime) -> datetime | None:
    """Return the condition's end if it has passed by `at`; None for an end that is in the future."""
    return condition.until if condition.until and condition.until <= at else None


def match_alerts(rows: Iterable[Alert], conditions: Iterable[Condition], at: datetime) -> MatchedAlerts:
    """Pair rows with conditions: by the same beginning, else both still open, else the first that overlaps in time.

    A condition left over takes a withdrawn row of the same beginning: its cause is back, and so is the row.
    """
    listed = list(rows)
    conditions_by_key = {_key_of(c): c for c in sorted(conditions, key=_key_of)}
    live = {_key_of(r): r for r in sorted(listed, key=_key_of) if not r.withdrawn}
    pairs = [(live.pop(key), conditions_by_key.pop(key)) for key in list(live) if key in conditions_by_key]
    for alike in (_are_both_open, _overlap_in_time):
        pairs += list(_take_pairs(live, conditions_by_key, alike, at))
    resting = {_key_of(r): r for r in sorted(listed, key=lambda r: r.raised_at) if r.withdrawn}
    pairs += [(resting[key], conditions_by_key.pop(key)) for key in list(conditions_by_key) if key in resting]
    return MatchedAlerts(pairs, list(live.values()), list(conditions_by_key.values()))


def _key_of(alert_or_condition: Alert | Condition) -> AlertKey:
    return alert_or_condition.condition, alert_or_condition.subject, alert_or_condition.since


def _take_pairs(
    live: dict[AlertKey, Alert], conditions_by_key: dict[AlertKey, Condition], alike: IsAlike, at: datetime
) -> Iterator[tuple[Alert, Condition]]:
    """Remove from both, in order, the pairs that are alike, and yield them."""
    by_subject = _by_subject(conditions_by_key)
    for key, row in list(live.items()):
        for other_key in by_subject.get(key[:2], ()):
            if other_key in conditions_by_key and alike(row, conditions_by_key[other_key], at):
                yield live.pop(key), conditions_by_key.pop(other_key)
                break


def _by_subject(conditions_by_key: Mapping[AlertKey, Condition]) -> dict[tuple[str, UUID], list[AlertKey]]:
    keys_by_subject: dict[tuple[str, UUID], list[AlertKey]] = {}
    for key in conditions_by_key:
        keys_by_subject.setdefault(key[:2], []).append(key)
    return keys_by_subject


def _are_both_open(row: Alert, condition: Condition, at: datetime) -> bool:
    return row.until is None and end_by(condition, at) is None


def _overlap_in_time(row: Alert, condition: Condition, at: datetime) -> bool:
    end = end_by(condition, at)
    return (end is None or row.since < end) and (row.until is None or condition.since < row.until)
