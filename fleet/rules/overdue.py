"""Conditions of things left undone: deficiencies past their date, repairs not proven, a season without its visit."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

from fleet.calendar import Season, day_of, day_start
from fleet.rules.boundaries import Timeline
from fleet.rules.ledger import Case
from fleet.rules.values import Condition, Level, LevelSegment, StateSegment, deficiency_id
from fleet.rules.wording import on

SEASON_VISITS = ("season_start", "annual_service")
SEASON_EARLY_DAYS = 90  # a service this long before the season starts serves for it (common practice)


def past_their_date(timeline: Timeline) -> Iterator[Condition]:
    """Urgent deficiencies still open after the portfolio's days; holds are told as holds."""
    for case, levels in zip(timeline.cases, timeline.levels, strict=True):
        for segment in levels:
            if segment.level is Level.URGENT:
                yield from _past(timeline, case, segment)


def _past(timeline: Timeline, case: Case, segment: LevelSegment) -> Iterator[Condition]:
    zone = timeline.evidence.zone
    days = timeline.evidence.terms_at(segment.since).urgent_days
    last = day_of(segment.since, zone) + timedelta(days=days)
    since = day_start(last + timedelta(days=1), zone)
    if segment.until is None or since < segment.until:
        told = f"Past its date of {last:%a %d %b %Y}: {case.sentence}"
        yield Condition("past_date", _subject(timeline, case), since, segment.until, Level.URGENT, told)


def _subject(timeline: Timeline, case: Case) -> UUID:
    return deficiency_id(timeline.evidence.boiler, case.position, case.rule.code, case.episode)


def repaired_not_proven(timeline: Timeline) -> Iterator[Condition]:
    """A repair is claimed from its act to its proof."""
    zone = timeline.evidence.zone
    for case in timeline.cases:
        if case.acted_at is not None and (case.closed_at is None or case.acted_at < case.closed_at):
            told = f"Said to be repaired on {on(case.acted_at, zone)} and not proven since: {case.sentence}"
            subject = _subject(timeline, case)
            yield Condition("repaired_not_proven", subject, case.acted_at, case.closed_at, Level.URGENT, told)


def due_soon(timeline: Timeline, states: Sequence[StateSegment]) -> Iterator[Condition]:
    """A full proof that will be due within the portfolio's lead; the weekly work of a caretaker is no news."""
    for position in dict.fromkeys(s.position for s in states):
        segments = timeline.states_of(position)
        by_due: dict[datetime, list[StateSegment]] = {}
        for segment in segments:
            if segment.full_due:
                by_due.setdefault(segment.full_due, []).append(segment)
        for due, held in by_due.items():
            begin, end = held[0].since, held[-1].until
            since = due - timedelta(days=timeline.evidence.terms_at(due).due_soon_days)
            until = min(due, end) if end else due
            if begin is not None and begin < since < until:
                name, zone = timeline.evidence.by_id[position].name, timeline.evidence.zone
                told = f"The full proof of the {name} is due on {on(due, zone)}."
                yield Condition("due_soon", position, since, until, Level.ROUTINE, told)


def season_without_visit(timeline: Timeline) -> Iterator[Condition]:
    """The heating season began and nobody served the boiler for it."""
    if timeline.surveyed_at is None:
        return
    zone, ends = timeline.evidence.zone, [a.at for a in timeline.run.after.values()]
    first, last = day_of(timeline.surveyed_at, zone), day_of(max(ends), zone)
    season = timeline.evidence.terms_at(max(ends)).season
    for start in _starts(season, first, last) if season else ():
        served, begin = _served(timeline, start), day_start(start, zone)
        # A season nobody served the boiler for ends where the next one begins.
        following = day_start(season.first_start_on_or_after(start + timedelta(days=1)), zone) if season else None
        until = min((t for t in (served, following) if t), default=None)
        if until is not None and until > begin and timeline.service_at(begin).runs:
            told = f"The season began on {start:%a %d %b %Y} without its visit."
            yield Condition("season_without_visit", timeline.evidence.boiler, begin, until, Level.URGENT, told)


def _starts(season: Season, first: date, last: date) -> Iterator[date]:
    """The season starts after the first survey, and the next one to come."""
    start = season.first_start_on_or_after(first + timedelta(days=1))
    while start <= last:
        yield start
        start = season.first_start_on_or_after(start + timedelta(days=1))
    yield start


def _served(timeline: Timeline, start: date) -> datetime | None:
    """When a visit that serves for this season start ended, None if none did."""
    zone = timeline.evidence.zone
    early = day_start(start - timedelta(days=SEASON_EARLY_DAYS), zone)
    visits = [v for v in timeline.evidence.visits if v.own and v.kind in SEASON_VISITS and v.at >= early]
    return min((timeline.run.after[v.id].at for v in visits), default=None)
