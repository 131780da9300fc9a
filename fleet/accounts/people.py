"""Who may do what where, and what people are qualified for by whose word: reading it, and changing it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.telephone import WRONG
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio

ROLES = ("technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office")
# What a manager may give and take: who works at the boilers and who sends them. The other roles are the owner's.
MANAGED = frozenset({"technician", "dispatcher", "caretaker", "inspector"})
QUALIFICATIONS = ("operator", "technician", "fire_side", "valve_shop", "inspector", "utility")


@dataclass(frozen=True, slots=True)
class Wish:
    """A role for somebody, in the whole portfolio or one building of it, until an instant."""

    role: str
    building: UUID | None = None
    until: datetime | None = None


def choose_units(*, user: User, units: str) -> None:
    """Show quantities to this person in these units: one of the column's choices."""
    user.units = units
    user.clean_fields(exclude={f.name for f in User._meta.fields} - {"units"})
    user.save(update_fields=["units"])


def keep_telephone(*, user: User, number: str) -> None:
    """Keep this number, or none where it is empty. Raises Refused for what no telephone could dial."""
    try:
        user.telephone = User._meta.get_field("telephone").clean(" ".join(number.split()), user)
    except ValidationError as error:
        raise Refused("telephone", WRONG, ("telephone",), status=422) from error
    user.save(update_fields=["telephone"])


def held(portfolio: UUID) -> QuerySet[Qualification]:
    """The qualifications that count in a portfolio: by its own word, or by the installation's."""
    return Qualification.objects.filter(Q(portfolio=None) | Q(portfolio=portfolio))


def held_at(portfolio: UUID, person: UUID, at: datetime) -> set[str]:
    """What somebody is qualified for there at an instant."""
    found = held(portfolio).filter(Q(until=None) | Q(until__gt=at), user=person, since__lte=at)
    return set(found.values_list("code", flat=True))


def of_portfolio(portfolio: UUID, at: datetime) -> QuerySet[User]:
    """Everybody with a grant in force there."""
    granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at), portfolio=portfolio)
    return User.objects.filter(id__in=granted.values("user"), is_active=True)


def may_give(by: User, role: str, portfolio: UUID, at: datetime) -> bool:
    """Whether somebody may give or take this role: an owner any, a manager those of `MANAGED`."""
    own = Grant.objects.filter(Q(until=None) | Q(until__gt=at), user=by, portfolio=portfolio, building=None)
    roles = set(own.values_list("role", flat=True))
    return "owner" in roles or ("manager" in roles and role in MANAGED)


def find(person: UUID, portfolio: UUID, at: datetime) -> User:
    """Somebody of this portfolio, or qualified in it: others are as unknown. Raises Refused."""
    known = Q(grants__portfolio=portfolio) | Q(qualifications__in=held(portfolio).filter(since__lte=at))
    found = User.objects.filter(known, id=person, is_active=True).distinct().first()
    if found is None:
        raise Refused("unknown_person", "No such person here.", ("user",), status=422)
    return found


def add(*, username: str, name: str) -> User:
    """Make somebody new, who can't sign in before they chose a password. Raises Refused for a name that is taken."""
    if User.objects.filter(username__iexact=username).exists():
        raise Refused("taken", "This user name is taken.", ("username",), status=409)
    first, _, last = name.partition(" ")
    user = User(username=username, first_name=first[:150], last_name=last[:150])
    user.set_unusable_password()
    user.save()
    return user


def grant(*, user: User, portfolio: Portfolio, wish: Wish) -> Grant:
    """Give a role; the same role again takes on the new end. Raises Refused for a building of somebody else."""
    house = Building.objects.filter(id=wish.building, portfolio=portfolio).first() if wish.building else None
    if wish.building and house is None:
        raise Refused("unknown_building", "No such building here.", ("building",), status=422)
    values = {"user": user, "role": wish.role, "portfolio": portfolio, "building": house}
    made, _ = Grant.objects.update_or_create(**values, defaults={"until": wish.until})
    return made


def qualify(*, user: User, portfolio: Portfolio, code: str, since: datetime, until: datetime | None) -> Qualification:
    """Note by the portfolio's word what somebody is qualified for; the same again takes on the new end."""
    made, _ = Qualification.objects.update_or_create(
        user=user, portfolio=portfolio, code=code, since=since, defaults={"until": until}
    )
    return made


def names(users: Iterable[User]) -> str:
    """Their names, for a sentence."""
    return ", ".join(u.get_full_name() or u.get_username() for u in users)
