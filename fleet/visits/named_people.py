"""Who of the people named at a visit stands behind it: its poster, and whoever named in it confirmed it since."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F, QuerySet

from fleet.accounts.models import Qualification, User
from fleet.accounts.people import qualification_codes_at
from fleet.errors import Refused
from fleet.rules.vocabulary import OPERATOR, NameReply, OperatorRelay
from fleet.visits.models import Attendance, NameAnswer, Visit


@dataclass(frozen=True, slots=True)
class NamedPerson:
    """Somebody with an account who is named at a visit or posted it, and what he is qualified for, from when to when.

    `stands` says that he is named and posted or seconded it, or that nobody asked for that when it was posted.
    """

    user: UUID
    is_named: bool
    stands: bool
    reply: str
    relay: OperatorRelay
    held_spans: tuple[tuple[str, datetime, datetime | None], ...]

    @property
    def waits(self) -> bool:
        """Whether his word is asked for and not there."""
        return self.is_named and not self.stands and not self.reply and self.relay != OperatorRelay.PIN

    def codes_at(self, at: datetime) -> frozenset[str]:
        """Return what he was qualified for at an instant."""
        return frozenset(
            code for code, since, until in self.held_spans if since <= at and (until is None or at < until)
        )

    def counting_codes_at(self, at: datetime) -> frozenset[str]:
        """Return what of it counts: all where he stands behind the visit, nothing where he denies it.

        Else what an operator told the desk counts, as relayed, and what he logged on a card under his own PIN. Of a
        poster who was not there nothing does, unless it was posted before only the desk relayed.
        """
        if self.stands:
            return self.codes_at(at)
        if self.relay == OperatorRelay.PIN:
            return frozenset() if self.reply else self.codes_at(at) & {OPERATOR}
        is_told = self.is_relayed_at(at) or (not self.is_named and self.relay == OperatorRelay.ANYBODY)
        return self.codes_at(at) & {OPERATOR} if is_told else frozenset()

    def is_relayed_at(self, at: datetime) -> bool:
        """Whether this is an operator who told it to the poster, and whose own word is not there."""
        is_told = self.relay in (OperatorRelay.DESK, OperatorRelay.ANYBODY)
        return self.waits and is_told and OPERATOR in self.codes_at(at)


@dataclass(frozen=True, slots=True)
class _Naming:
    """One person named at one visit, and whether that asks for his word."""

    visit: UUID
    user: UUID
    portfolio: UUID
    posted_by: UUID | None
    asks: bool
    relay: OperatorRelay


def people_by_visit(
    attendances: QuerySet[Attendance], known_at: datetime | None = None
) -> dict[UUID, list[NamedPerson]]:
    """Return the people of these attendances with accounts by visit, and posters not named, as known at an instant."""
    namings = _list_namings(attendances)
    posters = {n.visit: n for n in namings if n.asks and n.posted_by}
    named_pairs = {(n.visit, n.user) for n in namings}
    absent_posters = [n for n in posters.values() if (n.visit, n.posted_by) not in named_pairs]
    users = {n.user for n in namings} | {n.posted_by for n in absent_posters if n.posted_by}
    qualifications = _qualifications_by_user(users)
    asking_visits = {n.visit for n in namings if n.asks and n.posted_by != n.user}
    replies = _list_replies(asking_visits, known_at) if asking_visits else {}
    people: dict[UUID, list[NamedPerson]] = defaultdict(list)
    for n in namings:
        reply = replies.get((n.visit, n.user), "")
        stands = not n.asks or n.posted_by == n.user or reply == NameReply.SECONDED
        spans = _spans(qualifications[n.user], n.portfolio)
        people[n.visit].append(NamedPerson(n.user, True, stands, reply=reply, relay=n.relay, held_spans=spans))
    for n in absent_posters:
        if n.posted_by:
            spans = _spans(qualifications[n.posted_by], n.portfolio)
            people[n.visit].append(NamedPerson(n.posted_by, False, False, reply="", relay=n.relay, held_spans=spans))
    return people


def _list_namings(attendances: QuerySet[Attendance]) -> list[_Naming]:
    with_accounts = attendances.filter(user__isnull=False).annotate(
        posted_by=F("visit__posted_by"), asks=F("visit__names_need_second"), relay=F("visit__operator_relay")
    )
    rows = with_accounts.values_list("visit", "user", "portfolio", "posted_by", "asks", "relay").distinct()
    return [_Naming(*row[:5], OperatorRelay(row[5])) for row in rows.order_by("visit", "user")]


def _spans(
    qualifications: Iterable[Qualification], portfolio: UUID
) -> tuple[tuple[str, datetime, datetime | None], ...]:
    return tuple((q.code, q.since, q.until) for q in qualifications if q.portfolio_id in (None, portfolio))


def _qualifications_by_user(users: Iterable[UUID]) -> dict[UUID, list[Qualification]]:
    by_user: dict[UUID, list[Qualification]] = defaultdict(list)
    for row in Qualification.objects.filter(user__in=users):
        by_user[row.user_id].append(row)
    return by_user


def _list_replies(visits: Iterable[UUID], known_at: datetime | None) -> dict[tuple[UUID, UUID], str]:
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


def refuse_reply(visit: Visit, by: User, reply: NameReply, waiting: Collection[UUID]) -> None:
    """Raise Refused unless this person may still say whether the visit was so; the visit's boiler must be locked.

    `waiting` are the corrections of the boiler without effect yet: what one of them corrects still counts, and has its
    own word. 422 where nobody is asked, 403 for its own poster, for who is not named or was not qualified on its day,
    409 where it was corrected or he has answered.
    """
    if not asks_others(visit):
        raise Refused("names_not_asked", "Nobody named at this visit is asked to second or deny it.", status=422)
    if visit.posted_by_id == by.id:
        raise Refused("own_visit", "Its poster stands behind it already.", status=403)
    if not is_asked(visit, by):
        raise Refused("not_named", "This visit does not name you.", status=403)
    codes = qualification_codes_at(visit.portfolio_id, by.id, visit.performed_at)
    # Before only the desk relayed, an operator's word was never asked for: whoever posted relayed it.
    is_only_relayed = visit.operator_relay == OperatorRelay.ANYBODY and reply == NameReply.SECONDED
    if not (codes - {OPERATOR} if is_only_relayed else codes):
        raise Refused("not_qualified", "You were not qualified on the day of this visit.", status=403)
    successor = Visit.objects.filter(corrects=visit).first()
    if successor is not None and not (successor.id in waiting and visit.id not in waiting):
        raise Refused("corrected_already", f"Visit {successor.id} already corrects it.", status=409)
    _refuse_second_reply(NameAnswer.objects.filter(visit=visit, by=by).first())


def _refuse_second_reply(earlier: NameAnswer | None) -> None:
    if earlier is not None and earlier.answer == NameReply.SECONDED:
        raise Refused("seconded_already", "You have already seconded it.", status=409)
    if earlier is not None:
        raise Refused("denied_already", "You have already denied it.", status=409)
