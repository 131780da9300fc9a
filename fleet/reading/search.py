"""Finding a building, boiler, device or person by what somebody remembers of it: an address, a reference, a serial."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Boiler, Building, Fitting
from fleet.records.row_spans import not_ended

MAX_FOUND = 20  # of each kind
MIN_LETTERS = 2


@dataclass(frozen=True, slots=True)
class FoundThings:
    """What matches, each kind in order, at most `MAX_FOUND` of each and one more where there are more."""

    buildings: Sequence[Building]
    boilers: Sequence[Boiler]
    fittings: Sequence[Fitting]  # the newest of each device whose serial matches
    people: Sequence[Grant]  # one for each person and portfolio

    @property
    def count(self) -> int:
        """How many there are in all."""
        return len(self.buildings) + len(self.boilers) + len(self.fittings) + len(self.people)


def find_things(user: User, words: str, at: datetime) -> FoundThings:
    """Return what the user may see and what matches every word; nothing for less than two letters. Four queries."""
    terms = [word for word in words.split() if word]
    if sum(map(len, terms)) < MIN_LETTERS:
        return FoundThings((), (), (), ())
    visible = policy.boilers_for(user, "board.see", at)
    house_fields = ("address", "ref")
    boiler_fields = ("name", "ref", "building__address", "building__ref")
    houses = Building.objects.filter(_matches(house_fields, terms), id__in=visible.values("building"))
    boilers = Boiler.objects.filter(_matches(boiler_fields, terms), id__in=visible.values("id"))
    return FoundThings(
        list(houses.order_by("address", "id")[: MAX_FOUND + 1]),
        list(boilers.select_related("building").order_by("building__address", "name", "id")[: MAX_FOUND + 1]),
        _find_fittings(user, terms, at),
        _find_people(user, terms, at),
    )


def _matches(fields: Sequence[str], terms: Sequence[str]) -> Q:
    """Return the condition that each word stands in one of the fields, whatever its case."""
    condition = Q()
    for term in terms:
        any_field = Q()
        for field in fields:
            any_field |= Q(**{f"{field}__icontains": term})
        condition &= any_field
    return condition


def _find_fittings(user: User, terms: Sequence[str], at: datetime) -> list[Fitting]:
    visible = policy.boilers_for(user, "register.see", at).values("id")
    rows = Fitting.objects.filter(_matches(("device__attributes__serial",), terms), position__boiler__in=visible)
    rows = rows.select_related("device__kind", "position__boiler__building").order_by("device", "-since", "-posted_at")
    return list(rows.distinct("device")[: MAX_FOUND + 1])


def _find_people(user: User, terms: Sequence[str], at: datetime) -> list[Grant]:
    portfolios = policy.portfolios_for(user, "people.see", at).values("id")
    name_fields = ("user__first_name", "user__last_name", "user__username")
    rows = Grant.objects.filter(_matches(name_fields, terms), not_ended(at), portfolio__in=portfolios)
    rows = rows.filter(user__is_active=True).select_related("user", "portfolio").order_by("user", "portfolio", "role")
    return list(rows.distinct("user", "portfolio")[: MAX_FOUND + 1])
