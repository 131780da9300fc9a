"""The day book: the jobs of a portfolio against its people on one day, in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import User
from fleet.board.glasses import GlassReading, glasses_of
from fleet.calendar import day_start
from fleet.catalog import queries as catalog
from fleet.jobs import queries, states
from fleet.jobs.models import Job
from fleet.jobs.queries import JobDetail
from fleet.planning.day_cells import fill_cells
from fleet.planning.day_values import DayCell, DayPerson, DayWork, MinuteWindow
from fleet.planning.travel import travel_between
from fleet.portfolio.access import parse_access_hours
from fleet.portfolio.models import Building
from fleet.reading.day_people import DayTeam, place_of, read_day_team
from fleet.rules.values import LEVELS

MAX_JOBS = 120  # of one page, the worst first


@dataclass(frozen=True, slots=True)
class BookCell:
    """One cell with the person of its column. `order`: the how-manieth stop of that person's day this is, if it is."""

    person: DayPerson
    cell: DayCell
    order: int | None = None


@dataclass(frozen=True, slots=True)
class BookRow:
    """One job, or the waiting jobs of one house as one trip (`is_trip`), with a cell for each person."""

    key: str
    building: Building
    details: Sequence[JobDetail]
    work: DayWork
    cells: Sequence[BookCell]
    closed_by: Sequence[str]
    bare_from: datetime | None
    is_trip: bool = False

    @property
    def detail(self) -> JobDetail:
        """The job; of a trip the worst one."""
        return self.details[0]

    @property
    def title(self) -> str:
        """What the row is about, in one line: the house, then what closes the job or how many jobs make the trip."""
        if self.is_trip:
            return f"{self.building.address}, {len(self.details)} jobs as one trip"
        return f"{self.building.address}, {self.closed_by[0].lower() if self.closed_by else 'one job'}"

    @property
    def is_planned(self) -> bool:
        """Whether somebody has it that day."""
        return any(book_cell.order is not None for book_cell in self.cells) or self.detail.status in states.DATED

    @property
    def is_possible(self) -> bool:
        """Whether somebody can do it that day."""
        return any(book_cell.cell.is_free for book_cell in self.cells)


@dataclass(frozen=True, slots=True)
class BookColumn:
    """One person's day: the visible stops in order, when the last one ends, what is left of the shift, what to load."""

    person: DayPerson
    user: User
    stops: Sequence[JobDetail]
    ends_at: datetime | None
    spare_minutes: int
    parts: Mapping[str, int]
    is_away: bool


@dataclass(frozen=True, slots=True)
class DayBook:
    """One day of one portfolio. `left_off_jobs` and `left_off_people` count what one page does not hold."""

    portfolio: UUID
    day: date
    zone: str
    columns: Sequence[BookColumn]
    rows: Sequence[BookRow]
    left_off_jobs: int = 0
    left_off_people: int = 0

    @property
    def left_out(self) -> list[BookRow]:
        """The jobs that nobody has that day and that still wait."""
        return [row for row in self.rows if not row.is_planned and not row.is_trip]


@dataclass(slots=True)
class _BookFacts:
    """What the rows are made of."""

    team: DayTeam
    day: date
    at: datetime
    orders: dict[tuple[UUID, UUID], int]
    bare: Mapping[UUID, datetime]
    names: Mapping[str, str]
    rows: list[BookRow] = field(default_factory=list)


def portfolio_zone(portfolio: UUID) -> str:
    """Return the zone of a portfolio's first building by reference; UTC without a building."""
    return Building.objects.filter(portfolio=portfolio).order_by("ref").values_list("zone", flat=True).first() or "UTC"


def compose_day_book(*, user: User, portfolio: UUID, day: date, zone: str, at: datetime) -> DayBook:
    """Compose the day book of the jobs a person may see in a portfolio on a local day of `zone`."""
    span = day_start(day, zone), day_start(day + timedelta(days=1), zone)
    details = _details_of_day(user, portfolio, span, at)
    shown = details[:MAX_JOBS]
    stops = [d for d in shown if d.status in states.DATED]
    holders = {p for d in stops for p in (d.job.technician_id, d.job.second_id) if p}
    team = read_day_team(portfolio, span, holders, at)
    columns = [_column_of(person, team.users[person.id], stops, day=day, zone=zone) for person in team.people]
    orders = {(d.job.id, c.person.id): n for c in columns for n, d in enumerate(c.stops, start=1)}
    boilers = {a.item.boiler_id for d in shown for a in d.open}
    bare = {
        boiler: glass.exposed_at for boiler, glass in glasses_of(boilers).items() if isinstance(glass, GlassReading)
    }
    names = {code: p.name for code, p in catalog.catalogue_at(at).procedures.items()}
    facts = _BookFacts(team, day, at, orders=orders, bare=bare, names=names)
    rows = list(_rows_by_house(shown, facts))
    return DayBook(
        portfolio,
        day,
        zone,
        columns=columns,
        rows=rows,
        left_off_jobs=len(details) - len(shown),
        left_off_people=team.left_off,
    )


def _details_of_day(user: User, portfolio: UUID, span: tuple[datetime, datetime], at: datetime) -> list[JobDetail]:
    """Return the jobs that wait to be planned and those of the day, the worst first."""
    of_day = Q(status__in=states.DATED, planned_since__gte=span[0], planned_since__lt=span[1])
    missed = Q(status__in=states.DATED, ends_at__lte=at)
    rows = queries.visible_jobs(user, at).filter(portfolio=portfolio)
    rows = rows.filter(of_day | missed | Q(status__in=states.WAITING))
    return sorted(queries.job_details(queries.with_details(rows), at), key=_urgency_key)


def _urgency_key(detail: JobDetail) -> tuple[int, datetime, UUID]:
    """Sort key that planning does not change: a row stays where it is while the dispatcher plans."""
    return LEVELS.index(detail.job.level), detail.job.created_at, detail.job.id


def _rows_by_house(details: Sequence[JobDetail], facts: _BookFacts) -> Iterable[BookRow]:
    """Yield the rows house by house, the house with the worst job first, each house's jobs as one trip before them."""
    by_house: dict[UUID, list[JobDetail]] = defaultdict(list)
    for detail in details:
        by_house[detail.job.building_id].append(detail)
    for own_details in by_house.values():
        waiting = [d for d in own_details if d.status in states.WAITING]
        if len(waiting) > 1:
            yield _make_row(waiting, facts, is_trip=True)
        yield from (_make_row([detail], facts) for detail in own_details)


def _make_row(details: Sequence[JobDetail], facts: _BookFacts, *, is_trip: bool = False) -> BookRow:
    work = work_of(details, facts.day)
    may_plan = all(states.status_after(d.status, "plan") for d in details)
    filled = fill_cells(work, facts.team.people, day=facts.day, at=facts.at) if may_plan else _closed_cells(facts)
    cells = [
        BookCell(person, cell, None if is_trip else facts.orders.get((details[0].job.id, person.id)))
        for person, cell in zip(facts.team.people, filled, strict=True)
    ]
    asked = [a.item for d in details for a in d.open]
    codes = dict.fromkeys(item.procedure for item in asked if item.procedure)
    return BookRow(
        work.key,
        details[0].job.building,
        details,
        work,
        cells=cells,
        closed_by=[facts.names.get(code, code) for code in codes],
        bare_from=min((facts.bare[i.boiler_id] for i in asked if i.boiler_id in facts.bare), default=None),
        is_trip=is_trip,
    )


def _closed_cells(facts: _BookFacts) -> list[DayCell]:
    return [DayCell(person.id, why="under_way") for person in facts.team.people]


def work_of(details: Sequence[JobDetail], day: date) -> DayWork:
    """Return jobs of one house as the work of one trip, one after the other."""
    jobs = [detail.job for detail in details]
    building = jobs[0].building
    return DayWork(
        key="-".join(str(job.id) for job in jobs),
        jobs=frozenset(job.id for job in jobs),
        place=place_of(building),
        zone=building.zone,
        minutes=sum(job.minutes for job in jobs),
        people=max(job.people for job in jobs),
        skills=frozenset(code for job in jobs for code in job.skills),
        windows=windows_on(building, day),
    )


def windows_on(building: Building, day: date) -> Sequence[MinuteWindow] | None:
    """Return when a building can be entered on a day; None: at any time."""
    return parse_access_hours(building.access_hours).get(day.weekday(), ()) if building.access_hours else None


def _column_of(person: DayPerson, user: User, stops: Sequence[JobDetail], day: date, zone: str) -> BookColumn:
    own_stops = sorted(
        (d for d in stops if person.id in (d.job.technician_id, d.job.second_id)), key=lambda d: _start_of(d.job)
    )
    begin = day_start(day, zone)
    busy = [s for s in person.stops if begin <= s.since < begin + timedelta(days=1)]
    in_order = sorted(busy, key=lambda s: s.since)
    driving = sum(travel_between(a.place, b.place).minutes for a, b in pairwise(in_order))
    working = sum((s.until - s.since) // timedelta(minutes=1) for s in busy)
    parts: dict[str, int] = defaultdict(int)
    for detail in own_stops:
        for part in detail.job.parts:
            parts[part] += 1
    return BookColumn(
        person,
        user,
        own_stops,
        ends_at=max((s.until for s in busy), default=None),
        spare_minutes=max(person.shift[1] - person.shift[0] - driving - working, 0),
        parts=dict(parts),
        is_away=any(a[0] is None or a[0] < begin + timedelta(days=1) for a in person.away),
    )


def _start_of(job: Job) -> datetime:
    assert job.planned_since
    return job.planned_since
