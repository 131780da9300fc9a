"""Decisions of office people each morning: acknowledge and shelve alerts, assign, defer and plan work."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TypeVar
from uuid import UUID

from django.db.models import QuerySet

from fleet import pipeline
from fleet.accounts.models import User
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job
from fleet.management.town.chance import Chance
from fleet.management.town.season import day_of, local_time
from fleet.pipeline import JobRequest
from fleet.portfolio.models import Portfolio

SomeRow = TypeVar("SomeRow", Deficiency, Alert)

DAY = timedelta(days=1)
PLANNING_HORIZON = 14 * DAY  # how far the dispatcher plans


@dataclass(frozen=True, slots=True)
class ComingVisit:
    """A visit that the crew will make. The dispatcher plans jobs for it."""

    boiler: UUID
    at: datetime
    technician: str


@dataclass(slots=True)
class DemoDesk:
    """Dispatcher and manager of one portfolio. Each alert and deficiency is considered once."""

    chance: Chance
    portfolio: Portfolio
    people: Mapping[str, User]
    roles: Mapping[str, Sequence[str]]
    coming: Sequence[ComingVisit]
    seen_ids: set[UUID] = field(default_factory=set)
    counts: dict[str, int] = field(default_factory=dict)

    def decide_morning(self, at: datetime) -> None:
        """Decide about everything new since yesterday, then about jobs."""
        for row in self._unseen_rows(
            Deficiency.objects.filter(withdrawn=False, closed_at=None, opened_at__gt=at - 30 * DAY)
        ):
            self._decide_deficiency(row, at)
        for alert in self._unseen_rows(
            Alert.objects.filter(until=None, raised_at__gt=at - 2 * DAY, boiler__isnull=False)
        ):
            self._decide_alert(alert, at)
        self.decide_jobs(at)

    def _unseen_rows(self, rows: QuerySet[SomeRow]) -> Iterator[SomeRow]:
        portfolio_rows = rows.filter(portfolio=self.portfolio).order_by("id")
        for row in portfolio_rows:
            if row.id not in self.seen_ids:
                self.seen_ids.add(row.id)
                yield row

    def _person_in_role(self, role: str) -> User:
        return self.people[self.roles[role][0]]

    def _decide_deficiency(self, row: Deficiency, at: datetime) -> None:
        row_chance, level = self.chance.branch(row.id), level_at(row, at) or "routine"
        if level == "routine":
            if row_chance.happens(0.35):
                until = at + timedelta(days=row_chance.whole_number(30, 120))
                self._record_decision(
                    row, DeficiencyDecision("deferred", "With the next service.", until), "manager", at
                )
            return
        if row_chance.happens(0.85):
            self._create_job(row, at)
        if row_chance.happens(0.25):
            assignee = self.people[row_chance.one_of(self.roles["technician"])].id
            self._record_decision(
                row, DeficiencyDecision("assigned", until=at + 5 * DAY, assignee=assignee), "dispatcher", at
            )
        elif row_chance.happens(0.12):
            decision = DeficiencyDecision("repair_reported", "The caretaker says the part was changed.", done_at=at)
            self._record_decision(row, decision, "manager", at)
        elif row_chance.happens(0.08):
            self._record_decision(
                row, DeficiencyDecision("explained", "Seen at the boiler.", cause="wear"), "technician", at
            )

    def _record_decision(self, row: Deficiency, decision: DeficiencyDecision, role: str, at: datetime) -> None:
        current = Deficiency.objects.get(id=row.id)
        with self._count_attempt(decision.kind):
            pipeline.act_on_deficiency(
                deficiency=row.id, decision=decision, version=current.version, by=self._person_in_role(role), at=at
            )

    def _create_job(self, row: Deficiency, at: datetime) -> None:
        building = row.boiler.building_id
        with self._count_attempt("job.created"):
            pipeline.create_job(
                building=building, request=JobRequest((row.id,)), by=self._person_in_role("dispatcher"), at=at
            )

    def _decide_alert(self, row: Alert, at: datetime) -> None:
        alert_chance = self.chance.branch(
            row.condition, row.subject, row.since
        )  # an alert's id differs each time the town is made
        if row.condition in ("hold", "past_date", "exposed") and alert_chance.happens(0.5):
            decision, role = AlertDecision("acknowledged"), "dispatcher"
        elif row.condition in ("due", "due_soon", "certificate_running_out") and alert_chance.happens(0.08):
            until = at + timedelta(days=alert_chance.whole_number(5, 30))
            decision, role = AlertDecision("shelved", "The service is booked.", until), "manager"
        else:
            return
        with self._count_attempt(f"alert.{decision.kind}"):
            pipeline.act_on_alert(
                alert=row.id, decision=decision, version=row.version, by=self._person_in_role(role), at=at
            )

    # Jobs.

    def decide_jobs(self, at: datetime) -> None:
        """Plan waiting jobs, and accept or decline planned ones."""
        waiting = Job.objects.filter(portfolio=self.portfolio, status__in=("to_plan", "declined", "missed", "back"))
        for job in waiting.order_by("created_at", "id"):
            if self.chance.branch(*_job_key(job), job.version).happens(0.8):
                self._plan_job(job, at)
        for job in Job.objects.filter(portfolio=self.portfolio, status="planned").order_by("id"):
            job_chance = self.chance.branch(*_job_key(job), job.version)
            if job_chance.happens(0.07):
                self._answer_job(job, JobDecision("decline", "No part in the shop."), at + timedelta(minutes=40))
            elif job_chance.happens(0.85):
                self._answer_job(job, JobDecision("accept"), at + timedelta(minutes=40))

    def _plan_job(self, job: Job, at: datetime) -> None:
        boilers = set(job.items.values_list("boiler", flat=True))
        soon = [c for c in self.coming if c.boiler in boilers and at < c.at < at + PLANNING_HORIZON]
        job_chance = self.chance.branch(*_job_key(job), "plan", job.version)
        free_time = local_time(day_of(at) + DAY, job_chance.whole_number(8, 14))
        slot = (
            min(soon, key=lambda c: c.at)
            if soon
            else ComingVisit(job.id, free_time, job_chance.one_of(self.roles["technician"]))
        )
        crew = [name for name in self.roles["technician"] if name != slot.technician]
        second = self.people[crew[0]].id if job.people > 1 and crew else None
        decision = JobDecision("plan", technician=self.people[slot.technician].id, second=second, since=slot.at)
        with self._count_attempt("job.planned"):
            pipeline.act_on_job(
                job=job.id, decision=decision, version=job.version, by=self._person_in_role("dispatcher"), at=at
            )

    def start_planned_jobs(self, boiler: UUID, technician: str, at: datetime) -> None:
        """Start the technician's accepted jobs at this boiler that were planned for this day."""
        accepted_jobs = Job.objects.filter(
            status="accepted", technician=self.people[technician].id, items__boiler=boiler
        )
        for job in accepted_jobs.distinct():
            if job.planned_since and day_of(job.planned_since) == day_of(at):
                self._answer_job(job, JobDecision("start"), at)

    def _answer_job(self, job: Job, decision: JobDecision, at: datetime) -> None:
        assert job.technician is not None
        with self._count_attempt(f"job.{decision.kind}"):
            pipeline.act_on_job(job=job.id, decision=decision, version=job.version, by=job.technician, at=at)

    def _count_attempt(self, kind: str) -> "_CountedAttempt":
        return _CountedAttempt(self.counts, kind)


def _job_key(job: Job) -> tuple[object, ...]:
    """Return a key of a job that is the same each time the town is made. Its id is not."""
    return job.building_id, job.created_at


class _CountedAttempt(suppress):
    """Counts attempts, and suppresses Refused: people leave what is refused, such as a taken slot, for another day."""

    def __init__(self, counts: dict[str, int], kind: str) -> None:
        super().__init__(Refused)
        self.counts, self.kind = counts, kind

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> bool:
        name = f"{self.kind} refused" if kind else self.kind
        self.counts[name] = self.counts.get(name, 0) + 1
        return bool(super().__exit__(kind, *rest))  # type: ignore[arg-type]
