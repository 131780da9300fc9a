"""What comes due and lapses if nobody does anything, read from stored segments; nothing is judged again."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, QuerySet

from fleet.board.models import StateSegment
from fleet.figures.days import local_day, local_week
from fleet.portfolio.models import Boiler

MAX_WEEKS = 53  # a year from any day on lies within this many calendar weeks
STEP_STATES = ("due", "lapsed")
CountedSteps = Iterable[tuple[date, str, int]]


@dataclass(frozen=True, slots=True)
class ForecastWeek:
    """A week from a Monday on, in each building's local days: how many positions come due and how many lapse."""

    monday: date
    due: int
    lapsed: int


def forecast_by_week(boilers: QuerySet[Boiler], at: datetime, weeks: int = MAX_WEEKS) -> list[ForecastWeek]:
    """Return what comes due and lapses after `at`, by calendar week, beginning with the week of `at`: one query."""
    steps = list(_segments_to_come(boilers, at, weeks).values_list("week", "state").annotate(Count("id")))  # type: ignore[misc]
    # West of Greenwich a Sunday evening still belongs to the week before UTC's.
    first = min([_monday_of(at.astimezone(UTC).date()), *(week for week, _, _ in steps)])
    week_by_monday = {w.monday: w for w in _count_weeks(steps)}
    mondays = [first + timedelta(weeks=n) for n in range(weeks)]
    return [week_by_monday.get(monday, ForecastWeek(monday, 0, 0)) for monday in mondays]


def forecast_by_boiler(
    boilers: QuerySet[Boiler], at: datetime, weeks: int = MAX_WEEKS
) -> dict[UUID, list[ForecastWeek]]:
    """Return the same for each boiler with anything to come, in one query; weeks without anything are left out."""
    counted = _segments_to_come(boilers, at, weeks).values_list("boiler", "week", "state").annotate(Count("id"))  # type: ignore[misc]
    steps_by_boiler: dict[UUID, list[tuple[date, str, int]]] = {}
    for boiler, week, state, count in counted.order_by("boiler"):
        steps_by_boiler.setdefault(boiler, []).append((week, state, count))
    return {boiler: _count_weeks(steps) for boiler, steps in steps_by_boiler.items()}


def steps_of(boilers: QuerySet[Boiler], at: datetime, weeks: int = MAX_WEEKS) -> list[StateSegment]:
    """Return each coming step of these boilers, the soonest first, with its reason and position: one query."""
    steps = _segments_to_come(boilers, at, weeks)
    return list(steps.select_related("position").order_by("since", "position__name"))


def _segments_to_come(boilers: QuerySet[Boiler], at: datetime, weeks: int) -> QuerySet[StateSegment]:
    """Return the segments in which a position becomes due or lapsed, each with its local week."""
    before = StateSegment.objects.filter(
        boiler=OuterRef("boiler"), position=OuterRef("position"), until=OuterRef("since"), state=OuterRef("state")
    )
    segments = StateSegment.objects.filter(~Exists(before), boiler__in=boilers, state__in=STEP_STATES, since__gt=at)
    dated = segments.annotate(week=local_week("since"), day=local_day("since"))
    return dated.filter(day__lt=_monday_of(at.astimezone(UTC).date()) + timedelta(weeks=weeks))


def _count_weeks(steps: CountedSteps) -> list[ForecastWeek]:
    counts = Counter({(week, state): count for week, state, count in steps})
    return [ForecastWeek(m, counts[m, "due"], counts[m, "lapsed"]) for m in sorted({m for m, _ in counts})]


def _monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())
