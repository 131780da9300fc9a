"""Endpoints of boiler-room cards: which there are, making one, ending one. Its address is shown once."""

from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Count, Max, QuerySet
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.retry import run_with_retries
from api.http.strict import IdField, StrictSerializer, validate_body
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.cards import queries
from fleet.cards.models import Card

SEE_ACTION, MAKE_ACTION = "card.see", "card.make"


class CardsQuerySerializer(PageSerializer):
    """Which cards: of one boiler, or of all."""

    boiler = IdField(required=False)


class CardSerializer(serializers.ModelSerializer[Card]):
    """A card of a boiler, without its address. `revoked_at` null: it is in force."""

    boiler = serializers.UUIDField(source="boiler_id")
    made_by = serializers.CharField(source="made_by.username")
    revoked_by = serializers.CharField(source="revoked_by.username", allow_null=True, default=None)

    class Meta:
        model = Card
        fields: tuple[str, ...] = ("id", "boiler", "made_at", "made_by", "revoked_at", "revoked_by")


class NewCardSerializer(StrictSerializer):
    """A card to make. `replaces` names the one in force, which ends; null or left out where there is none."""

    replaces = IdField(required=False, allow_null=True, default=None)


class MadeCardSerializer(CardSerializer):
    """A new card with the address that its code opens."""

    address = serializers.URLField()

    class Meta(CardSerializer.Meta):
        fields = (*CardSerializer.Meta.fields, "address")


@describe_list("listCards")
class CardListEndpoint(ListEndpoint):
    """Cards, the newest first, those that ended too."""

    action, item_serializer, query_serializer = SEE_ACTION, CardSerializer, CardsQuerySerializer
    order = ("-made_at", "-id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Card]:
        """Return the cards of visible boilers."""
        cards = queries.cards_of(policy.boilers_for(user_of(request), SEE_ACTION, walk.now))
        if walk.query.get("boiler"):
            cards = cards.filter(boiler=walk.query["boiler"])
        return cards.select_related("made_by", "revoked_by")

    def get_tag_parts(self, at: Any) -> tuple[Any, ...]:
        """Return the newest instants and the count: cards are no facts of a boiler."""
        return tuple(Card.objects.aggregate(Max("made_at"), Max("revoked_at"), Count("id")).values())


class BoilerCardsEndpoint(APIView):
    """The cards of one boiler."""

    @extend_schema(
        operation_id="makeCard",
        request=NewCardSerializer,
        responses={201: MadeCardSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 503)},
    )
    def post(self, request: Request, boiler: UUID) -> Response:
        """Make a card. The address is shown only in this answer; the card that it replaces ends."""
        user, at = user_of(request), timezone.now()
        if not policy.boilers_for(user, "board.see", at).filter(id=boiler).exists():
            raise Http404
        if not policy.boilers_for(user, MAKE_ACTION, at).filter(id=boiler).exists():
            raise PermissionDenied
        replaces, cause = validate_body(request, NewCardSerializer)["replaces"], cause_of(request)
        new = run_with_retries(
            lambda: pipeline.make_card(boiler=boiler, replaces=replaces, by=user, at=at, cause=cause)
        )
        address = request.build_absolute_uri(reverse("card", args=[new.secret]))
        body = {**CardSerializer(new.card).data, "address": address}
        return Response(body, status=201, headers={"Cache-Control": "no-store"})


class RevokeCardEndpoint(APIView):
    """Ending a card."""

    @extend_schema(
        operation_id="revokeCard",
        request=None,
        responses={200: CardSerializer, **problem_responses(401, 403, 404, 503)},
    )
    def post(self, request: Request, card: UUID) -> Response:
        """End a card: its address opens nothing any more. Ending it again changes nothing."""
        user, at = user_of(request), timezone.now()
        boilers = {action: policy.boilers_for(user, action, at) for action in (SEE_ACTION, MAKE_ACTION)}
        if not queries.cards_of(boilers[SEE_ACTION]).filter(id=card).exists():
            raise Http404
        if not queries.cards_of(boilers[MAKE_ACTION]).filter(id=card).exists():
            raise PermissionDenied
        row = run_with_retries(lambda: pipeline.revoke_card(card=card, by=user, at=at, cause=cause_of(request)))
        return Response(CardSerializer(row).data)
