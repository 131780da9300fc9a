"""Endpoints of calendar feeds: making and revoking secret addresses, and serving the calendars (RFC 5545)."""

from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import problems
from api.strict import FlagField, IdField, StrictSerializer
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.jobs import feeds

NOT_FOUND = b"There is nothing here for you.\n"


class NewFeedSerializer(StrictSerializer):
    """A feed to make: one's own jobs in a portfolio, or all its jobs (`whole`)."""

    portfolio = IdField()
    whole = FlagField(required=False, default=False)


class FeedSerializer(serializers.Serializer[Any]):
    """A calendar feed. Its address is a secret and is shown only once, when the feed is made."""

    id = serializers.UUIDField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    whole = serializers.BooleanField()
    created_at = serializers.DateTimeField()


class MadeSerializer(FeedSerializer):
    """A new feed with its address."""

    address = serializers.URLField()


class Feeds(APIView):
    """The calendar feeds of the caller."""

    @extend_schema(operation_id="listCalendarFeeds", responses={200: FeedSerializer(many=True), **problems(401)})
    def get(self, request: Request) -> Response:
        """Return the feeds that are not revoked, without their addresses."""
        return Response(FeedSerializer(feeds.of(request.user), many=True).data)

    @extend_schema(
        operation_id="createCalendarFeed",
        request=NewFeedSerializer,
        responses={201: MadeSerializer, **problems(400, 401, 403, 404, 409, 413, 415)},
    )
    def post(self, request: Request) -> Response:
        """Make a feed. A calendar program sends no key, so the address itself is the secret."""
        _whole_key(request)
        at, sent = timezone.now(), NewFeedSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = sent.validated_data
        _allowed(request.user, given["portfolio"], "job.see" if given["whole"] else "job.see_own", given["whole"])
        if len(feeds.of(request.user)) >= feeds.MOST:
            raise Refused("too_many", f"At most {feeds.MOST} feeds at a time: revoke one.", status=409)
        made = feeds.make(user=request.user, portfolio=given["portfolio"], whole=given["whole"], at=at)
        address = request.build_absolute_uri(f"/api/v1/calendars/{made.secret}.ics")
        body = {**FeedSerializer(made.feed).data, "address": address}
        return Response(body, status=201, headers={"Cache-Control": "no-store"})


class Feed(APIView):
    """One calendar feed."""

    @extend_schema(operation_id="revokeCalendarFeed", responses={204: None, **problems(401, 403, 404)})
    def delete(self, request: Request, feed: UUID) -> Response:
        """Revoke the feed. Its address answers 404 from now on."""
        _whole_key(request)
        if not feeds.revoke(feed=feed, user=request.user, at=timezone.now()):
            raise Http404
        return Response(status=204)


def _whole_key(request: Request) -> None:
    """Refuse restricted keys. An address outlives its key, so it must not reach further than the key did."""
    reach = request.user.reach
    if reach is not None and (reach.scopes is not None or reach.portfolio is not None):
        raise PermissionDenied


def _allowed(user: User, portfolio: UUID, action: str, whole: bool) -> None:
    """Raise Http404 for a portfolio that may not be seen, PermissionDenied where this feed is not allowed."""
    at = timezone.now()
    if not policy.grants(user, "board.see", at).filter(portfolio=portfolio).exists():
        raise Http404
    granted = policy.grants(user, action, at).filter(portfolio=portfolio)
    if not (granted.filter(building=None) if whole else granted).exists():
        raise PermissionDenied


@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """Serve the calendar behind an address without a key. Unknown and revoked addresses get the same 404."""
    at = timezone.now()
    feed = feeds.behind(secret, at)
    if feed is None:
        return HttpResponse(NOT_FOUND, status=404, content_type="text/plain; charset=utf-8")
    headers = {"Cache-Control": "private, no-cache", "Referrer-Policy": "no-referrer"}
    return HttpResponse(feeds.written(feed, at), content_type="text/calendar; charset=utf-8", headers=headers)
