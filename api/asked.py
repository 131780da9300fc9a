"""Strict validation of query strings: every name is known and given once."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from api.strict import IdField, StrictSerializer, fault
from api.tables import AS, offers_tables


class OfSerializer(StrictSerializer):
    """The boilers a question is about: all the caller may see, those of one portfolio, or one."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)


def asked(request: Request, serializer: type[StrictSerializer]) -> dict[str, Any]:
    """Return the validated query parameters. Raises ValidationError with every fault at its parameter's name."""
    given = request.query_params
    twice = {n: [fault("given_twice", "Give this once.")] for n in given if len(given.getlist(n)) > 1}
    if twice:
        raise serializers.ValidationError(twice)
    names = given.dict()
    if offers_tables(request):
        names.pop(AS, None)  # the content negotiation has read it already
    sent = serializer(data=names)
    sent.is_valid(raise_exception=True)
    return dict(sent.validated_data)
