"""One's own notices: addresses, quiet hours and digests."""

from datetime import datetime, time
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.notices import addresses
from fleet.notices.channels.registry import channels_in_use
from fleet.notices.digests import DEFAULT_HOUR, default_digest
from fleet.notices.models import NoticeChoices
from fleet.web.shared.pages import PageView, signed_in_action, signed_in_page


@signed_in_page
def show_own_notices(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the addresses and choices of the signed-in user."""
    return render(request, "notices/own.html", _page_context(request, at))


def _own_form(view: PageView) -> PageView:
    return never_cache(signed_in_action("/account/notices/")(view))


@_own_form
def add_own_address(request: HttpRequest, at: datetime) -> HttpResponse:
    """Add an address; the secret of a webhook is shown once."""
    address_fields = {name: request.POST.get(name, "").strip()[:500] for name in ("channel", "address", "label")}
    try:
        new = addresses.add_address(user=user_of(request), channels=channels_in_use(), at=at, **address_fields)
    except Refused as refused:
        faults = [fault.message for fault in refused.faults]
        context = {**_page_context(request, at), "address_faults": faults, "given": address_fields}
        return render(request, "notices/own.html", context, status=refused.status)
    return render(request, "notices/own.html", {**_page_context(request, at), "new": new})


@_own_form
def change_own_address(request: HttpRequest, at: datetime, destination_id: UUID, change: str) -> HttpResponse:
    """Remove an address, try it first, or give its webhook a new secret."""
    user = user_of(request)
    if change == "secret":
        new = addresses.change_secret(destination=destination_id, user=user, at=at)
        if new is None:
            raise Http404
        return render(request, "notices/own.html", {**_page_context(request, at), "new": new})
    is_changed = (
        addresses.remove_address(destination=destination_id, user=user, at=at)
        if change == "remove"
        else change == "first" and addresses.put_first(destination=destination_id, user=user)
    )
    if not is_changed:
        raise Http404
    return redirect("/account/notices/")


@_own_form
def keep_own_choices(request: HttpRequest, at: datetime) -> HttpResponse:
    """Store quiet hours, digest and single notices."""
    try:
        addresses.keep_choices(user=user_of(request), choices=_read_choices(request))
    except Refused as refused:
        faults = [fault.message for fault in refused.faults]
        context = {**_page_context(request, at), "choice_faults": faults}
        return render(request, "notices/own.html", context, status=refused.status)
    return redirect("/account/notices/#choices")


def _read_choices(request: HttpRequest) -> addresses.WantedChoices:
    read = request.POST.get
    hour = read("digest_hour", "")
    return addresses.WantedChoices(
        quiet_from=_read_clock(read("quiet_from", ""), "quiet_from"),
        quiet_until=_read_clock(read("quiet_until", ""), "quiet_until"),
        zone=read("zone", "").strip()[:64],
        digest=read("digest", ""),
        digest_hour=int(hour) if hour.isdecimal() and len(hour) < 3 else -1,
        says_nothing_new=read("says_nothing_new") == "yes",
        single=read("single") == "yes",
    )


def _read_clock(text: str, name: str) -> time | None:
    """Return a time of day; None for an empty field. Raises Refused (422) for anything else."""
    try:
        return time.fromisoformat(text) if text else None
    except ValueError as error:
        raise Refused("bad_value", "A time of day, such as 22:00.", (name,), status=422) from error


def _first_zone(user: User, at: datetime) -> str:
    """Return the zone of the first building that a person may see."""
    boilers = policy.boilers_for(user, "board.see", at).order_by("building__ref")
    return boilers.values_list("building__zone", flat=True).first() or "UTC"


def _page_context(request: HttpRequest, at: datetime) -> dict[str, object]:
    user, channels = user_of(request), channels_in_use()
    chosen, roles = addresses.choices_of(user), set(policy.roles_of(user, "board.see", at))
    return {
        "addresses": addresses.addresses_of(user),
        # Mail first, as most give that; web push is switched on where it is to arrive.
        "channels": sorted(channels.keys() - {"web_push"}, key=lambda name: (name != "email", name)),
        "has_push": "web_push" in channels,
        "choices": chosen or NoticeChoices(user=user, digest=default_digest(roles), digest_hour=DEFAULT_HOUR),
        "has_chosen": chosen is not None,
        "digests": (("daily", "every day"), ("weekly", "on Mondays"), ("none", "never")),
        "as_of": at,
        "zone": (chosen and chosen.zone) or _first_zone(user, at),
        "here": "account",
    }
