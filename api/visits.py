"""Endpoints of visits: posting a visit, the list, and the stored answer to one visit."""

import json
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import visit_lists
from api.access import boiler_for, cause
from api.answers import AnswerSerializer, problems
from api.examples import POST_VISIT
from api.idempotency import needed
from api.pages import List, Walk, described
from api.refused import KeepsRefused
from api.retry import retried
from api.visit_serializers import VisitSerializer, incoming
from fleet import pipeline
from fleet.accounts import policy
from fleet.assessments.models import Answer


@described("listVisits")
class Visits(KeepsRefused, List):
    """Posted visits, the one performed last first. Corrected ones are marked."""

    form, item, action = visit_lists.VisitsAskedSerializer, visit_lists.HeadSerializer, visit_lists.ACTION
    order = ("-performed_at", "-id")
    own_id = "id"  # a visit with an id is recognized as a repeat by it alone

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Any]:
        """Return the visits to boilers whose visits the user may see."""
        return visit_lists.listed(request, walk.given, walk.now, walk.at)

    @extend_schema(
        operation_id="postVisit",
        request=VisitSerializer,
        responses={
            201: AnswerSerializer,
            200: AnswerSerializer,
            **problems(400, 401, 403, 404, 409, 413, 415, 422, 503),
        },
        examples=POST_VISIT,
    )
    def post(self, request: Request) -> Response:
        """Post one visit. 201 with the answer; the same visit again gives the same answer with 200."""
        at = timezone.now()
        sent = VisitSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        needed(request, sent.validated_data, self.own_id)
        visit = incoming(sent.validated_data)
        boiler_for(request, visit.boiler, see="board.see", do="visit.post", at=at)
        told = cause(request)
        posted = retried(lambda: pipeline.post_visits([visit], by=request.user, at=at, cause=told))[0]
        code = status.HTTP_201_CREATED if posted.created else status.HTTP_200_OK
        return Response(posted.told(), status=code, headers={"Location": f"/api/v1/visits/{posted.visit}/"})


class Visit(APIView):
    """The answer to one visit."""

    @extend_schema(operation_id="getVisitAnswer", responses={200: AnswerSerializer, **problems(401, 404)})
    def get(self, request: Request, visit: UUID) -> Response:
        """Return the answer given when the visit was posted, word for word."""
        seen = policy.boilers(request.user, "visit.see", timezone.now())
        found = Answer.objects.filter(visit=visit, visit__boiler__in=seen).first()
        if found is None:
            raise Http404
        return Response(json.loads(found.body))
