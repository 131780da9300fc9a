"""The interval of a counted share against scipy's, and what must hold of any."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.shares import share_of
from fleet.errors import Refused
from tests.engineering.outside import LateLibrary, swept

stats = LateLibrary("scipy.stats")

COUNTS = st.integers(1, 5000).flatmap(lambda tried: st.tuples(st.integers(0, tried), st.just(tried)))


def test_the_bounds_are_those_of_scipy() -> None:
    ours, theirs = [], []
    for failed, tried in [(0, 1), (1, 1), (0, 20), (1, 20), (2, 20), (10, 20), (20, 20), (7, 700), (1234, 5000)]:
        found = share_of(failed, tried)
        bounds = stats.binomtest(failed, tried).proportion_ci(0.95, method="wilson")
        ours += [found.low, found.high]
        theirs += [bounds.low, bounds.high]
    swept("shares", "scipy, Wilson score", "bounds of a share", ours, theirs, rel=1e-9, within=1e-12)


@given(COUNTS)
def test_the_bounds_lie_within_nothing_and_all_and_hold_the_share(counts: tuple[int, int]) -> None:
    found = share_of(*counts)
    assert 0 <= found.low <= found.share <= found.high <= 1


@given(COUNTS, st.integers(2, 50))
def test_the_same_share_of_more_trials_is_known_closer(counts: tuple[int, int], times: int) -> None:
    failed, tried = counts
    few, many = share_of(failed, tried), share_of(failed * times, tried * times)
    assert many.high - many.low < few.high - few.low


@given(COUNTS)
def test_what_did_not_fail_is_the_mirror_of_what_did(counts: tuple[int, int]) -> None:
    failed, tried = counts
    one, other = share_of(failed, tried), share_of(tried - failed, tried)
    assert (one.low, one.high) == (pytest.approx(1 - other.high, abs=1e-12), pytest.approx(1 - other.low, abs=1e-12))


@pytest.mark.parametrize(("failed", "tried"), [(0, 0), (2, 1), (-1, 5), (1, -1), (float("nan"), 5)])
def test_what_cannot_be_counted_is_refused(failed: int, tried: int) -> None:
    with pytest.raises(Refused):
        share_of(failed, tried)
