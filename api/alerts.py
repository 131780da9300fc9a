"""The alert feed."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import AlertSerializer, problems
from fleet.accounts import policy
from fleet.alerts.models import Alert

MOST = 200


class Alerts(APIView):
    """Conditions that hold now, and the latest that returned to normal."""

    @extend_schema(operation_id="listAlerts", responses={200: AlertSerializer(many=True), **problems(401)})
    def get(self, request: Request) -> Response:
        """Return the newest 200 alerts of the boilers the caller may see, the latest raised first."""
        seen = policy.boilers(request.user, "board.see", timezone.now())
        found = Alert.objects.filter(boiler__in=seen).order_by("-raised_at", "id")[:MOST]
        return Response(AlertSerializer(found, many=True).data)
