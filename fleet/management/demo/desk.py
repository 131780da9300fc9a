"""Decisions of office people each morning: acknowledge and shelve alerts, assign, defer and plan work."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from fleet import pipeline
from fleet.accounts.models import User
from fleet.alerts.acts import Decision as AlertDecision
from fleet.alerts.models import Alert
from fleet.deficiencies.acts import Decision
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.jobs.acts import Decision as JobDecision
from fleet.jobs.models import Job
from fleet.management.town.chance import Chance
from fleet.management.town.season import clock, day_of
from fleet.pipeline import Asked
from fleet.portfolio.models import Portfolio

DAY = timedelta(days=1)
AHEAD = 14 * DAY  # how far the dispatcher plans


@dataclass(frozen=True, slots=True)
class Coming:
    """A visit that the crew will make. The dispatcher plans jobs for it."""

    boiler: UUID
    at: datetime
    technician: str


@dataclass(slots=True)
class Desk:
    """Dispatcher and manager of one portfolio. Each alert and deficiency is considered once."""

    chance: Chance
    portfolio: Portfolio
    people: Mapping[str, User]
    roles: Mapping[str, Sequence[str]]
    coming: Sequence[Coming]
    seen: set[UUID] = field(default_factory=set)
    counts: dict[str, int] = field(default_factory=dict)

    def morning(self, at: datetime) -> None:
        """Decide about everything new since yesterday, then about jobs."""
        for row in self._new(Deficiency.objects.filter(withdrawn=False, closed_at=None, opened_at__gt=at - 30 * DAY)):
            self._deficiency(row, at)
        for alert in self._new(Alert.objects.filter(until=None, raised_at__gt=at - 2 * DAY, boiler__isnull=False)):
            self._alert(alert, at)
        self.jobs(at)

    def _new(self, rows: object) -> Iterator[object]:
        found = rows.filter(portfolio=self.portfolio).order_by("id")  # type: ignore[attr-defined]
        for row in found:
            if row.id not in self.seen:
                self.seen.add(row.id)
                yield row

    def _by(self, role: str) -> User:
        return self.people[self.roles[role][0]]

    def _deficiency(self, row: Deficiency, at: datetime) -> None:
        here, level = self.chance.of(row.id), level_at(row, at) or "routine"
        if level == "routine":
            if here.happens(0.35):
                until = at + timedelta(days=here.whole(30, 120))
                self._decide(row, Decision("deferred", "With the next service.", until), "manager", at)
            return
        if here.happens(0.85):
            self._job(row, at)
        if here.happens(0.25):
            whom = self.people[here.one_of(self.roles["technician"])].id
            self._decide(row, Decision("assigned", until=at + 5 * DAY, assignee=whom), "dispatcher", at)
        elif here.happens(0.12):
            told = Decision("repair_reported", "The caretaker says the part was changed.", done_at=at)
            self._decide(row, told, "manager", at)
        elif here.happens(0.08):
            self._decide(row, Decision("explained", "Seen at the boiler.", cause="wear"), "technician", at)

    def _decide(self, row: Deficiency, decision: Decision, role: str, at: datetime) -> None:
        fresh = Deficiency.objects.get(id=row.id)
        with self._counted(decision.kind):
            pipeline.act_on_deficiency(
                deficiency=row.id, decision=decision, version=fresh.version, by=self._by(role), at=at
            )

    def _job(self, row: Deficiency, at: datetime) -> None:
        building = row.boiler.building_id
        with self._counted("job.created"):
            pipeline.create_job(building=building, asked=Asked((row.id,)), by=self._by("dispatcher"), at=at)

    def _alert(self, row: Alert, at: datetime) -> None:
        here = self.chance.of(row.condition, row.subject, row.since)  # an alert's id differs each time the town is made
        if row.condition in ("hold", "past_date", "exposed") and here.happens(0.5):
            decision, who = AlertDecision("acknowledged"), "dispatcher"
        elif row.condition in ("due", "due_soon", "certificate_running_out") and here.happens(0.08):
            until = at + timedelta(days=here.whole(5, 30))
            decision, who = AlertDecision("shelved", "The service is booked.", until), "manager"
        else:
            return
        with self._counted(f"alert.{decision.kind}"):
            pipeline.act_on_alert(alert=row.id, decision=decision, version=row.version, by=self._by(who), at=at)

    # Jobs.

    def jobs(self, at: datetime) -> None:
        """Plan waiting jobs, and accept or decline planned ones."""
        waiting = Job.objects.filter(portfolio=self.portfolio, status__in=("to_plan", "declined", "missed", "back"))
        for job in waiting.order_by("created_at", "id"):
            if self.chance.of(*_called(job), job.version).happens(0.8):
                self._plan(job, at)
        for job in Job.objects.filter(portfolio=self.portfolio, status="planned").order_by("id"):
            here = self.chance.of(*_called(job), job.version)
            if here.happens(0.07):
                self._answer(job, JobDecision("decline", "No part in the shop."), at + timedelta(minutes=40))
            elif here.happens(0.85):
                self._answer(job, JobDecision("accept"), at + timedelta(minutes=40))

    def _plan(self, job: Job, at: datetime) -> None:
        boilers = set(job.items.values_list("boiler", flat=True))
        soon = [c for c in self.coming if c.boiler in boilers and at < c.at < at + AHEAD]
        here = self.chance.of(*_called(job), "plan", job.version)
        free = clock(day_of(at) + DAY, here.whole(8, 14))
        slot = min(soon, key=lambda c: c.at) if soon else Coming(job.id, free, here.one_of(self.roles["technician"]))
        crew = [name for name in self.roles["technician"] if name != slot.technician]
        second = self.people[crew[0]].id if job.people > 1 and crew else None
        decision = JobDecision("plan", technician=self.people[slot.technician].id, second=second, since=slot.at)
        with self._counted("job.planned"):
            pipeline.act_on_job(job=job.id, decision=decision, version=job.version, by=self._by("dispatcher"), at=at)

    def start(self, boiler: UUID, technician: str, at: datetime) -> None:
        """Start the technician's accepted jobs at this boiler that were planned for this day."""
        mine = Job.objects.filter(status="accepted", technician=self.people[technician].id, items__boiler=boiler)
        for job in mine.distinct():
            if job.planned_since and day_of(job.planned_since) == day_of(at):
                self._answer(job, JobDecision("start"), at)

    def _answer(self, job: Job, decision: JobDecision, at: datetime) -> None:
        assert job.technician is not None
        with self._counted(f"job.{decision.kind}"):
            pipeline.act_on_job(job=job.id, decision=decision, version=job.version, by=job.technician, at=at)

    def _counted(self, kind: str) -> "_Tried":
        return _Tried(self.counts, kind)


def _called(job: Job) -> tuple[object, ...]:
    """Return a key of a job that is the same each time the town is made. Its id is not."""
    return job.building_id, job.created_at


class _Tried(suppress):
    """Counts attempts, and suppresses Refused: people leave what is refused, such as a taken slot, for another day."""

    def __init__(self, counts: dict[str, int], kind: str) -> None:
        super().__init__(Refused)
        self.counts, self.kind = counts, kind

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> bool:
        name = f"{self.kind} refused" if kind else self.kind
        self.counts[name] = self.counts.get(name, 0) + 1
        return bool(super().__exit__(kind, *rest))  # type: ignore[arg-type]
