"""The people of a portfolio for its office: who has which role, who is asked, and what became of each role."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import grants, people, policy
from fleet.accounts.models import Grant, GrantRecord, Qualification, User
from fleet.accounts.requests import user_of
from fleet.portfolio.models import Portfolio
from fleet.web.account.people_form import PeopleForm
from fleet.web.shared.pages import signed_in_page

SEE_ACTION, CHANGE_ACTION = "people.see", "people.change"
MAX_PEOPLE, MAX_RECORDS = 300, 200  # on a page; the API's lists have them all
STEP_WORDS = {
    "given": "given",
    "asked": "asked",
    "accepted": "accepted",
    "declined": "declined",
    "ended": "ended",
    "from_job": "followed from a job",
}


@dataclass(frozen=True, slots=True)
class PortfolioPeople:
    """A portfolio and its people, each with `here` and `counting` (`people.with_roles`)."""

    portfolio: Portfolio
    members: list[Any]
    has_more: bool
    may_change: bool

    @property
    def waiting(self) -> Iterator[tuple[User, Grant | Qualification]]:
        """Yield who is asked and has not answered, with what is asked."""
        for member in self.members:
            yield from ((member, grant) for grant in member.here if grant.asked_since)
            yield from ((member, row) for row in member.counting if row.waits_since)


@signed_in_page
def show_people(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the people of every portfolio whose people the user sees; 404 where that is none."""
    portfolios = policy.portfolios_for(user_of(request), SEE_ACTION, at).order_by("name", "id")
    changeable = set(policy.portfolios_for(user_of(request), CHANGE_ACTION, at).values_list("id", flat=True))
    groups = [_people_of(portfolio, at, may_change=portfolio.id in changeable) for portfolio in portfolios]
    if not groups:
        raise Http404
    return render(request, "account/people.html", {"groups": groups, "zone": "UTC", "as_of": at, "here": "account"})


@signed_in_page
def show_new_person(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Show the form that makes a new person; 404 for who may not see the people, 403 for who may not change them."""
    user = user_of(request)
    portfolio = get_object_or_404(policy.portfolios_for(user, SEE_ACTION, at), id=portfolio_id)
    if not policy.portfolios_for(user, CHANGE_ACTION, at).filter(id=portfolio_id).exists():
        raise PermissionDenied
    context = {"form": PeopleForm(portfolio), "as_of": at, "zone": "UTC", "here": "account"}
    return render(request, "account/person_new.html", context)


@signed_in_page
def show_role_history(request: HttpRequest, at: datetime, portfolio_id: UUID, person_id: UUID) -> HttpResponse:
    """Show what became of a person's roles in one portfolio; 404 for who never had nor was asked about one."""
    portfolio = get_object_or_404(policy.portfolios_for(user_of(request), SEE_ACTION, at), id=portfolio_id)
    context = role_history_context(request, at, PeopleForm(portfolio, person_id))
    return render(request, "account/role_history.html", context)


def role_history_context(request: HttpRequest, at: datetime, form: PeopleForm) -> dict[str, object]:
    """Return what the page of one person shows. Raises Http404 for who never had nor was asked about a role."""
    portfolio, person_id = form.portfolio, form.person
    if person_id is None or not Grant.asked_or_accepted.filter(user=person_id, portfolio=portfolio).exists():
        raise Http404
    records = list(grants.role_history(person_id, portfolio.id, at)[: MAX_RECORDS + 1])
    changeable = policy.portfolios_for(user_of(request), CHANGE_ACTION, at).filter(id=portfolio.id)
    return {
        "portfolio": portfolio,
        "member": people.with_roles([person_id], portfolio.id, at).get(),
        "steps": [(record, _step_words(record)) for record in records[:MAX_RECORDS]],
        "has_more": len(records) > MAX_RECORDS,
        "may_change": changeable.exists(),
        "form": form,
        "zone": "UTC",
        "as_of": at,
        "here": "account",
    }


def _people_of(portfolio: Portfolio, at: datetime, *, may_change: bool) -> PortfolioPeople:
    ids = list(people.people_of_portfolio(portfolio.id, at).order_by("username").values_list("id", flat=True))
    members = list(people.with_roles(ids[:MAX_PEOPLE], portfolio.id, at))
    return PortfolioPeople(portfolio, members, has_more=len(ids) > MAX_PEOPLE, may_change=may_change)


def _step_words(record: GrantRecord) -> str:
    return STEP_WORDS.get(record.kind, record.kind)
