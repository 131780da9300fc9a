"""Spans joined, met and taken away: an instant lies in the answer exactly where logic says so."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calendar.spans import Span, intersect_spans, merge_spans, subtract_spans, true_spans

START = datetime(2026, 1, 1, tzinfo=UTC)


def day(number: int | None) -> datetime | None:
    return None if number is None else START + timedelta(days=number)


def span(since: int | None, until: int | None) -> Span:
    return day(since), day(until)


def within(at: datetime, spans: Iterable[Span]) -> bool:
    return any((s is None or s <= at) and (u is None or at < u) for s, u in spans)


ends = st.one_of(st.none(), st.integers(0, 12))
some = st.lists(
    st.tuples(ends, ends).filter(lambda p: None in p or p[0] < p[1]).map(lambda p: span(*p)),  # type: ignore[operator]
    max_size=5,
)
moments = st.integers(-1, 13).map(lambda n: START + timedelta(days=n))


@given(some, moments)
def test_an_instant_is_in_the_union_where_it_is_in_any(spans: list[Span], at: datetime) -> None:
    assert within(at, merge_spans(spans)) is within(at, spans)


@given(some)
def test_a_union_is_in_order_and_nothing_in_it_touches(spans: list[Span]) -> None:
    found = merge_spans(spans)
    assert all(a[1] is not None and b[0] is not None and a[1] < b[0] for a, b in pairwise(found))


@given(some, some, moments)
def test_an_instant_is_met_where_it_is_in_both(one: list[Span], other: list[Span], at: datetime) -> None:
    assert within(at, intersect_spans([one, other])) is (within(at, one) and within(at, other))


@given(some, some, moments)
def test_an_instant_is_left_where_it_is_in_one_and_not_in_the_other(
    one: list[Span], other: list[Span], at: datetime
) -> None:
    assert within(at, subtract_spans(one, other)) is (within(at, one) and not within(at, other))


def test_where_nothing_is_to_be_met_all_of_time_is_left() -> None:
    assert intersect_spans([]) == [(None, None)]


@pytest.mark.parametrize(
    ("words", "spans"),
    [
        ([], []),
        ([(1, False)], []),
        ([(1, True)], [(1, None)]),
        ([(1, True), (2, True), (4, False)], [(1, 4)]),
        ([(1, True), (1, False)], []),  # said and taken back at one instant
        ([(1, True), (2, False), (3, False), (5, True)], [(1, 2), (5, None)]),
    ],
)
def test_a_spell_runs_from_the_first_yes_to_the_next_no(
    words: list[tuple[int, bool]], spans: list[tuple[int, int | None]]
) -> None:
    assert list(true_spans((START + timedelta(days=d), yes) for d, yes in words)) == [span(*s) for s in spans]
