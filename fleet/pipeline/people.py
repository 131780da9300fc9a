"""Roles and qualifications: they decide what people may do and what their results are worth."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from fleet.accounts import people
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.people import RoleWish
from fleet.board import services as board
from fleet.board.models import Judged
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause, ChangeEvent
from fleet.visits.models import Attendance
from fleet.wake import wake_task


@transaction.atomic
def grant_role(
    *, portfolio: UUID, user: UUID | None, new: tuple[str, str], wish: RoleWish, by: User, at: datetime, cause: Cause
) -> Grant:
    """Give a role to a person known in the portfolio, or to a new person (`new`: user name and name).

    Raises Refused where `by` may not give the role, there is no such person or building, the user name is taken, or the
    end has passed.
    """
    house = Portfolio.objects.get(id=portfolio)
    _refuse_unless_may_give(by, wish.role, portfolio, at)
    if wish.until is not None and wish.until <= at:
        raise Refused("past", "This end is in the past.", ("until",), status=422)
    person = people.find_person(user, portfolio, at) if user else people.add_person(username=new[0], name=new[1])
    grant = people.give_role(user=person, portfolio=house, wish=wish)
    where = grant.building.address if grant.building else "the whole portfolio"
    _record_grant_event(
        grant,
        "people.granted",
        before="",
        after=wish.role,
        sentence=f"{_display_name(person)} is {wish.role} for {where}.",
        cause=cause,
        at=at,
    )
    return grant


@transaction.atomic
def end_role(*, grant: Grant, by: User, at: datetime, cause: Cause) -> Grant:
    """End a role from `at` on; a role that has ended stays as it is. Raises Refused where `by` may not take it."""
    _refuse_unless_may_give(by, grant.role, grant.portfolio_id, at)
    if grant.until is None or grant.until > at:
        grant.until = at
        grant.save(update_fields=["until"])
        sentence = f"{_display_name(grant.user)} is no longer {grant.role}."
        _record_grant_event(grant, "people.ended", before=grant.role, after="", sentence=sentence, cause=cause, at=at)
    return grant


@transaction.atomic
def qualify_person(
    *,
    portfolio: UUID,
    user: UUID,
    code: str,
    since: datetime,
    until: datetime | None,
    by: User,
    at: datetime,
    cause: Cause,
) -> Qualification:
    """Note a qualification of a person that counts in this portfolio, and have the boilers they worked on judged again.

    Raises Refused for one's own qualification, for an unknown person, and for an end before the beginning.
    """
    if user == by.id:
        raise Refused("own_qualification", "You cannot vouch for your own qualification.", status=403)
    if until is not None and until <= since:
        raise Refused("backwards", "It ends before it begins.", ("until",), status=422)
    person = people.find_person(user, portfolio, at)
    qualification = people.add_qualification(
        user=person, portfolio=Portfolio.objects.get(id=portfolio), code=code, since=since, until=until
    )
    _judge_again(portfolio, person)
    end = f" to {until:%a %d %b %Y}" if until else ""
    sentence = f"{_display_name(person)} is qualified as {code.replace('_', ' ')} from {since:%a %d %b %Y}{end}."
    event = ChangeEvent(
        "people.qualified", person.id, boiler=None, before="", after=code, sentence=sentence, rule="", at=at
    )
    board.record_changes(portfolio=portfolio, events=[event], cause=cause, at=at)
    wake_task("fleet.tasks.sweep")
    return qualification


def _judge_again(portfolio: UUID, person: User) -> None:
    """Make the sweep judge all boilers this person worked on, with their header groups: results may count otherwise."""
    visits = Attendance.objects.filter(user=person).values("visit")
    visited_boilers = Boiler.objects.filter(portfolio=portfolio, visits__in=visits)
    groups = visited_boilers.exclude(header_group=None).values("header_group")
    boilers_to_judge = Boiler.objects.filter(Q(id__in=visited_boilers.values("id")) | Q(header_group__in=groups))
    Judged.objects.filter(boiler__in=boilers_to_judge.values("id")).update(build="")


def _refuse_unless_may_give(by: User, role: str, portfolio: UUID, at: datetime) -> None:
    if not people.may_give_role(by, role, portfolio, at):
        raise Refused("not_allowed", "Only the owner can give or take away this role.", ("role",), status=403)


def _record_grant_event(
    grant: Grant, kind: str, before: str, after: str, sentence: str, cause: Cause, at: datetime
) -> None:
    event = ChangeEvent(kind, grant.user_id, boiler=None, before=before, after=after, sentence=sentence, rule="", at=at)
    board.record_changes(portfolio=grant.portfolio_id, events=[event], cause=cause, at=at)


def _display_name(person: User) -> str:
    return people.names_in_sentence([person])
