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
from fleet.deficiencies import acts as deficiency_acts
from fleet.deficiencies import life
from fleet.deficiencies import services as deficiencies
from fleet.deficiencies.models import DeficiencyAct
from fleet.evidence import gather_evidence
from fleet.pipeline.clocks import gap_boundaries, has_passed, heat_boundaries, next_boundary, span_boundaries
from fleet.pipeline.jobs import settle_jobs
from fleet.pipeline.memory import boiler_memory
from fleet.pipeline.portfolio_conditions import settle_building, settle_portfolio
from fleet.pipeline.telling import record_and_tell
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent
from fleet.rules import ReplayCache, judge
from fleet.rules.answers.register_gaps import register_gap_spans
from fleet.rules.answers.unsurveyed import unsurveyed_spans
from fleet.rules.values import Evidence, Judgement
from fleet.visits.dropped_answers import take_back_answers

T = TypeVar("T")
EventsByPortfolio = Mapping[UUID, Sequence[ChangeEvent]]  # by portfolio: the events that the facts themselves are


@dataclass(frozen=True, slots=True)
class BoilerConclusion:
    """One boiler after it was judged: its standing before, the judgement, and the events of what became different.

    `before` is "" for a boiler that was never judged. `written` counts rows. `survey_moved` and `heat_moved` say
    that the portfolio's or the building's own conditions may have changed because of it.
    """

    boiler: Boiler
    before: str
    judgement: Judgement
    events: Sequence[ChangeEvent]
    written: int
    survey_moved: bool = False
    heat_moved: bool = False


def _store_nothing(facts: object, conclusions: list[BoilerConclusion]) -> None:
    """Store nothing beside the conclusions."""


def write_and_conclude(
    *,
    boilers: Iterable[UUID],
    at: datetime,
    cause: Cause,
    write_facts: Callable[[list[Boiler]], T],
    describe_events: Callable[[T], EventsByPortfolio],
    boilers_to_judge: Callable[[T], Iterable[UUID]] | None = None,
    after_judging: Callable[[T, list[BoilerConclusion]], None] = _store_nothing,
) -> T:
    """Lock boilers, write facts, judge, store conclusions, reconcile alerts, record events: all in one transaction.

    Every verb that judges comes here, but for the sweep and the rebuild, which post no facts. `write_facts` gets the
    locked boilers; where it returns something false, nothing is judged. `describe_events` turns the written facts
    into events by portfolio. `boilers_to_judge` names the boilers that the facts are about where only writing them
    tells; without it the locked ones are judged. `after_judging` stores answers and the like.
    """
    with transaction.atomic():
        locked = lock_boilers(boilers)
        written_facts = write_facts(locked)
        if written_facts:
            judged = locked if boilers_to_judge is None else lock_boilers(boilers_to_judge(written_facts))
            conclusions = conclude_boilers(judged, at=at, cause=cause, fact_events=describe_events(written_facts))
            after_judging(written_facts, conclusions)
    return written_facts


def conclude_boilers(
    boilers: Iterable[Boiler], *, at: datetime, cause: Cause, fact_events: EventsByPortfolio | None = None
) -> list[BoilerConclusion]:
    """Judge locked boilers, settle what depends on them, and record the events of each portfolio once.

    The portfolio's pulse is locked last. `fact_events` are recorded even where no conclusion changed.
    """
    fact_events = fact_events or {}
    conclusions = [_conclude_boiler(boiler, at, acted=bool(fact_events)) for boiler in boilers]
    jobs = settle_jobs({d.boiler.building_id for d in conclusions}, at)
    job_portfolios = {portfolio for portfolio, settled_jobs in jobs.items() if settled_jobs.written}
    for portfolio in sorted(
        {d.boiler.portfolio_id for d in conclusions if d.written} | fact_events.keys() | job_portfolios
    ):
        portfolio_conclusions = [d for d in conclusions if d.boiler.portfolio_id == portfolio]
        events = [*fact_events.get(portfolio, ()), *(n for d in portfolio_conclusions for n in d.events)]
        if any(d.survey_moved for d in portfolio_conclusions):
            events += settle_portfolio(portfolio=portfolio, at=at).events
        for building in {
            d.boiler.building_id: d.boiler.building for d in portfolio_conclusions if d.heat_moved
        }.values():
            events += settle_building(building=building, at=at).events
        if portfolio in job_portfolios:
            events += jobs[portfolio].events
        record_and_tell(portfolio=portfolio, events=events, cause=cause, at=at)
    return conclusions


def _conclude_boiler(boiler: Boiler, at: datetime, *, acted: bool) -> BoilerConclusion:
    last = queries.last_judgement(boiler.id)
    at = max(at, last.judged_at) if last else at  # the clock of a boiler never goes back
    old = queries.standing_of(boiler.id, last.judged_at) if last else None
    before = old.standing if old else ""
    acts = deficiency_acts.acts_of_boiler(boiler.id)
    evidence, build, judgement = _judge_boiler(boiler, acts, at)
    taken_back = []
    # A correction that counts takes back the answers it dropped. That is a fact, so the boiler is judged again with it.
    while news := _take_back_answers(boiler, evidence, judgement, at):
        taken_back += news
        evidence, build, judgement = _judge_boiler(boiler, acts, at)
    rows_written = len(taken_back) + assessments.store_assessments(
        boiler=boiler, evidence=evidence, judgement=judgement
    )
    episodes_written, events = deficiencies.store_episodes(
        boiler=boiler, evidence=evidence, judgement=judgement, at=at, acts=acts
    )
    rows_written += episodes_written + board.store_segments(boiler=boiler, judgement=judgement)
    alarms = alerts.reconcile_boiler(boiler=boiler, conditions=judgement.conditions, at=at)
    spans, warm = (
        unsurveyed_spans(boiler.since, judgement.surveyed_at, judgement.standings),
        heat_boundaries(judgement.heat),
    )
    gaps = register_gap_spans(judgement.deficiencies)
    survey_change = surveys.store_survey(boiler=boiler, spans=spans, gaps=gaps, heat=judgement.heat)
    rows_written += alarms.written + survey_change.written
    events = [*taken_back, *_standing_events(boiler, before, judgement, at), *events, *alarms.events]
    since = last.judged_at if last else None
    own_boundaries = [*span_boundaries(spans), *gap_boundaries(gaps)]
    survey_moved = survey_change.survey or has_passed(own_boundaries, since, at)
    heat_moved = survey_change.heat or has_passed(warm, since, at)
    if rows_written or acted or _needs_new_mark(last, build, at):
        decisions_end = [a.until for a in acts if a.until]
        following = next_boundary(judgement, [*own_boundaries, *warm, *alarms.shelves_end, *decisions_end], at)
        events += _record_judgement(boiler, last, build=build, next_at=following, at=at)
        rows_written += 1
    return BoilerConclusion(
        boiler=boiler,
        before=before,
        judgement=judgement,
        events=events,
        written=rows_written,
        survey_moved=survey_moved,
        heat_moved=heat_moved,
    )


def _judge_boiler(boiler: Boiler, acts: Sequence[DeficiencyAct], at: datetime) -> tuple[Evidence, str, Judgement]:
    """Return the boiler's evidence, the build that judges it, and the judgement."""
    with boiler_memory(boiler.id) as memory:
        evidence, build = gather_evidence(boiler.id, at, line_cache=memory.line_cache)
        return evidence, build, _judge_with_acts(acts, evidence, at, memory.replay_cache)


def _take_back_answers(boiler: Boiler, evidence: Evidence, judgement: Judgement, at: datetime) -> list[ChangeEvent]:
    corrections = {v.corrects: v.id for v in evidence.visits if v.corrects and v.of_this_boiler}
    return take_back_answers(boiler, corrections, judgement.waiting, at)


def _judge_with_acts(
    acts: Sequence[DeficiencyAct], evidence: Evidence, at: datetime, replay_cache: ReplayCache
) -> Judgement:
    """Judge with each act under the episode it is about now.

    Which episodes there are is only known after a judgement. Episodes rest on evidence alone, so where late evidence
    joined or split some, one second judgement is enough.
    """
    stored_acts = deficiency_acts.stored_acts_as_values(acts)
    judgement = judge(evidence, acts=stored_acts, at=at, played=replay_cache)
    placed_acts = life.acts_as_values(
        life.acts_by_episode(acts, life.episodes_of_judgement(evidence.boiler, judgement))
    )
    return judgement if placed_acts == stored_acts else judge(evidence, acts=placed_acts, at=at, played=replay_cache)


def _needs_new_mark(last: Judged | None, build: str, at: datetime) -> bool:
    """Whether the row that notes the judgement must be written although no conclusion changed."""
    if last is None or last.build != build or last.failures:
        return True
    return last.next_at is not None and last.next_at <= at


def _standing_events(boiler: Boiler, before: str, judgement: Judgement, at: datetime) -> Iterable[ChangeEvent]:
    segment = judgement.standing_at(at)
    if segment.standing.value != before:
        first, since = segment.reasons[0], segment.since or at
        after = segment.standing.value
        yield ChangeEvent(
            "standing.changed",
            boiler.id,
            boiler=boiler.id,
            before=before,
            after=after,
            sentence=first.sentence,
            rule=first.rule,
            at=since,
        )


def _record_judgement(
    boiler: Boiler, last: Judged | None, build: str, next_at: datetime | None, at: datetime
) -> list[ChangeEvent]:
    """Note when the boiler was judged, by which build and until when it holds. Ends the alert that it could not be."""
    values = {"judged_at": at, "build": build, "next_at": next_at, "failures": 0, "retry_at": None}
    Judged.objects.update_or_create(
        boiler=boiler, defaults=values, create_defaults={**values, "id": boiler.id, "portfolio_id": boiler.portfolio_id}
    )
    return alerts.end_unjudged(boiler=boiler, at=at) if last and last.failures else []
