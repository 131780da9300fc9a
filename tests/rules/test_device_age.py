"""A device as old as its kind is commonly kept: from which instant, by which release, and what ends it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest

from fleet.rules import judge
from fleet.rules.catalogue import Catalogue
from fleet.rules.timeline.replay_cache import ReplayCache
from fleet.rules.values import CatalogueEdition, Evidence, JudgedDeficiency, Level, StandingSegment
from tests.rules.build import Boiler, at, catalogue, ident, local, proof, swap
from tests.rules.plant import Plant
from tests.rules.test_properties import judged

INSTANT = timedelta(microseconds=1)
RULE = "past_service_life"


def house(fitted: datetime, *refs: str) -> Boiler:
    """A served boiler of which these devices, else the lower cutoff, were fitted at that instant."""
    boiler, old = Boiler(), {ident(ref) for ref in refs or ("lower",)}
    boiler.fittings = [replace(f, since=fitted) if f.position in old else f for f in boiler.fittings]
    return boiler.service()


def kept_for(years: int | None, release: int = 1) -> Catalogue:
    """The catalogue with other years for a probe cutoff."""
    kinds = catalogue().kinds
    probe = replace(kinds["probe_cutoff"], life_years=years)
    return replace(catalogue(), release=release, kinds={**kinds, "probe_cutoff": probe})


def episodes(evidence: Evidence, ref: str = "lower") -> list[JudgedDeficiency]:
    """What is said of the age of one place, of what began within two years."""
    found = judged(evidence).deficiencies
    return [d for d in found if (d.rule, d.position) == (RULE, ident(ref)) and d.opened_at < at(700)]


def test_one_deficiency_says_since_when_and_that_its_maker_goes_first() -> None:
    (found,) = episodes(house(local(date(2012, 6, 1), 9)).evidence())
    assert found.opened_at == judged_survey()
    assert found.closed_at is None
    assert found.entry is None
    assert [s.level for s in found.levels] == [Level.ROUTINE]
    assert found.sentence == (
        "The lower cutoff has been in place since Fri 01 Jun 2012, 10 years or more: plan its replacement. "
        "Its maker's instructions go first."
    )


def judged_survey() -> datetime:
    """When the first service ended."""
    surveyed_at = Boiler().service().judged().surveyed_at
    assert surveyed_at is not None
    return surveyed_at


@pytest.mark.parametrize(
    ("fitted", "planned"),
    [
        (local(date(2015, 11, 20)), local(date(2025, 11, 20))),
        (local(date(2015, 11, 20), 23) + timedelta(minutes=59), local(date(2025, 11, 20))),
        # Summer then and winter now, and the days on which the clocks change.
        (datetime(2015, 11, 1, 4, tzinfo=UTC), datetime(2025, 11, 1, 4, tzinfo=UTC)),
        (datetime(2015, 11, 2, 5, tzinfo=UTC), datetime(2025, 11, 2, 4, tzinfo=UTC)),
        (local(date(2016, 3, 8), 1), datetime(2026, 3, 8, 5, tzinfo=UTC)),
        (datetime(2016, 3, 13, 5, tzinfo=UTC), local(date(2026, 3, 13))),
        (local(date(2016, 2, 29)), local(date(2026, 2, 28))),
    ],
)
def test_it_begins_with_the_local_day_ten_years_on(fitted: datetime, planned: datetime) -> None:
    assert [d.opened_at for d in episodes(house(fitted).evidence())] == [planned]


def test_one_for_each_device() -> None:
    boiler = house(at(-4000), "lower", "upper", "valve")
    assert [len(episodes(boiler.evidence(), ref)) for ref in ("lower", "upper", "valve", "limit")] == [1, 1, 1, 0]


@pytest.mark.parametrize("day", [0.5, 100.0])
def test_another_device_ends_it_and_starts_anew(day: float) -> None:
    boiler = house(at(-4000)).visit(day, swap("lower"), proof("lower"))
    (found,) = episodes(boiler.evidence())
    assert found.closed_at == at(day)
    later = [d for d in judged(boiler.evidence()).deficiencies if (d.rule, d.position) == (RULE, ident("lower"))]
    assert [d.episode for d in later] == [1, 2]


def test_a_device_replaced_before_its_day_never_was_old() -> None:
    boiler = house(local(date(2015, 11, 20))).visit(10, swap("lower"), proof("lower"))
    assert episodes(boiler.evidence()) == []


def test_it_alerts_nobody_and_moves_no_state_standing_or_answer() -> None:
    aged = house(at(-4000)).evidence()
    without = replace(aged, catalogue=kept_for(None))
    told, silent = judged(aged), judged(without)
    assert episodes(without) == []
    assert told.conditions == silent.conditions
    assert told.states == silent.states
    assert told.readiness == silent.readiness
    assert told.glass == silent.glass
    assert told.heat == silent.heat
    assert [s.standing for s in _joined(told.standings)] == [s.standing for s in _joined(silent.standings)]


def _joined(standings: Sequence[StandingSegment]) -> list[StandingSegment]:
    """Standings, those left out that differ from the one before only in their reasons."""
    return [s for before, s in pairwise([None, *standings]) if s and (before is None or before.standing != s.standing)]


STARTS = local(date(2025, 11, 20))


@pytest.mark.parametrize(
    ("before", "after", "spans"),
    [
        (None, 10, [(STARTS, None)]),
        (10, None, [("survey", STARTS)]),
        (10, 30, [("survey", STARTS)]),
        (10, 12, [("survey", None)]),
        (30, 10, [(STARTS, None)]),
    ],
)
def test_the_years_are_those_of_the_release_in_force(
    before: int | None, after: int | None, spans: list[tuple[object, datetime | None]]
) -> None:
    evidence = replace(
        house(at(-5000)).evidence(),
        catalogue=kept_for(before),
        editions=(CatalogueEdition(STARTS, kept_for(after, release=2)),),
    )
    survey = judged_survey()
    wanted = [(survey if since == "survey" else since, until) for since, until in spans]
    assert [(d.opened_at, d.closed_at) for d in episodes(evidence)] == wanted


def test_without_a_survey_nothing_is_said() -> None:
    boiler = Boiler().visit(1, proof("lower"), who="operator")
    boiler.fittings = [replace(f, since=at(-5000)) for f in boiler.fittings]
    assert episodes(boiler.evidence()) == []


def test_told_step_by_step_it_is_told_once() -> None:
    whole = (
        house(at(-4000)).visit(20, proof("limit")).visit(40, swap("lower"), proof("lower")).visit(60, proof("limit"))
    )
    evidence, cache = whole.evidence(), ReplayCache()
    for count in range(1, len(evidence.visits) + 1):
        known = replace(evidence, visits=evidence.visits[:count])
        assert judge(known, (), at(400), cache) == judge(known, (), at(400))


def test_an_alarm_with_a_last_day_on_record_has_that_and_no_other_age() -> None:
    boiler, alarm = Plant(), ident("alarm")
    boiler.fittings = [replace(f, since=at(-4000)) if f.position == alarm else f for f in boiler.fittings]
    aged = episodes(boiler.service().evidence(), "alarm")
    stamped = [
        replace(f, attributes={"end_of_life": "2031-01-01"}) if f.position == alarm else f for f in boiler.fittings
    ]
    boiler.fittings = stamped
    assert (len(aged), episodes(boiler.evidence(), "alarm")) == (1, [])
