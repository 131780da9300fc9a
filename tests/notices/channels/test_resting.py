"""When a failing destination is tried again, when it rests, and when the next one is told instead."""

from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.notices.channels.contract import DeliveryOutcome
from fleet.notices.channels.resting import (
    FIRST_DELAY,
    MAX_DELAY,
    backoff_delay,
    falls_over,
    is_resting,
    next_attempt_at,
    rest_ends_at,
)
from tests.notices.channels.loopback import AT

SENT, FAILED, REFUSED, UNKNOWN = DeliveryOutcome
chances = st.floats(0, 1, exclude_max=True)
SECOND = timedelta(seconds=1)


def test_the_delays_double_from_about_a_minute_to_about_an_hour() -> None:
    minutes = [backoff_delay(failures, 0.5) / timedelta(minutes=1) for failures in range(1, 9)]
    assert minutes == [1, 2, 4, 8, 16, 32, 48, 48]


@given(failures=st.integers(1, 10**6), chance=chances)
def test_a_delay_is_at_least_three_quarters_of_a_minute_and_at_most_an_hour(failures: int, chance: float) -> None:
    assert 0.75 * FIRST_DELAY <= backoff_delay(failures, chance) <= MAX_DELAY


@given(failures=st.integers(1, 10**6), chance=chances)
def test_the_first_delay_is_about_a_minute_and_none_gets_shorter(failures: int, chance: float) -> None:
    assert backoff_delay(1, chance) <= 1.25 * FIRST_DELAY
    assert backoff_delay(failures, chance) <= backoff_delay(failures + 1, chance)


@pytest.mark.parametrize("failures", [1, 5, 7, 100])
def test_what_failed_together_does_not_return_together(failures: int) -> None:
    delays = [backoff_delay(failures, chance / 10) for chance in range(10)]
    assert all(later > earlier for earlier, later in pairwise(delays))


@pytest.mark.parametrize(
    ("asked", "delay"),
    [
        (None, timedelta(minutes=1)),
        (timedelta(0), timedelta(minutes=1)),
        (timedelta(seconds=59), timedelta(minutes=1)),
        (timedelta(minutes=5), timedelta(minutes=5)),
        (timedelta(days=300), timedelta(hours=1)),
    ],
)
def test_a_receiver_that_asks_for_a_pause_gets_it_up_to_an_hour(asked: timedelta | None, delay: timedelta) -> None:
    assert next_attempt_at(AT, 1, 0.5, asked) == AT + delay


@pytest.mark.parametrize(("failures", "ends_after"), [(0, None), (4, None), (5, MAX_DELAY), (50, MAX_DELAY)])
def test_a_destination_rests_for_an_hour_from_its_fifth_failure_in_a_row(
    failures: int, ends_after: timedelta | None
) -> None:
    assert rest_ends_at(failures, AT) == (None if ends_after is None else AT + ends_after)


@pytest.mark.parametrize(
    ("after", "rests"), [(MAX_DELAY - SECOND, True), (MAX_DELAY, False), (MAX_DELAY + SECOND, False)]
)
def test_a_rest_ends_at_its_hour(after: timedelta, rests: bool) -> None:
    assert is_resting(rest_ends_at(5, AT), AT + after) is rests


@pytest.mark.parametrize(
    ("outcomes", "usually", "in_danger"),
    [
        ([], False, False),
        ([FAILED], False, True),
        ([UNKNOWN], False, True),
        ([FAILED, UNKNOWN], False, True),
        ([FAILED, UNKNOWN, FAILED], True, True),
        ([REFUSED], True, True),
        ([FAILED, REFUSED], True, True),
        ([SENT], False, False),
        ([FAILED, FAILED, FAILED, SENT], False, False),
        ([REFUSED, SENT], False, False),
    ],
)
def test_the_next_destination_is_told(outcomes: list[DeliveryOutcome], usually: bool, in_danger: bool) -> None:
    assert falls_over(outcomes, is_danger=False) is usually
    assert falls_over(outcomes, is_danger=True) is in_danger


@given(st.lists(st.sampled_from(DeliveryOutcome)))
def test_danger_never_waits_longer_for_the_next_destination(outcomes: list[DeliveryOutcome]) -> None:
    assert falls_over(outcomes, is_danger=True) >= falls_over(outcomes, is_danger=False)
