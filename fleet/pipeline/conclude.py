"""The sequence that every write about a boiler shares: judge it by all facts, store the difference, record events."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from django.db import transaction

from fleet.alerts import services as alerts
from fleet.alerts import surveys
from fleet.assessments import services as assessments
from fleet.board import queries
from fleet.board import services as board
from fleet.board.models import Judged
from fleet.deficiencies import acts as decided
from fleet.deficiencies import life
from fleet.deficiencies import services as deficiencies
from fleet.deficiencies.models import Act
from fleet.evidence import gather
from fleet.pipeline.clocks import ends, next_boundary, of_heat, passed
from fleet.pipeline.jobs import settle_jobs
from fleet.pipeline.memory import known
from fleet.pipeline.whole import settle, settle_building
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import Cause, News
from fleet.rules import Played, judge
from fleet.rules.portfolio import unsurveyed
from fleet.rules.values import Evidence, Judgement, StandingSegment

T = TypeVar("T")
Told = Mapping[UUID, Sequence[News]]  # by portfolio: the events that the facts themselves are


@dataclass(frozen=True, slots=True)
class Concluded:
    """One boiler after it was judged: its standing before, the judgement, and the events of what became different.

    `before` is "" for a boiler that was never judged. `written` counts rows. `survey_moved` and `heat_moved` say
    that the portfolio's or the building's own conditions may have changed because of it.
    """

    boiler: Boiler
    before: str
    judgement: Judgement
    news: Sequence[News]
    written: int
    survey_moved: bool = False
    heat_moved: bool = False


def write(
    *,
    boilers: Iterable[UUID],
    at: datetime,
    cause: Cause,
    facts: Callable[[list[Boiler]], T],
    told: Callable[[T], Told],
    then: Callable[[T, list[Concluded]], None],
) -> T:
    """Lock boilers, write facts, judge, store conclusions, reconcile alerts, record events: all in one transaction.

    `write_facts` gets the locked boilers; where it returns something false, nothing is judged. `describe_events`
    turns the written facts into events by portfolio. `after_judging` stores answers and the like.
    """
    with transaction.atomic():
        locked = lock(boilers)
        made = facts(locked)
        if made:
            then(made, conclude(locked, at=at, cause=cause, told=told(made)))
    return made


def conclude(boilers: Iterable[Boiler], *, at: datetime, cause: Cause, told: Told | None = None) -> list[Concluded]:
    """Judge locked boilers, settle what depends on them, and record the events of each portfolio once.

    The portfolio's pulse is locked last. `fact_events` are recorded even where no conclusion changed.
    """
    told = told or {}
    done = [_one(boiler, at, acted=bool(told)) for boiler in boilers]
    jobs = settle_jobs({d.boiler.building_id for d in done}, at)
    moved = {portfolio for portfolio, settled in jobs.items() if settled.written}
    for portfolio in sorted({d.boiler.portfolio_id for d in done if d.written} | told.keys() | moved):
        own = [d for d in done if d.boiler.portfolio_id == portfolio]
        news = [*told.get(portfolio, ()), *(n for d in own for n in d.news)]
        if any(d.survey_moved for d in own):
            news += settle(portfolio=portfolio, at=at).news
        for building in {d.boiler.building_id: d.boiler.building for d in own if d.heat_moved}.values():
            news += settle_building(building=building, at=at).news
        if portfolio in moved:
            news += jobs[portfolio].news
        board.stamp(portfolio=portfolio, news=news, cause=cause, at=at)
    return done


def _one(boiler: Boiler, at: datetime, *, acted: bool) -> Concluded:
    last = queries.judged(boiler.id)
    at = max(at, last.judged_at) if last else at  # the clock of a boiler never goes back
    old = queries.standing_of(boiler.id, last.judged_at) if last else None
    before = old.standing if old else ""
    acts = decided.of_boiler(boiler.id)
    with known(boiler.id) as mine:
        evidence, build = gather(boiler.id, at, read=mine.read)
        judgement = _judged_with(acts, evidence, at, mine.played)
    written = assessments.keep(boiler=boiler, evidence=evidence, judgement=judgement)
    opened, news = deficiencies.keep(boiler=boiler, evidence=evidence, judgement=judgement, at=at, acts=acts)
    written += opened + board.keep(boiler=boiler, judgement=judgement)
    alarms = alerts.reconcile(boiler=boiler, conditions=judgement.conditions, at=at)
    spans, warm = unsurveyed(boiler.since, judgement.surveyed_at, judgement.standings), of_heat(judgement.heat)
    kept = surveys.keep(boiler=boiler, spans=spans, heat=judgement.heat)
    written += alarms.written + kept.written
    news = [*_standing(boiler, before, judgement, at), *news, *alarms.news]
    since = last.judged_at if last else None
    moved = kept.survey or passed(ends(spans), since, at), kept.heat or passed(warm, since, at)
    if written or acted or _stale(last, build, at):
        decisions_end = [a.until for a in acts if a.until]
        following = next_boundary(judgement, [*ends(spans), *warm, *alarms.shelves_end, *decisions_end], at)
        news += _stamped(boiler, last, build, following, at)
        written += 1
    return Concluded(boiler, before, judgement, news, written, *moved)


def _judged_with(acts: Sequence[Act], evidence: Evidence, at: datetime, played: Played) -> Judgement:
    """Judge with each act under the episode it is about now.

    Which episodes there are is only known after a judgement. Episodes rest on evidence alone, so where late evidence
    joined or split some, one second judgement is enough.
    """
    handed = decided.as_stored(acts)
    judgement = judge(evidence, acts=handed, at=at, played=played)
    placed = life.as_values(life.by_episode(acts, life.of_judgement(evidence.boiler, judgement)))
    return judgement if placed == handed else judge(evidence, acts=placed, at=at, played=played)


def _stale(last: Judged | None, build: str, at: datetime) -> bool:
    """Whether the row that notes the judgement must be written although no conclusion changed."""
    if last is None or last.build != build or last.failures:
        return True
    return last.next_at is not None and last.next_at <= at


def _standing(boiler: Boiler, before: str, judgement: Judgement, at: datetime) -> Iterable[News]:
    now = segment_at(judgement, at)
    if now.standing.value != before:
        first, since = now.reasons[0], now.since or at
        after = now.standing.value
        yield News("standing.changed", boiler.id, boiler.id, before, after, first.sentence, first.rule, since)


def segment_at(judgement: Judgement, at: datetime) -> StandingSegment:
    """Return the standing segment that holds at `at`."""
    return next(s for s in judgement.standings if s.until is None or at < s.until)


def _stamped(boiler: Boiler, last: Judged | None, build: str, next_at: datetime | None, at: datetime) -> list[News]:
    """Note when the boiler was judged, by which build and until when it holds. Ends the alert that it could not be."""
    values = {"judged_at": at, "build": build, "next_at": next_at, "failures": 0, "retry_at": None}
    Judged.objects.update_or_create(
        boiler=boiler, defaults=values, create_defaults={**values, "id": boiler.id, "portfolio_id": boiler.portfolio_id}
    )
    return alerts.judged_again(boiler=boiler, at=at) if last and last.failures else []
