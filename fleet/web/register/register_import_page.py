"""Importing a sheet in two steps: hand in a file and read what it would do, then confirm. Both may take minutes."""

from datetime import datetime
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import BadRequest
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.catalog.queries import catalogue_at
from fleet.errors import Refused
from fleet.portfolio.models import Import, Portfolio
from fleet.sheets import columns, export, imports
from fleet.sheets.table import MAX_BYTES
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.request_bounds import has_storable_fields
from fleet.web.shared.write_attempts import parse_version

MAX_RECENT_IMPORTS = 20
FORM_OVERHEAD_BYTES = 16 * 1024  # what the multipart form adds to its file
ADDED_LABELS = (
    ("buildings", "New buildings"),
    ("boilers", "New boilers"),
    ("positions", "New places"),
    ("devices", "New devices"),
    ("settings", "New values"),
    ("declared", "Newly declared"),
)
STATUS_TEXTS = {
    "ready": "Not saved yet",
    "faulty": "Cannot be imported: it has faults",
    "saved": "Saved",
    "withdrawn": "Withdrawn, not saved",
    "failed": "Failed, nothing saved",
    "saving": "Being saved",
}
PART_TITLES = {
    "changes": "What changes",
    "not_on_record": "Not on record",
    "missing": "Missing from the file",
    "same": "Nothing new",
}


@signed_in_page
def show_import(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Show the form, what each column means, and the recent imports."""
    return render(request, "register/import.html", _import_context(_get_portfolio(request, portfolio_id, at), at))


@require_POST
@csrf_exempt  # checked in `_receive_file`: the check reads the body, and a body that is too large must not be read
def hand_in(request: HttpRequest, portfolio_id: UUID) -> HttpResponse:
    """Receive a file and show what it would do."""
    length = str(request.META.get("CONTENT_LENGTH") or "0")
    if not length.isdecimal() or int(length) > MAX_BYTES + FORM_OVERHEAD_BYTES:
        return HttpResponse(f"A file can be at most {MAX_BYTES >> 20} MiB.", status=413, content_type="text/plain")
    return _receive_file(request, portfolio_id)


@csrf_protect
def _receive_file(request: HttpRequest, portfolio_id: UUID) -> HttpResponse:
    if not request.user.is_authenticated:
        return redirect_to_login(f"/register/import/{portfolio_id}/")
    if not has_storable_fields(request):
        raise BadRequest("a form that cannot be stored")  # the middleware leaves the forms of such a view to it
    at = timezone.now()
    portfolio, user = _get_portfolio(request, portfolio_id, at), request.user
    sent = request.FILES.get("file")
    try:
        if sent is None:
            raise Refused("required", "Choose a file.")
        # One byte more than the limit, so that a larger file is refused without being read whole.
        content = sent.read(MAX_BYTES + 1)
        name = sent.name or ""
        row = pipeline.receive_import(portfolio=portfolio, content=content, name=name, by=user, at=at)
    except Refused as refused:
        messages = [f.message for f in refused.faults]
        return render(request, "register/import.html", _import_context(portfolio, at, messages), status=refused.status)
    return redirect(f"/register/imports/{row.id}/")


@signed_in_page
def show_report(request: HttpRequest, at: datetime, import_id: UUID) -> HttpResponse:
    """Show the status of an import and what it would do or did, row by row."""
    row = _get_import(request, import_id, at)
    if not request.headers.get("HX-Request"):
        return render(request, "register/report.html", _report_context(request, row))
    answer = render(request, "register/progress.html", _report_context(request, row))
    if row.status not in imports.BUSY_STATUSES:
        answer["HX-Refresh"] = "true"
    return answer


@signed_in_action("/register/imports/{import_id}/")
def decide_import(request: HttpRequest, at: datetime, import_id: UUID, kind: str) -> HttpResponse:
    """Confirm or withdraw an import, in the version the user saw."""
    row = _get_import(request, import_id, at)
    number = parse_version(request.POST.get("version", ""))
    try:
        if kind == "confirm":
            pipeline.confirm_import(import_row=row, version=number, by=user_of(request), at=at, cause=cause_of(request))
        else:
            pipeline.withdraw_import(import_row=row, version=number, at=at)
    except Refused as refused:
        context = {**_report_context(request, row), "faults_now": [f.message for f in refused.faults]}
        return render(request, "register/report.html", context, status=refused.status)
    return redirect(f"/register/imports/{row.id}/")


def _get_portfolio(request: HttpRequest, portfolio_id: UUID, at: datetime) -> Portfolio:
    return get_object_or_404(policy.portfolios_for(user_of(request), "register.change", at), id=portfolio_id)


def _get_import(request: HttpRequest, import_id: UUID, at: datetime) -> Import:
    portfolios = policy.portfolios_for(user_of(request), "register.change", at)
    return get_object_or_404(
        Import.objects.filter(portfolio__in=portfolios).defer("content", "table").select_related("portfolio"),
        id=import_id,
    )


def _import_context(portfolio: Portfolio, at: datetime, faults: list[str] | None = None) -> dict[str, object]:
    names = export.header_columns(None, catalogue_at(at))
    return {
        "portfolio": portfolio,
        "faults": faults or [],
        "columns": [(name, columns.explain_column(name)) for name in names if name in columns.EXPLANATIONS],
        "others": [name for name in names if name not in columns.EXPLANATIONS],
        "recent": Import.objects.filter(portfolio=portfolio)
        .defer("content", "table")
        .order_by("-received_at")[:MAX_RECENT_IMPORTS],
        "most": MAX_BYTES >> 20,
        "here": "register",
    }


def _report_context(request: HttpRequest, row: Import) -> dict[str, object]:
    part = request.GET.get("part", "changes")
    if part not in PART_TITLES:
        raise Http404
    page_text = request.GET.get("page", "0")
    number = int(page_text) if page_text.isdecimal() and len(page_text) < 6 else 0
    count, added = row.report.get(part, 0), row.report.get("added", {})
    return {
        "row": row,
        "status_text": STATUS_TEXTS.get(row.status, "Being compared"),
        "busy": row.status in imports.BUSY_STATUSES,
        "share": round(100 * row.done / row.total) if row.total else None,
        "parts": [(code, words, row.report.get(code, 0)) for code, words in PART_TITLES.items()],
        "part": part,
        "lines": imports.page_lines(row.id, part, number),
        "page": number,
        "pages": -(-count // imports.LINES_PER_PAGE),
        "totals": [(words, added[what]) for what, words in ADDED_LABELS if what in added],
        "here": "register",
    }
