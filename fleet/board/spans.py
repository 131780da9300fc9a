"""From segments in time to spans of days, from which figures over time are counted.

The figure of a day is what holds when the building's local day ends: a boiler put on hold and cleared within one day
counts as clear on it. So a segment counts from the day in which it begins up to, but not including, the day in which it
ends, and a boundary at midnight counts for the day that begins there. Spans reach into the future like segments: the
figure of a future day is a forecast.
"""

from collections.abc import Iterable, Iterator
from datetime import date, datetime

from fleet.calendar import day_of
from fleet.portfolio.models import Boiler
from fleet.rules.values import Judgement, deficiency_id

Cut = tuple[datetime | None, datetime | None, str]
Days = tuple[date, date | None, str]


def day_spans(cuts: Iterable[Cut], first: date, zone: str) -> Iterator[Days]:
    """Yield (first day, end day, value) of what held at the ends of days, from `first` on; equal neighbors are joined.

    `cuts` are half-open segments in order, without gaps; None is the beginning of time or an unknown end.
    """
    held_days: Days | None = None
    for since, until, value in cuts:
        begin = max(first, day_of(since, zone)) if since else first
        end = day_of(until, zone) if until else None
        if end is not None and end <= begin:
            continue  # it ended before its day did
        if held_days and held_days[2] == value and held_days[1] == begin:
            begin = held_days[0]
        elif held_days:
            yield held_days
        held_days = (begin, end, value)
    if held_days:
        yield held_days


def standing_rows(boiler: Boiler, judgement: Judgement, zone: str) -> Iterator[dict[str, object]]:
    """Yield the boiler's standing by days, from its register date on."""
    cuts = ((s.since, s.until, s.standing.value) for s in judgement.standings)
    for since, until, standing in day_spans(cuts, day_of(boiler.since, zone), zone):
        yield {"since_day": since, "until_day": until, "standing": standing}


def class_rows(boiler: Boiler, judgement: Judgement, zone: str) -> Iterator[dict[str, object]]:
    """Yield the class of each of its deficiencies by days; one opened and closed within a day has no row."""
    for deficiency in judgement.deficiencies:
        opened = day_of(deficiency.opened_at, zone)
        cuts = ((s.since, s.until, s.level.value) for s in deficiency.levels)
        for since, until, level in day_spans(cuts, opened, zone):
            yield {
                "deficiency": deficiency_id(boiler.id, deficiency.position, deficiency.rule, deficiency.episode),
                "since_day": since,
                "until_day": until,
                "rule": deficiency.rule,
                "level": level,
                "opened_day": opened,
            }
