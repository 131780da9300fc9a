"""When a portfolio has boilers that were not surveyed: from plain spans."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest

from fleet.rules.answers.register_gaps import GapSpan, register_gap_conditions
from fleet.rules.answers.unsurveyed import Span, portfolio_conditions, unsurveyed_spans
from fleet.rules.values import Condition, Level, Reason, Standing, StandingSegment

PORTFOLIO = UUID(int=1)
SECOND = timedelta(seconds=1)


def day(number: int) -> datetime:
    return datetime(2026, 1, number, tzinfo=UTC)


LATER = day(31)


def told(*boilers: tuple[Span, ...], at: datetime = LATER) -> list[Condition]:
    return list(portfolio_conditions(PORTFOLIO, boilers, at))


def spans(*boilers: tuple[Span, ...]) -> list[Span]:
    return [(c.since, c.until) for c in told(*boilers)]


@pytest.mark.parametrize(
    ("boilers", "expected"),
    [
        ((), []),
        (((),), []),
        ((((day(1), None),),), [(day(1), None)]),
        ((((day(1), day(5)),),), [(day(1), day(5))]),
        ((((day(3), day(5)),), ((day(1), day(9)),)), [(day(1), day(9))]),
        ((((day(1), day(5)),), ((day(5), day(9)),)), [(day(1), day(9))]),
        ((((day(1), day(5)),), ((day(6), day(9)),)), [(day(1), day(5)), (day(6), day(9))]),
        ((((day(1), day(5)),), ((day(2), None),), ((day(20), day(21)),)), [(day(1), None)]),
        ((((day(1), day(5)), (day(7), day(8))),), [(day(1), day(5)), (day(7), day(8))]),
    ],
)
def test_it_holds_from_the_first_boiler_to_when_none_is_left(
    boilers: tuple[tuple[Span, ...], ...], expected: list[Span]
) -> None:
    assert spans(*boilers) == expected
    assert spans(*reversed(boilers)) == expected


def test_it_is_one_condition_of_the_portfolio_however_many_boilers() -> None:
    found = told(((day(1), None),), ((day(2), None),), ((day(3), day(4)),))
    assert [(c.condition, c.subject, c.level) for c in found] == [("not_surveyed", PORTFOLIO, Level.URGENT)]


@pytest.mark.parametrize(
    ("at", "begins"),
    [
        (day(5) - SECOND, "2 boilers have not"),
        (day(5), "One boiler has not"),
        (day(5) + SECOND, "One boiler has not"),
        (day(9), "2 boilers had not"),
    ],
)
def test_it_says_how_many(at: datetime, begins: str) -> None:
    found = told(((day(1), day(5)),), ((day(1), day(9)),), at=at)
    assert found[0].sentence.startswith(begins)


def segment(since: datetime | None, until: datetime | None, standing: Standing) -> StandingSegment:
    return StandingSegment(since, until, standing, (Reason("r", "s"),))


@pytest.mark.parametrize(
    ("surveyed", "expected"),
    [(None, ((day(2), None),)), (day(4), ((day(2), day(4)),)), (day(2), ()), (day(1), ())],
)
def test_nothing_is_known_from_the_boilers_beginning_to_its_survey(
    surveyed: datetime | None, expected: tuple[Span, ...]
) -> None:
    known = [segment(None, day(3), Standing.NOT_SURVEYED), segment(day(3), None, Standing.HOLD)]
    assert unsurveyed_spans(day(2), surveyed, known) == expected


def test_the_time_it_is_off_asks_for_no_survey() -> None:
    known = [
        segment(None, day(5), Standing.NOT_SURVEYED),
        segment(day(5), day(8), Standing.OFF),
        segment(day(8), None, Standing.NOT_SURVEYED),
    ]
    assert unsurveyed_spans(day(1), None, known) == ((day(1), day(5)), (day(8), None))


def gaps(*boilers: tuple[GapSpan, ...], at: datetime) -> list[tuple[datetime, datetime | None, Level, str]]:
    found = register_gap_conditions(PORTFOLIO, boilers, at)
    return [(c.since, c.until, c.level, c.sentence.partition(":")[0]) for c in found]


FIRST, SECOND_BOILER = GapSpan(day(1), day(9), day(5)), GapSpan(day(3), None, day(20))
ONE, ONE_WAS = (f"One boiler's register {verb} what such a boiler needs" for verb in ("leaves out", "left out"))
TWO = "The registers of 2 boilers leave out what such a boiler needs"


TOUCHING = GapSpan(day(9), day(12), day(11))
APART = GapSpan(day(10), day(12), day(11))


@pytest.mark.parametrize(
    ("boilers", "at", "found"),
    [
        ((), day(2), []),
        (((FIRST,), (TOUCHING,)), day(9), [(day(1), day(12), Level.ROUTINE, ONE)]),
        (((FIRST,), (TOUCHING,)), day(12), [(day(1), day(12), Level.URGENT, TWO.replace("leave out", "left out"))]),
        (
            ((FIRST,), (APART,)),
            day(12),
            [(day(1), day(9), Level.URGENT, ONE_WAS), (day(10), day(12), Level.URGENT, ONE_WAS)],
        ),
        (((FIRST,),), day(5) - SECOND, [(day(1), day(9), Level.ROUTINE, ONE)]),
        (((FIRST,),), day(5), [(day(1), day(9), Level.URGENT, ONE)]),
        (((FIRST,),), day(5) + SECOND, [(day(1), day(9), Level.URGENT, ONE)]),
        (((FIRST,),), day(9), [(day(1), day(9), Level.URGENT, ONE_WAS)]),
        (((FIRST,), (SECOND_BOILER,)), day(4), [(day(1), None, Level.ROUTINE, TWO)]),
        (((FIRST,), (SECOND_BOILER,)), day(5), [(day(1), None, Level.URGENT, TWO)]),
        (((FIRST,), (SECOND_BOILER,)), day(9), [(day(1), None, Level.ROUTINE, ONE)]),
        (((FIRST,), (SECOND_BOILER,)), day(20), [(day(1), None, Level.URGENT, ONE)]),
    ],
)
def test_what_registers_leave_out_is_one_condition_as_urgent_as_the_worst(
    boilers: tuple[tuple[GapSpan, ...], ...], at: datetime, found: list[tuple[datetime, datetime | None, Level, str]]
) -> None:
    assert gaps(*boilers, at=at) == found
    assert gaps(*reversed(boilers), at=at) == found
