"""Reading adopted terms."""

from datetime import date, datetime
from uuid import UUID

from django.db.models import Q

from fleet.rules.values import AdoptedTerms
from fleet.terms.models import Adoption
from fleet.terms.values import as_terms


def terms_in_force(portfolio: UUID, zone: str, at: datetime) -> AdoptedTerms:
    """Return the terms in force in a building's zone at `at`: one query. The first terms hold for all earlier time."""
    all_terms = as_terms(Adoption.objects.filter(portfolio=portfolio).order_by("version"), zone)
    return [t for t in all_terms if t.since is None or t.since <= at or t is all_terms[0]][-1]


def versions_on(day: date) -> dict[UUID, int]:
    """Return the version of terms in force on a day by portfolio: one query. Portfolios without terms are left out."""
    begun = Adoption.objects.filter(Q(starts_on=None) | Q(starts_on__lte=day)).order_by("version")
    return dict(begun.values_list("portfolio", "version"))
