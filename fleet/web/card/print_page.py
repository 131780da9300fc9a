"""A boiler's card for who has an account: which one hangs there, printing a new one, ending it."""

from datetime import datetime
from uuid import UUID

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.cards import queries
from fleet.cards.addresses import make_secret
from fleet.cards.paper import render_card_pdf
from fleet.errors import Refused
from fleet.portfolio.models import Boiler
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import BUSY_MESSAGE, attempt_write

SEE, MAKE = "card.see", "card.make"
CHANGED_MESSAGE = "Another card was made or ended in the meantime. Look again, then decide."
PAGE = "/boilers/{boiler_id}/wall-card/"


@signed_in_page
def show_wall_card(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Show whether a card hangs at this boiler, with the forms to print a new one and to end it."""
    return _show_page(request, at, _find_boiler(request, SEE, boiler_id, at))


@never_cache
@signed_in_action(PAGE)
def print_wall_card(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Make a card, send its paper as PDF, and end the one before it, which the form must name."""
    boiler, secret = _find_boiler(request, MAKE, boiler_id, at), make_secret()
    # Drawn first: a paper that cannot be drawn must not end the card on the wall.
    paper = render_card_pdf(boiler, request.build_absolute_uri(reverse("card", args=[secret])), at)
    replaces, cause = _read_id(request.POST.get("replaces", "")), cause_of(request)
    try:
        pipeline.make_card(boiler=boiler.id, replaces=replaces, by=user_of(request), at=at, cause=cause, secret=secret)
    except Refused as refused:
        return _show_page(request, at, boiler, faults=(CHANGED_MESSAGE,), status=refused.status)
    except OperationalError:  # a lock was held too long: nothing was saved
        return _show_page(request, at, boiler, faults=(BUSY_MESSAGE,), status=503)
    return _send_paper(boiler, paper)


def _send_paper(boiler: Boiler, paper: bytes) -> HttpResponse:
    name = f"card-{boiler.building.ref}-{boiler.ref}.pdf"
    safe_name = "".join(c if c.isascii() and (c.isalnum() or c in "-.") else "-" for c in name)
    headers = {"Content-Disposition": f'attachment; filename="{safe_name}"', "X-Content-Type-Options": "nosniff"}
    return HttpResponse(paper, content_type="application/pdf", headers=headers)


@signed_in_action(PAGE)
def end_wall_card(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """End the card in force, which the form names; one that has ended already stays so."""
    boiler = _find_boiler(request, MAKE, boiler_id, at)
    card_id = _read_id(request.POST.get("card", ""))
    card = get_object_or_404(queries.cards_of(Boiler.objects.filter(id=boiler.id)), id=card_id)
    by, cause = user_of(request), cause_of(request)
    faults, status = attempt_write(lambda: pipeline.revoke_card(card=card.id, by=by, at=at, cause=cause), {})
    return _show_page(request, at, boiler, faults=faults, status=status) if faults else redirect("wall-card", boiler.id)


def _read_id(text: str) -> UUID | None:
    """Return an id as a form carries it; None for none. An unreadable one is nobody's."""
    try:
        return UUID(text) if text else None
    except ValueError:
        return UUID(int=0)


def _find_boiler(request: HttpRequest, action: str, boiler_id: UUID, at: datetime) -> Boiler:
    """Return the boiler. Raises Http404 where the user may not see or make its card."""
    boilers = policy.boilers_for(user_of(request), action, at).select_related("building")
    return get_object_or_404(boilers, id=boiler_id)


def _show_page(
    request: HttpRequest, at: datetime, boiler: Boiler, faults: tuple[str, ...] = (), status: int = 200
) -> HttpResponse:
    card = queries.current_card(boiler.id)
    newest_post = card.posts.order_by("-at").first() if card else None
    is_dead = card is not None and queries.cards_of_another_key().filter(id=card.id).exists()
    context = {"boiler": boiler, "zone": boiler.building.zone, "as_of": at, "card": card, "faults": faults}
    context["is_dead"] = is_dead
    return render(request, "card/wall_card.html", {**context, "newest_post": newest_post}, status=status)
