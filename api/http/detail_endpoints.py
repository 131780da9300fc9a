"""Endpoints of one object, read as of now, with 304 while nothing it depends on has changed."""

from datetime import datetime
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.conditional_get import IF_NONE_MATCH, NOT_MODIFIED, ConditionalGet, DescribedParameter


class DetailEndpoint(APIView):
    """An endpoint of one object. A subclass says how it is found."""

    action: ClassVar[str] = "board.see"
    item_serializer: ClassVar[type[serializers.BaseSerializer[object]]]

    def get(self, request: Request, **where: object) -> Response:
        """Return the object as of now."""
        at = timezone.now()
        conditional = ConditionalGet(request, self.action, at, *self.get_tag_parts(at))
        if conditional.is_unchanged:
            return conditional.not_modified_response()
        return Response(self.item_serializer(self.find_item(request, at, **where)).data, headers=conditional.headers)

    def find_item(self, request: Request, at: datetime, **where: Any) -> object:
        """Return the object as of `at`. Raises Http404 where it is unknown or may not be seen."""
        raise NotImplementedError

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return what else the ETag depends on, besides grants, facts and their boundaries."""
        return ()


def describe_detail(
    operation: str, *parameters: DescribedParameter, codes: tuple[int, ...] = (401, 404), **more: Any
) -> Any:
    """Return a class decorator that describes an endpoint of one object in the OpenAPI document."""

    def decorate(view: type[DetailEndpoint]) -> type[DetailEndpoint]:
        decorator = extend_schema(
            operation_id=operation,
            parameters=[*parameters, IF_NONE_MATCH],
            responses={200: view.item_serializer, **NOT_MODIFIED, **problem_responses(*codes)},
            **more,
        )
        return extend_schema_view(get=decorator)(view)

    return decorate
