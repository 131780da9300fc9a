"""Calendar feeds: an address that is a secret, shown once, revocable; and what stands behind it."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.jobs import ics, states
from fleet.jobs.models import Act, Feed, Job
from fleet.jobs.queries import status_at

BACK = timedelta(days=60)  # what ended longer ago is history, not a calendar's (common practice)
MOST = 20  # feeds somebody has at a time: each is a secret out in the world


@dataclass(frozen=True, slots=True)
class Made:
    """A new feed with its secret, which is kept nowhere."""

    feed: Feed
    secret: str


def make(*, user: User, portfolio: UUID, whole: bool, at: datetime) -> Made:
    """Make a feed of one's own jobs in a portfolio, or of the whole portfolio: the doors ask whether one may."""
    secret = secrets.token_urlsafe(32)
    feed = Feed.objects.create(portfolio_id=portfolio, user=user, whole=whole, digest=_digest(secret), created_at=at)
    return Made(feed, secret)


def revoke(*, feed: UUID, user: User, at: datetime) -> bool:
    """End a feed of one's own; return whether there was one."""
    return Feed.objects.filter(id=feed, user=user, revoked_at=None).update(revoked_at=at) == 1


def of(user: User) -> list[Feed]:
    """The feeds somebody has, the oldest first."""
    return list(Feed.objects.filter(user=user, revoked_at=None).order_by("created_at", "id"))


def behind(secret: str, at: datetime) -> Feed | None:
    """The feed at an address: None for one unknown, revoked, of somebody gone or who may not see it any more."""
    found = Feed.objects.select_related("user", "portfolio").filter(digest=_digest(secret), revoked_at=None).first()
    if found is None or not found.user.is_active:
        return None
    if found.whole and not policy.portfolios(found.user, "job.see", at).filter(id=found.portfolio_id).exists():
        return None
    return found


def written(feed: Feed, at: datetime) -> bytes:
    """The calendar as iCalendar (RFC 5545): three queries. What was taken away stays in it as cancelled."""
    acts = Act.objects.filter(portfolio=feed.portfolio_id, kind="plan", until__gt=at - BACK)
    if not feed.whole:
        acts = acts.filter(Q(technician=feed.user) | Q(second=feed.user))
    newest = {act.job_id: act for act in acts.select_related("technician", "second").order_by("at", "acted_on")}
    jobs = Job.objects.filter(id__in=newest).select_related("building", "technician", "second")
    found = jobs.prefetch_related("items").order_by("planned_since", "id")
    name = feed.portfolio.name if feed.whole else f"{feed.user.get_username()}, {feed.portfolio.name}"
    return ics.calendar(name, [_event(feed, job, newest[job.id], at) for job in found])


def _event(feed: Feed, job: Job, plan: Act, at: datetime) -> ics.Event:
    """One job: as it is planned where it still is this person's, else cancelled as it was planned for them last."""
    status = status_at(job, at)
    mine = feed.whole or feed.user_id in (job.technician_id, job.second_id)
    people = [p.get_username() for p in (plan.technician, plan.second) if p]
    assert plan.since
    assert plan.until
    return ics.Event(
        uid=f"{job.id}@gaugeglass.invalid",
        # A day that passed before anything looked is a change as well, and has no version of its own yet.
        sequence=2 * job.version + (status != job.status),
        stamp=job.judged_at,
        since=plan.since,
        until=plan.until,
        cancelled=status in states.GONE or not mine,
        accepted=status not in (states.PLANNED, *states.GONE),
        summary=f"{job.building.address}: {', '.join(job.skills)}, {job.minutes} minutes",
        description=_description(job, people),
        place=job.building.address,
    )


def _description(job: Job, people: list[str]) -> str:
    asked = [item.sentence for item in sorted(job.items.all(), key=lambda i: i.number)]
    parts = [f"Parts: {', '.join(job.parts)}."] if job.parts else []
    hours = [f"Access: {job.building.access_hours}."] if job.building.access_hours else []
    return "\n".join([*asked, f"Planned for {' with '.join(people)}.", *parts, *hours])


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
