"""From when until when a person can begin some work on a day: shift, access, absences and what is planned already."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.calendar.spans import Span, intersect_spans, subtract_spans
from fleet.planning.day_values import DayPerson, DayWork, MinuteWindow, PlannedStop
from fleet.planning.travel import NO_TRAVEL, Travel, travel_between

STEP = timedelta(minutes=5)  # people are told times that a clock shows well
LEAD = timedelta(minutes=15)  # nothing is offered that begins sooner: the offer is read, sent, and driven to
ACCESS, AWAY, NOW, STOPS = "access", "away", "now", "stops"
ALL_LIMITS = frozenset({ACCESS, AWAY, NOW, STOPS})


@dataclass(frozen=True, slots=True)
class StartRange:
    """The instants at which the work can begin, both ends included, and the travel it adds to the day there."""

    earliest: datetime
    latest: datetime
    added_minutes: int
    is_travel_known: bool


@dataclass(frozen=True, slots=True)
class DayGap:
    """A stretch between two stops of a person; no stop: the day begins or ends there."""

    before: PlannedStop | None
    after: PlannedStop | None


def start_ranges(
    work: DayWork, person: DayPerson, *, day: date, at: datetime, limits: Iterable[str] = ALL_LIMITS
) -> list[StartRange]:
    """Return when this person can begin this work on a local day of the house, the earliest first.

    `limits` names what counts besides the shift: the reason why nothing fits is found by leaving one out.
    """
    counted = frozenset(limits)
    spans = _open_spans(work, person, day=day, at=at, limits=counted)
    stops = [s for s in person.stops if s.job not in work.jobs] if STOPS in counted else []
    ranges = [r for gap in gaps_between(stops) for span in spans if (r := _range_within(work, gap, span)) is not None]
    return sorted(ranges, key=lambda r: (r.earliest, r.added_minutes))


def _open_spans(work: DayWork, person: DayPerson, *, day: date, at: datetime, limits: frozenset[str]) -> Sequence[Span]:
    """Return when the house can be entered while the person is at work."""
    sets: list[Sequence[Span]] = [[window_span(person.shift, day, work.zone)]]
    if ACCESS in limits and work.windows is not None:
        sets.append([window_span(window, day, work.zone) for window in work.windows])
    if NOW in limits:
        sets.append([(at + LEAD, None)])
    spans = intersect_spans(sets)
    return subtract_spans(spans, person.away) if AWAY in limits else spans


def window_span(window: MinuteWindow, day: date, zone: str) -> Span:
    """Return the span of a window of a local day. A wall time that happens twice counts the first time as a beginning
    and the second time as an end; one that a clock change skips is read by the clock before the change.
    """
    return _instant_of(window[0], day, zone, fold=0), _instant_of(window[1], day, zone, fold=1)


def _instant_of(minute: int, day: date, zone: str, *, fold: int) -> datetime:
    days, rest = divmod(minute, 24 * 60)
    local = datetime.combine(day, time(rest // 60, rest % 60, fold=fold), tzinfo=ZoneInfo(zone))
    skipped = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset() and not _exists(local)
    wall = local.replace(fold=0) if skipped else local
    return (wall + timedelta(days=days)).astimezone(UTC)


def _exists(local: datetime) -> bool:
    returned = local.astimezone(UTC).astimezone(local.tzinfo)
    return returned.replace(tzinfo=None, fold=0) == local.replace(tzinfo=None, fold=0)


def gaps_between(stops: Iterable[PlannedStop]) -> Iterator[DayGap]:
    """Yield the stretches before, between and after the stops. Stops that overlap leave no gap between them."""
    before: PlannedStop | None = None
    for stop in sorted(stops, key=lambda s: (s.since, s.until)):
        if before is None or stop.since >= before.until:
            yield DayGap(before, stop)
        if before is None or stop.until > before.until:
            before = stop
    yield DayGap(before, None)


def _range_within(work: DayWork, gap: DayGap, span: Span) -> StartRange | None:
    """Return when the work can begin within both; None where it does not fit. `span` has two ends."""
    since, until = span
    assert since is not None
    assert until is not None
    to, onward = _legs(work, gap)
    if gap.before is not None:
        since = max(since, gap.before.until + timedelta(minutes=to.minutes))
    if gap.after is not None:
        until = min(until, gap.after.since - timedelta(minutes=onward.minutes))
    earliest, latest = round_up(since), until - timedelta(minutes=work.minutes)
    if earliest > latest:
        return None
    direct = travel_between(gap.before.place, gap.after.place) if gap.before and gap.after else NO_TRAVEL
    known = to.is_known and onward.is_known and direct.is_known
    return StartRange(earliest, latest, max(to.minutes + onward.minutes - direct.minutes, 0), known)


def _legs(work: DayWork, gap: DayGap) -> tuple[Travel, Travel]:
    """Return the travel to the house and on from it. Nobody's way from home or back is counted."""
    to = travel_between(gap.before.place, work.place) if gap.before else NO_TRAVEL
    return to, travel_between(work.place, gap.after.place) if gap.after else NO_TRAVEL


def round_up(instant: datetime) -> datetime:
    """Return the instant, or the next one that is a whole STEP of the clock."""
    rest = (instant - datetime(2000, 1, 1, tzinfo=UTC)) % STEP
    return instant + (STEP - rest) if rest else instant
