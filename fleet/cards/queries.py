"""Which cards there are, whose address opens one, and which visits came by a card."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts.models import User
from fleet.cards.addresses import digest_of, is_signed, key_mark
from fleet.cards.models import Card, CardPost
from fleet.cards.pins import RIGHT
from fleet.portfolio.models import Boiler


def card_in_force(secret: str) -> Card | None:
    """Return the card that an address opens; None for a guess, an unknown one and one that was ended, all alike."""
    if not is_signed(secret):
        return None
    cards = Card.objects.filter(digest=digest_of(secret), revoked_at=None)
    return cards.select_related("boiler__building").first()


def current_card(boiler: UUID) -> Card | None:
    """Return a boiler's card in force, with who made it."""
    return Card.objects.filter(boiler=boiler, revoked_at=None).select_related("made_by").first()


def cards_of_another_key() -> QuerySet[Card]:
    """Return the cards in force whose addresses open nothing, since they were signed by another key than the site's."""
    return Card.objects.filter(revoked_at=None).exclude(key_mark__in=("", key_mark()))


def cards_of(boilers: QuerySet[Boiler]) -> QuerySet[Card]:
    """Return all cards of these boilers, ended ones too."""
    return Card.objects.filter(boiler__in=boilers)


def card_posts_of(visits: Iterable[UUID]) -> dict[UUID, CardPost]:
    """Return how these visits came by a card, for those that did, by visit."""
    return {post.visit_id: post for post in CardPost.objects.filter(visit__in=list(visits))}


def newest_posts_under_pin(user: User, limit: int) -> list[CardPost]:
    """Return what was logged lately under a person's PIN, the newest first."""
    posts = CardPost.objects.filter(pin=RIGHT, visit__people__user=user).select_related("visit__boiler__building")
    return list(posts.order_by("-at", "-id")[:limit])


def count_posts_since(card: UUID, since: datetime) -> int:
    """Return how much was logged by a card since an instant."""
    return CardPost.objects.filter(card=card, at__gt=since).count()
