"""The account page: the user's roles, qualifications, sessions, API keys, calendar feeds, units and telephone."""

from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache

from fleet.accounts import browser_sessions, keys, people, policy
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.requests import user_of
from fleet.accounts.scopes import READ, SCOPES
from fleet.cards import pins
from fleet.cards import queries as card_queries
from fleet.errors import Refused
from fleet.jobs import feeds
from fleet.jobs.models import Feed
from fleet.portfolio.models import Portfolio
from fleet.records.row_spans import not_ended
from fleet.web.shared.naming import is_asked_for_a_visit
from fleet.web.shared.number_format import CHOICES
from fleet.web.shared.pages import PageView, signed_in_action, signed_in_page

SCOPE_PURPOSES = {
    READ: "see boilers, visits, jobs, terms and the register",
    "visits": "post, correct and second visits",
    "acts": "decide about deficiencies and alerts",
    "jobs": "make, plan, answer and cancel jobs",
    "register": "change the register and the terms",
    "office": "people, boiler-room cards, refused posts, the self-check",
}
KEY_LIFETIMES = {"30": "30 days", "90": "90 days", "365": "a year", "400": "400 days (the maximum)"}
KEY_CHOICES = {"scopes": SCOPE_PURPOSES.items(), "lasts": KEY_LIFETIMES.items()}
UNIT_OPTIONS = [
    ("both", CHOICES["both"], "as in “15 psi (103 kPa)”; charts, drawings and sentences in US units"),
    ("us", CHOICES["us"], "as in “15 psi”"),
    ("si", CHOICES["si"], "as in “103 kPa”; what a rule says and what is on record keeps its own figure beside it"),
]
ALL_JOBS, OWN_JOBS = "whole", "own"
SHOWN_PIN_POSTS = 5


@signed_in_page
def show_account(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the account page of the signed-in user."""
    return render(request, "account/account.html", _account_context(request, at))


def _account_form(view: PageView) -> PageView:
    """Make `view` a POST-only form handler for signed-in users. Answers are never cached: they may hold a secret."""
    return never_cache(signed_in_action("/account/")(view))


@_account_form
def make_key(request: HttpRequest, at: datetime) -> HttpResponse:
    """Make an API key and show its secret once."""
    user = user_of(request)
    name = request.POST.get("name", "").strip()[:100]
    lifetime = request.POST.get("lasts", "365")
    days = int(lifetime) if lifetime in KEY_LIFETIMES else 365
    try:
        if not name:
            raise Refused("required", "A key needs the name of the device it is for.", ("name",), status=422)
        scopes = request.POST.getlist("scopes")[: len(SCOPES)]
        portfolio_id = _find_portfolio_id(user, request.POST.get("portfolio", ""), at)
        with transaction.atomic():
            expires_at = at + timedelta(days=days)
            new_key = keys.create_key(
                user=user, name=name, scopes=scopes, portfolio=portfolio_id, expires_at=expires_at, at=at
            )
    except Refused as refused:
        fault_context = {"key_faults": [f.message for f in refused.faults], "key_name": name}
        return render(
            request, "account/account.html", {**_account_context(request, at), **fault_context}, status=refused.status
        )
    return render(
        request,
        "account/account.html",
        {**_account_context(request, at), "made": new_key.key, "secret": new_key.secret},
    )


@_account_form
def revoke_key(request: HttpRequest, at: datetime, key_id: UUID) -> HttpResponse:
    """Revoke one of the user's keys; 404 if it is not in force."""
    user = user_of(request)
    if not keys.keys_in_force(user, at).filter(id=key_id).exists() or not keys.revoke_key(key=key_id, by=user, at=at):
        raise Http404
    return redirect("/account/#keys")


@_account_form
def make_feed(request: HttpRequest, at: datetime) -> HttpResponse:
    """Make a calendar feed and show its secret address once."""
    user = user_of(request)
    text, _, kind = request.POST.get("of", "").partition(" ")
    portfolio_id = _find_portfolio_id(user, text, at)
    if portfolio_id is None or kind not in (ALL_JOBS, OWN_JOBS):
        raise Http404
    if (portfolio_id, kind) not in {(p.id, k) for p, k, _ in _offered_calendars(user, at)}:
        raise PermissionDenied
    if len(feeds.feeds_of(user)) >= feeds.MAX_FEEDS:
        fault_context = {"feed_faults": [f"At most {feeds.MAX_FEEDS} calendar feeds at a time. Revoke one first."]}
        return render(request, "account/account.html", {**_account_context(request, at), **fault_context}, status=409)
    new_feed = feeds.make_feed(user=user, portfolio=portfolio_id, whole=kind == ALL_JOBS, at=at)
    address = request.build_absolute_uri(f"/api/v1/calendars/{new_feed.secret}.ics")
    return render(request, "account/account.html", {**_account_context(request, at), "address": address})


@_account_form
def revoke_feed(request: HttpRequest, at: datetime, feed_id: UUID) -> HttpResponse:
    """Revoke one of the user's calendar feeds; 404 for any other."""
    user = user_of(request)
    if not feeds.revoke_feed(feed=feed_id, user=user, at=at):
        raise Http404
    return redirect("/account/#calendars")


@_account_form
def choose_units(request: HttpRequest, at: datetime) -> HttpResponse:
    """Store the units in which pages show quantities to this user; 404 for unknown units."""
    user = user_of(request)
    units = request.POST.get("units", "")
    if units not in CHOICES:
        raise Http404
    people.choose_units(user=user, units=units)
    return redirect("/account/#units")


@_account_form
def keep_telephone(request: HttpRequest, at: datetime) -> HttpResponse:
    """Store the user's telephone number; an empty field removes it."""
    user = user_of(request)
    number = request.POST.get("telephone", "")[:100]
    try:
        people.keep_telephone(user=user, number=number)
    except Refused as refused:
        fault_context = {"telephone_faults": [f.message for f in refused.faults], "telephone_given": number}
        return render(
            request, "account/account.html", {**_account_context(request, at), **fault_context}, status=refused.status
        )
    return redirect("/account/#telephone")


@_account_form
def set_card_pin(request: HttpRequest, at: datetime) -> HttpResponse:
    """Set or remove the user's own PIN for the cards of a portfolio; 404 for one in which the user works nowhere."""
    user = user_of(request)
    portfolio_id = _find_portfolio_id(user, request.POST.get("portfolio", ""), at)
    if portfolio_id is None:
        raise Http404
    if "remove" in request.POST:
        pins.remove_pin(user=user, portfolio=portfolio_id)
        return redirect("/account/#card-pins")
    pin, again = (request.POST.get(name, "").strip() for name in ("pin", "again"))
    try:
        if pin != again:
            raise Refused("not_the_same", "The two PINs are not the same.", ("again",), status=422)
        pins.set_pin(user=user, portfolio=portfolio_id, pin=pin, at=at)
    except Refused as refused:
        fault_context = {"pin_faults": [f.message for f in refused.faults], "pin_portfolio": portfolio_id}
        return render(
            request, "account/account.html", {**_account_context(request, at), **fault_context}, status=refused.status
        )
    return redirect("/account/#card-pins")


@_account_form
def end_session(request: HttpRequest, at: datetime, session_id: UUID) -> HttpResponse:
    """End one of the user's sessions, perhaps the one in use; 404 for any other."""
    user = user_of(request)
    if not browser_sessions.end_session(session=session_id, user=user):
        raise Http404
    return redirect("/account/#sessions")


@_account_form
def end_other_sessions(request: HttpRequest, at: datetime) -> HttpResponse:
    """End all sessions of the user but the one in use."""
    user = user_of(request)
    browser_sessions.end_sessions(user=user, but=request.session.session_key)
    return redirect("/account/#sessions")


def _find_portfolio_id(user: User, text: str, at: datetime) -> UUID | None:
    """Return the id of the named portfolio; None if none is named, 404 if the user sees nothing of it."""
    if not text:
        return None
    portfolio_id = next((p.id for p in _visible_portfolios(user, at) if str(p.id) == text), None)
    if portfolio_id is None:
        raise Http404
    return portfolio_id


def _visible_portfolios(user: User, at: datetime) -> list[Portfolio]:
    grants = policy.grants_for(user, "board.see", at)
    return list(Portfolio.objects.filter(id__in=grants.values("portfolio")).order_by("name"))


def _offered_calendars(user: User, at: datetime) -> list[tuple[Portfolio, str, str]]:
    """Return the feeds this user may make: of the user's own jobs, and of all jobs of a portfolio seen as a whole."""
    own_portfolios = set(policy.grants_for(user, "job.see_own", at).values_list("portfolio", flat=True))
    whole_portfolios = {p.id for p in policy.portfolios_for(user, "job.see", at)}
    own_feeds = [
        (p, OWN_JOBS, f"{p.name}: the jobs planned for me")
        for p in _visible_portfolios(user, at)
        if p.id in own_portfolios
    ]
    return [
        *own_feeds,
        *((p, ALL_JOBS, f"{p.name}: every job") for p in _visible_portfolios(user, at) if p.id in whole_portfolios),
    ]


def _account_context(request: HttpRequest, at: datetime) -> dict[str, object]:
    user = user_of(request)
    current = not_ended(at)
    grants = Grant.objects.filter(current, user=user).select_related("portfolio", "building")
    qualifications = Qualification.objects.filter(current, user=user, since__lte=at).select_related("portfolio")
    grant_list = list(grants.order_by("portfolio__name", "role"))
    portfolios = _visible_portfolios(user, at)
    return {
        "grants": grant_list,
        "held": qualifications.order_by("code"),
        "keys": keys.keys_in_force(user, at).select_related("portfolio"),
        **_session_context(request, at),
        **_pin_context(user, portfolios),
        "feeds": [(feed, _describe_feed(feed, portfolios)) for feed in feeds.feeds_of(user)],
        "calendars": _offered_calendars(user, at),
        **KEY_CHOICES,
        "seen": portfolios,
        "checks": any(g.role in policy.ACTIONS["self_check.see"] for g in grant_list),
        "sees_people": any(g.building is None and g.role in policy.ACTIONS["people.see"] for g in grant_list),
        "units": UNIT_OPTIONS,
        "is_named": is_asked_for_a_visit(user, at),
        "zone": "UTC",
        "as_of": at,
        "here": "account",
    }


def _pin_context(user: User, portfolios: list[Portfolio]) -> dict[str, object]:
    """Return the user's PINs by portfolio, and what was logged lately under them."""
    own_pins = pins.pins_of(user)
    return {
        "card_pins": [(portfolio, own_pins.get(portfolio.id)) for portfolio in portfolios],
        "pin_posts": card_queries.newest_posts_under_pin(user, SHOWN_PIN_POSTS) if own_pins else [],
        "max_pin_tries": pins.MAX_TRIES,
    }


def _session_context(request: HttpRequest, at: datetime) -> dict[str, object]:
    user = user_of(request)
    return {
        "sessions": browser_sessions.sessions_in_force(user, at),
        "idle": _span_words(settings.SESSION_IDLE),
        "age": _span_words(browser_sessions.session_age()),
        "session_key": request.session.session_key,
    }


def _span_words(span: timedelta) -> str:
    """Return days where they are whole, else hours."""
    days, hours = span / timedelta(days=1), span / timedelta(hours=1)
    number, unit = (days, "day") if days == int(days) else (hours, "hour")
    return f"{number:g} {unit}{'' if number == 1 else 's'}"


def _describe_feed(feed: Feed, portfolios: list[Portfolio]) -> str:
    name = next((p.name for p in portfolios if p.id == feed.portfolio_id), "a portfolio you no longer have access to")
    return f"{name}: {'every job' if feed.whole else 'the jobs planned for me'}"
