"""The account page: the user's roles and qualifications, API keys, calendar feeds, units, telephone and password."""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from typing import Any
from uuid import UUID

from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.auth.views import PasswordChangeView, redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from fleet.accounts import keys, people, policy
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.scopes import READ, SCOPES
from fleet.errors import Refused
from fleet.jobs import feeds
from fleet.portfolio.models import Portfolio
from fleet.web.figures import CHOICES
from fleet.web.pages import page

FOR = {
    READ: "see boilers, visits, jobs, terms and the register",
    "visits": "post, correct and second visits",
    "acts": "decide about deficiencies and alerts",
    "jobs": "make, plan, answer and cancel jobs",
    "register": "change the register and the terms",
    "office": "people, refused posts, the self-check",
}
LASTS = {"30": "30 days", "90": "90 days", "365": "a year", "400": "400 days, the most"}
UNITS_TOLD = [
    ("both", CHOICES["both"], "as in “15 psi (103 kPa)”; charts, drawings and sentences in US units"),
    ("us", CHOICES["us"], "as in “15 psi”"),
    ("si", CHOICES["si"], "as in “103 kPa”; what a rule says and what is on record keeps its own figure beside it"),
]
WHOLE, OWN = "whole", "own"
Door = Callable[..., HttpResponse]


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the account page of the signed-in user."""
    return render(request, "account.html", _context(request.user, at))


def _door(view: Door) -> Door:
    """Make `view` a POST-only form handler for signed-in users. Answers are never cached: they may hold a secret."""

    @wraps(view)
    def signed_in(request: HttpRequest, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return redirect_to_login("/account/")
        return view(request, timezone.now(), **kwargs)

    return require_POST(never_cache(signed_in))


@_door
def make_key(request: HttpRequest, at: datetime) -> HttpResponse:
    """Make an API key and show its secret once."""
    user: Any = request.user
    name = request.POST.get("name", "").replace("\x00", "").strip()[:100]
    lasts = request.POST.get("lasts", "365")
    days = int(lasts) if lasts in LASTS else 365
    try:
        if not name:
            raise Refused("required", "A key needs the name of the device it is for.", ("name",), status=422)
        scopes = request.POST.getlist("scopes")[: len(SCOPES)]
        of = _portfolio(user, request.POST.get("portfolio", ""), at)
        with transaction.atomic():
            end = at + timedelta(days=days)
            made = keys.create(user=user, name=name, scopes=scopes, portfolio=of, expires_at=end, at=at)
    except Refused as refused:
        told = {"key_faults": [f.message for f in refused.faults], "key_name": name}
        return render(request, "account.html", {**_context(user, at), **told}, status=refused.status)
    return render(request, "account.html", {**_context(user, at), "made": made.key, "secret": made.secret})


@_door
def revoke_key(request: HttpRequest, at: datetime, key_id: UUID) -> HttpResponse:
    """Revoke one of the user's keys; 404 if it is not in force."""
    user: Any = request.user
    if not keys.in_force(user, at).filter(id=key_id).exists() or not keys.revoke(key=key_id, by=user, at=at):
        raise Http404
    return redirect("/account/#keys")


@_door
def make_feed(request: HttpRequest, at: datetime) -> HttpResponse:
    """Make a calendar feed and show its secret address once."""
    user: Any = request.user
    text, _, kind = request.POST.get("of", "").partition(" ")
    of = _portfolio(user, text, at)
    if of is None or kind not in (WHOLE, OWN):
        raise Http404
    if (of, kind) not in {(p.id, k) for p, k, _ in _calendars(user, at)}:
        raise PermissionDenied
    if len(feeds.of(user)) >= feeds.MOST:
        full = {"feed_faults": [f"At most {feeds.MOST} feeds at a time: revoke one."]}
        return render(request, "account.html", {**_context(user, at), **full}, status=409)
    made = feeds.make(user=user, portfolio=of, whole=kind == WHOLE, at=at)
    address = request.build_absolute_uri(f"/api/v1/calendars/{made.secret}.ics")
    return render(request, "account.html", {**_context(user, at), "address": address})


@_door
def revoke_feed(request: HttpRequest, at: datetime, feed_id: UUID) -> HttpResponse:
    """Revoke one of the user's calendar feeds; 404 for any other."""
    user: Any = request.user
    if not feeds.revoke(feed=feed_id, user=user, at=at):
        raise Http404
    return redirect("/account/#calendars")


@_door
def choose_units(request: HttpRequest, at: datetime) -> HttpResponse:
    """Store the units in which pages show quantities to this user; 404 for unknown units."""
    user: Any = request.user
    chosen = request.POST.get("units", "")
    if chosen not in CHOICES:
        raise Http404
    people.choose_units(user=user, units=chosen)
    return redirect("/account/#units")


@_door
def keep_telephone(request: HttpRequest, at: datetime) -> HttpResponse:
    """Store the user's telephone number; an empty field removes it."""
    user: Any = request.user
    number = request.POST.get("telephone", "").replace("\x00", "")[:100]
    try:
        people.keep_telephone(user=user, number=number)
    except Refused as refused:
        told = {"telephone_faults": [f.message for f in refused.faults], "telephone_given": number}
        return render(request, "account.html", {**_context(user, at), **told}, status=refused.status)
    return redirect("/account/#telephone")


class Password(LoginRequiredMixin, PasswordChangeView):
    """Change the password: the old one is required, and the user's other sessions end."""

    template_name = "account_password.html"
    success_url = reverse_lazy("account-page")
    extra_context = {"here": "account"}


def _portfolio(user: User, text: str, at: datetime) -> UUID | None:
    """Return the id of the named portfolio; None if none is named, 404 if the user sees nothing of it."""
    if not text:
        return None
    found = next((p.id for p in _seen(user, at) if str(p.id) == text), None)
    if found is None:
        raise Http404
    return found


def _seen(user: User, at: datetime) -> list[Portfolio]:
    granted = policy.grants(user, "board.see", at)
    return list(Portfolio.objects.filter(id__in=granted.values("portfolio")).order_by("name"))


def _calendars(user: User, at: datetime) -> list[tuple[Portfolio, str, str]]:
    """Return the feeds this user may make: of the user's own jobs, and of all jobs of a portfolio seen as a whole."""
    own = set(policy.grants(user, "job.see_own", at).values_list("portfolio", flat=True))
    whole = {p.id for p in policy.portfolios(user, "job.see", at)}
    found = [(p, OWN, f"{p.name}: the jobs planned for me") for p in _seen(user, at) if p.id in own]
    return [*found, *((p, WHOLE, f"{p.name}: every job") for p in _seen(user, at) if p.id in whole)]


def _context(user: Any, at: datetime) -> dict[str, Any]:
    current = Q(until=None) | Q(until__gt=at)
    grants = Grant.objects.filter(current, user=user).select_related("portfolio", "building")
    held = Qualification.objects.filter(current, user=user, since__lte=at).select_related("portfolio")
    mine = list(grants.order_by("portfolio__name", "role"))
    seen = _seen(user, at)
    return {
        "grants": mine,
        "held": held.order_by("code"),
        "keys": keys.in_force(user, at).select_related("portfolio"),
        "feeds": [(feed, _of(feed, seen)) for feed in feeds.of(user)],
        "calendars": _calendars(user, at),
        "scopes": FOR.items(),
        "lasts": LASTS.items(),
        "seen": seen,
        "checks": any(g.role in policy.ACTIONS["self_check.see"] for g in mine),
        "units": UNITS_TOLD,
        "zone": "UTC",
        "as_of": at,
        "here": "account",
    }


def _of(feed: Any, seen: list[Portfolio]) -> str:
    name = next((p.name for p in seen if p.id == feed.portfolio_id), "a portfolio no longer yours")
    return f"{name}: {'every job' if feed.whole else 'the jobs planned for me'}"
