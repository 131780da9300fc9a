"""A set pressure not proven: from when, by which season, and what ends it, before, at and after each instant."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from fleet.calendar import Interval
from fleet.rules.values import AdoptedTerms, JudgedDeficiency, Level, Override
from tests.rules.build import SEASON, START, Boiler, at, ident, local, proof, swap
from tests.rules.plant import proof as whole_proof

INSTANT = timedelta(microseconds=1)
RULE = "set_pressure_unproven"


def house(*terms: AdoptedTerms) -> Boiler:
    """A boiler whose valve was fitted long ago."""
    boiler = Boiler(terms=terms or (AdoptedTerms(None, SEASON),))
    boiler.fittings = [replace(f, since=at(-1000)) if f.position == ident("valve") else f for f in boiler.fittings]
    return boiler


def episodes(boiler: Boiler) -> list[JudgedDeficiency]:
    return [d for d in boiler.judged().deficiencies if d.rule == RULE]


def test_it_opens_with_the_survey_and_says_since_when_nothing_is_proven() -> None:
    (found,) = episodes(house().visit(0, proof("limit")))
    assert found.opened_at == at(0)
    assert found.closed_at is None
    assert found.position == ident("valve")
    assert found.sentence == "The set pressure of the safety valve has not been proven since Thu 19 Jan 2023."


def test_without_a_survey_nothing_is_known_and_nothing_opens() -> None:
    assert episodes(house().visit(0, proof("limit"), who="operator")) == []


@pytest.mark.parametrize(
    ("seen", "urgent"),
    [
        (local(date(2025, 10, 1)) - INSTANT, date(2025, 10, 1)),
        (local(date(2025, 10, 1)), date(2026, 10, 1)),  # on its first day it is that season's
        (local(date(2026, 9, 30)), date(2026, 10, 1)),
    ],
)
def test_it_is_urgent_from_the_start_of_the_season_after_the_one_in_which_it_is_seen(
    seen: datetime, urgent: date
) -> None:
    (found,) = episodes(house().visit((seen - START) / timedelta(days=1), proof("limit")))
    assert [(s.since, s.level) for s in found.levels] == [(seen, Level.ROUTINE), (local(urgent), Level.URGENT)]


def test_where_heat_never_stops_it_is_urgent_after_a_year() -> None:
    (found,) = episodes(house(AdoptedTerms(None, None)).visit(0, proof("limit")))
    assert found.levels[-1].since == local(date(2026, 10, 15))


def test_the_season_is_the_one_adopted_when_it_is_seen() -> None:
    later = AdoptedTerms(at(-5), replace(SEASON, start_month=12))
    (found,) = episodes(house(AdoptedTerms(None, SEASON), later).visit(0, proof("limit")))
    assert found.levels[-1].since == local(date(2025, 12, 1))


def test_a_valve_from_the_shop_closes_it_at_the_instant_it_is_fitted() -> None:
    boiler = house().visit(0, proof("limit")).visit(9, swap("valve", set_psi=15.0))
    assert next((d.opened_at, d.closed_at) for d in episodes(boiler)) == (at(0), at(9))


def test_a_pop_test_closes_it_and_years_later_it_is_another_episode() -> None:
    boiler = house().visit(0, proof("limit"))
    boiler.visit(9, whole_proof("valve", "pop_test"), who="valve_shop")
    found = episodes(boiler)
    assert [(d.episode, d.opened_at, d.closed_at) for d in found] == [
        (1, at(0), at(9)),
        (2, local(date(2026, 10, 1)), None),
    ]


@pytest.mark.parametrize(("early", "episodes_seen"), [(-INSTANT, 0), (INSTANT * 0, 0), (INSTANT, 1)])
def test_a_pop_test_by_the_instant_at_which_it_would_open_leaves_nothing_to_open(
    early: timedelta, episodes_seen: int
) -> None:
    boiler = Boiler().visit(0, proof("limit"))
    due = local(date(2026, 10, 1))  # a new valve, proven by the day on which it was fitted
    boiler.visit((due + early - START) / timedelta(days=1), whole_proof("valve", "pop_test"), who="valve_shop")
    assert boiler.visits[-1].at == due + early
    assert len([d for d in episodes(boiler) if d.opened_at < at(400)]) == episodes_seen


def test_a_lift_says_nothing_of_the_set_pressure() -> None:
    (found,) = episodes(house().visit(0, proof("limit")).visit(9, proof("valve")))
    assert found.closed_at is None


SHORTER = Override(Interval.parse("12 mo"), "", 30, "the owner's insurer, in writing")
LONGER = Override(Interval.parse("60 mo"), "", 30, "the owner's insurer, in writing")
THREE_YEARS = Override(Interval.parse("36 mo"), "", 30, "the owner's insurer, in writing")


def adopted(first: Override, then: Override, day: float) -> list[JudgedDeficiency]:
    """Episodes of a valve fitted a thousand days before its survey, under an interval that changes on that day."""
    terms = (
        AdoptedTerms(None, SEASON, overrides={"pop_test": first}),
        AdoptedTerms(at(day), SEASON, overrides={"pop_test": then}),
    )
    return episodes(house(*terms).visit(0, proof("limit")))


def test_an_interval_adopted_shorter_opens_it_at_its_midnight_and_not_at_the_next_visit() -> None:
    (found,) = adopted(THREE_YEARS, SHORTER, 40)
    assert (found.opened_at, found.closed_at) == (at(40), None)


def test_an_interval_adopted_longer_closes_it_at_its_midnight_until_that_one_is_over() -> None:
    first, second = adopted(SHORTER, LONGER, 40)
    assert (first.opened_at, first.closed_at) == (at(0), at(40))
    assert second.opened_at == local(date(2028, 1, 19))  # sixty months after it was fitted


@pytest.mark.parametrize(("early", "times"), [(timedelta(days=1), 2), (timedelta(0), 1), (-timedelta(days=1), 1)])
def test_an_interval_adopted_longer_on_the_day_on_which_it_is_over_closes_nothing(early: timedelta, times: int) -> None:
    over = local(date(2028, 1, 19))  # sixty months after it was fitted
    assert len(adopted(SHORTER, LONGER, (over - early - START) / timedelta(days=1))) == times


def test_a_lift_in_a_later_season_leaves_it_urgent_from_the_season_in_which_it_became_so() -> None:
    (found,) = episodes(house().visit(0, proof("limit")).visit(360, proof("valve")))
    assert [(s.since, s.level) for s in found.levels][1:] == [(local(date(2026, 10, 1)), Level.URGENT)]


def test_an_interval_adopted_longer_that_is_over_as_well_leaves_it_open() -> None:
    (found,) = adopted(SHORTER, Override(Interval.parse("24 mo"), "", 30, "in writing"), 40)
    assert (found.opened_at, found.closed_at) == (at(0), None)
