"""What a technician reads of jobs: planned, changed or cancelled, and what stands planned for tomorrow."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.accounts.models import User
from fleet.jobs import states
from fleet.jobs.models import Item, Job
from fleet.notices.writing.call_text import NoticeText, render_notice
from fleet.notices.writing.links import page_address
from fleet.rules.wording import ADVICE_CAUTION, local_day

CHANGE_WORDS = {"planned": "Planned for you", "changed": "Changed", "cancelled": "No longer yours"}


@dataclass(frozen=True, slots=True)
class SlipJob:
    """One job as its technician reads it."""

    job: Job
    items: Sequence[Item]
    with_whom: str

    @classmethod
    def of(cls, job: Job, items: Sequence[Item], reader: User) -> "SlipJob":
        """Return the job as this person reads it: the other of the two is named."""
        other_names = [p.display_name for p in (job.technician, job.second) if p is not None and p.id != reader.id]
        return cls(job, items, ", ".join(other_names))

    @property
    def when(self) -> str:
        """Day and times, in the building's time."""
        if self.job.planned_since is None or self.job.planned_until is None:
            return "without a day"
        zone = self.job.building.zone
        day = local_day(self.job.planned_since, zone)
        return f"{day}, {_clock_text(self.job.planned_since, zone)} to {_clock_text(self.job.planned_until, zone)}"

    @property
    def begins(self) -> str:
        """When it begins, in the building's time."""
        return _clock_text(self.job.planned_since, self.job.building.zone) if self.job.planned_since else ""

    @property
    def parts(self) -> str:
        """What to take along."""
        return ", ".join(map(str, self.job.parts))

    @property
    def address(self) -> str:
        """The page of jobs."""
        return page_address("/jobs/")

    def as_json(self) -> dict[str, object]:
        """Return it as programs read it."""
        since, until = self.job.planned_since, self.job.planned_until
        return {
            "building": str(self.job.building_id),
            "place": self.job.building.address,
            "planned_since": since.isoformat() if since else None,
            "planned_until": until.isoformat() if until else None,
            "minutes": self.job.minutes,
            "items": [item.sentence for item in self.items],
        }


def _clock_text(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%H:%M")


def write_slip(slip_job: SlipJob, change: str) -> NoticeText:
    """Return the message about one job. `change` is planned, changed or cancelled."""
    is_asked = slip_job.job.status == states.ASKED and change != "cancelled"
    word = "Asked of you" if is_asked else CHANGE_WORDS[change]
    subject = f"{word}: {slip_job.job.building.address}, {slip_job.when}"
    context = {"subject": subject, "word": word, "told": slip_job, "change": change, "caution": ADVICE_CAUTION}
    return render_notice("slip", subject, context)


def write_evening_slip(jobs: Sequence[SlipJob], day: date) -> NoticeText:
    """Return the message about the jobs of the next day, in their order.

    It names the day: quiet hours may hold it back until that morning.
    """
    first = jobs[0]
    count = f"{len(jobs)} job{'' if len(jobs) == 1 else 's'}"
    subject = f"{day:%a %d %b %Y}: {count}, the first at {first.begins}, {first.job.building.address}"
    return render_notice("evening", subject, {"subject": subject, "jobs": jobs, "caution": ADVICE_CAUTION})
