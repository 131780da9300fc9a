"""Days of proof left: when the first hazard stands bare with no news, by full proofs; the week's work beside it."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from fleet.calendar import Interval
from fleet.rules.values import AdoptedTerms, GlassLevel, Override, Standing
from tests.rules.build import FITTED, SEASON, Boiler, act, at, ident, local, proof, remove, swap
from tests.rules.test_valves_together import judged

DUE, LAPSED = local(date(2026, 10, 1)), local(date(2026, 10, 31))
LATER = AdoptedTerms(local(date(2026, 3, 1)), replace(SEASON, start_month=9))


def glass(boiler: Boiler) -> GlassLevel:
    found = boiler.judged().glass
    assert found is not None
    return found


def at_place(boiler: Boiler) -> tuple[object, ...]:
    found = glass(boiler)
    return found.hazard, found.position, found.exposed_at


def test_before_the_first_survey_there_is_none() -> None:
    assert Boiler().judged().glass is None
    assert Boiler().flushed(1).judged().glass is None


def test_after_a_service_it_runs_to_the_last_day_of_the_last_line() -> None:
    told = glass(Boiler().service())
    assert told.hazard == "dry_firing"
    assert told.position == ident("lower")
    assert told.procedure == "slow_drain"
    proved = at() + timedelta(minutes=list(range(9))[2])
    assert told.proved_at == proved
    assert told.due_at == DUE
    assert told.exposed_at == LAPSED


def test_a_missed_flush_takes_nothing_from_it_and_moves_the_tick() -> None:
    served, flushed = glass(Boiler().service()), glass(Boiler().service().flushed(3))
    assert replace(served, tick_proved_at=None, tick_due_at=None) == replace(
        flushed, tick_proved_at=None, tick_due_at=None
    )
    assert (flushed.tick_proved_at, flushed.tick_due_at) == (at(3), local(date(2025, 10, 25)))


def test_a_slow_drain_stands_for_the_weeks_flush() -> None:
    assert glass(Boiler().service()).tick_due_at == local(date(2025, 10, 22))


def test_what_nobody_flushes_has_no_tick() -> None:
    bare = Boiler().visit(0, *(proof(ref) for ref in ("lower", "limit", "valve")))
    assert glass(bare).tick_due_at is None


CASES = [
    ("a failed limit alone leaves the valve", Boiler().service().visit(5, proof("limit", trip_psi=14.5)), LAPSED),
    ("the last line fails", Boiler().service().visit(5, proof("lower", "slow_drain", locked_out=False)), at(5)),
    ("the last line is touched", Boiler().service().visit(5, act("lower", "open_clean")), at(5)),
    ("the last line is replaced", Boiler().service().visit(5, swap("valve", set_psi=15.0)), at(5)),
    ("the last line is taken out", Boiler().service().visit(5, remove("valve")), at(5)),
    ("an upper cutoff is touched", Boiler().service().visit(5, act("upper", "open_clean")), LAPSED),
    # Proved on 3 May: fifteen months after it, sooner than the season start of the year after.
    ("proved again", Boiler().service().visit(200, proof("lower")).visit(200, proof("valve")), local(date(2027, 8, 3))),
]


@pytest.mark.parametrize(("case", "boiler", "when"), CASES, ids=[c[0] for c in CASES])
def test_when_the_first_hazard_stands_bare(case: str, boiler: Boiler, when: object) -> None:
    assert glass(boiler).exposed_at == when


def test_what_is_bare_already_has_no_proof_behind_it() -> None:
    told = glass(Boiler().service().visit(5, act("lower", "open_clean")))
    assert told.position == ident("lower")
    assert told.proved_at is None
    assert told.due_at is None
    assert told.procedure == ""


def test_terms_of_a_later_day_count_from_that_day() -> None:
    boiler = Boiler().service()
    boiler.terms = (*boiler.terms, LATER)
    assert glass(boiler).exposed_at == local(date(2026, 10, 1))


QUARTERLY = Override(Interval.parse("3 mo"), "", 30, "the owner's insurer, in writing")


@pytest.mark.parametrize(
    ("adopted", "exposed"),
    [
        (date(2026, 2, 14), date(2026, 2, 15)),  # three months, and 30 days to their last good one, after 15 October
        (date(2026, 2, 15), date(2026, 2, 15)),
        (date(2026, 2, 16), date(2026, 2, 16)),
        (date(2026, 3, 1), date(2026, 3, 1)),
    ],
)
def test_an_interval_adopted_later_that_is_over_by_then_takes_the_proof_away_on_its_day(
    adopted: date, exposed: date
) -> None:
    boiler = Boiler().service()
    boiler.terms = (*boiler.terms, AdoptedTerms(local(adopted), SEASON, overrides={"slow_drain": QUARTERLY}))
    told = glass(boiler)
    assert told.position == ident("lower")
    assert told.exposed_at == local(exposed)
    assert told.due_at == local(date(2026, 1, 15))


@pytest.mark.parametrize(
    ("adopted", "exposed"),
    [
        (date(2026, 2, 14), LAPSED),
        (date(2026, 2, 15), LAPSED),  # the drain would have been over from this day on
        (date(2026, 2, 16), local(date(2026, 2, 15))),
    ],
)
def test_an_interval_made_longer_saves_a_proof_until_the_day_on_which_it_would_be_over(
    adopted: date, exposed: datetime
) -> None:
    boiler = Boiler().service()
    boiler.terms = (
        AdoptedTerms(None, SEASON, overrides={"slow_drain": QUARTERLY}),
        AdoptedTerms(local(adopted), SEASON),
    )
    assert glass(boiler).exposed_at == exposed


def test_it_agrees_with_the_standing_where_the_caretaker_keeps_up() -> None:
    boiler = Boiler().service().flushed(*range(7, 400, 7))
    for when, expected in ((LAPSED - timedelta(microseconds=1), Standing.DUE), (LAPSED, Standing.EXPOSED)):
        assert boiler.standing_at(when).standing is expected
    assert glass(boiler).exposed_at == LAPSED


@pytest.mark.parametrize(("second", "when"), [(900.0, LAPSED), (899.0, FITTED)])
def test_a_valve_without_a_proof_is_bare_unless_the_sound_ones_carry_the_output(second: float, when: object) -> None:
    told = judged(second, 900.0).glass
    assert told is not None
    assert (told.hazard, told.exposed_at) == (("over_pressure", FITTED) if when == FITTED else ("dry_firing", LAPSED))
