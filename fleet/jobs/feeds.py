"""Calendar feeds: each has a secret address, shown once and revocable, and gives jobs as iCalendar."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.jobs import ics, states
from fleet.jobs.models import Feed, Job, JobAct
from fleet.jobs.queries import status_at
from fleet.rules.wording import ADVICE_CAUTION

PAST_SPAN = timedelta(days=60)  # jobs that ended longer ago are left out (common practice)
MAX_FEEDS = 20  # feeds one person has at a time: each address is a secret that may leak


@dataclass(frozen=True, slots=True)
class NewFeed:
    """A new feed with its secret, which is not stored."""

    feed: Feed
    secret: str


def make_feed(*, user: User, portfolio: UUID, whole: bool, at: datetime) -> NewFeed:
    """Make a feed of one's own jobs in a portfolio, or (`whole`) of all its jobs. The caller checks permission."""
    secret = secrets.token_urlsafe(32)
    feed = Feed.objects.create(portfolio_id=portfolio, user=user, whole=whole, digest=_digest_of(secret), created_at=at)
    return NewFeed(feed, secret)


def revoke_feed(*, feed: UUID, user: User, at: datetime) -> bool:
    """End a feed of one's own; return whether there was one."""
    return Feed.objects.filter(id=feed, user=user, revoked_at=None).update(revoked_at=at) == 1


def feeds_of(user: User) -> list[Feed]:
    """Return a person's feeds, the oldest first."""
    return list(Feed.objects.filter(user=user, revoked_at=None).order_by("created_at", "id"))


def feed_for_secret(secret: str, at: datetime) -> Feed | None:
    """Return the feed of a secret address; None where it is unknown or revoked, or its user may not see it now."""
    feed = Feed.objects.select_related("user", "portfolio").filter(digest=_digest_of(secret), revoked_at=None).first()
    if feed is None or not feed.user.is_active:
        return None
    if feed.whole and not policy.portfolios_for(feed.user, "job.see", at).filter(id=feed.portfolio_id).exists():
        return None
    return feed


def write_calendar(feed: Feed, at: datetime) -> bytes:
    """Return the calendar as iCalendar (RFC 5545): three queries. Jobs taken away stay in it as cancelled."""
    acts = JobAct.objects.filter(portfolio=feed.portfolio_id, kind__in=("plan", "ask"), until__gt=at - PAST_SPAN)
    if not feed.whole:
        acts = acts.filter(Q(technician=feed.user) | Q(second=feed.user))
    newest = {act.job_id: act for act in acts.select_related("technician", "second").order_by("at", "acted_on")}
    jobs = Job.objects.filter(id__in=newest).select_related("building", "technician", "second")
    planned_jobs = jobs.prefetch_related("items").order_by("planned_since", "id")
    name = feed.portfolio.name if feed.whole else f"{feed.user.get_username()}, {feed.portfolio.name}"
    return ics.build_calendar(name, [_calendar_event(feed, job, newest[job.id], at) for job in planned_jobs])


def _calendar_event(feed: Feed, job: Job, plan: JobAct, at: datetime) -> ics.CalendarEvent:
    """Return one job as an event; cancelled, with its last plan, where it is not this person's any more."""
    status = status_at(job, at)
    is_own_job = feed.whole or feed.user_id in (job.technician_id, job.second_id)
    people = [p.get_username() for p in (plan.technician, plan.second) if p]
    assert plan.since
    assert plan.until
    return ics.CalendarEvent(
        uid=f"{job.id}@gaugeglass.invalid",
        # A day that has passed changes the status before a sweep stores it, without a version of its own yet.
        sequence=2 * job.version + (status != job.status),
        stamp=job.judged_at,
        since=plan.since,
        until=plan.until,
        cancelled=status in states.OFF_CALENDAR or not is_own_job,
        accepted=status not in (states.PLANNED, *states.OFF_CALENDAR),
        summary=f"{job.building.address}: {', '.join(job.skills)}, {job.minutes} minutes",
        description=_describe_job(job, people),
        place=job.building.address,
    )


def _describe_job(job: Job, people: list[str]) -> str:
    sentences = [item.sentence for item in sorted(job.items.all(), key=lambda i: i.number)]
    parts = [f"Parts: {', '.join(job.parts)}."] if job.parts else []
    hours = [f"Access: {job.building.access_hours}."] if job.building.access_hours else []
    return "\n".join([*sentences, f"Planned for {' with '.join(people)}.", *parts, *hours, ADVICE_CAUTION])


def _digest_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
