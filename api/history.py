"""The endpoint of one boiler's history, the newest event first."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request

from api.boilers import BOILER_PATH_PARAMETER
from api.http.access import boiler_for
from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.reading import boiler_history

EVENT_KINDS = (
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


class EventSerializer(serializers.Serializer[object]):
    """One event in a boiler's past. `subject` is the id of what it is about."""

    at = serializers.DateTimeField()
    what = serializers.ChoiceField(choices=EVENT_KINDS)
    id = serializers.UUIDField()
    subject = serializers.UUIDField()
    position = serializers.UUIDField(allow_null=True)
    sentence = serializers.CharField()
    who = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)


@describe_list("listHistory", BOILER_PATH_PARAMETER, codes=(400, 401, 404, 422))
class HistoryEndpoint(ListEndpoint):
    """Visits, standings, deficiencies, settings, fittings and decisions. Visits only for callers who may read them."""

    item_serializer, order = EventSerializer, ("-at", "-what", "-id")

    def take_rows(self, request: Request, walk: ListWalk, **where: UUID) -> Sequence[object]:
        """Return events of every source in one order."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=walk.now)
        may_read_visits = policy.is_allowed(
            user_of(request), "visit.see", portfolio=boiler.portfolio_id, building=boiler.building_id, at=walk.now
        )
        after = (datetime.fromisoformat(walk.after[0]), walk.after[1], UUID(walk.after[2])) if walk.after else None
        return boiler_history.history_events(
            boiler, at=walk.at, after=after, most=walk.limit + 1, visits=may_read_visits
        )
