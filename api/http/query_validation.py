"""Strict validation of query strings: every name is known and given once."""

from rest_framework import serializers
from rest_framework.request import Request

from api.http.strict import IdField, StrictSerializer, ValidatedData, make_fault
from api.http.tables import FORMAT_PARAMETER, offers_tables


class BoilerScopeQuerySerializer(StrictSerializer):
    """The boilers a question is about: all the caller may see, those of one portfolio, or one."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)


def validate_query(request: Request, serializer_class: type[StrictSerializer]) -> ValidatedData:
    """Return the validated query parameters. Raises ValidationError with every fault at its parameter's name."""
    query_params = request.query_params
    repeated = {
        n: [make_fault("given_twice", "Give this only once.")] for n in query_params if len(query_params.getlist(n)) > 1
    }
    if repeated:
        raise serializers.ValidationError(repeated)
    values = query_params.dict()
    if offers_tables(request):
        values.pop(FORMAT_PARAMETER, None)  # the content negotiation has read it already
    query_serializer = serializer_class(data=values)
    query_serializer.is_valid(raise_exception=True)
    return dict(query_serializer.validated_data)
