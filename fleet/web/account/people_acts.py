"""What is done on the people's pages: giving a role, ending one, noting a qualification. Typed text is never lost."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from fleet import pipeline
from fleet.accounts import people, policy
from fleet.accounts.models import Grant
from fleet.accounts.people import ROLES, RoleWish
from fleet.accounts.requests import cause_of, user_of
from fleet.accounts.welcome_links import welcome_path
from fleet.calendar import day_start
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio
from fleet.rules.vocabulary import QUALIFICATIONS
from fleet.web.account.people_form import PeopleForm
from fleet.web.account.people_page import SEE_ACTION, role_history_context
from fleet.web.shared.boiler_filter import canonical_id
from fleet.web.shared.pages import signed_in_action

CHANGE_ACTION = "people.change"
MAX_TYPED = 120


def changeable_portfolio(request: HttpRequest, portfolio_id: UUID, at: datetime) -> Portfolio:
    """Return the portfolio; 404 for who may not see its people, 403 for who may not change them."""
    user = user_of(request)
    portfolio = get_object_or_404(policy.portfolios_for(user, SEE_ACTION, at), id=portfolio_id)
    if not policy.portfolios_for(user, CHANGE_ACTION, at).filter(id=portfolio_id).exists():
        raise PermissionDenied
    return portfolio


@never_cache
@signed_in_action("/account/people/")
def add_person(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Make a new person with a role; the address at which to choose a password is shown once."""
    form = _read_form(request, changeable_portfolio(request, portfolio_id, at))
    username, name = form.typed["username"].lower(), form.typed["name"]
    try:
        if not people.USERNAME.fullmatch(username):
            raise Refused("bad_value", people.USERNAME_RULE, ("username",), status=422)
        if not name:
            raise Refused("required", "Give the person's name.", ("name",), status=422)
        grant = _give_role(request, form, user=None, new=(username, name), at=at)
    except Refused as refused:
        form.faults = [fault.message for fault in refused.faults]
        return render(request, "account/person_new.html", _form_context(form, at), status=refused.status)
    form.welcome = request.build_absolute_uri(welcome_path(grant.user))
    return render(request, "account/person_new.html", _form_context(form, at))


@signed_in_action("/account/people/")
def give_another_role(request: HttpRequest, at: datetime, portfolio_id: UUID, person_id: UUID) -> HttpResponse:
    """Give a role to somebody who is known here."""
    form = _read_form(request, changeable_portfolio(request, portfolio_id, at), person_id)
    return _answer_form(request, form, at, lambda: _give_role(request, form, user=person_id, new=("", ""), at=at))


@signed_in_action("/account/people/")
def note_qualification(request: HttpRequest, at: datetime, portfolio_id: UUID, person_id: UUID) -> HttpResponse:
    """Note what somebody is qualified for, from a day on."""
    form = _read_form(request, changeable_portfolio(request, portfolio_id, at), person_id)

    def note_it() -> object:
        since = _read_day(form, "since")
        if since is None or form.typed["code"] not in QUALIFICATIONS:
            raise Refused("required", "Choose a qualification and its first day.", ("since",), status=422)
        until = _read_day(form, "until", days_later=1)
        return pipeline.qualify_person(
            portfolio=form.portfolio.id,
            user=person_id,
            code=form.typed["code"],
            since=since,
            until=until,
            by=user_of(request),
            at=at,
            cause=cause_of(request),
        )

    return _answer_form(request, form, at, note_it)


@signed_in_action("/account/people/")
def end_role(request: HttpRequest, at: datetime, portfolio_id: UUID, person_id: UUID, grant_id: UUID) -> HttpResponse:
    """End a role from now on, or take back what was asked."""
    form = _read_form(request, changeable_portfolio(request, portfolio_id, at), person_id)
    rows = Grant.asked_or_accepted.filter(portfolio=portfolio_id, user=person_id)
    grant = rows.filter(id=grant_id).select_related("user", "building").first()
    if grant is None:
        raise Http404
    by, cause = user_of(request), cause_of(request)
    return _answer_form(request, form, at, lambda: pipeline.end_role(grant=grant, by=by, at=at, cause=cause))


def _read_form(request: HttpRequest, portfolio: Portfolio, person: UUID | None = None) -> PeopleForm:
    names = ("username", "name", "role", "building", "until", "code", "since")
    typed = {name: request.POST.get(name, "").strip()[:MAX_TYPED] for name in names}
    return PeopleForm(portfolio, person, typed)


def _give_role(
    request: HttpRequest, form: PeopleForm, *, user: UUID | None, new: tuple[str, str], at: datetime
) -> Grant:
    if form.typed["role"] not in ROLES:
        raise Refused("required", "Choose a role.", ("role",), status=422)
    building = canonical_id(form.typed["building"])
    wish = RoleWish(form.typed["role"], UUID(building) if building else None, _read_day(form, "until", days_later=1))
    return pipeline.grant_role(
        portfolio=form.portfolio.id,
        user=user,
        new=new,
        wish=wish,
        by=user_of(request),
        at=at,
        cause=cause_of(request),
    )


def _read_day(form: PeopleForm, name: str, days_later: int = 0) -> datetime | None:
    """Return where a local day of the portfolio begins, or the one so many days later; None for an empty field.

    Raises Refused (422) for what is no day.
    """
    text = form.typed[name]
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise Refused("bad_value", "A day, such as 2027-01-31.", (name,), status=422) from error
    if not 2000 <= day.year <= 2100:
        raise Refused("out_of_range", "A day from 2000 to 2100.", (name,), status=422)
    zones = Building.objects.filter(portfolio=form.portfolio).order_by("ref").values_list("zone", flat=True)
    return day_start(day + timedelta(days=days_later), zones.first() or "UTC")


def _answer_form(request: HttpRequest, form: PeopleForm, at: datetime, run: Callable[[], object]) -> HttpResponse:
    """Run what a form asks and go back to the person, or show the person's page with the faults."""
    try:
        run()
    except Refused as refused:
        form.faults = [fault.message for fault in refused.faults]
        context = role_history_context(request, at, form)
        return render(request, "account/role_history.html", context, status=refused.status)
    return redirect(reverse("role-history-page", args=[form.portfolio.id, form.person]))


def _form_context(form: PeopleForm, at: datetime) -> dict[str, object]:
    return {"form": form, "as_of": at, "zone": "UTC", "here": "account"}
