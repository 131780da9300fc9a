"""Refused visits: stored as they came, and shown to the office for 30 days."""

import logging
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Max, QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import FaultSerializer, problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from fleet.accounts import refused_posts
from fleet.accounts.models import RefusedPost as Row
from fleet.accounts.requests import request_id_of, user_of

SEE_ACTION = "post.see_refused"
# Statuses that say something about the body. 401, 429 and 5xx do not, so such posts are not stored.
KEPT_STATUSES = frozenset({400, 403, 404, 409, 413, 415, 422})
REPEAT_RUNNING_CODE = (
    "idempotency_key_running"  # the first post under this key is still running and will be answered itself
)

log = logging.getLogger(__name__)


class RefusedSerializer(serializers.ModelSerializer[Row]):
    """A refused post. `boiler` is null where it named none, or none its sender has a grant for."""

    by = serializers.CharField(source="user.username")
    boiler = serializers.UUIDField(source="boiler_id", allow_null=True)
    errors = FaultSerializer(source="faults", many=True)  # type: ignore[assignment]

    class Meta:
        model = Row
        fields: tuple[str, ...] = ("id", "at", "by", "route", "status", "boiler", "request_id", "errors")


class RefusedWholeSerializer(RefusedSerializer):
    """A refused post with its body as sent. Bytes that are no UTF-8 show as U+FFFD. Empty where it was too large."""

    body = serializers.SerializerMethodField()

    class Meta(RefusedSerializer.Meta):
        fields = (*RefusedSerializer.Meta.fields, "body")

    def get_body(self, row: Row) -> str:
        """Return the bytes as text."""
        return bytes(row.body).decode(errors="replace")


class KeepsRefusedMixin:
    """Mixed into a view before APIView: stores refused posts, after their own transaction is rolled back."""

    def handle_exception(self, exc: Exception) -> Response:
        """Return the framework's answer, and store a refused post. A failure to store it does not change the answer."""
        response: Response = super().handle_exception(exc)  # type: ignore[misc]
        request = self.request  # type: ignore[attr-defined]
        if (
            request.method == "POST"
            and response.status_code in KEPT_STATUSES
            and response.data["code"] != REPEAT_RUNNING_CODE
        ):
            try:
                refused_posts.keep_refused_post(
                    sent=_describe_post(request, response), user=request.user, at=timezone.now()
                )
            except Exception as error:
                log.error("a refused post could not be kept", exc_info=error)
        return response


def _describe_post(request: Request, response: Response) -> refused_posts.SentPost:
    data = request.data if hasattr(request, "raw") else None
    boiler_text = data.get("boiler") if isinstance(data, dict) else None
    return refused_posts.SentPost(
        route=f"{request.method} {request.path}",
        request_id=request_id_of(request),
        body=getattr(request, "raw", b""),
        boiler=_id_or_none(boiler_text),
        status=response.status_code,
        faults=response.data["errors"],
    )


def _id_or_none(value: object) -> UUID | None:
    try:
        return UUID(value) if isinstance(value, str) else None
    except ValueError:
        return None


@describe_list("listRefusedPosts")
class RefusedPostListEndpoint(ListEndpoint):
    """Visits refused in the last 30 days, the newest first, without their bodies."""

    action, item_serializer = SEE_ACTION, RefusedSerializer
    order = ("-at", "-id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return refused posts to visible boilers, and those without boiler in wholly visible portfolios."""
        return refused_posts.visible_refused_posts(user_of(request), walk.now).select_related("user").defer("body")

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the newest instant and the count. Refused posts are no facts, so they do not change the pulse."""
        return tuple(Row.objects.aggregate(Max("at"), Count("id")).values())


class RefusedPostEndpoint(APIView):
    """One refused post."""

    @extend_schema(
        operation_id="getRefusedPost", responses={200: RefusedWholeSerializer, **problem_responses(401, 404)}
    )
    def get(self, request: Request, post: UUID) -> Response:
        """Return the refused post with its body as sent."""
        row = (
            refused_posts.visible_refused_posts(user_of(request), timezone.now())
            .select_related("user")
            .filter(id=post)
            .first()
        )
        if row is None:
            raise Http404
        return Response(RefusedWholeSerializer(row).data)
