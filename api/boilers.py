"""Boilers: the board's rows and one boiler's standing, now or at another instant."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.access import boiler_for
from api.answers import BoilerSerializer, PositionSerializer, problems
from fleet.accounts import policy
from fleet.board import queries
from fleet.board.models import StateSegment


class Boilers(APIView):
    """The status board."""

    @extend_schema(operation_id="listBoilers", responses={200: BoilerSerializer(many=True), **problems(401)})
    def get(self, request: Request) -> Response:
        """Return every boiler the caller may see, worst first."""
        at = timezone.now()
        rows = queries.rows(policy.boilers(request.user, "board.see", at), at)
        return Response(BoilerSerializer([_row(r) for r in rows], many=True).data)


class Positions(APIView):
    """What is known of each place on a boiler."""

    @extend_schema(
        operation_id="listPositions",
        parameters=[OpenApiParameter("boiler", UUID, OpenApiParameter.PATH)],
        responses={200: PositionSerializer(many=True), **problems(401, 404)},
    )
    def get(self, request: Request, boiler: UUID) -> Response:
        """Return the boiler's positions with their states now."""
        at = timezone.now()
        found = boiler_for(request, boiler, see="board.see", do="board.see", at=at)
        states = queries.states_of(found.id, at)
        return Response(PositionSerializer([_position(s) for s in states], many=True).data)


def _row(row: queries.Row) -> dict[str, Any]:
    return {
        "id": row.boiler.id,
        "building": row.boiler.building.address,
        "name": row.boiler.name,
        "standing": row.standing,
        "since": row.since,
        "until": row.until,
        "reasons": row.reasons,
        "then": row.then,
    }


def _position(segment: StateSegment) -> dict[str, Any]:
    position = segment.position
    return {
        "id": position.id,
        "ref": position.ref,
        "name": position.name,
        "role": position.role_id,
        "state": segment.state,
        "since": segment.since,
        "until": segment.until,
        "reason": segment.reason,
    }
