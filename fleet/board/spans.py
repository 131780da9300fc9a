"""From segments in time to spans of days: what the figures over time are counted from.

The figure of a day is what holds when the building's local day ends: a boiler that was put on hold and cleared within
one day counts as clear on it. So a segment counts from the day it begins in up to, and not with, the day it ends in,
and a boundary at midnight counts for the day that begins there. The spans reach into the future as the segments do:
a figure of a day to come is a forecast, right even when nothing runs.
"""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import Any

from fleet.calendar import day_of
from fleet.portfolio.models import Boiler
from fleet.rules.values import Judgement, deficiency_id

Cut = tuple[datetime | None, datetime | None, str]
Days = tuple[date, date | None, str]


def day_spans(cuts: Iterable[Cut], first: date, zone: str) -> Iterator[Days]:
    """Yield (first day, day it ended, value) of what held at the ends of days, from `first` on; equal neighbours join.

    `cuts` are half-open segments in order, without gaps; None is the beginning of time or no end known.
    """
    held: Days | None = None
    for since, until, value in cuts:
        begin = max(first, day_of(since, zone)) if since else first
        end = day_of(until, zone) if until else None
        if end is not None and end <= begin:
            continue  # it was over before the day was
        if held and held[2] == value and held[1] == begin:
            begin = held[0]
        elif held:
            yield held
        held = (begin, end, value)
    if held:
        yield held


def standing_rows(boiler: Boiler, judgement: Judgement, zone: str) -> Iterator[dict[str, Any]]:
    """The boiler's standing by days, counted from the day it came into the register."""
    cuts = ((s.since, s.until, s.standing.value) for s in judgement.standings)
    for since, until, standing in day_spans(cuts, day_of(boiler.since, zone), zone):
        yield {"since_day": since, "until_day": until, "standing": standing}


def class_rows(boiler: Boiler, judgement: Judgement, zone: str) -> Iterator[dict[str, Any]]:
    """The class of each of its deficiencies by days; one opened and closed within a day has none."""
    for found in judgement.deficiencies:
        opened = day_of(found.opened_at, zone)
        cuts = ((s.since, s.until, s.level.value) for s in found.levels)
        for since, until, level in day_spans(cuts, opened, zone):
            yield {
                "deficiency": deficiency_id(boiler.id, found.position, found.rule, found.episode),
                "since_day": since,
                "until_day": until,
                "rule": found.rule,
                "level": level,
                "opened_day": opened,
            }
