"""What comes due and lapses, by week for a year ahead, from the stored segments alone."""

from collections import Counter
from datetime import date, datetime, timedelta

import pytest

from fleet.board.models import StateSegment
from fleet.calendar import day_of
from fleet.figures import forecast
from fleet.pipeline import conclude
from fleet.portfolio.models import Boiler
from fleet.terms.models import Adoption
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db

ALL = Boiler.objects.all()
ZONE = "America/New_York"
MICROSECOND = timedelta(microseconds=1)
FLUSH_DUE = datetime(2026, 1, 18, 5, tzinfo=NOW.tzinfo)  # a Sunday's local midnight, a week after the flush


@pytest.fixture
def clear(fleet: Fleet) -> Fleet:
    """Serviced a month ago, flushed yesterday, then nobody comes."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    return fleet


def monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def states(at: datetime) -> dict[object, str]:
    """What the board says of every position at an instant."""
    held = StateSegment.objects.all()
    return {s.position_id: s.state for s in held if (not s.since or s.since <= at) and (not s.until or at < s.until)}


def test_a_year_ahead_is_told_week_by_week_without_a_gap(clear: Fleet) -> None:
    weeks = forecast.forecast_by_week(ALL, NOW)
    assert [w.monday for w in weeks] == [date(2026, 1, 12) + timedelta(weeks=n) for n in range(53)]


def test_each_week_counts_the_positions_whose_state_newly_became_due_or_lapsed(clear: Fleet) -> None:
    expected: Counter[tuple[date, str]] = Counter()
    starts = sorted({s.since for s in StateSegment.objects.all() if s.since and s.since > NOW})
    for start in starts:
        before, after = states(start - MICROSECOND), states(start)
        expected.update((monday(day_of(start, ZONE)), s) for p, s in after.items() if before[p] != s)
    found = {
        (w.monday, s): n
        for w in forecast.forecast_by_week(ALL, NOW)
        for s, n in (("due", w.due), ("lapsed", w.lapsed))
        if n
    }
    within = {key: n for key, n in expected.items() if key[0] <= date(2027, 1, 11)}
    assert found == within
    assert {state for _, state in found} == {"due", "lapsed"}


@pytest.mark.parametrize(("at", "steps"), [(FLUSH_DUE - MICROSECOND, 1), (FLUSH_DUE, 0), (FLUSH_DUE + MICROSECOND, 0)])
def test_what_has_begun_is_not_to_come(clear: Fleet, at: datetime, steps: int) -> None:
    assert len([s for s in forecast.steps_of(ALL, at, 1) if s.since == FLUSH_DUE]) == steps


def test_a_step_on_a_local_sunday_belongs_to_the_week_that_ends_then(clear: Fleet) -> None:
    first = forecast.forecast_by_week(ALL, NOW)[0]
    assert FLUSH_DUE.weekday() == 6
    assert first.due >= 1


def test_each_boiler_has_its_own_weeks_and_they_add_up(clear: Fleet) -> None:
    clear.post(clear.serviced(NOW - 10 * DAY, "ALD12 B2"))
    found = forecast.forecast_by_boiler(ALL, NOW)
    assert set(found) == {clear.bench(k).boiler.id for k in ("ALD12 B1", "ALD12 B2")}
    total = sum(w.due + w.lapsed for weeks in found.values() for w in weeks)
    assert total == sum(w.due + w.lapsed for w in forecast.forecast_by_week(ALL, NOW)) > 0


def test_only_the_boilers_asked_for_are_counted(clear: Fleet) -> None:
    other = Boiler.objects.filter(id=clear.bench("ALD12 B2").boiler.id)
    assert sum(w.due + w.lapsed for w in forecast.forecast_by_week(other, NOW)) == 0


def test_every_step_says_why(clear: Fleet) -> None:
    steps = forecast.steps_of(ALL, NOW)
    assert steps == sorted(steps, key=lambda s: (s.since, s.position.name))
    assert all(s.position.name in s.reason["sentence"] for s in steps)
    assert {s.state for s in steps} == {"due", "lapsed"}


def test_a_change_of_terms_between_makes_no_second_step(clear: Fleet) -> None:
    boiler = clear.bench().boiler
    before = [(s.position_id, s.since, s.state) for s in forecast.steps_of(ALL, NOW)]
    for version, starts_on in ((1, None), (2, date(2026, 1, 25)), (3, date(2026, 8, 1))):
        Adoption.objects.create(
            portfolio=clear.portfolio, version=version, starts_on=starts_on, season="10-01/05-31", posted_at=NOW
        )
    conclude.conclude_boilers([boiler], at=NOW, cause=conclude.Cause(who="office"))
    assert StateSegment.objects.filter(since__date=date(2026, 8, 1)).exists()  # cut there, and still one step
    assert [(s.position_id, s.since, s.state) for s in forecast.steps_of(ALL, NOW)] == before


def test_a_forecast_judges_nothing(clear: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conclude, "judge", None)
    assert sum(w.due for w in forecast.forecast_by_week(ALL, NOW)) > 0
