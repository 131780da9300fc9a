"""PINs of named operators: set by their holders, tried on a card, every try counted before it is looked at."""

import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import UUID

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.db.models import Q

from fleet.accounts.models import Grant, User
from fleet.cards.models import Pin
from fleet.errors import Refused
from fleet.portfolio.models import Boiler
from fleet.records.row_spans import not_ended

PIN_PATTERN = re.compile(r"[0-9]{6,8}", re.ASCII)
PIN_RULE = "A PIN has 6 to 8 digits, not all alike, and not counting up or down."
NO_PIN, RIGHT, WRONG, CLOSED = "", "right", "wrong", "closed"
PIN_OUTCOMES = (NO_PIN, RIGHT, WRONG, CLOSED)

FREE_TRIES = 4  # a wet hand slips
MAX_TRIES = 20  # after so many wrong ones only its holder opens it again, by setting a new one
LONGEST_WAIT = timedelta(hours=1)


def set_pin(*, user: User, portfolio: UUID, pin: str, at: datetime) -> Pin:
    """Set or replace one's own PIN in a portfolio. Raises Refused (422) for one that is no PIN or easily guessed."""
    if not PIN_PATTERN.fullmatch(pin) or _is_easily_guessed(pin):
        raise Refused("weak_pin", PIN_RULE, ("pin",), status=422)
    values = {"digest": make_password(pin), "set_at": at, "failures": 0, "closed_until": None}
    row, _ = Pin.objects.update_or_create(user=user, portfolio_id=portfolio, defaults=values)
    return row


def _is_easily_guessed(pin: str) -> bool:
    steps = {int(after) - int(before) for before, after in pairwise(pin)}
    return steps in ({0}, {1}, {-1})


def remove_pin(*, user: User, portfolio: UUID) -> bool:
    """Remove one's own PIN; return whether there was one."""
    return bool(Pin.objects.filter(user=user, portfolio=portfolio).delete()[0])


def pins_of(user: User) -> dict[UUID, Pin]:
    """Return a person's PINs by portfolio."""
    return {pin.portfolio_id: pin for pin in Pin.objects.filter(user=user)}


def operators_with_pin(boiler: Boiler, at: datetime) -> list[User]:
    """Return who may give a PIN on this boiler's card: who has set one, is active, and has a role for its building."""
    of_building = Q(building=None) | Q(building=boiler.building_id)
    granted = Grant.objects.filter(not_ended(at), of_building, portfolio=boiler.portfolio_id)
    people = User.objects.filter(
        is_active=True, id__in=granted.values("user"), pins__in=Pin.objects.filter(portfolio=boiler.portfolio_id)
    )
    return sorted(people.distinct(), key=lambda user: (user.display_name.casefold(), str(user.id)))


def try_pin(*, boiler: Boiler, user: UUID, pin: str, at: datetime) -> str:
    """Try a person's PIN on this boiler's card: RIGHT, WRONG or CLOSED.

    The try is counted as wrong before the hash is computed, and taken back if it was right: tries at once all count,
    and no lock is held meanwhile. Somebody who may not give a PIN here is answered WRONG, after the same work.
    """
    holders: Iterable[UUID] = (person.id for person in operators_with_pin(boiler, at))
    row = Pin.objects.filter(portfolio=boiler.portfolio_id, user=user).first() if user in holders else None
    if row is None:
        make_password(pin)  # as long as a look at a PIN takes
        return WRONG
    if not _book_try(row.id, at):
        return CLOSED
    if not check_password(pin, row.digest):
        return WRONG
    Pin.objects.filter(id=row.id, digest=row.digest).update(failures=0, closed_until=None)
    return RIGHT


def _book_try(pin: UUID, at: datetime) -> bool:
    """Count a try as wrong; return False and count nothing while none is looked at."""
    with transaction.atomic():
        row = Pin.objects.select_for_update(no_key=True).get(id=pin)
        if is_closed(row, at):
            return False
        row.failures += 1
        row.closed_until = at + wait_after(row.failures)
        row.save(update_fields=["failures", "closed_until"])
    return True


def is_closed(pin: Pin, at: datetime) -> bool:
    """Return whether no try of this PIN is looked at."""
    return pin.failures >= MAX_TRIES or (pin.closed_until is not None and at < pin.closed_until)


def wait_after(failures: int) -> timedelta:
    """Return how long after the last of so many wrong tries none is looked at: 0, then 30 s, doubled each time."""
    doublings = failures - FREE_TRIES - 1
    return min(timedelta(seconds=30 * 2**doublings), LONGEST_WAIT) if doublings >= 0 else timedelta(0)
