"""Terms are adopted by version: the first for all time, each later one from a midnight that is in the future."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.accounts.models import User
from fleet.board.models import Change, Judged, Pulse
from fleet.calendar import day_start
from fleet.errors import Refused
from fleet.portfolio.models import Building
from fleet.records.events import Cause
from fleet.terms.incoming import IncomingTerms
from fleet.terms.models import Adoption
from tests.cast import DAY, NOW, Fleet, make_person
from tests.pipeline.test_concurrency import at_once
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db
TERMS = IncomingTerms(urgent_days=5)
LATER = replace(TERMS, starts_on=date(2026, 2, 1))
OWN = {"interval": "3 mo", "anchor": "", "grace_days": 14, "source": "insurer's letter"}


@pytest.fixture
def owner(fleet: Fleet) -> User:
    return make_person("otis", fleet.portfolio, "owner")


def adopt(fleet: Fleet, owner: User, terms: IncomingTerms, version: int, at: datetime = NOW) -> Adoption:
    cause = Cause(who=owner.get_username(), request_id="desk-00009")
    return pipeline.adopt_terms(
        portfolio=fleet.portfolio.id, terms=terms, version=version, by=owner, at=at, cause=cause
    )


def refused(fleet: Fleet, owner: User, terms: IncomingTerms, version: int, at: datetime = NOW) -> list[Any]:
    with pytest.raises(Refused) as caught:
        adopt(fleet, owner, terms, version, at)
    return [(f.code, f.at) for f in caught.value.faults]


def test_the_first_terms_hold_for_all_time_and_have_no_first_day(fleet: Fleet, owner: User) -> None:
    assert refused(fleet, owner, LATER, 0) == [("first_terms", ("starts_on",))]
    made = adopt(fleet, owner, TERMS, 0)
    assert made.version == 1
    assert made.starts_on is None
    assert made.posted_by == owner


def test_a_later_one_needs_its_day(fleet: Fleet, owner: User) -> None:
    adopt(fleet, owner, TERMS, 0)
    assert refused(fleet, owner, TERMS, 1) == [("required", ("starts_on",))]


ZONE = "America/New_York"
MIDNIGHT = day_start(date(2026, 1, 13), ZONE)


@pytest.mark.parametrize(
    ("at", "day", "allowed"),
    [
        (MIDNIGHT - timedelta(microseconds=1), date(2026, 1, 12), False),
        (MIDNIGHT - timedelta(microseconds=1), date(2026, 1, 13), True),
        (MIDNIGHT, date(2026, 1, 13), False),
        (MIDNIGHT, date(2026, 1, 14), True),
    ],
)
def test_no_later_one_begins_before_tomorrow_where_the_buildings_are(
    fleet: Fleet, owner: User, at: datetime, day: date, allowed: bool
) -> None:
    adopt(fleet, owner, TERMS, 0)
    terms = replace(TERMS, starts_on=day)
    if allowed:
        assert adopt(fleet, owner, terms, 1, at).starts_on == day
    else:
        assert refused(fleet, owner, terms, 1, at) == [("not_before_tomorrow", ("starts_on",))]


def test_tomorrow_is_tomorrow_in_the_easternmost_of_its_buildings(fleet: Fleet, owner: User) -> None:
    Building.objects.create(portfolio=fleet.portfolio, ref="E", address="East", zone="Pacific/Auckland")
    adopt(fleet, owner, TERMS, 0)
    assert refused(fleet, owner, replace(TERMS, starts_on=date(2026, 1, 13)), 1) == [
        ("not_before_tomorrow", ("starts_on",))
    ]


def test_none_begins_before_the_one_adopted_last(fleet: Fleet, owner: User) -> None:
    adopt(fleet, owner, TERMS, 0)
    adopt(fleet, owner, LATER, 1)
    assert refused(fleet, owner, replace(LATER, starts_on=date(2026, 1, 31)), 2) == [
        ("before_the_last", ("starts_on",))
    ]
    assert adopt(fleet, owner, replace(LATER, urgent_days=3), 2).version == 3


@pytest.mark.parametrize("version", [0, 2])
def test_one_who_knows_another_version_is_told(fleet: Fleet, owner: User, version: int) -> None:
    adopt(fleet, owner, TERMS, 0)
    with pytest.raises(Refused) as caught:
        adopt(fleet, owner, LATER, version)
    assert (caught.value.status, caught.value.faults[0].code) == (412, "stale")


@pytest.mark.parametrize(
    ("more", "code", "at"),
    [
        ({"season": "10-01"}, "not_a_season", ("season",)),
        ({"season": "02-30/05-31"}, "not_a_season", ("season",)),
        ({"urgent_days": 0}, "not_possible", ("urgent_days",)),
        ({"urgent_days": 91}, "not_possible", ("urgent_days",)),
        ({"due_soon_days": -1}, "not_possible", ("due_soon_days",)),
        ({"operator_firing_days": 0}, "not_possible", ("operator_firing_days",)),
        ({"variants": {"lever_lift": "hourly"}}, "unknown_variant", ("variants", "lever_lift")),
        ({"overrides": {"no_test": OWN}}, "unknown_procedure", ("overrides", "no_test")),
        ({"overrides": {"pop_test": {**OWN, "interval": "soon"}}}, "not_an_interval", "interval"),
        ({"overrides": {"pop_test": {**OWN, "interval": 3}}}, "not_an_interval", "interval"),
        ({"overrides": {"pop_test": {**OWN, "anchor": "moon"}}}, "unknown_anchor", "anchor"),
        ({"overrides": {"pop_test": {**OWN, "grace_days": True}}}, "not_possible", "grace_days"),
        ({"overrides": {"pop_test": {**OWN, "grace_days": -1}}}, "not_possible", "grace_days"),
        ({"overrides": {"pop_test": {**OWN, "source": " "}}}, "required", "source"),
        ({"overrides": {"pop_test": {**OWN, "colour": "red"}}}, "unknown_field", "colour"),
    ],
)
def test_what_cannot_be_is_refused_in_its_place(
    fleet: Fleet, owner: User, more: dict[str, Any], code: str, at: Any
) -> None:
    place = ("overrides", "pop_test", at) if isinstance(at, str) else at
    assert refused(fleet, owner, replace(TERMS, **more), 0) == [(code, place)]
    assert Adoption.objects.count() == 0


def test_all_faults_are_told_at_once(fleet: Fleet, owner: User) -> None:
    wrong = replace(TERMS, starts_on=NOW.date(), season="x", urgent_days=0, variants={"a": "b"})
    assert [at for _, at in refused(fleet, owner, wrong, 0)] == [
        ("starts_on",),
        ("season",),
        ("urgent_days",),
        ("variants", "a"),
    ]


def test_it_writes_stamps_and_stops_and_the_sweep_judges_by_it(fleet: Fleet, owner: User) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    before, builds = Pulse.objects.get().version, set(Judged.objects.values_list("build", flat=True))
    adopt(fleet, owner, TERMS, 0)
    change = Change.objects.get(kind="terms.adopted")
    assert change.version == before + 1
    assert change.who == "otis"
    assert change.boiler_id is None
    assert change.request_id == "desk-00009"
    assert set(Judged.objects.values_list("build", flat=True)) == builds
    assert pipeline.sweep(at=NOW).judged == Judged.objects.count()
    assert all(b.endswith(".t1") for b in Judged.objects.values_list("build", flat=True))
    assert pipeline.rebuild(at=NOW) == 0


@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET urgent_days = 99"])
def test_adopted_terms_are_neither_changed_nor_removed(fleet: Fleet, owner: User, statement: str) -> None:
    adopt(fleet, owner, TERMS, 0)
    with (
        pytest.raises(DatabaseError, match="never changed or removed"),
        as_tables_owner(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format("terms_adoption"))


@pytest.mark.django_db(transaction=True)
def test_of_two_who_adopt_at_once_one_wins_and_the_other_is_told() -> None:
    from tests.cast import make_fleet

    fleet = make_fleet()
    owner = make_person("otis", fleet.portfolio, "owner")

    def outcome() -> str:
        try:
            adopt(fleet, owner, TERMS, 0)
        except Refused as caught:
            return caught.faults[0].code
        return "won"

    assert sorted(at_once(outcome, outcome)) == ["stale", "won"]
