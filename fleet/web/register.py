"""The register: a searchable list of buildings, a form to add one, and the downloads and imports of sheets."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.calendar import day_of
from fleet.pipeline.edits import release_at
from fleet.portfolio import export, seen
from fleet.portfolio.models import Portfolio
from fleet.portfolio.writing import CSV_TYPE, XLSX_TYPE, as_csv, as_xlsx
from fleet.web.pages import page
from fleet.web.register_boiler import cause_of
from fleet.web.register_forms import Field, Form

MOST = 100
WRITERS = {"csv": (CSV_TYPE, as_csv), "xlsx": (XLSX_TYPE, as_xlsx)}


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the list of buildings."""
    return render(request, "register/buildings.html", _context(request, at, None))


@require_POST
def add(request: HttpRequest) -> HttpResponse:
    """Add a building with its first boiler; faults are shown beside their fields."""
    if not request.user.is_authenticated:
        return redirect_to_login("/register/")
    at = timezone.now()
    form = _form(request, at)
    if form is None:
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    status = form.sent(request)
    if status == 200:
        return redirect(f"/register/?q={request.POST.get('building_ref', '').strip()[:64]}")
    return render(request, "register/buildings.html", _context(request, at, form), status=status)


@page
def download(request: HttpRequest, at: datetime, portfolio_id: UUID, kind: str) -> StreamingHttpResponse:
    """Send a portfolio's register, as far as the user may see it, as a sheet; with `?example=yes` an empty example."""
    own = policy.boilers(request.user, "register.see", at).filter(portfolio=portfolio_id)
    portfolio = Portfolio.objects.filter(id__in=own.order_by().values("portfolio")).first()
    portfolio = portfolio or get_object_or_404(policy.portfolios(request.user, "register.see", at), id=portfolio_id)
    if kind not in WRITERS:
        raise Http404
    (media_type, write), release = WRITERS[kind], release_at(at)
    example = request.GET.get("example") == "yes"
    rows = export.sheet(portfolio=portfolio, boilers=own, catalogue=release, at=at)
    named = "".join(c if c.isalnum() and c.isascii() else "-" for c in portfolio.ref)
    name = f"{named}-{'example' if example else 'register'}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(write(export.example(release) if example else rows), media_type, headers=headers)


def _context(request: HttpRequest, at: datetime, form: Form | None) -> dict[str, Any]:
    boilers = policy.boilers(request.user, "register.see", at)
    word = request.GET.get("q", "").strip()[:100].replace("\x00", "")
    found: Page[Any] = Paginator(seen.buildings(boilers, word).select_related("portfolio"), MOST).get_page(
        request.GET.get("page")
    )
    return {
        "found": found,
        "word": word,
        "boilers": boilers.count(),
        "portfolios": list(Portfolio.objects.filter(id__in=boilers.order_by().values("portfolio")).order_by("name")),
        "may_import": set(policy.portfolios(request.user, "register.change", at).values_list("id", flat=True)),
        "form": form or _form(request, at),
        "here": "register",
    }


def _form(request: HttpRequest, at: datetime) -> Form | None:
    """Return the form to add a building; None unless the user may change a whole portfolio."""
    own = list(policy.portfolios(request.user, "register.change", at).order_by("name"))
    if not own:
        return None
    today = day_of(at, "UTC").isoformat()

    def run(given: dict[str, str], was: dict[str, str]) -> None:
        chosen = next((p for p in own if str(p.id) == given["portfolio"]), own[0])
        cells = {name: text for name, text in given.items() if name != "portfolio"}
        pipeline.add_building(portfolio=chosen, cells=cells, at=at, cause=cause_of(request))

    portfolio = [Field("portfolio", "Portfolio", choices=tuple((str(p.id), p.name) for p in own), required=True)]
    fields = [
        *(portfolio if len(own) > 1 else [Field("portfolio", "", str(own[0].id), type="hidden")]),
        Field("building_ref", "Ref", required=True, hint="Short, and never another: the building is known by it."),
        Field("address", "Address", required=True),
        Field("zone", "Time zone", "America/New_York", required=True, hint="Its days decide what is due. Fixed."),
        Field("units", "Dwelling units"),
        Field("access_hours", "Access hours", hint="As in mon-fri 08:00-17:00; empty is at any time."),
        Field("boiler_ref", "Its first boiler: ref", "B1", required=True),
        Field("boiler_name", "Its first boiler: name", "Boiler 1", required=True),
        Field("since", "On record since", today, type="date", required=True),
    ]
    return Form("building", "Add a building", fields, run, button="Add")
