"""Which row is which condition, without a database."""

from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest

from fleet.alerts.matching import match_alerts
from fleet.alerts.models import Alert
from fleet.rules.values import Condition, Level
from tests.cast import DAY, NOW

BOILER = UUID(int=7)
Span = tuple[int, int | None]


def at(days: int) -> datetime:
    return NOW + days * DAY


def row(span: Span, withdrawn: bool = False) -> Alert:
    since, until = span
    return Alert(
        id=uuid4(),
        condition="hold",
        subject=BOILER,
        since=at(since),
        until=None if until is None else at(until),
        raised_at=at(since),
        withdrawn=withdrawn,
    )


def condition(span: Span) -> Condition:
    since, until = span
    return Condition("hold", BOILER, at(since), None if until is None else at(until), Level.HOLD, "s")


def days(instant: datetime) -> int:
    return (instant - NOW) // timedelta(days=1)


@pytest.mark.parametrize(
    ("rows", "wanted", "pairs", "gone", "new"),
    [
        ([(1, None)], [(1, None)], [(1, 1)], [], []),
        ([(5, None)], [(3, None)], [(5, 3)], [], []),
        ([(5, None)], [(3, 8)], [(5, 3)], [], []),
        ([(5, 9)], [(3, 6)], [(5, 3)], [], []),
        ([(5, 9)], [(1, 5)], [], [5], [1]),
        ([(5, 9)], [(9, 12)], [], [5], [9]),
        ([(1, 3), (5, None)], [(1, None)], [(1, 1)], [5], []),
        ([(1, None)], [(1, 3), (5, None)], [(1, 1)], [], [5]),
        ([(5, None)], [(1, 3), (6, None)], [(5, 6)], [], [1]),
        ([], [(1, None)], [], [], [1]),
        ([(1, None)], [], [], [1], []),
    ],
)
def test_a_row_follows_its_condition_in_time(
    rows: list[Span], wanted: list[Span], pairs: list[tuple[int, int]], gone: list[int], new: list[int]
) -> None:
    found = match_alerts([row(r) for r in rows], [condition(c) for c in wanted], at(20))
    assert [(days(r.since), days(c.since)) for r, c in found.pairs] == pairs
    assert [days(r.since) for r in found.gone] == gone
    assert [days(c.since) for c in found.new] == new


def test_a_cause_that_is_back_takes_its_own_row_up_again() -> None:
    resting = row((1, None), withdrawn=True)
    found = match_alerts([resting, row((5, 6), withdrawn=True)], [condition((1, None))], at(20))
    assert [r.id for r, _ in found.pairs] == [resting.id]
    assert found.gone == []
    assert found.new == []


def test_a_row_that_is_borne_out_goes_before_one_that_was_withdrawn() -> None:
    live = row((2, None))
    found = match_alerts([row((1, None), withdrawn=True), live], [condition((1, None))], at(20))
    assert [r.id for r, _ in found.pairs] == [live.id]
