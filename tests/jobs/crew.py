"""A dispatcher, two technicians, and a boiler with a hold: what the tests of jobs begin with."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from fleet import pipeline
from fleet.accounts.models import User
from fleet.deficiencies.models import Deficiency
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job
from fleet.pipeline import JobRequest
from fleet.portfolio.models import Building
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person

HOUR = timedelta(hours=1)
TOMORROW = NOW + DAY  # nine in the morning at the boilers


@dataclass(frozen=True)
class Crew:
    """Who sends whom."""

    fleet: Fleet
    dispatcher: User
    second: User

    @property
    def rosa(self) -> User:
        """The technician."""
        return self.fleet.technician

    def house(self, ref: str = "ALD12") -> Building:
        return Building.objects.get(ref=ref)

    def make(self, *procedures: tuple[str, str], key: str = "ALD12 B1", at: datetime = NOW, **more: Any) -> Job:
        """A job that asks for procedures at places of one boiler, or (`deficiencies`) for those."""
        bench = self.fleet.bench(key)
        asked = JobRequest(procedures=[(bench.places[place], code) for place, code in procedures], **more)
        return pipeline.create_job(building=bench.boiler.building_id, request=asked, by=self.dispatcher, at=at)

    def act(self, job: Job, kind: str, *, by: User | None = None, at: datetime = NOW, **more: Any) -> Job:
        """Decide on the job as it is stored now."""
        job.refresh_from_db()
        who = by or (self.dispatcher if kind in ("plan", "withdraw", "cancel") else self.rosa)
        cause = Cause(who=who.username, request_id="desk-00001")
        decision = JobDecision(kind, **more)
        return pipeline.act_on_job(job=job.id, decision=decision, version=job.version, by=who, at=at, cause=cause)

    def plan(
        self, job: Job, since: datetime = TOMORROW, to: UUID | None = None, at: datetime = NOW, **more: Any
    ) -> Job:
        """Plan it for the technician, with the second where two are needed."""
        if job.people > 1:
            more.setdefault("second", self.second.id)
        return self.act(job, "plan", since=since, technician=to or self.rosa.id, at=at, **more)

    def started(self, job: Job, since: datetime = TOMORROW) -> Job:
        """Planned, accepted and started."""
        self.plan(job, since)
        self.act(job, "accept")
        return self.act(job, "start", at=since)


def crew(fleet: Fleet) -> Crew:
    """The crew."""
    dispatcher = make_person("dana", fleet.portfolio, "dispatcher")
    return Crew(fleet, dispatcher, make_person("tomas", fleet.portfolio, "technician", "technician"))


def held(fleet: Fleet, at: datetime = NOW - HOUR) -> Deficiency:
    """The hold that a failed flush opens on a boiler serviced a month ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(at, burner_stopped=False), at=at)
    return Deficiency.objects.get(rule="flush_keeps_firing")
