"""Endpoints of calendar feeds: making and revoking secret addresses, and serving the calendars (RFC 5545)."""

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

from api.http.answers import problem_responses
from api.http.strict import FlagField, IdField, StrictSerializer, validate_body
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.jobs import feeds

NOT_FOUND_BODY = b"Not found.\n"


class NewFeedSerializer(StrictSerializer):
    """A feed to make: one's own jobs in a portfolio, or all its jobs (`whole`)."""

    portfolio = IdField()
    whole = FlagField(required=False, default=False)


class FeedSerializer(serializers.Serializer[object]):
    """A calendar feed. Its address is a secret and is shown only once, when the feed is made."""

    id = serializers.UUIDField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    whole = serializers.BooleanField()
    created_at = serializers.DateTimeField()


class MadeSerializer(FeedSerializer):
    """A new feed with its address."""

    address = serializers.URLField()


class CalendarFeedListEndpoint(APIView):
    """The calendar feeds of the caller."""

    @extend_schema(
        operation_id="listCalendarFeeds", responses={200: FeedSerializer(many=True), **problem_responses(401)}
    )
    def get(self, request: Request) -> Response:
        """Return the feeds that are not revoked, without their addresses."""
        return Response(FeedSerializer(feeds.feeds_of(user_of(request)), many=True).data)

    @extend_schema(
        operation_id="createCalendarFeed",
        request=NewFeedSerializer,
        responses={201: MadeSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415)},
    )
    def post(self, request: Request) -> Response:
        """Make a feed. A calendar program sends no key, so the address itself is the secret."""
        _require_unrestricted_key(request)
        at, data = timezone.now(), validate_body(request, NewFeedSerializer)
        _require_feed_access(
            user_of(request), data["portfolio"], "job.see" if data["whole"] else "job.see_own", data["whole"]
        )
        if len(feeds.feeds_of(user_of(request))) >= feeds.MAX_FEEDS:
            raise Refused(
                "too_many", f"At most {feeds.MAX_FEEDS} calendar feeds at a time. Revoke one first.", status=409
            )
        new_feed = feeds.make_feed(user=user_of(request), portfolio=data["portfolio"], whole=data["whole"], at=at)
        address = request.build_absolute_uri(f"/api/v1/calendars/{new_feed.secret}.ics")
        body = {**FeedSerializer(new_feed.feed).data, "address": address}
        return Response(body, status=201, headers={"Cache-Control": "no-store"})


class CalendarFeedEndpoint(APIView):
    """One calendar feed."""

    @extend_schema(operation_id="revokeCalendarFeed", responses={204: None, **problem_responses(401, 403, 404)})
    def delete(self, request: Request, feed: UUID) -> Response:
        """Revoke the feed. Its address answers 404 from now on."""
        _require_unrestricted_key(request)
        if not feeds.revoke_feed(feed=feed, user=user_of(request), at=timezone.now()):
            raise Http404
        return Response(status=204)


def _require_unrestricted_key(request: Request) -> None:
    """Refuse restricted keys. An address outlives its key, so it must not reach further than the key did."""
    reach = user_of(request).reach
    if reach is not None and (reach.scopes is not None or reach.portfolio is not None):
        raise PermissionDenied


def _require_feed_access(user: User, portfolio: UUID, action: str, whole: bool) -> None:
    """Raise Http404 for a portfolio that may not be seen, PermissionDenied where this feed is not allowed."""
    at = timezone.now()
    if not policy.grants_for(user, "board.see", at).filter(portfolio=portfolio).exists():
        raise Http404
    grants = policy.grants_for(user, action, at).filter(portfolio=portfolio)
    if not (grants.filter(building=None) if whole else grants).exists():
        raise PermissionDenied


@require_safe
def serve_calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """Serve the calendar behind an address without a key. Unknown and revoked addresses get the same 404."""
    at = timezone.now()
    feed = feeds.feed_for_secret(secret, at)
    if feed is None:
        return HttpResponse(NOT_FOUND_BODY, status=404, content_type="text/plain; charset=utf-8")
    headers = {"Cache-Control": "private, no-cache", "Referrer-Policy": "no-referrer"}
    return HttpResponse(feeds.write_calendar(feed, at), content_type="text/calendar; charset=utf-8", headers=headers)
