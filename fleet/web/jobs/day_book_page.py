"""The day book: houses down, people across; each free cell is a button that plans, each other one says why not."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlencode
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.calendar import day_of
from fleet.jobs import queries, states
from fleet.jobs.models import Job
from fleet.planning.day_cells import cell_words
from fleet.portfolio.models import Portfolio
from fleet.reading.day_book import BookCell, BookRow, DayBook, compose_day_book, portfolio_zone
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write, parse_version

POSSIBLE_YEARS = range(2000, 2100)
MAX_TRIP_JOBS = 20
FIELD_LABELS = {"to": "Technician", "with": "Second person", "start": "Begins"}


@dataclass(frozen=True, slots=True)
class ShownCell:
    """One cell as it is shown. `token` is what its button sends; "" where nothing can be planned."""

    book_cell: BookCell
    words: str
    token: str
    is_anew: bool


@dataclass(frozen=True, slots=True)
class ShownRow:
    """One row with its cells as shown, and the faults of the last attempt."""

    row: BookRow
    cells: Sequence[ShownCell]
    faults: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class BookQuery:
    """What the address asks: portfolio, day, and of whom alone (None: everybody)."""

    portfolio: Portfolio
    day: date
    today: date
    zone: str
    person: UUID | None = None
    portfolios: Sequence[Portfolio] = ()

    def address_of(self, day: date | None = None, person: UUID | None = None) -> str:
        """Return the query string of this day book for another day or person."""
        values = {"portfolio": str(self.portfolio.id), "day": (day or self.day).isoformat()}
        return urlencode({**values, "person": str(person)} if person else values)


@dataclass(frozen=True, slots=True)
class CellChoice:
    """A pressed button: which jobs in which version, who, with whom, from when."""

    jobs: Sequence[tuple[UUID, int]]
    plan: pipeline.TripPlan


@signed_in_page
def show_day_book(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the day book of one day."""
    user = user_of(request)
    query = read_book_query(request.GET, user, at)
    context = {**_book_context(query, user, at), **_absence_told(request)}
    return render(request, "jobs/day_book.html", context)


def _absence_told(request: HttpRequest) -> dict[str, object]:
    """Return who was just recorded as away, and how many jobs are open again, as the address says it."""
    opened = request.GET.get("opened", "")
    return {"away": parse_id(request.GET.get("away", "")), "opened": int(opened[:3]) if opened.isdecimal() else 0}


@signed_in_action("/jobs/day/")
def plan_cell(request: HttpRequest, at: datetime) -> HttpResponse:
    """Plan what a cell offers and return to the day book; faults are shown in its row."""
    user, query = user_of(request), read_book_query(request.POST, user_of(request), at)
    choice = _read_choice(request.POST.get("cell", ""))
    _refuse_strangers(choice, user, at)
    cause = cause_of(request)

    def write() -> None:
        pipeline.plan_trip(jobs=choice.jobs, plan=choice.plan, by=user, at=at, cause=cause)

    faults, status = attempt_write(write, FIELD_LABELS)
    key = "-".join(str(job) for job, _ in choice.jobs)
    if faults:
        context = _book_context(query, user, at, faults={key: faults})
        return render(request, "jobs/day_book.html", context, status=status)
    return redirect(f"/jobs/day/?{query.address_of(person=query.person)}#row-{choice.jobs[0][0]}")


def planned_portfolios(user: User, at: datetime) -> list[Portfolio]:
    """Return the portfolios in which the user may plan jobs, by name."""
    ids = policy.grants_for(user, "job.plan", at).values("portfolio")
    return list(Portfolio.objects.filter(id__in=ids).order_by("name"))


def read_book_query(values: QueryDict, user: User, at: datetime) -> BookQuery:
    """Read portfolio, day and person. PermissionDenied for who plans nowhere, Http404 for a foreign one."""
    portfolios = planned_portfolios(user, at)
    if not portfolios:
        raise PermissionDenied
    asked = values.get("portfolio")
    portfolio = next((p for p in portfolios if str(p.id) == asked), None) if asked else portfolios[0]
    if portfolio is None:
        raise Http404
    zone = portfolio_zone(portfolio.id)
    today = day_of(at, zone)
    day, person = read_day(values.get("day", "")) or today, parse_id(values.get("person", ""))
    return BookQuery(portfolio, day, today, zone, person=person, portfolios=portfolios)


def read_day(text: str) -> date | None:
    """Return a day written like 2026-12-01; None for any other text."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if day.year in POSSIBLE_YEARS else None


def parse_id(text: str) -> UUID | None:
    """Return an id; None for any other text."""
    try:
        return UUID(text)
    except ValueError:
        return None


def _read_choice(token: str) -> CellChoice:
    """Read what a button sent. Raises Http404 for what no button sends."""
    try:
        jobs_text, person, second, start_text = token.split("|")
        pairs = [text.split(":") for text in jobs_text.split(",")][:MAX_TRIP_JOBS]
        jobs = [(UUID(job), parse_version(version)) for job, version in pairs]
        start = datetime.fromisoformat(start_text)
        plan = pipeline.TripPlan(UUID(person), start, UUID(second) if second else None)
    except ValueError:
        raise Http404 from None
    if start.utcoffset() is None or start.year not in POSSIBLE_YEARS:
        raise Http404
    return CellChoice(jobs, plan)


def _refuse_strangers(choice: CellChoice, user: User, at: datetime) -> None:
    """Raise Http404 for a job that the user may not see, PermissionDenied for one that the user may not plan."""
    ids = {job for job, _ in choice.jobs}
    rows = list(queries.visible_jobs(user, at).filter(id__in=ids))
    if len(rows) != len(ids):
        raise Http404
    for row in rows:
        if not policy.is_allowed(user, "job.plan", portfolio=row.portfolio_id, building=row.building_id, at=at):
            raise PermissionDenied


def _book_context(
    query: BookQuery, user: User, at: datetime, faults: dict[str, Sequence[str]] | None = None
) -> dict[str, object]:
    book = compose_day_book(user=user, portfolio=query.portfolio.id, day=query.day, zone=query.zone, at=at)
    columns = [c for c in book.columns if query.person in (None, c.person.id)] or book.columns
    chosen = {column.person.id for column in columns}
    rows = [_show_row(row, chosen, (faults or {}).get(row.work.key, ())) for row in book.rows]
    return {
        "book": book,
        "columns": columns,
        "rows": rows,
        "lost_faults": [
            fault for key, messages in (faults or {}).items() if not _has_row(book, key) for fault in messages
        ],
        "query": query,
        "address": query.address_of(),
        "before": query.address_of(day=query.day - timedelta(days=1), person=query.person),
        "after": query.address_of(day=query.day + timedelta(days=1), person=query.person),
        "today": query.today,
        "portfolios": query.portfolios,
        "may_record": _may_record_absences(query, user, at),
        "here": "jobs",
    }


def _may_record_absences(query: BookQuery, user: User, at: datetime) -> bool:
    return policy.portfolios_for(user, "absence.record", at).filter(id=query.portfolio.id).exists()


def _has_row(book: DayBook, key: str) -> bool:
    return any(row.work.key == key for row in book.rows)


def _show_row(row: BookRow, chosen: Iterable[UUID], faults: Sequence[str]) -> ShownRow:
    people = set(chosen)
    return ShownRow(row, [_show_cell(row, cell) for cell in row.cells if cell.person.id in people], faults)


def _show_cell(row: BookRow, book_cell: BookCell) -> ShownCell:
    token = "" if book_cell.order else make_token([d.job for d in row.details], book_cell)
    is_anew = row.detail.status in states.DATED
    return ShownCell(book_cell, cell_words(book_cell.cell, row.work.zone), token, is_anew)


def make_token(jobs: Iterable[Job], book_cell: BookCell) -> str:
    """Return what the button of a cell sends; "" where nothing can be planned."""
    cell = book_cell.cell
    if cell.start is None:
        return ""
    versions = ",".join(f"{job.id}:{job.version}" for job in jobs)
    return f"{versions}|{cell.person}|{cell.second or ''}|{cell.start.isoformat()}"
