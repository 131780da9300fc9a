"""A job's statuses over time, replayed from people's acts and from evidence, and the alerts that follow from them.

The replay applies an act only where `states.TRANSITIONS` lets it follow: late evidence may have come before it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from fleet.calendar import day_of, day_start
from fleet.jobs import states
from fleet.jobs.models import JobAct
from fleet.rules.values import Condition, Level, LevelSegment

# How long a job may wait to be planned, by its class. A technician accepts a job by the evening before its day, or
# within this time after it was planned. All of them are common practice.
PLAN_WITHIN = {"hold": timedelta(hours=4), "urgent": timedelta(hours=24), "routine": timedelta(days=7)}
EVENING_BEFORE = timedelta(hours=6)  # 18:00 of the day before
ACCEPT_WITHIN = timedelta(hours=2)

VisitEnd = tuple[datetime, UUID]  # when a visit that dealt with the job's items ended, and its id


@dataclass(frozen=True, slots=True)
class JobFacts:
    """What evidence says of one job: when all its items were settled or withdrawn, and which visits dealt with them.

    `waiting` gives, per boiler, when the last item there was settled (None: not yet).
    """

    id: UUID
    created_at: datetime
    zone: str
    settled: tuple[str, datetime, UUID | None] | None
    waiting: Mapping[UUID, datetime | None]
    visits: Mapping[UUID, Sequence[VisitEnd]]


@dataclass(slots=True)
class JobStep:
    """A job's status from an instant to another, with the plan in force and the visit that settled it."""

    status: str
    since: datetime
    until: datetime | None = None
    plan: JobAct | None = None
    visit: UUID | None = None


@dataclass(slots=True)
class _Replay:
    facts: JobFacts
    steps: list[JobStep] = field(default_factory=list)

    @property
    def current_step(self) -> JobStep:
        return self.steps[-1]

    def take_step(self, what: str, at: datetime, plan: JobAct | None, visit: UUID | None = None) -> None:
        """Add a step where it may follow the current one."""
        status = states.status_after(self.current_step.status, what)
        if status is not None:
            self.current_step.until = at
            self.steps.append(JobStep(status, at, until=None, plan=plan, visit=visit))

    def run_until(self, limit: datetime | None) -> None:
        """Add every step that happens without an act, up to `limit` (None: without end)."""
        while next_change := min(self._pending_changes(), key=lambda f: f[:2], default=None):
            at, _, change, visit = next_change
            if limit is not None and at > limit:
                return
            self.take_step(change, at, self.current_step.plan, visit)

    def _pending_changes(self) -> Iterator[tuple[datetime, int, str, UUID | None]]:
        now, facts = self.current_step, self.facts
        if facts.settled and states.status_after(now.status, facts.settled[0]):
            change, at, visit = facts.settled
            yield max(at, now.since), 0, change, visit
        if now.status == states.STARTED and (ended := _visit_leaving_open(facts, now.since)):
            yield ended[0], 1, "visit_left_open", ended[1]
        if now.status in states.DATED and now.plan and now.plan.until:
            yield max(end_of_day(now.plan.until, facts.zone), now.since), 2, "day_passed", None


def end_of_day(until: datetime, zone: str) -> datetime:
    """Return the end of the local day on which a plan ends; `until` itself is not part of the plan."""
    return day_start(day_of(until - timedelta(microseconds=1), zone) + timedelta(days=1), zone)


def _visit_leaving_open(facts: JobFacts, started: datetime) -> VisitEnd | None:
    """Return the visit after which every boiler with something open at the start has had one; None before that."""
    last: VisitEnd | None = None
    for boiler, settled_at in facts.waiting.items():
        if settled_at is not None and settled_at <= started:
            continue
        ended = min((v for v in facts.visits.get(boiler, ()) if v[0] >= started), default=None)
        if ended is None:
            return None
        last = max(last, ended) if last else ended
    return last


def replay_job(facts: JobFacts, acts: Iterable[JobAct]) -> list[JobStep]:
    """Return every step of a job, including those that time alone will bring."""
    replay = _Replay(facts, [JobStep(states.TO_PLAN, facts.created_at)])
    for act in sorted(acts, key=lambda a: (a.at, a.acted_on)):
        replay.run_until(act.at)
        replay.take_step(act.kind, act.at, _plan_after(act, replay.current_step.plan))
    replay.run_until(None)
    return replay.steps


def _plan_after(act: JobAct, plan: JobAct | None) -> JobAct | None:
    if act.kind in ("plan", "ask"):
        return act
    return None if act.kind in ("decline", "withdraw", "cancel") else plan


def step_at(steps: Sequence[JobStep], at: datetime) -> JobStep:
    """Return the step that holds at `at`; the first one for an earlier instant."""
    return next((s for s in reversed(steps) if s.since <= at), steps[0])


def level_at(classes: Iterable[LevelSegment], at: datetime) -> Level:
    """Return the worst class of the job's items at `at`, which must not be before the job was made."""
    holding = {c.level for c in classes if c.since <= at and (c.until is None or at < c.until)}
    return next(level for level in Level if level in holding)


def job_conditions(
    facts: JobFacts, steps: Iterable[JobStep], classes: Sequence[LevelSegment], sentence: str, at: datetime
) -> list[Condition]:
    """Return a job's alert conditions: not planned, not accepted, past its day; each since its own boundary."""
    return [c for step in steps for c in _step_conditions(facts, step, classes=classes, sentence=sentence, at=at)]


def _step_conditions(
    facts: JobFacts, step: JobStep, classes: Sequence[LevelSegment], sentence: str, at: datetime
) -> Iterator[Condition]:
    candidates, level = [], level_at(classes, at)
    if step.status in states.WAITING:
        candidates.append(("job_not_planned", plan_by(step, classes), "Not planned yet"))
    if step.status in (states.ASKED, states.PLANNED) and step.plan and step.plan.since:
        candidates.append(("job_not_accepted", accept_by(step, facts.zone), "Planned and not accepted yet"))
    if step.status == states.MISSED:
        candidates.append(("job_past_day", step.since, "Past its day"))
    for condition, since, opening in candidates:
        if step.until is None or since < step.until:
            yield Condition(
                condition, facts.id, since=since, until=step.until, level=level, sentence=f"{opening}: {sentence}"
            )


def plan_by(step: JobStep, classes: Iterable[LevelSegment]) -> datetime:
    """Return by when a job must be planned: the earliest lead of its classes, each counted while the class holds."""
    leads = ((max(step.since, c.since) + PLAN_WITHIN[c.level.value], c.until) for c in classes)
    return min(by for by, until in leads if until is None or by < until)


def accept_by(step: JobStep, zone: str) -> datetime:
    """Return by when a plan must be accepted: the evening before or two hours after planning, at latest its start."""
    assert step.plan
    assert step.plan.since
    evening = day_start(day_of(step.plan.since, zone), zone) - EVENING_BEFORE
    return min(max(evening, step.since + ACCEPT_WITHIN), step.plan.since)


def next_instant(
    steps: Iterable[JobStep], dated_values: Iterable[Condition | LevelSegment], at: datetime
) -> datetime | None:
    """Return when time alone next changes the job's status, class or alerts; None where it never does."""
    instants = [s.since for s in steps] + [i for c in dated_values for i in (c.since, c.until) if i]
    return min((i for i in instants if i > at), default=None)
