"""Prepares the site of a fault run: people who are told by mail or webhook, and what the posts must know. Prints JSON.

Run beside the site as `python -m tests.faults.preparation PEOPLE`: so many further caretakers for each building.
"""

import json
import os
import sys

import django

django.setup()

from django.utils import timezone  # noqa: E402

from fleet.accounts.models import Grant, User  # noqa: E402
from fleet.management.demo.cast import FIELD_KEY  # noqa: E402
from fleet.notices.models import Destination  # noqa: E402
from fleet.portfolio.models import Boiler, Building, Position  # noqa: E402

NEEDED = {"upper", "chamber"}


def add_people(per_building: int) -> int:
    """Give everybody of the cast an address, and each building so many caretakers with one. Return how many have."""
    now = timezone.now()
    for building in Building.objects.select_related("portfolio"):
        for number in range(per_building):
            user = User.objects.create(username=f"caretaker-{building.ref}-{number}".lower())
            Grant.objects.create(user=user, role="caretaker", portfolio=building.portfolio, building=building)
    people = User.objects.filter(grants__isnull=False).distinct()
    for number, user in enumerate(people.order_by("username")):
        Destination.objects.create(user=user, **_choose_address(user, number), made_at=now, confirmed_at=now)
    return len(people)


def _choose_address(user: User, number: int) -> dict[str, str]:
    """Return the address of one person: every second one has a program that takes webhooks."""
    if number % 2:
        address = f"{os.environ['HOOK_ADDRESS']}/{user.username}"
        return {"channel": "webhook", "address": address, "secret": os.environ["HOOK_SECRET"]}
    return {"channel": "email", "address": f"{user.username}@houses.example"}


def describe_boilers() -> list[dict[str, object]]:
    """Return each boiler that has a float chamber with a cutoff, and the positions that a visit tests."""
    described = []
    for boiler in Boiler.objects.order_by("id"):
        places = dict(Position.objects.filter(boiler=boiler).values_list("ref", "id"))
        if places.keys() >= NEEDED:
            described.append({"id": str(boiler.id), **{ref: str(places[ref]) for ref in NEEDED}})
    return described


if __name__ == "__main__":
    told = add_people(int(sys.argv[1]))
    rosa = User.objects.get(username="rosa")
    print(json.dumps({"boilers": describe_boilers(), "user": str(rosa.id), "key": FIELD_KEY, "told": told}))
