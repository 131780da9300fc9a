"""Whatever is changed in a good visit, the answer is an acceptance or a refusal with codes: never a fault of ours."""

import copy
import random
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction

from tests.api.phone import DROP, Body, Phone, but, flush, limit
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
NASTY: list[Any] = [
    *(None, True, False, 0, 1, -1, 2**31, 2**63, 10**300, 0.1, -0.0, 1e308, 5e-324, DROP),
    *("", " ", "\x00", "\ud800", "x" * 65, "x" * 5000, "0", "null", "NaN", "../..", "é", "\u202e", "{}"),
    *([], {}, [[]], [{}], {"": ""}, {"a": {"b": {}}}, [None], ["x"] * 300, {"position": None}, {"kind": "siphon"}),
    *("2026-01-12T13:00:00Z", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "siphon", "limit_control", "flush"),
    *("pass", "not_done", "out_of_time", "as_left", "limit_trip", "open_clean", "lockout_found", "set_psi"),
]
NAMES = (
    "set",
    "fit",
    "remove",
    "test",
    "with",
    "position",
    "values",
    "act",
    "void",
    "corrects",
    "reason",
    "phase",
    "x",
)


def places(value: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in a body, and one new name in every object."""
    steps = value.keys() if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    for step in steps:
        yield (*at, step)
        yield from places(value[step], (*at, step))


def mutated(body: Body, chance: random.Random) -> Body:
    """One to three places changed, dropped, added, or filled with another part of the same body."""
    for _ in range(chance.randint(1, 3)):
        at = chance.choice(list(places(body)))
        if chance.random() < 0.2 and isinstance(at[-1], str):
            at = (*at[:-1], chance.choice(NAMES))
        value = chance.choice(NASTY)
        if chance.random() < 0.2:
            value = _part(body, chance.choice(list(places(body))))
        try:
            body = but(body, *at, to=value if value is DROP else copy.deepcopy(value))
        except (KeyError, IndexError, TypeError):  # an earlier change took the place away
            continue
    return body


def _part(body: Body, at: tuple[str | int, ...]) -> Any:
    value: Any = body
    for step in at:
        value = value[step]
    return copy.deepcopy(value)


@pytest.mark.parametrize("seed", range(8))
def test_no_mutation_of_a_visit_is_a_fault_of_ours(seed: int, rosa: Phone, fleet: Fleet) -> None:
    chance, answers = random.Random(seed), dict[int, Body]()
    for make in (flush, limit) * 25:
        body = mutated({**make(fleet), "id": str(uuid4()), "leaving_checks": {"told": [{"name": "Ines"}]}}, chance)
        with transaction.atomic():
            answers[rosa.post(body).status_code] = body
            transaction.set_rollback(True)
    assert {code: body for code, body in answers.items() if code not in (201, 400, 403, 404, 409, 422)} == {}
    assert answers.keys() >= {400}
