"""Digests: each person's morning page, once a day or a week, at their hour."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Min

from fleet.accounts.models import Grant, User
from fleet.board.queries import pulse_version
from fleet.calendar import day_of
from fleet.notices.models import EMPTY, FAILED, Destination, Notice, NoticeChoices
from fleet.notices.outbox import PULSE, NoticeDraft, add_notice
from fleet.notices.writing.digest_text import NewsStart, gather_digest, write_digest
from fleet.portfolio.models import Building
from fleet.records.row_spans import not_ended

# Unless a person chose otherwise. Who works at one boiler hears of it when it happens, and of nothing else.
DEFAULT_DIGEST = {"manager": "daily", "dispatcher": "daily", "technician": "daily", "owner": "weekly"}
DEFAULT_HOUR = 7
MONDAY = 0
PERIODS = {"daily": timedelta(days=1), "weekly": timedelta(days=7)}


@dataclass(frozen=True, slots=True)
class DigestReader:
    """Who reads a digest: daily or weekly, at which hour, in which zone ("" that of the portfolio)."""

    user: User
    kind: str
    hour: int
    zone: str
    wants_empty: bool  # also where there is nothing to say


def write_digests(*, portfolio: UUID, at: datetime) -> int:
    """Write the digests of a portfolio whose hour has come today; return how many. One a person and day, ever.

    A worker that was away for a week writes today's only. What lies before the person's address was confirmed is
    never written.
    """
    zone = Building.objects.filter(portfolio=portfolio).order_by("ref").values_list("zone", flat=True).first() or "UTC"
    return sum(
        _write_one(portfolio, reader, own_zone=reader.zone or zone, at=at) for reader in _find_readers(portfolio, at)
    )


def _find_readers(portfolio: UUID, at: datetime) -> Iterator[DigestReader]:
    """Yield who reads a digest here."""
    grants = Grant.objects.filter(not_ended(at), portfolio=portfolio, user__is_active=True, is_from_job=False)
    roles: dict[UUID, set[str]] = {}
    users: dict[UUID, User] = {}
    for grant in grants.select_related("user"):
        roles.setdefault(grant.user_id, set()).add(grant.role)
        users[grant.user_id] = grant.user
    choices_by_user = {row.user_id: row for row in NoticeChoices.objects.filter(user__in=users)}
    for id_, user in sorted(users.items(), key=lambda pair: pair[1].get_username()):
        choices = choices_by_user.get(id_)
        kind = choices.digest if choices else default_digest(roles[id_])
        if kind in PERIODS:
            hour = choices.digest_hour if choices else DEFAULT_HOUR
            zone, wants_empty = (choices.zone, choices.says_nothing_new) if choices else ("", True)
            yield DigestReader(user, kind, hour, zone=zone, wants_empty=wants_empty)


def default_digest(roles: set[str]) -> str:
    """Return how often a person with these roles gets a digest who did not choose: daily, weekly or none."""
    kinds = {DEFAULT_DIGEST[role] for role in roles if role in DEFAULT_DIGEST}
    return "daily" if "daily" in kinds else "weekly" if kinds else "none"


def _write_one(portfolio: UUID, reader: DigestReader, own_zone: str, at: datetime) -> int:
    user, kind, zone = reader.user, reader.kind, own_zone
    day = day_of(at, zone)
    day -= timedelta(days=(day.weekday() - MONDAY) % 7 if kind == "weekly" else 0)  # the Monday, also if it was missed
    due = datetime.combine(day, time(reader.hour), ZoneInfo(zone)).astimezone(UTC)
    key = f"digest {portfolio} {user.id} {day.isoformat()}"
    if at < due or Notice.objects.filter(key=key).exists():
        return 0
    used = Destination.objects.filter(user=user, ended_at=None, confirmed_at__isnull=False)
    confirmed_at = used.aggregate(Min("confirmed_at"))["confirmed_at__min"]
    if confirmed_at is None or confirmed_at > due:
        return 0
    news = _start_of_news(portfolio, reader, at)
    content = gather_digest(portfolio=portfolio, user=user, news=news, zone=zone, at=at)
    text = write_digest(content, user, kind)
    draft = NoticeDraft(
        portfolio,
        user,
        kind="digest",
        key=key,
        level="routine",
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={**content.as_json(), "period": kind, PULSE: pulse_version(portfolio)},
        zone=zone,
        chart=content.chart,
    )
    notice = add_notice(draft, at)
    if content.is_empty and not reader.wants_empty:
        Notice.objects.filter(id=notice.id).update(status=EMPTY)  # so that this day, or week, is done with
        return 0
    return 1


def _start_of_news(portfolio: UUID, reader: DigestReader, at: datetime) -> NewsStart:
    """Return since when something is new: since the last digest that did not fail, as one that failed told nothing."""
    digests = Notice.objects.filter(user=reader.user, portfolio=portfolio, kind="digest").order_by("created_at")
    last = digests.exclude(status=FAILED).last()
    if last is not None:
        return NewsStart(last.created_at, last.data.get(PULSE))
    first = digests.first()
    return NewsStart((first.created_at if first else at) - PERIODS[reader.kind])
