"""Figures over time, by present knowledge: what they count, what rewrites them, and what they cost."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.board.models import ClassSpan, StandingSpan
from fleet.calendar import day_start
from fleet.evidence import gather_evidence
from fleet.figures import forecast, repairs, standing_counts
from fleet.figures.failure_counts import failures_by_kind
from fleet.portfolio.models import Boiler
from fleet.reading import standing_history
from fleet.rules import judge
from fleet.visits.incoming import IncomingVisit
from tests import kept
from tests.cast import DAY, NOW, Fleet, make_fleet

pytestmark = pytest.mark.django_db

ZONE = "America/New_York"
TODAY = NOW.date()
HOUR = timedelta(hours=1)
ALL = Boiler.objects.all()


def ago(days: int) -> date:
    """So many days before today."""
    return TODAY - timedelta(days=days)


@pytest.fixture
def told(db: Any) -> Fleet:
    """Two months of one boiler: serviced, failed, repaired, failed for a day, corrected; the other never visited."""
    return kept.once("two months of one boiler", two_months)


def two_months() -> Fleet:
    fleet = make_fleet()
    wrong = fleet.flushed(NOW - 3 * DAY, burner_stopped=False)
    right = replace(fleet.flushed(NOW - 3 * DAY), id=uuid4(), corrects=wrong.id, reason="wrong box ticked")
    for visit in (
        fleet.serviced(NOW - 60 * DAY),
        fleet.flushed(NOW - 20 * DAY, burner_stopped=False),
        fleet.repaired(NOW - 18 * DAY),
        fleet.flushed(NOW - 10 * DAY, burner_stopped=False),
        fleet.repaired(NOW - 10 * DAY + 2 * HOUR),
        wrong,
        right,
        fleet.flushed(NOW - DAY, recovery="slow"),
    ):
        fleet.post(visit)
    fleet.second(right)
    return fleet


def end_of(day: date) -> datetime:
    """The last instant of a local day."""
    return day_start(day + timedelta(days=1), ZONE) - timedelta(microseconds=1)


def looked_up(day: date) -> dict[str, int]:
    """The standings at the end of a day, each boiler's asked by itself."""
    return Counter(standing_history.standing_at(b.id, end_of(day)).standing for b in ALL.all())


def counted(day: standing_counts.DayCounts) -> dict[str, int]:
    return {name: count for name, count in day.counts.items() if count}


def test_each_day_counts_the_standings_that_held_when_it_ended(told: Fleet) -> None:
    for day in standing_counts.standings_per_day(ALL, ago(62), TODAY + timedelta(days=60)):
        assert counted(day) == looked_up(day.day), day.day


def test_each_day_counts_the_classes_of_what_was_open_when_it_ended(told: Fleet) -> None:
    found = [d for b in ALL.all() for d in judge(gather_evidence(b.id, NOW)[0], acts=(), at=NOW).deficiencies]
    seen = set()
    for day in standing_counts.open_by_class_per_day(ALL, ago(62), TODAY + timedelta(days=60)):
        at = end_of(day.day)
        held = [s for d in found for s in d.levels if s.since <= at and (s.until is None or at < s.until)]
        assert counted(day) == Counter(s.level.value for s in held), day.day
        seen |= counted(day).keys()
    assert "hold" in seen


def test_a_hold_put_right_on_the_day_is_in_no_figure_of_days(told: Fleet) -> None:
    day = standing_counts.open_by_class_per_day(ALL, ago(10), ago(10))[0]
    assert day.counts["hold"] == 0
    assert len([r for r in repairs.closed_repairs(ALL, ago(10), ago(10)) if r.level == "hold"]) == 1


@pytest.mark.parametrize(
    ("days", "band"),
    [
        (0, "days_0_to_6"),
        (6, "days_0_to_6"),
        (7, "days_7_to_29"),
        (29, "days_7_to_29"),
        (30, "days_30_to_89"),
        (89, "days_30_to_89"),
        (90, "days_90_and_more"),
    ],
)
def test_what_is_open_grows_older_by_itself(fleet: Fleet, days: int, band: str) -> None:
    fleet.post(fleet.flushed(NOW, burner_stopped=False))
    # Devices that will be old in some years have their spans already.
    opened = ClassSpan.objects.filter(opened_day__lte=TODAY).values("deficiency").distinct().count()
    (day,) = standing_counts.age_bands_per_day(ALL, TODAY + timedelta(days=days), TODAY + timedelta(days=days))
    assert day.counts == dict.fromkeys(standing_counts.BAND_NAMES, 0) | {band: opened}


def test_ages_per_day_add_up_to_what_is_open_per_day(told: Fleet) -> None:
    first, last = ago(62), TODAY + timedelta(days=120)
    ages = [sum(d.counts.values()) for d in standing_counts.age_bands_per_day(ALL, first, last)]
    assert ages == [sum(d.counts.values()) for d in standing_counts.open_by_class_per_day(ALL, first, last)]
    assert max(ages) > 0


def test_the_oldest_that_is_open_is_told_by_its_day(fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW - 4 * DAY, burner_stopped=False))
    assert [standing_counts.oldest_opening(ALL, ago(n)) for n in (5, 4, 3)] == [None, ago(4), ago(4)]


def test_a_boiler_counts_from_the_day_it_came_into_the_register(fleet: Fleet) -> None:
    since = ALL.first().since  # type: ignore[union-attr]
    first = since.date()
    days = standing_counts.standings_per_day(ALL, first - timedelta(days=1), first + timedelta(days=1))
    assert [sum(d.counts.values()) for d in days] == [0, ALL.count(), ALL.count()]


def test_the_time_to_repair_runs_from_opened_to_closed(told: Fleet) -> None:
    taken = repairs.closed_repairs(ALL, ago(30), TODAY)
    holds = [r.duration for r in taken if r.level == "hold"]
    assert holds == [2 * DAY, 2 * HOUR]
    summed = repairs.repair_times_by_class(taken)["hold"]
    assert summed.count == 2
    assert summed.median == 2 * HOUR
    assert summed.ninth_tenth == 2 * DAY


@pytest.mark.parametrize(("first", "last", "found"), [(19, 19, 0), (18, 18, 1), (17, 17, 0), (18, 10, 2)])
def test_a_repair_belongs_to_the_local_day_it_was_closed_on(told: Fleet, first: int, last: int, found: int) -> None:
    assert len([r for r in repairs.closed_repairs(ALL, ago(first), ago(last)) if r.level == "hold"]) == found


def test_a_figure_of_no_repairs_has_no_times(fleet: Fleet) -> None:
    assert repairs.repair_times(repairs.closed_repairs(ALL, ago(30), TODAY)) == repairs.RepairTimes(0, None, None)


def test_found_failed_counts_what_failed_as_found_and_was_not_taken_back(told: Fleet) -> None:
    # three flushes that kept firing, one of them corrected, and one after which the level came slowly
    assert failures_by_kind(ALL, ago(62), TODAY) == {"float_cutoff": 3}
    assert failures_by_kind(ALL, ago(20), ago(20)) == {"float_cutoff": 1}
    assert failures_by_kind(ALL, ago(19), ago(11)) == {}


def test_what_failed_after_work_on_it_was_not_found_failed(fleet: Fleet) -> None:
    bench = fleet.bench()
    opened = bench.action_entry(NOW, "open_clean", "upper")
    failed = fleet.flushed(NOW, burner_stopped=False).entries[0]
    fleet.post(fleet.visit(NOW, [opened, failed]))
    assert failures_by_kind(ALL, TODAY, TODAY) == {}


def test_a_place_that_failed_twice_in_a_visit_was_found_failed_once(fleet: Fleet) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False).entries[0]
    fleet.post(fleet.visit(NOW, [failed, failed]))
    assert failures_by_kind(ALL, TODAY, TODAY) == {"float_cutoff": 1}


def test_a_late_post_rewrites_the_figures_from_when_it_was_performed(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(NOW - DAY))
    before = standing_counts.standings_per_day(ALL, ago(62), TODAY)
    fleet.post(fleet.flushed(NOW - 5 * DAY, burner_stopped=False))
    after = standing_counts.standings_per_day(ALL, ago(62), TODAY)
    changed = [a.day for b, a in zip(before, after, strict=True) if b != a]
    assert changed == [ago(n) for n in (5, 4, 3, 2, 1, 0)]
    assert after[-1].counts["hold"] == 1


def test_a_correction_takes_its_visit_out_of_the_figures(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 60 * DAY))
    before = standing_counts.open_by_class_per_day(ALL, ago(62), TODAY)
    wrong = fleet.flushed(NOW - 3 * DAY, burner_stopped=False)
    fleet.post(wrong)
    assert standing_counts.open_by_class_per_day(ALL, ago(62), TODAY) != before
    gone = replace(wrong, id=uuid4(), corrects=wrong.id, reason="another boiler", void=True, entries=())
    fleet.post(gone)
    fleet.second(gone)
    assert standing_counts.open_by_class_per_day(ALL, ago(62), TODAY) == before


def test_time_alone_writes_no_figure(told: Fleet) -> None:
    before = (list(StandingSpan.objects.order_by("id").values()), list(ClassSpan.objects.order_by("id").values()))
    pipeline.sweep(at=NOW + 200 * DAY)
    after = (list(StandingSpan.objects.order_by("id").values()), list(ClassSpan.objects.order_by("id").values()))
    assert after == before


def spans_written(fleet: Fleet, visit: IncomingVisit) -> int:
    """How many spans a post makes, changes or removes, by what is stored before and after."""
    rows = lambda: {(m, *r) for m in (StandingSpan, ClassSpan) for r in m.objects.values_list()}  # noqa: E731
    before = rows()
    fleet.post(visit)
    return len({(r[0], r[1]) for r in before ^ rows()})


def test_a_post_writes_no_more_spans_after_a_long_history_than_after_a_short_one(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 300 * DAY))
    fleet.post(*(fleet.flushed(NOW - n * DAY) for n in range(299, 250, -9)))
    few = spans_written(fleet, fleet.flushed(NOW - 241 * DAY))
    fleet.post(*(fleet.flushed(NOW - n * DAY) for n in range(232, 10, -9)))
    history = StandingSpan.objects.filter(boiler=fleet.bench().boiler).count()
    assert history > 40
    assert spans_written(fleet, fleet.flushed(NOW - DAY)) <= few


MONTHS = (ago(62), TODAY)
COSTS: dict[str, tuple[Callable[[], Any], int]] = {
    "standings": (lambda: standing_counts.standings_per_day(ALL, *MONTHS), 3),
    "classes": (lambda: standing_counts.open_by_class_per_day(ALL, *MONTHS), 3),
    "ages": (lambda: standing_counts.age_bands_per_day(ALL, *MONTHS), 1),
    "ages on a day": (lambda: standing_counts.age_bands_per_day(ALL, TODAY, TODAY), 1),
    "oldest": (lambda: standing_counts.oldest_opening(ALL, TODAY), 1),
    "repairs": (lambda: repairs.closed_repairs(ALL, *MONTHS), 1),
    "found failed": (lambda: failures_by_kind(ALL, *MONTHS), 3),
    "forecast": (lambda: forecast.forecast_by_week(ALL, NOW), 1),
    "forecast by boiler": (lambda: forecast.forecast_by_boiler(ALL, NOW), 1),
}


@pytest.mark.parametrize("figure", COSTS)
def test_a_figure_takes_its_fixed_number_of_queries(told: Fleet, figure: str) -> None:
    ask, queries = COSTS[figure]
    with CaptureQueriesContext(connection) as captured:
        ask()
    assert len(captured) == queries


def test_a_rebuild_after_all_this_writes_no_row(told: Fleet) -> None:
    assert pipeline.rebuild(at=NOW) == 0
