"""Endpoints of one object, read as of now, with 304 while nothing it depends on has changed."""

from datetime import datetime
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import problems
from api.fresh import IF_NONE_MATCH, NOT_MODIFIED, Kept


class Single(APIView):
    """An endpoint of one object. A subclass says how it is found."""

    action: ClassVar[str] = "board.see"
    item: ClassVar[type[serializers.BaseSerializer[Any]]]

    def get(self, request: Request, **where: Any) -> Response:
        """Return the object as of now."""
        at = timezone.now()
        kept = Kept(request, self.action, at, *self.beside(at))
        if kept.unmoved:
            return kept.not_modified()
        return Response(self.item(self.one(request, at, **where)).data, headers=kept.headers)

    def one(self, request: Request, at: datetime, **where: Any) -> Any:
        """Return the object as of `at`. Raises Http404 where it is unknown or may not be seen."""
        raise NotImplementedError

    def beside(self, at: datetime) -> tuple[Any, ...]:
        """Return what else the ETag depends on, besides grants, facts and their boundaries."""
        return ()


def described_one(operation: str, *parameters: Any, codes: tuple[int, ...] = (401, 404), **more: Any) -> Any:
    """Return a class decorator that describes an endpoint of one object in the OpenAPI document."""

    def of(view: type[Single]) -> type[Single]:
        told = extend_schema(
            operation_id=operation,
            parameters=[*parameters, IF_NONE_MATCH],
            responses={200: view.item, **NOT_MODIFIED, **problems(*codes)},
            **more,
        )
        return extend_schema_view(get=told)(view)

    return of
