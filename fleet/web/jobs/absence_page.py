"""Called in sick, on holiday, half days: an absence is recorded, and the jobs it makes impossible are open again."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from urllib.parse import urlencode
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.absences import REASONS, AbsenceRequest, absences_from, end_absence
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.calendar import day_start
from fleet.errors import Refused
from fleet.jobs.models import Job
from fleet.planning.day_cells import cell_words
from fleet.planning.start_ranges import window_span
from fleet.reading.day_book import BookRow, DayBook, compose_day_book
from fleet.web.jobs.day_book_page import BookQuery, parse_id, read_book_query, read_day
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write

DAYS_OFFERED = 60  # from the day that is open; who is away for longer is so until further notice
NOON, MIDNIGHT = 12 * 60, 24 * 60  # in minutes of the local day
PARTS = {"day": (0, MIDNIGHT), "morning": (0, NOON), "afternoon": (NOON, MIDNIGHT)}
PART_WORDS = {"day": "Whole days", "morning": "Morning only, until 12:00", "afternoon": "Afternoon only, from 12:00"}
FIELD_LABELS = {
    "user": "Person",
    "first": "First day",
    "last": "Last day",
    "part": "Part of the day",
    "until": "Last day",
    "stand_in": "Stand-in",
    "reason": "Reason",
}
FIELD_NAMES = ("reason", "first", "last", "part", "stand_in")


@dataclass(frozen=True, slots=True)
class OpenedJob:
    """A job that an absence opens again, and who could take it on the day that is shown; None for a later day."""

    job: Job
    takers: list[str] | None


@signed_in_page
def show_absence(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the form for one person, with that person's jobs and who could take each, and the absences not over."""
    query = _read_absence_query(request, at)
    texts = {"reason": "sick", "first": query.day.isoformat(), "last": query.day.isoformat(), "part": "day"}
    return render(request, "jobs/absence.html", _absence_context(query, user_of(request), texts, at))


@signed_in_action("/jobs/day/")
def record_absence(request: HttpRequest, at: datetime) -> HttpResponse:
    """Record the absence, open the jobs again, and go to the day book, where they wait."""
    query, user, cause = _read_absence_query(request, at), user_of(request), cause_of(request)
    texts = {name: request.POST.get(name, "")[:40] for name in FIELD_NAMES}
    opened_jobs: list[Job] = []

    def write() -> None:
        assert query.person
        since, until = _read_span(texts, query.zone)
        absence = AbsenceRequest(
            query.person, since, until, stand_in=parse_id(texts["stand_in"]), reason=texts["reason"]
        )
        recorded = pipeline.record_absence_and_open_jobs(
            portfolio=query.portfolio.id, request=absence, by=user, at=at, cause=cause
        )
        opened_jobs.extend(recorded.opened_jobs)

    faults, status = attempt_write(write, FIELD_LABELS)
    if faults:
        context = _absence_context(query, user, texts, at)
        return render(request, "jobs/absence.html", {**context, "faults": faults}, status=status)
    everybody = replace(query, person=None).address_of(day=read_day(texts["first"]))
    return redirect(f"/jobs/day/?{everybody}&{urlencode({'away': query.person, 'opened': len(opened_jobs)})}")


@signed_in_action("/jobs/day/")
def end_recorded_absence(request: HttpRequest, at: datetime, absence_id: UUID) -> HttpResponse:
    """End an absence now, or take it back before it begins."""
    query = _read_absence_query(request, at)
    if not end_absence(absence=absence_id, portfolio=query.portfolio.id, at=at):
        raise Http404
    return redirect(f"/jobs/day/away/?{query.address_of(person=query.person)}")


def _read_absence_query(request: HttpRequest, at: datetime) -> BookQuery:
    """Read portfolio, day and person; only for who records absences and plans jobs in the whole portfolio."""
    user = user_of(request)
    query = read_book_query(request.POST if request.method == "POST" else request.GET, user, at)
    for action in ("absence.record", "job.plan"):
        if not policy.portfolios_for(user, action, at).filter(id=query.portfolio.id).exists():
            raise PermissionDenied
    return query


def _read_span(texts: Mapping[str, str], zone: str) -> tuple[datetime, datetime | None]:
    """Return the span that the days mean, without an end where no last day is given. Raises Refused."""
    first, last = read_day(texts["first"]), read_day(texts["last"])
    if first is None:
        raise Refused("required", "Enter the day on which it begins.", ("first",), status=422)
    if texts["last"] and last is None:
        raise Refused("bad_value", "Enter a day, or leave it empty.", ("last",), status=422)
    if texts["part"] not in PARTS or (texts["part"] != "day" and last != first):
        raise Refused("bad_value", "Half a day begins and ends on one day.", ("part",), status=422)
    since, until = window_span(PARTS[texts["part"]], first, zone)
    assert since
    if texts["part"] != "day":
        return since, until
    return since, day_start(last + timedelta(days=1), zone) if last else None


def _absence_context(query: BookQuery, user: User, texts: Mapping[str, str], at: datetime) -> dict[str, object]:
    book = compose_day_book(user=user, portfolio=query.portfolio.id, day=query.day, zone=query.zone, at=at)
    column = next((c for c in book.columns if c.person.id == query.person), None)
    if column is None:
        raise Http404
    begin = day_start(query.day, query.zone)
    jobs = pipeline.jobs_during(query.portfolio.id, column.person.id, (begin, None), at)
    return {
        "query": query,
        "person": column.user,
        "opened": [OpenedJob(job, _takers_of(job, book, column.person.id)) for job in jobs],
        "others": [c.user for c in book.columns if c.person.id != query.person],
        "absences": absences_from(query.portfolio.id, at).filter(user=column.user),
        "reasons": REASONS,
        "days": [query.day + timedelta(days=n) for n in range(DAYS_OFFERED)],
        "parts": PART_WORDS,
        "texts": texts,
        "address": replace(query, person=None).address_of(),
        "here": "jobs",
    }


def _takers_of(job: Job, book: DayBook, away: UUID) -> list[str] | None:
    """Return who else could do a job of the day and from when, in words; None for a job of a later day."""
    row = next((r for r in book.rows if _is_row_of(r, job)), None)
    if row is None:
        return None
    return [
        f"{c.person.name} {cell_words(c.cell, row.work.zone)}"
        for c in row.cells
        if c.person.id != away and c.cell.is_free and c.cell.second != away
    ]


def _is_row_of(row: BookRow, job: Job) -> bool:
    return not row.is_trip and row.detail.job.id == job.id
