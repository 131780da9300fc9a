"""The endpoint that adds a second qualified name to a correction or a paper of others."""

from typing import Any
from uuid import UUID

from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.access import boiler_for
from api.http.answers import problem_responses
from api.http.retry import run_with_retries
from fleet import pipeline
from fleet.accounts.requests import cause_of, user_of
from fleet.visits.models import Visit


class SecondedSerializer(serializers.Serializer[Any]):
    """Who confirmed the correction or paper besides its poster, and when."""

    visit = serializers.UUIDField(source="visit_id")
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class SecondCorrectionEndpoint(APIView):
    """A correction out of a hold counts only with a second qualified name; so does what a paper ends."""

    @extend_schema(
        operation_id="secondCorrection",
        request=None,
        responses={201: SecondedSerializer, **problem_responses(401, 403, 404, 409, 422, 503)},
    )
    def post(self, request: Request, visit: UUID) -> Response:
        """Confirm the correction or the paper, once. Only a qualified technician who did not post it may do so."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        visit_row = Visit.objects.filter(id=visit).first()
        if visit_row is None:
            raise Http404
        boiler_for(request, visit_row.boiler_id, see="visit.see", do="visit.second", at=at)
        seconding = run_with_retries(
            lambda: pipeline.second_correction(visit=visit, by=user, at=at, cause=request_cause)
        )
        return Response(SecondedSerializer(seconding).data, status=status.HTTP_201_CREATED)
