"""The register: a searchable list of buildings, a form to add one, and the downloads and imports of sheets."""

from datetime import datetime
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.calendar import day_of
from fleet.catalog.queries import catalogue_at
from fleet.portfolio.models import Boiler, Building, Portfolio
from fleet.sheets import export, register_views
from fleet.sheets.table_output import CSV_TYPE, XLSX_TYPE, as_csv, as_xlsx
from fleet.web.shared.forms import Form, FormField
from fleet.web.shared.pages import signed_in_action, signed_in_page

REF_HINT = "Short. It identifies the building and cannot be changed later."
ZONE_HINT = "Its days decide what is due. It cannot be changed later."
PAGE_SIZE = 100
WRITERS = {"csv": (CSV_TYPE, as_csv), "xlsx": (XLSX_TYPE, as_xlsx)}


@signed_in_page
def show_register(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the list of buildings."""
    return render(request, "register/buildings.html", _register_context(request, at, None))


@signed_in_action("/register/")
def add_building(request: HttpRequest, at: datetime) -> HttpResponse:
    """Add a building with its first boiler; faults are shown beside their fields."""
    form = _building_form(request, at)
    if form is None:
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    status = form.submit(request)
    if status == 200:
        return redirect(f"/register/?q={request.POST.get('building_ref', '').strip()[:64]}")
    return render(request, "register/buildings.html", _register_context(request, at, form), status=status)


@signed_in_page
def download_register(request: HttpRequest, at: datetime, portfolio_id: UUID, kind: str) -> StreamingHttpResponse:
    """Send a portfolio's register, as far as the user may see it, as a sheet; with `?example=yes` an empty example."""
    visible_boilers = policy.boilers_for(user_of(request), "register.see", at).filter(portfolio=portfolio_id)
    portfolio = Portfolio.objects.filter(id__in=visible_boilers.order_by().values("portfolio")).first()
    portfolio = portfolio or get_object_or_404(
        policy.portfolios_for(user_of(request), "register.see", at), id=portfolio_id
    )
    if kind not in WRITERS:
        raise Http404
    (media_type, write), release = WRITERS[kind], catalogue_at(at)
    example = request.GET.get("example") == "yes"
    rows = export.sheet_rows(portfolio=portfolio, boilers=visible_boilers, catalogue=release, at=at)
    safe_ref = "".join(c if c.isalnum() and c.isascii() else "-" for c in portfolio.ref)
    name = f"{safe_ref}-{'example' if example else 'register'}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(write(export.example_rows(release) if example else rows), media_type, headers=headers)


def _register_context(request: HttpRequest, at: datetime, form: Form | None) -> dict[str, object]:
    boilers = policy.boilers_for(user_of(request), "register.see", at)
    word = request.GET.get("q", "").strip()[:100]
    building_page: Page[Building] = Paginator(
        register_views.find_buildings(boilers, word).select_related("portfolio"), PAGE_SIZE
    ).get_page(request.GET.get("page"))
    return {
        "found": building_page,
        "word": word,
        "boilers": boilers.count(),
        "portfolios": _seen_portfolios(request, boilers, at),
        "with_terms": set(policy.portfolios_for(user_of(request), "terms.see", at).values_list("id", flat=True)),
        "may_import": set(policy.portfolios_for(user_of(request), "register.change", at).values_list("id", flat=True)),
        "form": form or _building_form(request, at),
        "here": "register",
    }


def _seen_portfolios(request: HttpRequest, boilers: QuerySet[Boiler], at: datetime) -> list[Portfolio]:
    """Return the portfolios of these boilers, and those whose register the user sees whole and that are still empty."""
    whole = policy.portfolios_for(user_of(request), "register.see", at).values("id")
    of_boilers = boilers.order_by().values("portfolio")
    return list(Portfolio.objects.filter(Q(id__in=of_boilers) | Q(id__in=whole)).order_by("name"))


def _building_form(request: HttpRequest, at: datetime) -> Form | None:
    """Return the form to add a building; None unless the user may change a whole portfolio."""
    portfolios = list(policy.portfolios_for(user_of(request), "register.change", at).order_by("name"))
    if not portfolios:
        return None
    today = day_of(at, "UTC").isoformat()

    def run_form(texts: dict[str, str], original: dict[str, str]) -> None:
        chosen_portfolio = next((p for p in portfolios if str(p.id) == texts["portfolio"]), portfolios[0])
        cells = {name: text for name, text in texts.items() if name != "portfolio"}
        pipeline.add_building(portfolio=chosen_portfolio, cells=cells, at=at, cause=cause_of(request))

    field = [FormField("portfolio", "Portfolio", choices=tuple((str(p.id), p.name) for p in portfolios), required=True)]
    fields = [
        *(field if len(portfolios) > 1 else [FormField("portfolio", "", str(portfolios[0].id), type="hidden")]),
        FormField("building_ref", "Ref", required=True, hint=REF_HINT),
        FormField("address", "Address", required=True),
        FormField("zone", "Time zone", "America/New_York", required=True, hint=ZONE_HINT),
        FormField("units", "Dwelling units"),
        FormField("access_hours", "Access hours", hint="For example mon-fri 08:00-17:00. Empty means at any time."),
        FormField("boiler_ref", "Its first boiler: ref", "B1", required=True),
        FormField("boiler_name", "Its first boiler: name", "Boiler 1", required=True),
        FormField("since", "On record since", today, type="date", required=True),
    ]
    return Form("building", "Add a building", fields, run_form, button="Add")
