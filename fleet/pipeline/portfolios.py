"""Opening a portfolio: its first owner, who then brings in everybody else."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from fleet.accounts import people
from fleet.accounts.models import User
from fleet.accounts.people import RoleWish
from fleet.board import services as board
from fleet.errors import Fault, Refused
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause, ChangeEvent

OWNER_ROLE = "owner"


@dataclass(frozen=True, slots=True)
class NewPortfolio:
    """A portfolio to open: what it is called."""

    ref: str
    name: str


@dataclass(frozen=True, slots=True)
class NewOwner:
    """Somebody who has no user name here yet and becomes the owner of a portfolio."""

    username: str
    person: str
    password: str


def is_opened(portfolio: UUID) -> bool:
    """Whether a portfolio of this id has been opened: its link has been used."""
    return Portfolio.objects.filter(id=portfolio).exists()


def open_portfolio(*, portfolio: UUID, wish: NewPortfolio, owner: NewOwner | User, at: datetime, cause: Cause) -> User:
    """Make a portfolio with this id and its first owner, and return the owner.

    `owner` is a new person, or the user whom a session stands for: a user name that was typed names nobody who is here.

    Raises Refused: 409 where the portfolio is open already or a name is taken, 422 with every fault of the wish.
    """
    try:
        with transaction.atomic():
            return _open_portfolio(portfolio, wish, owner=owner, at=at, cause=cause)
    except IntegrityError as error:  # of two at once the other one was first
        raise Refused("used", "This link has been used, or the reference or user name is taken.", status=409) from error


def _open_portfolio(portfolio: UUID, wish: NewPortfolio, *, owner: NewOwner | User, at: datetime, cause: Cause) -> User:
    texts = {"ref": wish.ref, "name": wish.name}
    faults = [*_missing_texts(texts), *(_owner_faults(owner) if isinstance(owner, NewOwner) else ())]
    if faults:
        raise Refused.from_faults(faults, status=422)
    if is_opened(portfolio):
        raise Refused("used", "This link has been used.", status=409)
    if Portfolio.objects.filter(ref__iexact=wish.ref).exists():
        raise Refused("taken", "This reference is taken.", ("ref",), status=409)
    row = Portfolio.objects.create(id=portfolio, ref=wish.ref, name=wish.name)
    person = _add_owner(owner) if isinstance(owner, NewOwner) else owner
    people.give_role(user=person, portfolio=row, wish=RoleWish(OWNER_ROLE), is_asked=False, by=person, at=at)
    sentence = f"{people.names_in_sentence([person])} opened the portfolio and is its owner."
    event = ChangeEvent(
        "people.granted", person.id, boiler=None, before="", after=OWNER_ROLE, sentence=sentence, rule="", at=at
    )
    board.record_changes(portfolio=row.id, events=[event], cause=cause, at=at)
    return person


def _add_owner(owner: NewOwner) -> User:
    person = people.add_person(username=owner.username, name=owner.person)
    person.set_password(owner.password)
    person.save(update_fields=["password"])
    return person


def _missing_texts(texts: Mapping[str, str]) -> list[Fault]:
    return [Fault("required", "This is required.", (field,)) for field, text in texts.items() if not text.strip()]


def _owner_faults(owner: NewOwner) -> list[Fault]:
    faults = _missing_texts({"person": owner.person})
    if not people.USERNAME.fullmatch(owner.username):
        faults.append(Fault("username", people.USERNAME_RULE, ("username",)))
    try:
        validate_password(owner.password, User(username=owner.username, first_name=owner.person))
    except ValidationError as error:
        faults += [Fault("password", message, ("password",)) for message in error.messages]
    return faults
