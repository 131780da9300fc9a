"""Making, reading and ending the links of reports."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Portfolio
from fleet.reports.models import SharedLink
from fleet.visits import queries as visits
from fleet.visits.models import Visit

MAX_DAYS = 90  # after which somebody has to look again whether it should be seen
DEFAULT_DAYS = 30
MAX_LINKS = 100  # that one person has at a time
SEE_ACTION = "visit.see"


@dataclass(frozen=True, slots=True)
class ReportSubject:
    """What a report is about: a portfolio, a boiler's year, or a visit."""

    kind: str
    portfolio: UUID
    boiler: Boiler | None = None
    visit: Visit | None = None


@dataclass(frozen=True, slots=True)
class NewLink:
    """A new link with its secret, which is not stored."""

    link: SharedLink
    secret: str


def share_report(*, subject: ReportSubject, by: User, days: int, at: datetime) -> NewLink:
    """Make a link to a report for so many days. The caller checks that its maker may see the report.

    Raises Refused for a time out of range and for too many links.
    """
    if not 1 <= days <= MAX_DAYS:
        raise Refused("not_possible", f"A link lasts 1 to {MAX_DAYS} days.", ("days",), status=422)
    if links_of(by, at).count() >= MAX_LINKS:
        raise Refused("too_many", f"You have {MAX_LINKS} links. End one first.", status=409)
    secret = secrets.token_urlsafe(32)
    link = SharedLink.objects.create(
        portfolio_id=subject.portfolio,
        kind=subject.kind,
        boiler=subject.boiler,
        visit=subject.visit,
        digest=_digest_of(secret),
        made_by=by,
        made_at=at,
        expires_at=at + timedelta(days=days),
    )
    return NewLink(link, secret)


def links_of(user: User, at: datetime) -> QuerySet[SharedLink]:
    """Return a person's links in force, the newest first."""
    rows = SharedLink.objects.filter(made_by=user, revoked_at=None, expires_at__gt=at)
    return rows.select_related("boiler__building", "visit__boiler__building", "portfolio").order_by("-made_at", "id")


def end_link(*, link: UUID, by: User, at: datetime) -> bool:
    """End a link of one's own; return whether there was one in force."""
    return SharedLink.objects.filter(id=link, made_by=by, revoked_at=None).update(revoked_at=at) == 1


def open_link(secret: str, at: datetime) -> SharedLink | None:
    """Return the link of a secret; None where it is unknown, ended or over, or its maker may not see the report now."""
    rows = SharedLink.objects.select_related("made_by", "boiler__building", "visit__boiler__building", "portfolio")
    link = rows.filter(digest=_digest_of(secret), revoked_at=None, expires_at__gt=at).first()
    return link if link is not None and _may_still_see(link, at) else None


def _may_still_see(link: SharedLink, at: datetime) -> bool:
    """Whether its maker may see the report now: who left a portfolio shares nothing of it any more."""
    maker = link.made_by
    if not maker.is_active:
        return False
    if link.kind == "portfolio":
        return policy.portfolios_for(maker, SEE_ACTION, at).filter(id=link.portfolio_id).exists()
    boiler = link.boiler or (link.visit.boiler if link.visit else None)
    return boiler is not None and policy.boilers_for(maker, SEE_ACTION, at).filter(id=boiler.id).exists()


def find_subject(user: User, kind: str, subject_id: UUID, at: datetime) -> ReportSubject | None:
    """Return what a link of this kind would share; None where it is unknown or the user may not see it."""
    if kind == "portfolio":
        portfolio = policy.portfolios_for(user, SEE_ACTION, at).filter(id=subject_id).first()
        return portfolio_subject(portfolio) if portfolio else None
    boilers = policy.boilers_for(user, SEE_ACTION, at)
    if kind == "boiler_year":
        boiler = boilers.filter(id=subject_id).first()
        return boiler_subject(boiler) if boiler else None
    visit = visits.visits_to(boilers).filter(id=subject_id).first() if kind == "visit" else None
    return visit_subject(visit) if visit else None


def portfolio_subject(portfolio: Portfolio) -> ReportSubject:
    """Return the portfolio on one page as what is shared."""
    return ReportSubject("portfolio", portfolio.id)


def boiler_subject(boiler: Boiler) -> ReportSubject:
    """Return a boiler's year as what is shared."""
    return ReportSubject("boiler_year", boiler.portfolio_id, boiler=boiler)


def visit_subject(visit: Visit) -> ReportSubject:
    """Return a visit as what is shared."""
    return ReportSubject("visit", visit.portfolio_id, visit=visit)


def _digest_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
