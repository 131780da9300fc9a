"""Reading and changing people's roles and qualifications."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db.models import Prefetch, Q, QuerySet

from fleet.accounts.grants import (
    ask_for_longer,
    belongs_to_portfolio,
    find_waiting,
    note_asked,
    record_grant,
    take_answer,
)
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.telephone import NUMBER_RULE
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio
from fleet.records.row_spans import not_ended

ROLES = ("technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office")
USERNAME = re.compile(r"[a-z][a-z0-9._-]{1,39}")
USERNAME_RULE = "Use 2 to 40 small letters, digits, dots, dashes or underscores, beginning with a letter."
# The roles a manager may give and take: the field and the dispatchers. The other roles are given by owners only.
MANAGED_ROLES = frozenset({"technician", "dispatcher", "caretaker", "inspector"})


@dataclass(frozen=True, slots=True)
class RoleWish:
    """A role to be given, in the whole portfolio or one building of it, until an instant."""

    role: str
    building: UUID | None = None
    until: datetime | None = None


def choose_units(*, user: User, units: str) -> None:
    """Store the units in which pages show quantities to a person. Raises ValidationError for an unknown choice."""
    user.units = units
    user.clean_fields(exclude={f.name for f in User._meta.fields} - {"units"})
    user.save(update_fields=["units"])


def keep_telephone(*, user: User, number: str) -> None:
    """Store a telephone number, or none where it is empty. Raises Refused for one that can't be dialed."""
    try:
        user.telephone = User._meta.get_field("telephone").clean(" ".join(number.split()), user)
    except ValidationError as error:
        raise Refused("telephone", NUMBER_RULE, ("telephone",), status=422) from error
    user.save(update_fields=["telephone"])


def counting_qualifications(portfolio: UUID) -> QuerySet[Qualification]:
    """Return the qualifications that count in a portfolio: its own and the installation's."""
    return Qualification.objects.filter(Q(portfolio=None) | Q(portfolio=portfolio))


def known_qualifications(portfolio: UUID) -> QuerySet[Qualification]:
    """Return those that count in a portfolio, and those that wait there for the answer of the person."""
    return Qualification.asked_or_accepted.filter(Q(portfolio=None) | Q(portfolio=portfolio))


def qualification_codes_at(portfolio: UUID, person: UUID, at: datetime) -> set[str]:
    """Return the codes of a person's qualifications in a portfolio at an instant."""
    qualifications = counting_qualifications(portfolio).filter(not_ended(at), user=person, since__lte=at)
    return set(qualifications.values_list("code", flat=True))


def people_of_portfolio(portfolio: UUID, at: datetime) -> QuerySet[User]:
    """Return everybody active with a grant in force in a portfolio, or who is asked to take one."""
    return active_users_of(Grant.asked_or_accepted.filter(not_ended(at), portfolio=portfolio))


def with_roles(people: Iterable[UUID], portfolio: UUID, at: datetime) -> QuerySet[User]:
    """Return these people by user name, each with what they have in a portfolio: three queries.

    `here` are the roles in force or asked, `counting` the qualifications that count there or wait for an answer.
    """
    grants = Grant.asked_or_accepted.filter(not_ended(at), portfolio=portfolio).select_related("building")
    qualifications = known_qualifications(portfolio).order_by("code", "since")
    return (
        User.objects.filter(id__in=list(people))
        .order_by("username", "id")
        .prefetch_related(
            Prefetch("grants", grants.order_by("role", "id"), to_attr="here"),
            Prefetch("qualifications", qualifications, to_attr="counting"),
        )
    )


def active_users_of(grants: QuerySet[Grant]) -> QuerySet[User]:
    """Return everybody active who has one of these grants."""
    return User.objects.filter(id__in=grants.values("user"), is_active=True)


def may_give_role(by: User, role: str, portfolio: UUID, at: datetime) -> bool:
    """Whether a user may give or take this role: an owner any, a manager those of `MANAGED_ROLES`."""
    grants = Grant.objects.filter(not_ended(at), user=by, portfolio=portfolio, building=None)
    roles = set(grants.values_list("role", flat=True))
    return "owner" in roles or ("manager" in roles and role in MANAGED_ROLES)


def find_person(person: UUID, portfolio: UUID, at: datetime) -> User:
    """Return a person with a grant or qualification in this portfolio. Raises Refused (422) for anybody else."""
    belongs_here = Q(grants__portfolio=portfolio) | Q(
        qualifications__in=counting_qualifications(portfolio).filter(since__lte=at)
    )
    user = User.objects.filter(belongs_here, id=person, is_active=True).distinct().first()
    if user is None:
        raise Refused("unknown_person", "Person not found.", ("user",), status=422)
    return user


def add_person(*, username: str, name: str) -> User:
    """Make a user without a password, who cannot sign in yet. Raises Refused (409) for a user name that is taken."""
    if User.objects.filter(username__iexact=username).exists():
        raise Refused("taken", "This user name is taken.", ("username",), status=409)
    first, _, last = name.partition(" ")
    user = User(username=username, first_name=first[:150], last_name=last[:150])
    user.set_unusable_password()
    user.save()
    return user


def give_role(*, user: User, portfolio: Portfolio, wish: RoleWish, is_asked: bool, by: User, at: datetime) -> Grant:
    """Give a role, or where `is_asked` have it wait for the person; the same role again gets the new end.

    One that holds already goes on as accepted, and only its longer end waits.

    Raises Refused (422) for a building of another portfolio.
    """
    house = Building.objects.filter(id=wish.building, portfolio=portfolio).first() if wish.building else None
    if wish.building and house is None:
        raise Refused("unknown_building", "Building not found.", ("building",), status=422)
    place: dict[str, Any] = {
        "user": user,
        "role": wish.role,
        "portfolio": portfolio,
        "building": house,
        "is_from_job": False,
    }
    held = Grant.objects.select_for_update(no_key=True).filter(not_ended(at), **place).first() if is_asked else None
    if held is not None:
        ask_for_longer(held, until=wish.until, at=at, by=by)
    else:
        values = {"until": wish.until, "waits_since": at if is_asked else None}
        asked_no_longer = {"longer_since": None, "longer_until": None}
        held, _ = Grant.asked_or_accepted.update_or_create(**place, defaults={**values, **asked_no_longer})
        record_grant(held, "asked" if is_asked else "given", at=at, by=by)
    if is_asked:
        note_asked([user.id])
    return held


def is_asked_about_qualification(
    person: UUID, portfolio: UUID, *, code: str, span: tuple[datetime, datetime | None], at: datetime
) -> bool:
    """Whether a person has to accept a qualification before it counts: who does not belong here.

    One that counts already goes on counting, and may end earlier. Raises Refused (409) where it would last longer
    without the person's word.
    """
    if belongs_to_portfolio(person, portfolio, at):
        return False
    known = Qualification.objects.filter(user=person, portfolio=portfolio, code=code, since=span[0]).first()
    if known is not None and known.until is not None and (span[1] is None or span[1] > known.until):
        message = "This person has no role here any more. Only their own word makes it last longer: note a new one."
        raise Refused("not_asked", message, ("until",), status=409)
    return known is None


def add_qualification(
    *, user: User, portfolio: Portfolio, code: str, span: tuple[datetime, datetime | None], waits_since: datetime | None
) -> Qualification:
    """Store a qualification that counts in a portfolio, unless it waits; the same one again gets the new end."""
    values = {"until": span[1], "waits_since": waits_since}
    qualification, _ = Qualification.asked_or_accepted.update_or_create(
        user=user, portfolio=portfolio, code=code, since=span[0], defaults=values
    )
    if waits_since:
        note_asked([user.id])
    return qualification


def waiting_qualifications(person: User, at: datetime) -> list[Qualification]:
    """Return the qualifications that wait for the answer of this person, the oldest first."""
    waiting_rows = Qualification.asked_or_accepted.filter(not_ended(at), user=person, waits_since__isnull=False)
    return list(waiting_rows.select_related("portfolio").order_by("waits_since", "id"))


def answer_qualification(*, qualification: int, person: User, accepts: bool, at: datetime) -> Qualification:
    """Let a qualification count, or end what was asked. Raises Refused (404) where it does not wait for this person."""
    row = find_waiting(Qualification, qualification, person, at)
    take_answer(row, accepts=accepts, at=at)
    return row


def names_in_sentence(users: Iterable[User]) -> str:
    """Return the names of users, joined by commas."""
    return ", ".join(u.display_name for u in users)
