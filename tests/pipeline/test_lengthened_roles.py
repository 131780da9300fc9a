"""A role that somebody accepted until a day is lengthened by their own word only; a shorter end holds at once."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet import pipeline
from fleet.accounts.models import Grant, GrantRecord, User
from fleet.accounts.people import RoleWish
from fleet.jobs import asked
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import HOUR, Crew, crew
from tests.pipeline.asking import answer, may_post

pytestmark = pytest.mark.django_db
ACCEPTED_END = NOW + 10 * DAY
SECOND = timedelta(seconds=1)


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def owner(fleet: Fleet) -> User:
    return make_person("otis", fleet.portfolio, "owner")


@pytest.fixture
def guest(fleet: Fleet, owner: User) -> User:
    """A technician of another portfolio who accepted to be one here for ten days."""
    other = Portfolio.objects.create(ref="OTHER", name="Other Homes")
    lena = make_person("lena", other, "technician", "technician")
    answer(lena, "roles", give(owner, fleet, lena, ACCEPTED_END).id, accepts=True)
    return lena


def give(owner: User, fleet: Fleet, to: User, until: datetime | None, role: str = "technician", at: Any = NOW) -> Grant:
    return pipeline.grant_role(
        portfolio=fleet.portfolio.id,
        user=to.id,
        new=("", ""),
        wish=RoleWish(role, None, until),
        by=owner,
        at=at,
        cause=Cause(who="otis"),
    )


@pytest.mark.parametrize("until", [None, ACCEPTED_END + SECOND, ACCEPTED_END + 300 * DAY])
def test_a_longer_end_is_asked_and_the_role_goes_on_as_accepted(
    office: Crew, fleet: Fleet, owner: User, guest: User, until: datetime | None
) -> None:
    row = give(owner, fleet, guest, until, at=NOW + HOUR)
    (waiting,) = asked.requests_of(guest, NOW + 2 * HOUR).roles
    assert (waiting.id, waiting.asked_until, waiting.until, waiting.waits_since) == (row.id, until, ACCEPTED_END, None)
    moments = (NOW + 2 * HOUR, ACCEPTED_END - SECOND, ACCEPTED_END, ACCEPTED_END + SECOND)
    assert [may_post(guest, office, at) for at in moments] == [True, True, False, False]


@pytest.mark.parametrize("until", [ACCEPTED_END, ACCEPTED_END - SECOND, NOW + DAY])
def test_no_longer_an_end_holds_at_once(office: Crew, fleet: Fleet, owner: User, guest: User, until: datetime) -> None:
    give(owner, fleet, guest, until, at=NOW + HOUR)
    assert asked.requests_of(guest, NOW + 2 * HOUR).roles == []
    assert [may_post(guest, office, at) for at in (until - SECOND, until)] == [True, False]


@pytest.mark.parametrize("accepts", [True, False])
def test_the_answer_lengthens_it_or_leaves_it(
    office: Crew, fleet: Fleet, owner: User, guest: User, accepts: bool
) -> None:
    row = give(owner, fleet, guest, None, at=NOW + HOUR)
    answer(guest, "roles", row.id, accepts=accepts, at=NOW + 2 * HOUR)
    assert (may_post(guest, office, NOW + DAY), may_post(guest, office, ACCEPTED_END + DAY)) == (True, accepts)
    assert not asked.requests_of(guest, NOW + 3 * HOUR)
    steps = GrantRecord.objects.filter(grant=row).order_by("at").values_list("kind", "until")
    told = [("asked", ACCEPTED_END), ("accepted", ACCEPTED_END), ("asked", None)]
    assert list(steps) == [*told, ("accepted", None) if accepts else ("declined", ACCEPTED_END)]


def test_a_shorter_end_takes_the_longer_one_back_that_was_asked(
    office: Crew, fleet: Fleet, owner: User, guest: User
) -> None:
    give(owner, fleet, guest, None, at=NOW + HOUR)
    give(owner, fleet, guest, NOW + DAY, at=NOW + 2 * HOUR)
    assert asked.requests_of(guest, NOW + 3 * HOUR).roles == []
    assert [may_post(guest, office, NOW + DAY + step) for step in (-SECOND, 0 * SECOND)] == [True, False]


def test_nor_does_another_role_last_longer_than_what_was_accepted(fleet: Fleet, owner: User, guest: User) -> None:
    assert give(owner, fleet, guest, ACCEPTED_END, "caretaker").waits_since is None
    assert give(owner, fleet, guest, None, "manager").waits_since == NOW


def test_after_its_day_it_is_asked_like_a_new_one(office: Crew, fleet: Fleet, owner: User, guest: User) -> None:
    give(owner, fleet, guest, None, at=NOW + HOUR)
    row = give(owner, fleet, guest, None, at=ACCEPTED_END)
    assert (row.waits_since, row.longer_since) == (ACCEPTED_END, None)
    answer(guest, "roles", row.id, accepts=True, at=ACCEPTED_END + HOUR)
    assert may_post(guest, office, ACCEPTED_END + DAY)


def test_people_of_the_house_are_given_longer_roles_as_before(fleet: Fleet, owner: User) -> None:
    Grant.objects.filter(user=fleet.caretaker).update(until=NOW + DAY)
    row = give(owner, fleet, fleet.caretaker, None, "caretaker")
    assert (row.until, row.waits_since, row.longer_since) == (None, None, None)


def test_an_ended_role_asks_nothing_more(fleet: Fleet, owner: User, guest: User) -> None:
    row = give(owner, fleet, guest, None, at=NOW + HOUR)
    pipeline.end_role(grant=row, by=owner, at=NOW + 2 * HOUR, cause=Cause(who="otis"))
    assert asked.requests_of(guest, NOW + 3 * HOUR).roles == []
