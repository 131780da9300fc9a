"""The endpoint of one boiler's history, the newest event first."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request

from api.access import boiler_for
from api.boilers import ONE
from api.pages import List, Walk, described
from fleet.accounts import policy
from fleet.pipeline import history

WHATS = (
    "visit",
    "standing.changed",
    "deficiency.opened",
    "deficiency.closed",
    "setting",
    "fitting",
    "service_state",
    "paper",
    "deficiency.decided",
    "alert.decided",
    "job.decided",
)


class EventSerializer(serializers.Serializer[Any]):
    """One event in a boiler's past. `subject` is the id of what it is about."""

    at = serializers.DateTimeField()
    what = serializers.ChoiceField(choices=WHATS)
    id = serializers.UUIDField()
    subject = serializers.UUIDField()
    position = serializers.UUIDField(allow_null=True)
    sentence = serializers.CharField()
    who = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)


@described("listHistory", ONE, codes=(400, 401, 404, 422))
class History(List):
    """Visits, standings, deficiencies, settings, fittings and decisions. Visits only for callers who may read them."""

    item, order = EventSerializer, ("-at", "-what", "-id")

    def taken(self, request: Request, walk: Walk, **where: UUID) -> Sequence[Any]:
        """Return events of every source in one order."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=walk.now)
        read = policy.may(request.user, "visit.see", boiler.portfolio_id, boiler.building_id, walk.now)
        after = (datetime.fromisoformat(walk.after[0]), walk.after[1], UUID(walk.after[2])) if walk.after else None
        return history.events(boiler, at=walk.at, after=after, most=walk.limit + 1, visits=read)
