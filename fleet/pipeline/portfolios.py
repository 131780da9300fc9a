"""Opening a portfolio: its first owner, who then brings in everybody else."""

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
    """A portfolio to open: what it is called, and who its first owner is."""

    ref: str
    name: str
    username: str
    person: str
    password: str


def is_opened(portfolio: UUID) -> bool:
    """Whether a portfolio of this id has been opened: its link has been used."""
    return Portfolio.objects.filter(id=portfolio).exists()


def open_portfolio(*, portfolio: UUID, wish: NewPortfolio, at: datetime, cause: Cause) -> User:
    """Make a portfolio with this id and its first owner, and return the owner.

    Raises Refused: 409 where the portfolio is open already or a name is taken, 422 with every fault of the wish.
    """
    try:
        with transaction.atomic():
            return _open_portfolio(portfolio, wish, at, cause)
    except IntegrityError as error:  # of two at once the other one was first
        raise Refused("used", "This link has been used, or the reference or user name is taken.", status=409) from error


def _open_portfolio(portfolio: UUID, wish: NewPortfolio, at: datetime, cause: Cause) -> User:
    if faults := _wish_faults(wish):
        raise Refused.from_faults(faults, status=422)
    if is_opened(portfolio):
        raise Refused("used", "This link has been used.", status=409)
    if Portfolio.objects.filter(ref__iexact=wish.ref).exists():
        raise Refused("taken", "This reference is taken.", ("ref",), status=409)
    row = Portfolio.objects.create(id=portfolio, ref=wish.ref, name=wish.name)
    owner = people.add_person(username=wish.username, name=wish.person)
    owner.set_password(wish.password)
    owner.save(update_fields=["password"])
    people.give_role(user=owner, portfolio=row, wish=RoleWish(OWNER_ROLE), is_asked=False, by=owner, at=at)
    sentence = f"{people.names_in_sentence([owner])} opened the portfolio and is its owner."
    event = ChangeEvent(
        "people.granted", owner.id, boiler=None, before="", after=OWNER_ROLE, sentence=sentence, rule="", at=at
    )
    board.record_changes(portfolio=row.id, events=[event], cause=cause, at=at)
    return owner


def _wish_faults(wish: NewPortfolio) -> list[Fault]:
    fields = {"ref": wish.ref, "name": wish.name, "person": wish.person}
    faults = [Fault("required", "This is required.", (field,)) for field, text in fields.items() if not text.strip()]
    if not people.USERNAME.fullmatch(wish.username):
        faults.append(Fault("username", people.USERNAME_RULE, ("username",)))
    try:
        validate_password(wish.password, User(username=wish.username, first_name=wish.person))
    except ValidationError as error:
        faults += [Fault("password", message, ("password",)) for message in error.messages]
    return faults
