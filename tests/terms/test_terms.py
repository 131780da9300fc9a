"""From adopted rows to the rules' terms."""

from datetime import UTC, date, datetime

import pytest

from fleet.calendar import HeatingSeason, Interval
from fleet.rules.values import Override
from fleet.terms.models import Adoption
from fleet.terms.values import DEFAULT_TERMS, as_terms, newest_version, parse_season

ZONE = "America/New_York"


def test_a_portfolio_that_adopted_nothing_has_the_defaults() -> None:
    assert (as_terms([], ZONE), newest_version([])) == ((DEFAULT_TERMS,), 0)


def test_the_first_terms_reach_back_and_later_ones_begin_at_a_local_midnight() -> None:
    rows = [Adoption(version=1), Adoption(version=2, starts_on=date(2026, 3, 9))]
    assert [t.since for t in as_terms(rows, ZONE)] == [None, datetime(2026, 3, 9, 4, tzinfo=UTC)]


def test_variants_and_overrides_are_carried_over() -> None:
    own = {"interval": "3 mo", "anchor": "", "grace_days": 14, "source": "insurer's letter"}
    row = Adoption(version=1, variants={"lever_lift": "monthly"}, overrides={"pop_test": own})
    terms = as_terms([row], ZONE)[0]
    assert terms.variants == {"lever_lift": "monthly"}
    assert terms.overrides["pop_test"] == Override(Interval(3, "month"), "", 14, "insurer's letter")


def test_a_season_is_read_from_its_first_and_last_day() -> None:
    assert parse_season("10-01/05-31") == HeatingSeason(10, 1, 5, 31)


@pytest.mark.parametrize("text", ["10-01", "10-01/05-32", "october/may", "10-01/05-31/06-01"])
def test_anything_else_is_no_season(text: str) -> None:
    with pytest.raises(ValueError):
        parse_season(text)
