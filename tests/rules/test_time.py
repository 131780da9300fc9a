"""What time alone does: one microsecond before, at, and one after each boundary. Day 0 is Wed 15 October 2025."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.rules.values import ServiceMode, Standing, State
from tests.rules.build import Boiler, act, at, local, proof

TICK = timedelta(microseconds=1)
SEASON_START = local(date(2026, 10, 1))
SEASON_LAPSE = local(date(2026, 10, 31))
WEEK_LATER = local(date(2025, 10, 22))
# The 30 firing days after 15 October are 16 October to 14 November; they have passed as the 15th begins.
THIRTY_DAYS = local(date(2025, 11, 15))


def three(boiler: Boiler, ref: str, when: datetime) -> list[State]:
    return [boiler.state_at(ref, t).state for t in (when - TICK, when, when + TICK)]


def standings(boiler: Boiler, when: datetime) -> list[Standing]:
    return [boiler.standing_at(t).standing for t in (when - TICK, when, when + TICK)]


def kept_up() -> Boiler:
    """Proven in October and flushed every week for thirteen months."""
    return Boiler().service().flushed(*range(7, 400, 7))


@pytest.mark.parametrize("ref", ["lower", "limit", "valve", "control", "siphon_b", "chamber"])
def test_a_yearly_proof_is_due_as_the_day_of_the_season_start_begins(ref: str) -> None:
    assert three(Boiler().service(), ref, SEASON_START) == [State.PROVEN, State.DUE, State.DUE]


@pytest.mark.parametrize("ref", ["lower", "limit", "valve", "upper"])
def test_a_yearly_proof_lapses_thirty_days_after_it_is_due(ref: str) -> None:
    assert three(kept_up(), ref, SEASON_LAPSE) == [State.DUE, State.LAPSED, State.LAPSED]


def test_a_missed_flush_is_due_as_the_seventh_day_after_it_begins() -> None:
    assert three(Boiler().service(), "upper", WEEK_LATER) == [State.PROVEN, State.DUE, State.DUE]


def test_an_operator_proof_lapses_after_thirty_firing_days() -> None:
    assert three(Boiler().service(), "upper", THIRTY_DAYS) == [State.DUE, State.LAPSED, State.LAPSED]


def test_days_laid_up_are_no_firing_days() -> None:
    boiler = Boiler().service().goes(5, ServiceMode.LAID_UP_WET).goes(15, ServiceMode.HOT_STANDBY)
    boiler.flushed(15.1)
    # A flush on 30 October; 30 firing days after it end as 30 November begins.
    assert three(boiler, "upper", local(date(2025, 11, 30))) == [State.DUE, State.LAPSED, State.LAPSED]


def test_a_boiler_that_stays_laid_up_never_misses_thirty_firing_days() -> None:
    boiler = Boiler().service().goes(5, ServiceMode.LAID_UP_WET)
    assert boiler.state("upper", 200) is State.DUE


def test_a_flush_starts_the_count_again() -> None:
    assert Boiler().service().flushed(25).state("upper", 40) is State.DUE


def test_a_flush_with_the_burner_off_starts_no_count() -> None:
    boiler = Boiler().service().visit(25, proof("upper", "flush", burner_firing=False), who="operator")
    assert boiler.state("upper", 40) is State.LAPSED


def test_a_caretakers_flush_does_not_renew_the_full_proof() -> None:
    assert kept_up().state("upper", 390) is State.LAPSED


def test_the_standing_turns_exposed_when_the_last_lines_lapse() -> None:
    assert standings(kept_up(), SEASON_LAPSE) == [Standing.DUE, Standing.EXPOSED, Standing.EXPOSED]


def test_the_standing_turns_due_with_the_first_missed_flush() -> None:
    assert standings(Boiler().service(), WEEK_LATER) == [Standing.CLEAR, Standing.DUE, Standing.DUE]


@pytest.mark.parametrize(
    ("proved", "due", "lapsed"),
    [
        (date(2025, 10, 15), date(2026, 10, 1), date(2026, 10, 31)),
        (date(2026, 1, 15), date(2026, 10, 1), date(2026, 10, 31)),
    ],
)
def test_a_proof_is_anchored_to_the_season(proved: date, due: date, lapsed: date) -> None:
    boiler = Boiler().visit((local(proved, 12) - at()) / timedelta(days=1), proof("limit"))
    assert three(boiler, "limit", local(due)) == [State.PROVEN, State.DUE, State.DUE]
    assert three(boiler, "limit", local(lapsed)) == [State.DUE, State.LAPSED, State.LAPSED]


def test_no_proof_lasts_beyond_fifteen_months() -> None:
    boiler = Boiler().visit((local(date(2025, 11, 1), 12) - at()) / timedelta(days=1), proof("limit"))
    boiler.visit((local(date(2026, 6, 1), 12) - at()) / timedelta(days=1), proof("limit"))
    assert three(boiler, "limit", local(date(2027, 9, 1))) == [State.PROVEN, State.LAPSED, State.LAPSED]


def test_the_stronger_of_two_full_proofs_may_carry_the_later_date() -> None:
    boiler = kept_up().visit(180, proof("upper", "evaporation"))
    assert [boiler.state(ref, 360) for ref in ("upper", "lower")] == [State.PROVEN, State.DUE]


def test_back_from_a_pause_every_operator_proof_must_be_given_again() -> None:
    boiler = Boiler().service().goes(5, ServiceMode.LAID_UP_WET).goes(8, ServiceMode.IN_SERVICE)
    assert boiler.state("upper", 9) is State.NEVER_PROVEN
    assert boiler.flushed(10).state("upper", 11) is State.PROVEN


def test_a_boiler_laid_up_in_the_first_word_of_it_had_been_in_service() -> None:
    boiler = Boiler().service().goes(5, ServiceMode.ISOLATED).goes(6, ServiceMode.HOT_STANDBY)
    assert boiler.state("upper", 7) is State.NEVER_PROVEN


def test_commissioning_is_no_return_to_service() -> None:
    boiler = Boiler().goes(-30, ServiceMode.NOT_COMMISSIONED).service().goes(1, ServiceMode.IN_SERVICE)
    assert boiler.state("upper", 2) is State.PROVEN


def test_standby_and_service_are_one_to_the_proofs() -> None:
    boiler = Boiler().service().goes(2, ServiceMode.HOT_STANDBY).goes(3, ServiceMode.IN_SERVICE)
    assert boiler.state("upper", 4) is State.PROVEN


def test_off_is_the_standing_while_it_is_laid_up() -> None:
    boiler = Boiler().service().goes(2, ServiceMode.LAID_UP_DRY)
    assert standings(boiler, at(2)) == [Standing.CLEAR, Standing.OFF, Standing.OFF]


def test_the_touch_voids_from_its_own_minute_on() -> None:
    boiler = Boiler().service().visit(1, act("limit", "adjust"))
    assert three(boiler, "limit", at(1)) == [State.PROVEN, State.NEVER_PROVEN, State.NEVER_PROVEN]


def test_before_anything_was_fitted_nothing_was_fitted() -> None:
    assert Boiler().state_at("limit", datetime(2020, 1, 1, tzinfo=UTC)).state is State.NOT_FITTED
