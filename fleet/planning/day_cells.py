"""The cells of a day book: for each work and person when it can begin and at what cost, or why it cannot."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.calendar.spans import intersect_spans
from fleet.planning.day_values import DayCell, DayPerson, DayWork
from fleet.planning.start_ranges import (
    ACCESS,
    AWAY,
    NOW,
    STOPS,
    StartRange,
    round_up,
    start_ranges,
    window_span,
)

# What is counted one after the other until nothing fits: the last one counted is the reason.
LIMIT_ORDER = (ACCESS, AWAY, NOW, STOPS)


def fill_cells(work: DayWork, people: Sequence[DayPerson], *, day: date, at: datetime) -> list[DayCell]:
    """Return the cell of each person, in their order. `day` is a local day of the house."""
    ranges = {p.id: start_ranges(work, p, day=day, at=at) for p in people}
    return [_fill_cell(work, person, people, ranges=ranges, day=day, at=at) for person in people]


def _fill_cell(
    work: DayWork,
    person: DayPerson,
    people: Sequence[DayPerson],
    *,
    ranges: Mapping[UUID, Sequence[StartRange]],
    day: date,
    at: datetime,
) -> DayCell:
    if person.buildings is not None and work.place.building not in person.buildings:
        return DayCell(person.id, why="no_role")
    qualified, missing = _qualified_ranges(work, person, ranges[person.id], day)
    if missing:
        return DayCell(person.id, why="no_skill", skill=missing)
    if not qualified:
        return _reason_cell(work, person, day=day, at=at)
    if work.people < 2:
        return _free_cell(work, person, qualified[0])
    others = [p for p in people if p.id != person.id]
    return _pair_cell(work, person, others, own_ranges=qualified, ranges=ranges)


def _free_cell(work: DayWork, person: DayPerson, chosen: StartRange) -> DayCell:
    return DayCell(
        person.id,
        start=chosen.earliest,
        end=chosen.earliest + timedelta(minutes=work.minutes),
        added_minutes=chosen.added_minutes,
        is_travel_known=chosen.is_travel_known,
    )


def _qualified_ranges(
    work: DayWork, person: DayPerson, ranges: Sequence[StartRange], day: date
) -> tuple[list[StartRange], str]:
    """Return the ranges cut to when the person holds every skill at the start, and a skill that is missing that day."""
    shift = window_span(person.shift, day, work.zone)
    held = {code: [(s.since, s.until) for s in person.skills if s.code == code] for code in work.skills}
    missing = sorted(code for code, spans in held.items() if not intersect_spans([spans, [shift]]))
    if missing:
        return [], missing[0]
    spans = intersect_spans(list(held.values()))
    return [cut for r in ranges for span in spans if (cut := _cut_range(r, span)) is not None], ""


def _cut_range(wide: StartRange, span: tuple[datetime | None, datetime | None]) -> StartRange | None:
    """Return the part of a range that begins within a half-open span."""
    earliest = round_up(max(wide.earliest, span[0])) if span[0] else wide.earliest
    latest = min(wide.latest, span[1] - timedelta(microseconds=1)) if span[1] else wide.latest
    return replace(wide, earliest=earliest, latest=latest) if earliest <= latest else None


def _pair_cell(
    work: DayWork,
    person: DayPerson,
    others: Iterable[DayPerson],
    own_ranges: Sequence[StartRange],
    ranges: Mapping[UUID, Sequence[StartRange]],
) -> DayCell:
    """Return the cell of two people who go together: the earliest start at which both are free."""
    pairs = [
        (both.earliest, both.added_minutes, other.name, other, both)
        for other in others
        if other.buildings is None or work.place.building in other.buildings
        for theirs in ranges[other.id]
        for own in own_ranges
        if (both := _common_range(own, theirs)) is not None
    ]
    if not pairs:
        return DayCell(person.id, why="nobody_along")
    *_, second, chosen = min(pairs, key=lambda pair: pair[:3])
    return replace(_free_cell(work, person, chosen), second=second.id, second_name=second.name)


def _common_range(first: StartRange, second: StartRange) -> StartRange | None:
    earliest, latest = max(first.earliest, second.earliest), min(first.latest, second.latest)
    if earliest > latest:
        return None
    added = first.added_minutes + second.added_minutes
    return StartRange(earliest, latest, added, first.is_travel_known and second.is_travel_known)


def _reason_cell(work: DayWork, person: DayPerson, *, day: date, at: datetime) -> DayCell:
    """Return why nothing fits: too long for the shift, else the limit that takes the last room away."""
    for count in range(len(LIMIT_ORDER) + 1):
        if not start_ranges(work, person, day=day, at=at, limits=LIMIT_ORDER[:count]):
            limit = LIMIT_ORDER[count - 1] if count else ""
            break
    else:
        return DayCell(person.id, why="no_skill", skill=min(work.skills))  # held, but not when there is room
    if limit == STOPS and start_ranges(work, person, day=day, at=at, limits={AWAY, NOW, STOPS}):
        limit = ACCESS  # there is room in the day, at an hour at which nobody gets in
    if limit == ACCESS:
        return _access_cell(work, person, day)
    if limit == AWAY:
        return _away_cell(work, person, day)
    return DayCell(person.id, why={"": "too_long", NOW: "too_late", STOPS: "full"}[limit])


def _access_cell(work: DayWork, person: DayPerson, day: date) -> DayCell:
    if not work.windows:
        return DayCell(person.id, why="closed")
    opens, _ = window_span(work.windows[0], day, work.zone)
    _, shuts = window_span(work.windows[-1], day, work.zone)
    _, shift_ends = window_span(person.shift, day, work.zone)
    assert opens is not None
    assert shift_ends is not None
    if opens + timedelta(minutes=work.minutes) > shift_ends:
        return DayCell(person.id, why="access_begins", why_at=opens)
    return DayCell(person.id, why="access_ends", why_at=shuts)


def _away_cell(work: DayWork, person: DayPerson, day: date) -> DayCell:
    """Return "off" for a whole shift, else from or until when."""
    begins, ends = window_span(person.shift, day, work.zone)
    for since, until in person.away:
        if begins and ends and (until is None or until > begins) and (since is None or since < ends):
            if since is not None and since > begins:
                return DayCell(person.id, why="off_from", why_at=since)
            if until is not None and until < ends:
                return DayCell(person.id, why="off_until", why_at=until)
    return DayCell(person.id, why="off")


REASON_WORDS = {
    "no_role": "no role in this building",
    "no_skill": "not qualified: {skill}",
    "nobody_along": "nobody to go along",
    "too_long": "longer than the day",
    "closed": "no access that day",
    "access_begins": "access begins {at}",
    "access_ends": "access ends {at}",
    "off": "off",
    "off_from": "off from {at}",
    "off_until": "off until {at}",
    "too_late": "too late today",
    "full": "no room left",
    "under_way": "under way",
}


def cell_words(cell: DayCell, zone: str) -> str:
    """Return what a cell says, with times of the house: "12:10 +9 min", "10:40 with Rui", "access ends 11:00"."""
    if cell.start is None:
        at = clock_time(cell.why_at, zone) if cell.why_at else ""
        return REASON_WORDS[cell.why].format(skill=cell.skill.replace("_", " "), at=at)
    parts = [clock_time(cell.start, zone)]
    if cell.second_name:
        parts.append(f"with {cell.second_name}")
    if cell.added_minutes:
        parts.append(f"+{cell.added_minutes} min")
    return " ".join(parts) if cell.is_travel_known else f"{' '.join(parts)}, travel not known"


def clock_time(instant: datetime, zone: str) -> str:
    """Return the wall time of the house, as in "07:40"."""
    return instant.astimezone(ZoneInfo(zone)).strftime("%H:%M")
