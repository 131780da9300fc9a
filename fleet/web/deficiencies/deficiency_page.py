"""One deficiency: its whole life, what closes it, the jobs that include it, and the forms for decisions."""

from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.board import history
from fleet.deficiencies import queries, story
from fleet.deficiencies.models import Deficiency
from fleet.files.queries import photographs_of_entries
from fleet.jobs import current_job
from fleet.jobs import queries as jobs
from fleet.jobs.models import Job
from fleet.visits import queries as visits
from fleet.web.deficiencies.decisions import forms_for
from fleet.web.shared.forms import Form, find_sent_form
from fleet.web.shared.pages import signed_in_action, signed_in_page

GONE_STATUSES = ("withdrawn", "merged")


@signed_in_page
def show_deficiency(request: HttpRequest, at: datetime, deficiency_id: UUID) -> HttpResponse:
    """Show the page of one deficiency; 404 if the user may not see its boiler."""
    row = _get_visible_deficiency(user_of(request), deficiency_id, at)
    deficiency = queries.deficiency_detail(row, at)
    return render(
        request,
        "deficiencies/deficiency.html",
        _page_context(request, deficiency, forms_for(request, deficiency, at), at),
    )


@signed_in_action("/deficiencies/{deficiency_id}/")
def decide_deficiency(request: HttpRequest, at: datetime, deficiency_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    deficiency = queries.deficiency_detail(_get_visible_deficiency(user_of(request), deficiency_id, at), at)
    forms = forms_for(request, deficiency, at, offered=False)
    form = find_sent_form(forms, request)
    if form is None:
        return _not_offered(request)
    status = form.submit(request)
    if status == 200:
        return redirect(f"/deficiencies/{deficiency_id}/#life")
    deficiency = queries.deficiency_detail(_get_visible_deficiency(user_of(request), deficiency_id, at), at)
    return render(request, "deficiencies/deficiency.html", _page_context(request, deficiency, forms, at), status=status)


def _not_offered(request: HttpRequest) -> HttpResponse:
    if request.POST.get("form", "") not in ("assigned", "repair_reported", "deferred", "explained"):
        raise Http404
    return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")


def _get_visible_deficiency(user: User, deficiency_id: UUID, at: datetime) -> Deficiency:
    visible_boilers = policy.boilers_for(user, "board.see", at)
    rows = Deficiency.objects.filter(id=deficiency_id, boiler__in=visible_boilers, opened_at__lte=at)
    row = rows.select_related("boiler__building__portfolio", "position", "opened_by").first()
    if row is None:
        raise Http404
    return row


def _life_events(deficiency: queries.DeficiencyDetail) -> list[story.LifeEvent]:
    row = deficiency.row
    withdrawal = history.deficiency_changes(row.id).filter(after__in=GONE_STATUSES).first() if row.withdrawn else None
    withdrawn_at = withdrawal.recorded_at if withdrawal else None
    return story.life_events(deficiency, row.swallowed.order_by("opened_at"), withdrawn_at)


def _jobs_about(user: User, row: Deficiency, at: datetime) -> QuerySet[Job]:
    rows = jobs.visible_jobs(user, at).filter(items__deficiency=row)
    return rows.select_related("technician").order_by("created_at", "id").distinct()


def _entries_told(row: Deficiency, events: list[story.LifeEvent]) -> set[UUID]:
    """Return the entries that opened it or that its life names."""
    return {e.entry for e in events if e.entry} | ({row.opened_by_id} if row.opened_by_id else set())


def _page_context(
    request: HttpRequest, deficiency: queries.DeficiencyDetail, forms: list[Form], at: datetime
) -> dict[str, object]:
    row, user = deficiency.row, user_of(request)
    building, events = row.boiler.building, _life_events(deficiency)
    first_act, clears_by = queries.advice_for(row, at)
    may_read = policy.is_allowed(user, "visit.see", portfolio=row.portfolio_id, building=building.id, at=at)
    return {
        "row": row,
        "life": deficiency.life,
        "is_open": row.closed_at is None and not row.withdrawn,
        "job": current_job.current_jobs_of_deficiencies(user, [row.id], at).get(row.id),
        "building": building,
        "events": events,
        "entries": visits.entry_places(e.entry for e in events if e.entry) if may_read else {},
        "photographs": photographs_of_entries(row.portfolio_id, _entries_told(row, events)) if may_read else [],
        "may_read": may_read,
        "jobs": [(job, jobs.status_at(job, at)) for job in _jobs_about(user, row, at)],
        "may_make": policy.is_allowed(user, "job.create", portfolio=row.portfolio_id, building=building.id, at=at),
        "first_act": first_act,
        "clears_by": clears_by,
        "forms": forms,
        "as_of": at,
        "here": "deficiencies",
    }
