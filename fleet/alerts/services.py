"""Alerts are reconciled: what the rules say holds is set against what is written, and the difference is written."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from fleet.alerts.models import Alert
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import News
from fleet.rules.values import Condition

UNJUDGED = "cannot_be_judged"  # raised by the sweep itself, not by the rules


def reconcile(*, boiler: Boiler, conditions: Sequence[Condition], at: datetime) -> tuple[int, list[News]]:
    """Make the boiler's alerts equal to the conditions that have begun by `at`; return rows written, and the news.

    A condition that came and went while nothing ran leaves the same row as if it had been seen. An open row keeps its
    identity when late evidence moves its beginning; one whose cause is gone returns at the instant it began.
    """
    wanted = {(c.condition, c.subject, c.since): c for c in conditions if c.since <= at}
    rows = list(Alert.objects.filter(boiler=boiler).exclude(condition=UNJUDGED))
    present = {(r.condition, r.subject, r.since): r for r in rows}
    _move_open(rows, present, wanted, at)
    news: list[News] = []
    gone = [r for key, r in present.items() if key not in wanted]
    # Closed before opened: the database allows one open row per condition and subject.
    for row in gone:
        news += _withdraw(row, at)
    kept = [(r, wanted[k]) for k, r in present.items() if k in wanted and _differs(r, wanted[k], at)]
    for row, condition in sorted(kept, key=lambda pair: _until(pair[1], at) is None):
        news += _update(row, condition, at)
    new = [c for key, c in sorted(wanted.items(), key=lambda pair: pair[0]) if key not in present]
    for condition in new:
        news += _raise(boiler, condition, at)
    return len(gone) + len(kept) + len(new), news


def _until(condition: Condition, at: datetime) -> datetime | None:
    """An end still to come by time alone is not an end yet."""
    return condition.until if condition.until and condition.until <= at else None


Key = tuple[str, UUID, datetime]


def _move_open(rows: list[Alert], present: dict[Key, Alert], wanted: dict[Key, Condition], at: datetime) -> None:
    """Let an open alert follow its condition where only the beginning moved."""
    still = {(c.condition, c.subject): key for key, c in wanted.items() if _until(c, at) is None}
    for row in rows:
        key = still.get((row.condition, row.subject))
        old = (row.condition, row.subject, row.since)
        if row.until is None and key and old not in wanted and key not in present:
            present[key] = present.pop(old)


def _differs(row: Alert, condition: Condition, at: datetime) -> bool:
    written = (row.since, row.until, row.level, row.sentence)
    return written != (condition.since, _until(condition, at), condition.level.value, condition.sentence)


def _update(row: Alert, condition: Condition, at: datetime) -> Iterator[News]:
    until = _until(condition, at)
    returned = row.until is None and until is not None
    row.since, row.until, row.level, row.sentence = condition.since, until, condition.level.value, condition.sentence
    row.returned_at = at if returned else row.returned_at if until else None
    row.save()
    if returned:
        yield _news(row, "returned", at)


def _withdraw(row: Alert, at: datetime) -> Iterator[News]:
    """The evidence no longer bears it out: a raised one returns; one that had ended is left to the log."""
    was_open = row.until is None
    if was_open:
        yield _news(row, "returned", at)
    row.delete()


def _raise(boiler: Boiler, condition: Condition, at: datetime) -> Iterator[News]:
    until = _until(condition, at)
    row = Alert.objects.create(
        portfolio_id=boiler.portfolio_id,
        boiler=boiler,
        condition=condition.condition,
        subject=condition.subject,
        since=condition.since,
        until=until,
        level=condition.level.value,
        sentence=condition.sentence,
        raised_at=at,
        returned_at=at if until else None,
    )
    yield _news(row, "raised", at)


def _news(row: Alert, what: str, at: datetime) -> News:
    assert row.boiler_id is not None
    moment = row.since if what == "raised" else row.until or at
    return News(f"alert.{what}", row.id, row.boiler_id, "", row.condition, row.sentence, row.condition, moment)


def unjudged(*, boiler: Boiler, at: datetime) -> None:
    """Raise, once, that a boiler cannot be judged: what the board shows of it may be old."""
    Alert.objects.get_or_create(
        condition=UNJUDGED,
        subject=boiler.id,
        until=None,
        defaults={
            "portfolio_id": boiler.portfolio_id,
            "boiler": boiler,
            "since": at,
            "level": "urgent",
            "sentence": f"{boiler.name} could not be judged: what the board shows of it may be old.",
            "raised_at": at,
        },
    )


def judged_again(*, boiler: Boiler, at: datetime) -> None:
    """Return that alert to normal."""
    Alert.objects.filter(boiler=boiler, condition=UNJUDGED, until=None).update(until=at, returned_at=at)
