"""The door of a card's address: no session, no account; guesses and ended cards are answered alike."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from http import HTTPStatus

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from fleet.accounts.address import address_of
from fleet.accounts.minute_counts import increment_count, read_count, seconds_left
from fleet.cards import queries
from fleet.cards.caretaker_words import caretaker_rules
from fleet.cards.models import Card
from fleet.catalog.field_words import LANGUAGES, UNREAD_LANGUAGES
from fleet.rules.wording import ADVICE_CAUTION
from fleet.web.shared.request_bounds import NOT_TEXT, has_storable_fields, refuse_request

POSTS_A_MINUTE = 20  # of one address, to all cards
LOOKS_A_MINUTE = 240  # of one address, at all cards
HEADERS = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow"}


@dataclass(frozen=True, slots=True)
class OpenCard:
    """A request that came by the address of a card in force."""

    request: HttpRequest
    card: Card
    secret: str
    language: str
    at: datetime

    def render(self, template: str, context: dict[str, object], status: int = 200) -> HttpResponse:
        """Return a page of the card, in its language."""
        boiler = self.card.boiler
        shared = {
            "secret": self.secret,
            "language": self.language,
            "other_languages": [language for language in LANGUAGES if language != self.language],
            "is_unread": self.language in UNREAD_LANGUAGES,
            "boiler": boiler,
            "zone": boiler.building.zone,
            "danger": caretaker_rules("danger", self.language),
            "caution_line": translation.gettext(ADVICE_CAUTION),
        }
        return render(self.request, template, {**shared, **context}, status=status)


def card_page(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Make `view` a page behind a card's address; it gets an OpenCard.

    The secret in the address and the signed token in each form stand for what a session's token does elsewhere: a page
    of another site knows neither.
    """

    @csrf_exempt
    @never_cache
    @require_http_methods(["GET", "HEAD", "POST"])
    @wraps(view)
    def answer_request(request: HttpRequest, secret: str, **kwargs: object) -> HttpResponse:
        language = choose_language(request)
        with translation.override(language):
            response = _answer_card(request, secret, language, lambda card: view(card, **kwargs))
        response.headers["Content-Language"] = language
        for name, value in HEADERS.items():
            response.headers[name] = value
        return response

    return answer_request


def choose_language(request: HttpRequest) -> str:
    """Return the language that the address or the form names, else the first known one that the browser asks for."""
    language_named = request.GET.get("lang", "")
    if language_named in LANGUAGES:
        return language_named
    wishes = (wish.split(";")[0].strip()[:2] for wish in request.headers.get("Accept-Language", "").split(","))
    return next((wish for wish in wishes if wish in LANGUAGES), LANGUAGES[0])


def _answer_card(
    request: HttpRequest, secret: str, language: str, view: Callable[[OpenCard], HttpResponse]
) -> HttpResponse:
    at, sender = timezone.now(), address_of(request.META)
    if _is_over_limit(request, sender, at):
        return _refuse_flood(request, at)
    # Before the card is looked up, so that the refusal says nothing of whether there is one.
    if request.method == "POST" and not has_storable_fields(request):
        return refuse_request(request, HTTPStatus.BAD_REQUEST, NOT_TEXT)
    card = queries.card_in_force(secret)
    if card is None:
        increment_count(f"bad-cards:{sender}", at)
        return unknown_card(request)
    return view(OpenCard(request, card, secret, language=language, at=at))


def unknown_card(request: HttpRequest) -> HttpResponse:
    """Return the one page for every address that opens nothing: it says nothing of any boiler."""
    return render(
        request, "card/unknown.html", {"sentences": "unknown", "languages": LANGUAGES}, status=HTTPStatus.NOT_FOUND
    )


def _refuse_flood(request: HttpRequest, at: datetime) -> HttpResponse:
    context = {"sentences": "flood", "languages": LANGUAGES}
    response = render(request, "card/unknown.html", context, status=HTTPStatus.TOO_MANY_REQUESTS)
    response.headers["Retry-After"] = str(seconds_left(at))
    return response


def _is_over_limit(request: HttpRequest, sender: str, at: datetime) -> bool:
    """Count the request and return whether its sender guesses or sends too much in this minute.

    Who guessed too often is answered nothing more, not even by an address that is right.
    """
    if read_count(f"bad-cards:{sender}", at) >= settings.BAD_KEYS_A_MINUTE:
        return True
    if request.method == "POST":
        return increment_count(f"card-posts:{sender}", at) > POSTS_A_MINUTE
    return increment_count(f"card-looks:{sender}", at) > LOOKS_A_MINUTE
