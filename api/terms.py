"""The endpoint of a portfolio's terms: its season, its numbers of days, its own intervals."""

from math import isfinite
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.retry import run_with_retries
from api.http.strict import DayField, StrictSerializer, TextField, ValidatedData, validate_body
from api.http.versions import IF_MATCH, respond_with_version, version_of
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.terms.incoming import IncomingTerms
from fleet.terms.models import Adoption
from fleet.terms.services import newest_of

MAX_ENTRIES = 100


class WholeField(serializers.IntegerField):
    """A JSON integer. Texts and fractions are refused."""

    def to_internal_value(self, data: Any) -> int:
        """Accept integers only."""
        if not isinstance(data, int) or isinstance(data, bool):
            self.fail("invalid")
        return super().to_internal_value(data)


class NumberField(serializers.FloatField):
    """A JSON number. Texts are refused."""

    def to_internal_value(self, data: Any) -> float:
        """Accept finite numbers only."""
        if not isinstance(data, (int, float)) or isinstance(data, bool) or not isfinite(data):
            self.fail("invalid")
        return super().to_internal_value(data)


class OverrideSerializer(StrictSerializer):
    """A portfolio's own written interval for one procedure, with its source."""

    interval = TextField(max_length=16)
    anchor = TextField(max_length=16, required=False, allow_blank=True)
    grace_days = WholeField()
    source = TextField(max_length=200)  # type: ignore[assignment]


class TermsSerializer(StrictSerializer):
    """Terms to adopt. The first terms have no `starts_on`: they hold from the beginning."""

    starts_on = DayField(required=False, allow_null=True)
    season = TextField(max_length=11, required=False, allow_blank=True)
    urgent_days = WholeField(required=False)
    due_soon_days = WholeField(required=False)
    operator_firing_days = WholeField(required=False)
    variants = serializers.DictField(child=TextField(max_length=40), required=False)
    overrides = serializers.DictField(child=OverrideSerializer(), required=False)
    gauge_most_psi = NumberField(required=False)
    relief_rule = TextField(max_length=16, required=False)

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return a fault for each map that is too large, before any element is validated."""
        long = [n for n in ("variants", "overrides") if isinstance(data.get(n), dict) and len(data[n]) > MAX_ENTRIES]
        return {n: [serializers.ErrorDetail(f"At most {MAX_ENTRIES}.", "too_many")] for n in long}


class AdoptedSerializer(serializers.Serializer[object]):
    """The terms adopted last. Version 0 are the defaults."""

    version = serializers.IntegerField()
    starts_on = serializers.DateField(allow_null=True)
    season = serializers.CharField(allow_blank=True)
    urgent_days = serializers.IntegerField()
    due_soon_days = serializers.IntegerField()
    operator_firing_days = serializers.IntegerField()
    variants = serializers.DictField(child=serializers.CharField())
    overrides = serializers.DictField(child=OverrideSerializer())
    gauge_most_psi = serializers.FloatField()
    relief_rule = serializers.CharField()


class TermsEndpoint(APIView):
    """A portfolio's terms."""

    @extend_schema(operation_id="getTerms", responses={200: AdoptedSerializer, **problem_responses(401, 404)})
    def get(self, request: Request, portfolio: UUID) -> Response:
        """Return the terms adopted last. The ETag is their version."""
        _require_visible(request, portfolio)
        return _respond_with_terms(newest_of(portfolio) or _default_adoption())

    @extend_schema(
        operation_id="adoptTerms",
        parameters=[IF_MATCH],
        request=TermsSerializer,
        responses={201: AdoptedSerializer, **problem_responses(400, 401, 403, 404, 412, 413, 415, 422, 428, 503)},
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Adopt the next version. Boilers are judged by it a few at a time."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        _require_visible(request, portfolio)
        if not policy.portfolios_for(user, "terms.adopt", at).filter(id=portfolio).exists():
            raise PermissionDenied
        data = validate_body(request, TermsSerializer)
        version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
        terms = IncomingTerms(**data)
        adoption = run_with_retries(
            lambda: pipeline.adopt_terms(
                portfolio=portfolio, terms=terms, version=version, by=user, at=at, cause=request_cause
            )
        )
        return _respond_with_terms(adoption, 201)


def _require_visible(request: Request, portfolio: UUID) -> None:
    if not policy.portfolios_for(user_of(request), "terms.see", timezone.now()).filter(id=portfolio).exists():
        raise Http404


def _default_adoption() -> Adoption:
    """Return the default terms as an unsaved row, for a portfolio that adopted none."""
    return Adoption(version=0, season=IncomingTerms().season)


def _respond_with_terms(row: Adoption, status: int = 200) -> Response:
    return respond_with_version(AdoptedSerializer(row).data, row.version, status)
