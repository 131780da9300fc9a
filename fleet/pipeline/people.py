"""Roles and qualifications: they decide what people may do and what their results are worth."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from fleet.accounts import grants, people
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

    Somebody of other portfolios only is asked: the role begins when that person accepts it, and who accepted one until
    a day is asked about a longer end. A shorter one holds at once.

    Raises Refused where `by` may not give the role, there is no such person or building, the user name is taken, or the
    end has passed.
    """
    house = Portfolio.objects.get(id=portfolio)
    _refuse_unless_may_give(by, wish.role, portfolio, at)
    if wish.until is not None and wish.until <= at:
        raise Refused("past", "This end is in the past.", ("until",), status=422)
    person = people.find_person(user, portfolio, at) if user else people.add_person(username=new[0], name=new[1])
    is_asked = user is not None and grants.is_asked_about_role(person.id, portfolio, wish.until, at)
    grant = people.give_role(user=person, portfolio=house, wish=wish, is_asked=is_asked, by=by, at=at)
    verb = "is asked to be" if is_asked else "is"
    _record_grant_event(
        grant,
        "people.asked" if is_asked else "people.granted",
        before="",
        after=wish.role,
        sentence=f"{_display_name(person)} {verb} {wish.role} for {_place_of(grant)}.",
        cause=cause,
        at=at,
    )
    return grant


def _place_of(grant: Grant) -> str:
    return grant.building.address if grant.building else "the whole portfolio"


@transaction.atomic
def answer_role(*, grant: UUID, person: User, accepts: bool, at: datetime, cause: Cause) -> Grant:
    """Let a role begin that a person was asked about, or leave it. Raises Refused where none waits for this person."""
    row = grants.answer_grant(grant=grant, person=person, accepts=accepts, at=at)
    does = "accepts to be" if accepts else "declines to be"
    _record_grant_event(
        row,
        "people.granted" if accepts else "people.declined",
        before="",
        after=row.role if accepts else "",
        sentence=f"{_display_name(person)} {does} {row.role} for {_place_of(row)}.",
        cause=cause,
        at=at,
    )
    return row


@transaction.atomic
def end_role(*, grant: Grant, by: User, at: datetime, cause: Cause) -> Grant:
    """End a role from `at` on; a role that has ended stays as it is. Raises Refused where `by` may not take it."""
    _refuse_unless_may_give(by, grant.role, grant.portfolio_id, at)
    if grant.until is None or grant.until > at:
        grants.end_grant(grant, at=at, by=by)
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

    That of somebody of other portfolios only counts when that person has accepted it.

    Raises Refused for one's own qualification, for an unknown person, and for an end before the beginning.
    """
    if user == by.id:
        raise Refused("own_qualification", "You cannot vouch for your own qualification.", status=403)
    if until is not None and until <= since:
        raise Refused("backwards", "It ends before it begins.", ("until",), status=422)
    person = people.find_person(user, portfolio, at)
    is_asked = people.is_asked_about_qualification(person.id, portfolio, code=code, span=(since, until), at=at)
    qualification = people.add_qualification(
        user=person,
        portfolio=Portfolio.objects.get(id=portfolio),
        code=code,
        span=(since, until),
        waits_since=at if is_asked else None,
    )
    _record_qualification_event(qualification, "asked" if is_asked else "qualified", cause, at)
    return qualification


@transaction.atomic
def answer_qualification(
    *, qualification: int, person: User, accepts: bool, at: datetime, cause: Cause
) -> Qualification:
    """Let a qualification count that a person was asked about, or leave it. Raises Refused where none waits for them.

    Accepted, it counts from the day that it names, also for visits that were made before the answer.
    """
    row = people.answer_qualification(qualification=qualification, person=person, accepts=accepts, at=at)
    _record_qualification_event(row, "qualified" if accepts else "declined", cause, at)
    return row


def _record_qualification_event(row: Qualification, step: str, cause: Cause, at: datetime) -> None:
    """Record what became of a qualification; one that counts has the boilers that the person worked on judged again."""
    assert row.portfolio_id
    end = f" to {row.until:%a %d %b %Y}" if row.until and step != "declined" else ""
    words = {"asked": "is asked to accept being", "qualified": "is", "declined": "declines being"}
    of = f"qualified as {row.code.replace('_', ' ')} from {row.since:%a %d %b %Y}{end}"
    event = ChangeEvent(
        f"people.{step}",
        row.user_id,
        boiler=None,
        before="",
        after=row.code,
        sentence=f"{_display_name(row.user)} {words[step]} {of}.",
        rule="",
        at=at,
    )
    board.record_changes(portfolio=row.portfolio_id, events=[event], cause=cause, at=at)
    if step == "qualified":
        _judge_again(row.portfolio_id, row.user)
        wake_task("fleet.tasks.sweep")


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
