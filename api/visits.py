"""Endpoints of visits: posting a visit, the list, and the stored answer to one visit."""

import json
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
from api.examples import POST_VISIT
from api.http.access import boiler_for
from api.http.answers import AnswerSerializer, problem_responses
from api.http.idempotency import require_id_or_key
from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from api.http.retry import run_with_retries
from api.http.strict import validate_body
from api.refused_posts import KeepsRefusedMixin
from api.visit_serializers import VisitSerializer, incoming
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.assessments.models import Answer
from fleet.visits.models import Visit


@describe_list("listVisits")
class VisitListEndpoint(KeepsRefusedMixin, ListEndpoint):
    """Posted visits, the one performed last first. Corrected ones are marked."""

    query_serializer, item_serializer, action = (
        visit_lists.VisitsQuerySerializer,
        visit_lists.HeadSerializer,
        visit_lists.SEE_ACTION,
    )
    order = ("-performed_at", "-id")
    own_id = "id"  # a visit with an id is recognized as a repeat by it alone

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Visit]:
        """Return the visits to boilers whose visits the user may see."""
        return visit_lists.list_visits(request, walk.query, walk.now, walk.at)

    @extend_schema(
        operation_id="postVisit",
        request=VisitSerializer,
        responses={
            201: AnswerSerializer,
            200: AnswerSerializer,
            **problem_responses(400, 401, 403, 404, 409, 413, 415, 422, 503),
        },
        examples=POST_VISIT,
    )
    def post(self, request: Request) -> Response:
        """Post one visit. 201 with the answer; the same visit again gives the same answer with 200."""
        at = timezone.now()
        data = validate_body(request, VisitSerializer)
        require_id_or_key(request, data, self.own_id)
        visit = incoming(data)
        boiler_for(request, visit.boiler, see="board.see", do="visit.post", at=at)
        request_cause = cause_of(request)
        posted = run_with_retries(
            lambda: pipeline.post_visits([visit], by=user_of(request), at=at, cause=request_cause)
        )[0]
        code = status.HTTP_201_CREATED if posted.created else status.HTTP_200_OK
        return Response(posted.parse_body(), status=code, headers={"Location": f"/api/v1/visits/{posted.visit}/"})


class CheckVisitEndpoint(APIView):
    """What a visit would be answered, before it is posted."""

    @extend_schema(
        operation_id="checkVisit",
        request=VisitSerializer,
        responses={200: AnswerSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 422, 503)},
        examples=POST_VISIT,
    )
    def post(self, request: Request) -> Response:
        """Judge a visit and store nothing: neither the visit nor a refused body. Whoever may post it may ask.

        The answer is of this instant. What is posted by others meanwhile can change it, so the post decides.
        """
        at = timezone.now()
        visit = incoming(validate_body(request, VisitSerializer))
        boiler_for(request, visit.boiler, see="board.see", do="visit.post", at=at)
        checked = run_with_retries(lambda: pipeline.check_visit(visit, by=user_of(request), at=at))
        return Response(checked.parse_body())


class VisitAnswerEndpoint(APIView):
    """The answer to one visit."""

    @extend_schema(operation_id="getVisitAnswer", responses={200: AnswerSerializer, **problem_responses(401, 404)})
    def get(self, request: Request, visit: UUID) -> Response:
        """Return the answer given when the visit was posted, word for word."""
        visible_boilers = policy.boilers_for(user_of(request), "visit.see", timezone.now())
        answer = Answer.objects.filter(visit=visit, visit__boiler__in=visible_boilers).first()
        if answer is None:
            raise Http404
        return Response(json.loads(answer.body))
