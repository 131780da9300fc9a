"""Conditional GET: 304 with weak ETags (RFC 9110). They are weak since `as_of` differs between equal answers."""

from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.utils.http import parse_etags
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.pipeline.fresh import Ground, ground

IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag of an answer kept: 304 while nothing it rests on has moved and no boundary has passed.",
)
NOT_MODIFIED = {304: OpenApiResponse(description="What was answered before still holds.")}


class Kept:
    """One GET request: whether the caller's copy is still current, and the caching headers of a new answer."""

    def __init__(self, request: Request, action: str, at: datetime, *more: Any) -> None:
        self.ground: Ground = ground(request.user, action, at)
        self._fresh = self.ground.holds(at)
        self._sent = request.headers.get("If-None-Match", "")
        who = (request.user.pk, getattr(request.user, "reach", None))
        said = (request.build_absolute_uri(), request.headers.get("Accept-Language", ""), _form(request))
        # Releases begin on their days: the day is a boundary of its own.
        self.tag = f'W/"{self.ground.tag(action, who, said, at.date(), *more)}"'

    @property
    def unmoved(self) -> bool:
        """Whether the caller holds this answer. False once a boundary has passed that is not judged yet."""
        sent = {tag.removeprefix("W/") for tag in parse_etags(self._sent)}
        return self._fresh and self.tag.removeprefix("W/") in sent

    @property
    def headers(self) -> dict[str, str]:
        """Caching headers. There is no ETag once a boundary has passed that is not judged yet."""
        kept = {"Cache-Control": "private, no-cache"}
        return {**kept, "ETag": self.tag} if self._fresh else kept

    def not_modified(self) -> HttpResponse:
        """Return a 304 without a body."""
        return Response(status=304, headers=self.headers)


def _form(request: Request) -> str:
    """Return the format of the answer: json, csv or xlsx."""
    return str(getattr(getattr(request, "accepted_renderer", None), "format", ""))
