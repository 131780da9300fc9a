"""Endpoints that put a name under another's post: a second qualified name, or one's own, which may be denied too."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import visit_lists
from api.http.access import boiler_for
from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.retry import run_with_retries
from api.http.strict import StrictSerializer, TextField, validate_body
from fleet import pipeline
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.assessments.queries import visits_that_name
from fleet.rules.vocabulary import NameReply
from fleet.visits.models import Visit

MAX_REASON_LENGTH = 400
SEE_ACTION, REPLY_ACTION, SECOND_ACTION = "visit.see", "visit.reply", "visit.second"


class SecondSerializer(StrictSerializer):
    """As what somebody seconds: for oneself, or as the second name of a correction or paper.

    Needed only of who is named at a correction: where it is left out, `own_name` is meant.
    """

    capacity = serializers.ChoiceField(choices=(pipeline.OWN_NAME, pipeline.SECOND_NAME), required=False)


class DenialSerializer(StrictSerializer):
    """Why it was not so, in the denier's own words; nobody has to say."""

    reason = TextField(max_length=MAX_REASON_LENGTH, required=False)


class SecondedSerializer(serializers.Serializer[object]):
    """Who confirmed or denied the visit, correction or paper of somebody else, and when."""

    visit = serializers.UUIDField(source="visit_id")
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


def _find_visit(visit: UUID) -> Visit:
    row = Visit.objects.filter(id=visit).select_related("paper").first()
    if row is None:
        raise Http404
    return row


def _waits_for(user: User, row: Visit) -> bool:
    """Whether a visit waits for this person's own word, also where he may not see its boiler any more."""
    return visits_that_name(user).filter(id=row.id).exists()


def _require_word(request: Request, row: Visit, is_own_name: bool, at: datetime) -> None:
    """Raise Http404 or PermissionDenied unless the caller may speak for himself, or give the second name."""
    if not (is_own_name and _waits_for(user_of(request), row)):
        boiler_for(request, row.boiler_id, see=SEE_ACTION, do=REPLY_ACTION if is_own_name else SECOND_ACTION, at=at)


class SecondCorrectionEndpoint(APIView):
    """What a post of others needs to count in full: a correction out of a hold, what a paper ends, who is named."""

    @extend_schema(
        operation_id="secondCorrection",
        request=SecondSerializer,
        responses={201: SecondedSerializer, **problem_responses(400, 401, 403, 404, 409, 422, 503)},
    )
    def post(self, request: Request, visit: UUID) -> Response:
        """Confirm it, once. Whoever a visit names does so for himself, if he was qualified on its day.

        Of a correction or paper, only a qualified technician who did not post it gives the second name.
        """
        at, request_cause, user, row = timezone.now(), cause_of(request), user_of(request), _find_visit(visit)
        if not _waits_for(user, row):
            boiler_for(request, row.boiler_id, see=SEE_ACTION, do=SEE_ACTION, at=at)
        capacity = validate_body(request, SecondSerializer).get("capacity")
        is_own_name = (capacity or pipeline.capacity_to_second(row, user)) == pipeline.OWN_NAME
        _require_word(request, row, is_own_name, at)

        def write() -> Any:
            if is_own_name:
                return pipeline.reply_to_naming(
                    visit=visit, by=user, reply=NameReply.SECONDED, at=at, cause=request_cause
                )
            return pipeline.second_correction(visit=visit, by=user, at=at, cause=request_cause)

        return Response(SecondedSerializer(run_with_retries(write)).data, status=status.HTTP_201_CREATED)


class DenyVisitEndpoint(APIView):
    """The word of somebody named at another's visit that it was not so."""

    @extend_schema(
        operation_id="denyVisit",
        request=DenialSerializer,
        responses={201: SecondedSerializer, **problem_responses(400, 401, 403, 404, 409, 422, 503)},
    )
    def post(self, request: Request, visit: UUID) -> Response:
        """Deny that the visit names you rightly, once: nothing good of it rests on your name. Bad news stays.

        The reason, if one is given, is kept and shown with the visit.
        """
        at, request_cause, user, row = timezone.now(), cause_of(request), user_of(request), _find_visit(visit)
        _require_word(request, row, is_own_name=True, at=at)
        reason = validate_body(request, DenialSerializer).get("reason", "")
        answer = run_with_retries(
            lambda: pipeline.reply_to_naming(
                visit=visit, by=user, reply=NameReply.DENIED, at=at, reason=reason, cause=request_cause
            )
        )
        return Response(SecondedSerializer(answer).data, status=status.HTTP_201_CREATED)


@describe_list("listVisitsThatNameMe")
class NamingVisitsEndpoint(ListEndpoint):
    """Visits that others posted and that wait for the caller's own word, the one performed last first."""

    query_serializer, item_serializer, action = PageSerializer, visit_lists.HeadSerializer, SEE_ACTION
    order = ("-performed_at", "-id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Any]:
        """Return the visits to second or to deny."""
        return visit_lists.with_conclusions(visits_that_name(user_of(request)).filter(posted_at__lte=walk.at))
