"""Adopting terms: a version is added; none is changed."""

from datetime import datetime
from uuid import UUID

from fleet.accounts.models import User
from fleet.catalog import queries as catalog
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio
from fleet.terms.incoming import IncomingTerms, terms_faults
from fleet.terms.models import Adoption


def adopt_version(
    *, portfolio: UUID, terms: IncomingTerms, version: int, by: User, at: datetime, request_id: str
) -> Adoption:
    """Add the next version of terms. `version` is the newest one the adopter saw, 0 for none.

    Raises Refused: 404 for an unknown portfolio, 412 where `version` is not the newest, 422 with every fault.
    """
    if not Portfolio.objects.select_for_update(no_key=True).filter(id=portfolio).exists():
        raise Refused("unknown_portfolio", "Portfolio not found.", status=404)
    newest = newest_of(portfolio)
    newest_version = newest.version if newest else 0
    if newest_version != version:
        raise Refused("stale", f"Version {newest_version} is now the newest.", ("version",), status=412)
    release = catalog.catalogue_of(catalog.newest_release_number() or 1)
    zones = Building.objects.filter(portfolio=portfolio).order_by().values_list("zone", flat=True).distinct()
    faults = terms_faults(terms, newest, zones=zones, catalogue=release, at=at)
    if faults:
        raise Refused.from_faults(faults, status=422)
    return Adoption.objects.create(
        portfolio_id=portfolio,
        version=newest_version + 1,
        starts_on=terms.starts_on,
        season=terms.season,
        urgent_days=terms.urgent_days,
        due_soon_days=terms.due_soon_days,
        operator_firing_days=terms.operator_firing_days,
        variants=dict(terms.variants),
        overrides={code: dict(override) for code, override in terms.overrides.items()},
        gauge_most_psi=terms.gauge_most_psi,
        relief_rule=terms.relief_rule,
        posted_at=at,
        posted_by=by,
        request_id=request_id,
    )


def newest_of(portfolio: UUID) -> Adoption | None:
    """Return the terms adopted last, None where the defaults apply."""
    return Adoption.objects.filter(portfolio=portfolio).order_by("-version").first()
