"""What a portfolio adopted, from when, beside the interval of the source; owners adopt the next version."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.catalog import queries as catalog
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio
from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.rules.values import AdoptedTerms
from fleet.terms.adopted_intervals import AdoptedInterval, adopted_interval, published_variants
from fleet.terms.incoming import IncomingTerms
from fleet.terms.models import Adoption
from fleet.terms.queries import terms_in_force
from fleet.terms.services import newest_of
from fleet.web.shared.pages import signed_in_action, signed_in_page

COUNT_NAMES = ("urgent_days", "due_soon_days", "operator_firing_days")
MAX_TYPED = 200


@dataclass(frozen=True, slots=True)
class TermsLine:
    """One procedure: how often its source asks for it, and how often this portfolio does."""

    procedure: ProcedureSpec
    adopted: AdoptedInterval

    @property
    def source_interval(self) -> str:
        """The source's interval; "" where it names none."""
        return str(self.procedure.interval) if self.procedure.interval else ""

    @property
    def differs(self) -> bool:
        """Whether the portfolio asks for it otherwise than the source."""
        return bool(self.adopted.variant or self.adopted.override)


@signed_in_page
def show_terms(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Show the terms in force now, each version adopted, and to owners the form."""
    return render(request, "terms/terms.html", _page_context(request, _find_portfolio(request, portfolio_id, at), at))


@signed_in_action("/terms/{portfolio_id}/")
def adopt_terms(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Adopt the next version: the newest one with what the form changes. What is refused keeps what was typed."""
    portfolio, user = _find_portfolio(request, portfolio_id, at), user_of(request)
    if not policy.portfolios_for(user, "terms.adopt", at).filter(id=portfolio_id).exists():
        raise PermissionDenied
    names = ("season", *COUNT_NAMES, "starts_on", "procedure", "interval", "grace_days", "source", "variant", "version")
    typed = {name: request.POST.get(name, "").strip()[:MAX_TYPED] for name in names}
    try:
        terms = _read_terms(typed, newest_of(portfolio.id))
        version = _read_count(typed["version"], "version")
        pipeline.adopt_terms(
            portfolio=portfolio.id, terms=terms, version=version, by=user, at=at, cause=cause_of(request)
        )
    except Refused as refused:
        context = _page_context(request, portfolio, at)
        context |= {"typed": typed, "faults": [fault.message for fault in refused.faults]}
        return render(request, "terms/terms.html", context, status=refused.status)
    return redirect(f"/terms/{portfolio.id}/")


def _find_portfolio(request: HttpRequest, portfolio_id: UUID, at: datetime) -> Portfolio:
    return get_object_or_404(policy.portfolios_for(user_of(request), "terms.see", at), id=portfolio_id)


def _read_terms(typed: dict[str, str], newest: Adoption | None) -> IncomingTerms:
    """Return the newest terms with what was typed. Raises Refused (422) for what is no number or no day."""
    base = _terms_of(newest)
    overrides, variants = _read_overrides(typed, base), dict(base.variants)
    procedure, _, variant = typed["variant"].partition(" ")
    if procedure:
        variants.pop(procedure, None)
        if variant:
            variants[procedure] = variant
    return replace(
        base,
        starts_on=_read_day(typed["starts_on"]),
        season=typed["season"],
        overrides=overrides,
        variants=variants,
        urgent_days=_read_count(typed["urgent_days"], "urgent_days"),
        due_soon_days=_read_count(typed["due_soon_days"], "due_soon_days"),
        operator_firing_days=_read_count(typed["operator_firing_days"], "operator_firing_days"),
    )


def _read_overrides(typed: dict[str, str], base: IncomingTerms) -> dict[str, dict[str, object]]:
    """Return the intervals of one's own with the one typed; a procedure without an interval goes back to its source."""
    overrides = {code: dict(override) for code, override in base.overrides.items() if code != typed["procedure"]}
    if typed["procedure"] and typed["interval"]:
        grace = _read_count(typed["grace_days"] or "0", "grace_days")
        own_interval = {"interval": typed["interval"], "grace_days": grace, "source": typed["source"]}
        overrides[typed["procedure"]] = own_interval
    return overrides


def _terms_of(newest: Adoption | None) -> IncomingTerms:
    if newest is None:
        return IncomingTerms()
    names = asdict(IncomingTerms()).keys()
    return IncomingTerms(**{name: getattr(newest, name) for name in names})


def _read_count(text: str, name: str) -> int:
    if not text.isdecimal() or len(text) > 6:
        raise Refused("bad_value", f"{name.replace('_', ' ').capitalize()}: a whole number.", (name,), status=422)
    return int(text)


def _read_day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        message = "The first day is written like 2027-01-31."
        raise Refused("bad_value", message, ("starts_on",), status=422) from error


def _page_context(request: HttpRequest, portfolio: Portfolio, at: datetime) -> dict[str, object]:
    zone = Building.objects.filter(portfolio=portfolio).order_by("ref").values_list("zone", flat=True).first() or "UTC"
    release, terms = catalog.catalogue_at(at), terms_in_force(portfolio.id, zone, at)
    newest = newest_of(portfolio.id)
    return {
        "portfolio": portfolio,
        "terms": terms,
        "lines": list(_terms_lines(release, terms)),
        "versions": Adoption.objects.filter(portfolio=portfolio).select_related("posted_by").order_by("-version"),
        "newest": newest or Adoption(version=0, season=IncomingTerms().season),
        "variants": [(p, v) for p in _by_name(release) for v in published_variants(p, release)],
        "may_adopt": policy.portfolios_for(user_of(request), "terms.adopt", at).filter(id=portfolio.id).exists(),
        "typed": {},
        "as_of": at,
        "zone": zone,
        "here": "register",
    }


def _by_name(release: Catalogue) -> list[ProcedureSpec]:
    return sorted(release.procedures.values(), key=lambda procedure: procedure.name)


def _terms_lines(release: Catalogue, terms: AdoptedTerms) -> Iterator[TermsLine]:
    """Yield the procedures that anybody asks for at an interval; those adopted otherwise than the source come first."""
    lines = [TermsLine(procedure, adopted_interval(procedure, terms, release)) for procedure in _by_name(release)]
    listed = [line for line in lines if line.source_interval or line.adopted.interval]
    yield from sorted(listed, key=lambda line: not line.differs)
