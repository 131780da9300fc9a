"""Whose heat is missing and for how long, where spells of several boilers touch, overlap and take turns."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from fleet.calendar.spans import Span
from fleet.rules.answers.heat import building_conditions
from fleet.rules.values import Condition, EntryFact, HeatEvidence, Level
from tests.rules.build import Boiler, at, ident, local, see

HOUSE = ident("the building")
EVER: tuple[Span, ...] = ((None, None),)
INSTANT = timedelta(microseconds=1)
HOLD = (
    "12 Larkspur Row is without heat: each boiler is on hold, locked out or off by its newest entry, "
    "or its steam brings none."
)
CALL = "12 Larkspur Row may be without heat: no visit since the no-heat call left a boiler firing."


def told(*boilers: HeatEvidence) -> list[tuple[datetime, datetime | None, str]]:
    found = building_conditions(HOUSE, "12 Larkspur Row", [replace(b, seasons=EVER) for b in boilers])
    assert all(c == Condition(c.condition, HOUSE, c.since, c.until, Level.HOLD, c.sentence) for c in found)
    return [(c.since, c.until, c.sentence) for c in found]


SPANS: list[tuple[str, HeatEvidence, HeatEvidence, list[Span]]] = [
    ("one is never cold", HeatEvidence(cold=((at(1), at(5)),)), HeatEvidence(), []),
    ("never at once", HeatEvidence(cold=((at(1), at(2)),)), HeatEvidence(cold=((at(2), at(3)),)), []),
    ("an overlap", HeatEvidence(cold=((at(1), at(4)),)), HeatEvidence(cold=((at(3), at(6)),)), [(at(3), at(4))]),
    (
        "one cold, the other laid up as its hold ends",
        HeatEvidence(cold=((at(1), at(5)),)),
        HeatEvidence(cold=((at(1), at(3)),), absent=((at(3), at(5)),)),
        [(at(1), at(5))],
    ),
    (
        "a pause inside a longer hold cuts nothing short",
        HeatEvidence(cold=((at(1), at(9)),)),
        HeatEvidence(cold=((at(1), at(8)),), absent=((at(2), at(4)),)),
        [(at(1), at(8))],
    ),
    (
        "a pause inside a hold without an end",
        HeatEvidence(cold=((at(1), None),)),
        HeatEvidence(cold=((at(1), None),), absent=((at(2), at(4)),)),
        [(at(1), None)],
    ),
    ("nobody counts on either", HeatEvidence(absent=EVER), HeatEvidence(absent=EVER), []),
    (
        "the only one counted on is cold",
        HeatEvidence(cold=((at(1), at(2)),)),
        HeatEvidence(absent=EVER),
        [(at(1), at(2))],
    ),
    ("since ever, so nobody was told", HeatEvidence(cold=((None, at(2)),)), HeatEvidence(cold=EVER), []),
    (
        "both away in the middle",
        HeatEvidence(cold=((at(1), at(9)),), absent=((at(3), at(5)),)),
        HeatEvidence(cold=((at(1), at(9)),), absent=((at(3), at(5)),)),
        [(at(1), at(3)), (at(5), at(9))],
    ),
]


@pytest.mark.parametrize(("case", "one", "two", "spans"), SPANS, ids=[s[0] for s in SPANS])
def test_a_building_is_cold_while_every_boiler_that_heats_it_is(
    case: str, one: HeatEvidence, two: HeatEvidence, spans: list[Span]
) -> None:
    assert told(one, two) == told(two, one) == [(since, until, HOLD) for since, until in spans], case


def test_a_building_without_a_boiler_is_told_nothing() -> None:
    assert building_conditions(HOUSE, "12 Larkspur Row", []) == ()


@pytest.mark.parametrize(("lit", "until"), [(-INSTANT, None), (INSTANT * 0, None), (INSTANT, at(5) + INSTANT)])
def test_a_call_is_answered_only_by_what_left_a_boiler_firing_after_it(lit: timedelta, until: datetime | None) -> None:
    assert told(HeatEvidence(calls=(at(5),), lit=(at(5) + lit,))) == [(at(5), until, CALL)]


def test_a_call_says_nothing_more_while_the_boilers_are_known_to_be_cold() -> None:
    found = told(HeatEvidence(calls=(at(2),), cold=((at(3), at(4)),)))
    assert found == [(at(2), at(3), CALL), (at(3), at(4), HOLD), (at(4), None, CALL)]


def test_two_calls_before_one_answer_are_one_spell() -> None:
    assert told(HeatEvidence(calls=(at(2), at(3)), lit=(at(6),))) == [(at(2), at(6), CALL)]


def cold(*entries: EntryFact, found: str = "unknown", left_as: str = "", own: bool = True) -> tuple[Span, ...]:
    """What a served boiler's evidence says after one more visit on day 5."""
    boiler = Boiler().service().visit(5, *entries)
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=found, left_as=left_as, of_this_boiler=own)
    return boiler.judged().heat.cold


@pytest.mark.parametrize(
    ("code", "spans"), [("found_off", ((at(5), None),)), ("left_off", ((at(5), None),)), ("found_firing", ())]
)
def test_a_burner_seen_or_left_off_gives_no_heat(code: str, spans: tuple[Span, ...]) -> None:
    assert cold(see("limit", code)) == spans


def test_what_was_seen_first_of_all_comes_after_how_it_was_found() -> None:
    assert cold(see("limit", "found_firing"), found="off") == ()
    assert cold(see("limit", "found_off"), found="firing") == ((at(5), None),)


def test_how_it_was_left_comes_after_everything_that_was_seen() -> None:
    assert cold(see("limit", "found_off"), left_as="firing") == ()
    assert cold(see("limit", "found_firing"), left_as="off_locked") == ((at(5), None),)


def test_a_neighbours_boiler_left_off_leaves_this_one_as_it_was() -> None:
    assert cold(see("limit", "reset_pressed"), left_as="off_locked", own=False) == ()


@pytest.mark.parametrize("found", ["firing", "standing_by"])
def test_found_firing_or_standing_by_it_gives_heat_again(found: str) -> None:
    boiler = Boiler().service().visit(5, see("limit", "left_off")).visit(6, see("limit", "reset_pressed"))
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=found)
    assert boiler.judged().heat.cold == ((at(5), at(6)),)


@pytest.mark.parametrize(
    ("ref", "value", "absent"),
    [(None, False, True), (None, True, False), (None, None, False), ("limit", False, False)],
)
def test_only_the_boilers_own_word_that_it_heats_nothing_counts(
    ref: str | None, value: bool | None, absent: bool
) -> None:
    heat = Boiler().service().sets(2, ref, "heats", value).judged().heat
    assert heat.absent == (((at(2), None),) if absent else ())


def test_a_boiler_heats_again_from_the_day_the_register_says_so() -> None:
    heat = Boiler().service().sets(2, None, "heats", False).sets(9, None, "heats", True).judged().heat
    assert heat.absent == ((at(2), at(9)),)


def test_seasons_run_from_their_first_day_to_the_end_of_their_last_three_years_either_way() -> None:
    seasons = Boiler().service().judged().heat.seasons
    assert seasons == tuple((local(date(y, 10, 1)), local(date(y + 1, 5, 16))) for y in range(2023, 2030))
