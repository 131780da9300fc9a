"""Reports as PDF for who is signed in, the links one has shared, and what a link shows to anybody who has it."""

from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.reports import shared_links
from fleet.reports.boiler_year import compose_boiler_year
from fleet.reports.content import report_content, report_pdf
from fleet.reports.portfolio_page import compose_portfolio_page, compose_portfolio_table
from fleet.reports.shared_links import SEE_ACTION
from fleet.reports.typesetting import set_report
from fleet.sheets.table_output import as_csv
from fleet.web.shared.pages import signed_in_action, signed_in_page

PAGES = {
    "visit": "reports/visit.html",
    "boiler_year": "reports/boiler_year.html",
    "portfolio": "reports/portfolio.html",
}


@signed_in_page
def show_boiler_year(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Send a boiler's year as PDF."""
    boilers = policy.boilers_for(user_of(request), SEE_ACTION, at).select_related("building")
    boiler = get_object_or_404(boilers, id=boiler_id)
    return _pdf_response(set_report("boiler_year", compose_boiler_year(boiler, at), at), "boiler-year")


@signed_in_page
def show_portfolio_page(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Send a portfolio on one page as PDF."""
    portfolio = get_object_or_404(policy.portfolios_for(user_of(request), SEE_ACTION, at), id=portfolio_id)
    content = compose_portfolio_page(portfolio, user_of(request), at)
    return _pdf_response(set_report("portfolio_page", content, at), "portfolio")


@signed_in_page
def show_portfolio_status(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Show a portfolio on one page, as whoever gets a link to it would see it."""
    portfolio = get_object_or_404(policy.portfolios_for(user_of(request), SEE_ACTION, at), id=portfolio_id)
    context = {"told": compose_portfolio_page(portfolio, user_of(request), at), "portfolio": portfolio}
    return render(request, "reports/portfolio.html", context)


@signed_in_page
def download_portfolio_table(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Send the standing of every boiler of a portfolio as CSV."""
    portfolio = get_object_or_404(policy.portfolios_for(user_of(request), SEE_ACTION, at), id=portfolio_id)
    rows = compose_portfolio_table(portfolio, user_of(request), at)
    headers = {"Content-Disposition": 'attachment; filename="portfolio.csv"', "X-Content-Type-Options": "nosniff"}
    return HttpResponse(b"".join(as_csv(rows)), content_type="text/csv; charset=utf-8", headers=headers)


@signed_in_page
def show_links(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the links one has shared and that are in force, and the portfolios that can be shared whole."""
    user = user_of(request)
    portfolios = policy.portfolios_for(user, SEE_ACTION, at).order_by("name")
    context = {"links": shared_links.links_of(user, at), "portfolios": portfolios, "as_of": at, "here": "links"}
    return render(request, "reports/links.html", context)


@signed_in_action("/shared/")
def share_report(request: HttpRequest, at: datetime, kind: str, subject_id: UUID) -> HttpResponse:
    """Make a link to a report and show its address once."""
    subject = shared_links.find_subject(user_of(request), kind, subject_id, at)
    if subject is None:
        raise Http404
    try:
        days = int(request.POST.get("days") or shared_links.DEFAULT_DAYS)
        new_link = shared_links.share_report(subject=subject, by=user_of(request), days=days, at=at)
    except (ValueError, Refused) as error:
        fault = error.faults[0].message if isinstance(error, Refused) else "Give a number of days."
        messages.error(request, fault)
        return redirect("shared-links")
    address = request.build_absolute_uri(f"/report/{new_link.secret}/")
    response = render(request, "reports/made.html", {"link": new_link.link, "address": address, "as_of": at})
    response["Cache-Control"] = "no-store"
    return response


@signed_in_action("/shared/")
def end_link(request: HttpRequest, at: datetime, link_id: UUID) -> HttpResponse:
    """End a link of one's own."""
    if not shared_links.end_link(link=link_id, by=user_of(request), at=at):
        raise Http404
    return redirect("shared-links")


@require_safe
def show_shared_report(request: HttpRequest, secret: str) -> HttpResponse:
    """Show a shared report to anybody who has its address. Unknown, ended and expired addresses answer alike."""
    at = timezone.now()
    link = shared_links.open_link(secret, at)
    if link is None:
        return _not_shared(request)
    context = {"told": report_content(link, at), "link": link, "secret": secret}
    return _keep_private(render(request, PAGES[link.kind], context))


@require_safe
def show_shared_pdf(request: HttpRequest, secret: str) -> HttpResponse:
    """Send a shared report as PDF to anybody who has its address."""
    at = timezone.now()
    link = shared_links.open_link(secret, at)
    if link is None:
        return _not_shared(request)
    return _keep_private(_pdf_response(report_pdf(link, at), link.kind.replace("_", "-")))


def _not_shared(request: HttpRequest) -> HttpResponse:
    return _keep_private(render(request, "reports/not_shared.html", {"told": {}}, status=404))


def _pdf_response(content: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"', "X-Content-Type-Options": "nosniff"}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _keep_private(response: HttpResponse) -> HttpResponse:
    """Have nobody keep it, list it, or hear of its address through a link that is followed."""
    response["Cache-Control"] = "private, no-store"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response
