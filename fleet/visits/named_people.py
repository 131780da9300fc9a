"""Who of the people named at a visit stands behind it: its poster, and whoever named in it confirmed it since."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F, QuerySet

from fleet.accounts.models import Qualification, User
from fleet.accounts.people import qualification_codes_at
from fleet.errors import Refused
from fleet.rules.vocabulary import OPERATOR, NameReply
from fleet.visits.models import Attendance, NameAnswer, Visit


@dataclass(frozen=True, slots=True)
class NamedPerson:
    """Somebody with an account who is named at a visit, and what he is qualified for, each from when to when.

    `stands` says that he posted or seconded it, or that nobody asked for that when it was posted.
    """

    user: UUID
    stands: bool
    reply: str
    held_spans: tuple[tuple[str, datetime, datetime | None], ...]

    @property
    def waits(self) -> bool:
        """Whether his word is asked for and not there."""
        return not self.stands and not self.reply

    def codes_at(self, at: datetime) -> frozenset[str]:
        """Return what he was qualified for at an instant."""
        return frozenset(
            code for code, since, until in self.held_spans if since <= at and (until is None or at < until)
        )

    def counting_codes_at(self, at: datetime) -> frozenset[str]:
        """Return what of it counts. What an operator told whoever posts it counts, unless he denies it."""
        codes = self.codes_at(at)
        return codes if self.stands else codes & {OPERATOR} if self.waits else frozenset()


def people_by_visit(
    attendances: QuerySet[Attendance], known_at: datetime | None = None
) -> dict[UUID, list[NamedPerson]]:
    """Return the people with accounts of these attendances by visit, as known at an instant (None: now)."""
    with_accounts = attendances.filter(user__isnull=False).annotate(
        posted_by=F("visit__posted_by"), asks=F("visit__names_need_second")
    )
    rows = list(
        with_accounts.values_list("visit", "user", "portfolio", "posted_by", "asks")
        .distinct()
        .order_by("visit", "user")
    )
    qualifications = _qualifications_by_user({user for _, user, *_ in rows if user})
    asking_visits = {visit for visit, user, _, posted_by, asks in rows if asks and posted_by != user}
    replies = _replies(asking_visits, known_at) if asking_visits else {}
    people: dict[UUID, list[NamedPerson]] = defaultdict(list)
    for visit, user, portfolio, posted_by, asks in rows:
        if user is not None:
            spans = tuple(
                (q.code, q.since, q.until) for q in qualifications[user] if q.portfolio_id in (None, portfolio)
            )
            reply = replies.get((visit, user), "")
            stands = not asks or posted_by == user or reply == NameReply.SECONDED
            people[visit].append(NamedPerson(user, stands, reply, spans))
    return people


def _qualifications_by_user(users: Iterable[UUID]) -> dict[UUID, list[Qualification]]:
    by_user: dict[UUID, list[Qualification]] = defaultdict(list)
    for row in Qualification.objects.filter(user__in=users):
        by_user[row.user_id].append(row)
    return by_user


def _replies(visits: Iterable[UUID], known_at: datetime | None) -> dict[tuple[UUID, UUID], str]:
    answers = NameAnswer.objects.filter(visit__in=visits)
    known_answers = answers.filter(at__lte=known_at) if known_at else answers
    return {(visit, user): reply for visit, user, reply in known_answers.values_list("visit", "by", "answer")}


def asks_others(visit: Visit) -> bool:
    """Return whether a visit names anybody beside its poster, and was posted when that asks for their word."""
    if not visit.names_need_second or hasattr(visit, "paper"):
        return False
    return Attendance.objects.filter(visit=visit, user__isnull=False).exclude(user=visit.posted_by_id).exists()


def is_asked(visit: Visit, user: User) -> bool:
    """Return whether a visit that another posted names this person, and was posted when that asks for his word."""
    is_others = visit.posted_by_id != user.id
    return is_others and asks_others(visit) and Attendance.objects.filter(visit=visit, user=user).exists()


def refuse_reply(visit: Visit, by: User) -> None:
    """Raise Refused unless this person may still say whether the visit was so; the visit's boiler must be locked.

    422 where nobody is asked, 403 for its own poster, for who is not named or was not qualified on its day, 409 where
    it was corrected or he has answered.
    """
    if not asks_others(visit):
        raise Refused("names_not_asked", "Nobody named at this visit is asked to second or deny it.", status=422)
    if visit.posted_by_id == by.id:
        raise Refused("own_visit", "Its poster stands behind it already.", status=403)
    if not is_asked(visit, by):
        raise Refused("not_named", "This visit does not name you.", status=403)
    if not qualification_codes_at(visit.portfolio_id, by.id, visit.performed_at) - {OPERATOR}:
        raise Refused("not_qualified", "You were not qualified on the day of this visit.", status=403)
    successor = Visit.objects.filter(corrects=visit).first()
    if successor is not None:
        raise Refused("corrected_already", f"Visit {successor.id} already corrects it.", status=409)
    _refuse_second_reply(NameAnswer.objects.filter(visit=visit, by=by).first())


def _refuse_second_reply(earlier: NameAnswer | None) -> None:
    if earlier is not None and earlier.answer == NameReply.SECONDED:
        raise Refused("seconded_already", "You have already seconded it.", status=409)
    if earlier is not None:
        raise Refused("denied_already", "You have already denied it.", status=409)
