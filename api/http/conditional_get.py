"""Conditional GET: 304 with weak ETags (RFC 9110). They are weak since `as_of` differs between equal answers."""

from datetime import datetime

from django.utils.http import parse_etags
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.accounts.requests import user_of
from fleet.reading.cache_validity import AnswerBasis, answer_basis

# What the description of an operation takes as its questions.
DescribedParameter = OpenApiParameter | type[serializers.Serializer[object]]
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag of an answer kept: 304 while nothing it rests on has moved and no boundary has passed.",
)
NOT_MODIFIED = {304: OpenApiResponse(description="The earlier answer is still valid.")}


class ConditionalGet:
    """One GET request: whether the caller's copy is still current, and the caching headers of a new answer."""

    def __init__(self, request: Request, action: str, at: datetime, *more: object) -> None:
        self.ground: AnswerBasis = answer_basis(user_of(request), action, at)
        self._is_current = self.ground.is_valid_at(at)
        self._if_none_match = request.headers.get("If-None-Match", "")
        asker = (request.user.pk, getattr(request.user, "reach", None))
        representation = (request.build_absolute_uri(), request.headers.get("Accept-Language", ""), _format_of(request))
        # Releases begin on their days: the day is a boundary of its own.
        self.tag = f'W/"{self.ground.digest_with(action, asker, representation, at.date(), *more)}"'

    @property
    def is_unchanged(self) -> bool:
        """Whether the caller holds this answer. False once a boundary has passed that is not judged yet."""
        sent_tags = {tag.removeprefix("W/") for tag in parse_etags(self._if_none_match)}
        return self._is_current and self.tag.removeprefix("W/") in sent_tags

    @property
    def headers(self) -> dict[str, str]:
        """Caching headers. There is no ETag once a boundary has passed that is not judged yet."""
        cache_headers = {"Cache-Control": "private, no-cache"}
        return {**cache_headers, "ETag": self.tag} if self._is_current else cache_headers

    def not_modified_response(self) -> Response:
        """Return a 304 without a body."""
        return Response(status=304, headers=self.headers)


def _format_of(request: Request) -> str:
    """Return the format of the answer: json, csv or xlsx."""
    return str(getattr(getattr(request, "accepted_renderer", None), "format", ""))
