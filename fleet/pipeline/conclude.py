"""What every write about a boiler shares: judge it by all that is known, store the difference, tell what changed."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from django.db import transaction

from fleet.alerts import services as alerts
from fleet.assessments import services as assessments
from fleet.board import queries
from fleet.board import services as board
from fleet.board.models import Judged
from fleet.deficiencies import services as deficiencies
from fleet.evidence import gather
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import Cause, News
from fleet.rules import judge
from fleet.rules.values import Judgement, StandingSegment

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Concluded:
    """One boiler after it was judged: what it stood at before, what is concluded now, what became different."""

    boiler: Boiler
    before: str
    judgement: Judgement
    news: Sequence[News]
    written: int


def write(
    *,
    boilers: Iterable[UUID],
    at: datetime,
    cause: Cause,
    facts: Callable[[list[Boiler]], T],
    then: Callable[[T, list[Concluded]], None],
) -> T:
    """Lock → write the facts → judge → store → reconcile alerts → stamp: all of it, or nothing."""
    with transaction.atomic():
        locked = lock(boilers)
        made = facts(locked)
        if made:
            then(made, conclude(locked, at=at, cause=cause))
    return made


def conclude(boilers: Iterable[Boiler], *, at: datetime, cause: Cause) -> list[Concluded]:
    """Judge locked boilers and stamp each of their portfolios once, its pulse last of all."""
    done = [_one(boiler, at) for boiler in boilers]
    for portfolio in sorted({d.boiler.portfolio_id for d in done if d.written}):
        news = [n for d in done if d.boiler.portfolio_id == portfolio for n in d.news]
        board.stamp(portfolio=portfolio, news=news, cause=cause, at=at)
    return done


def _one(boiler: Boiler, at: datetime) -> Concluded:
    last = queries.judged(boiler.id)
    at = max(at, last.judged_at) if last else at  # the clock of a boiler never goes back
    old = queries.standing_of(boiler.id, last.judged_at) if last else None
    before = old.standing if old else ""
    evidence, build = gather(boiler.id, at)
    judgement = judge(evidence, acts=(), at=at)
    written = assessments.keep(boiler=boiler, evidence=evidence, judgement=judgement)
    opened, news = deficiencies.keep(boiler=boiler, judgement=judgement, at=at)
    written += opened + board.keep(boiler=boiler, judgement=judgement)
    raised, alarms = alerts.reconcile(boiler=boiler, conditions=judgement.conditions, at=at)
    written += raised
    if written or last is None or last.build != build or last.failures or _passed(last, at):
        _judged(boiler, build, judgement, at)
        written += 1
    return Concluded(boiler, before, judgement, [*_standing(boiler, before, judgement, at), *news, *alarms], written)


def _passed(last: Judged, at: datetime) -> bool:
    return last.next_at is not None and last.next_at <= at


def _standing(boiler: Boiler, before: str, judgement: Judgement, at: datetime) -> Iterable[News]:
    now = segment_at(judgement, at)
    if now.standing.value != before:
        first, since = now.reasons[0], now.since or at
        after = now.standing.value
        yield News("standing.changed", boiler.id, boiler.id, before, after, first.sentence, first.rule, since)


def segment_at(judgement: Judgement, at: datetime) -> StandingSegment:
    """The standing that holds at `at`."""
    return next(s for s in judgement.standings if s.until is None or at < s.until)


def _judged(boiler: Boiler, build: str, judgement: Judgement, at: datetime) -> None:
    values = {"judged_at": at, "build": build, "next_at": _next(judgement, at), "failures": 0, "retry_at": None}
    Judged.objects.update_or_create(
        boiler=boiler, defaults=values, create_defaults={**values, "id": boiler.id, "portfolio_id": boiler.portfolio_id}
    )
    alerts.judged_again(boiler=boiler, at=at)


def _next(judgement: Judgement, at: datetime) -> datetime | None:
    """The next instant at which time alone changes anything that is stored or alerted."""
    instants = [s.since for s in (*judgement.standings, *judgement.states) if s.since]
    instants += [d.opened_at for d in judgement.deficiencies]
    instants += [i for c in judgement.conditions for i in (c.since, c.until) if i]
    return min((i for i in instants if i > at), default=None)
