"""Slips to print: one upright sheet a person, hours running down, the way as tall as it is long."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts.requests import user_of
from fleet.calendar import day_start
from fleet.jobs.queries import JobDetail
from fleet.planning.travel import travel_between
from fleet.reading.day_book import BookColumn, compose_day_book
from fleet.reading.day_people import place_of
from fleet.web.jobs.day_book_page import read_book_query
from fleet.web.shared.pages import signed_in_page

UNITS_PER_MINUTE = 1.4  # a shift of eight and a half hours stands upright on one sheet
HEAD = 16.0  # above the first hour
MAX_LINE_LENGTH = 58  # characters that fit beside the strip


@dataclass(frozen=True, slots=True)
class SlipHour:
    """One hour of the scale."""

    label: str
    y: float


@dataclass(frozen=True, slots=True)
class SlipStop:
    """One stop: its box on the strip and what stands beside it."""

    number: int
    detail: JobDetail
    y: float
    height: float
    lines: Sequence[str]

    @property
    def placed_lines(self) -> list[tuple[float, str]]:
        """The lines with where each stands, as many as fit."""
        count = max(int(self.height // 14), 1)
        return [(self.y + 13 + 14 * n, line) for n, line in enumerate(self.lines[:count])]


@dataclass(frozen=True, slots=True)
class SlipWay:
    """The way between two stops, ending where the next one begins."""

    y: float
    height: float
    label: str


@dataclass(frozen=True, slots=True)
class DaySlip:
    """The sheet of one person."""

    column: BookColumn
    hours: Sequence[SlipHour]
    stops: Sequence[SlipStop]
    ways: Sequence[SlipWay]
    height: float


@signed_in_page
def show_day_slips(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the slip of everybody who has a job on the day, or of one person."""
    user = user_of(request)
    query = read_book_query(request.GET, user, at)
    book = compose_day_book(user=user, portfolio=query.portfolio.id, day=query.day, zone=query.zone, at=at)
    columns = [c for c in book.columns if c.stops and query.person in (None, c.person.id)]
    begin = day_start(query.day, book.zone)
    slips = [draw_slip(column, begin) for column in columns]
    context = {"book": book, "slips": slips, "query": query, "address": query.address_of(), "here": "jobs"}
    return render(request, "jobs/day_slips.html", context)


def draw_slip(column: BookColumn, begin: datetime) -> DaySlip:
    """Return the geometry of a person's day. `begin` is the start of the local day."""
    starts = [_minutes(detail.job.planned_since, begin) for detail in column.stops]
    ends = [_minutes(detail.job.planned_until, begin) for detail in column.stops]
    first = min([*starts, column.person.shift[0]]) // 60
    last = -(-max([*ends, column.person.shift[1]]) // 60)

    def place_minute(minute: int) -> float:
        return round(HEAD + (minute - first * 60) * UNITS_PER_MINUTE, 1)

    hours = [SlipHour(f"{hour % 24:02}:00", place_minute(hour * 60)) for hour in range(first, last + 1)]
    boxes = zip(column.stops, starts, ends, strict=True)
    stops = [
        SlipStop(
            n,
            detail,
            y=place_minute(start),
            height=round((end - start) * UNITS_PER_MINUTE, 1),
            lines=_stop_lines(detail),
        )
        for n, (detail, start, end) in enumerate(boxes, start=1)
    ]
    ways = list(_draw_ways(stops))
    return DaySlip(column, hours, stops, ways=ways, height=place_minute(last * 60) + HEAD)


def _minutes(instant: datetime | None, begin: datetime) -> int:
    assert instant is not None
    return (instant - begin) // timedelta(minutes=1)


def _stop_lines(detail: JobDetail) -> list[str]:
    work = [a.item.sentence for a in detail.open]
    access = f"Access {detail.job.building.access_hours}" if detail.job.building.access_hours else ""
    lines = [detail.job.building.address, *work[:1], access, *work[1:]]
    return [_shorten(line) for line in lines if line]


def _shorten(text: str) -> str:
    return text if len(text) <= MAX_LINE_LENGTH else f"{text[: MAX_LINE_LENGTH - 1]}…"


def _draw_ways(stops: Iterable[SlipStop]) -> Iterator[SlipWay]:
    for before, after in pairwise(stops):
        places = [place_of(one.detail.job.building) for one in (before, after)]
        travel = travel_between(*places)
        if travel.minutes:
            height = round(travel.minutes * UNITS_PER_MINUTE, 1)
            label = f"{travel.minutes} min" if travel.is_known else f"{travel.minutes} min, not known"
            yield SlipWay(round(after.y - height, 1), height, label)
