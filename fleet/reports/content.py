"""What a shared link shows: the content of its report, and the same as PDF."""

from datetime import datetime

from fleet.assessments.report import render_pdf, report_data
from fleet.reports.boiler_year import compose_boiler_year
from fleet.reports.models import SharedLink
from fleet.reports.portfolio_page import compose_portfolio_page
from fleet.reports.typesetting import set_report

TEMPLATES = {"boiler_year": "boiler_year", "portfolio": "portfolio_page"}


def report_content(link: SharedLink, at: datetime) -> dict[str, object]:
    """Return the content of the link's report as of `at`, as texts."""
    if link.visit is not None:
        return report_data(link.visit, at)
    if link.boiler is not None:
        return compose_boiler_year(link.boiler, at)
    return compose_portfolio_page(link.portfolio, link.made_by, at)


def report_pdf(link: SharedLink, at: datetime) -> bytes:
    """Return the link's report as PDF."""
    if link.visit is not None:
        return render_pdf(link.visit, at)
    return set_report(TEMPLATES[link.kind], report_content(link, at), at)
