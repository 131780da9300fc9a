"""The day book: the jobs of a portfolio against its people on one day, with when and at what cost, or why not."""

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.query_validation import validate_query
from api.http.strict import IdField, StrictSerializer
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.planning.day_cells import REASON_WORDS, cell_words
from fleet.reading.day_book import BookCell, BookRow, compose_day_book, portfolio_zone
from fleet.rules.values import LEVELS

CELL_STATES = ("planned", "free", "not_possible")
CELL_REASONS = tuple(REASON_WORDS)


class DayBookQuerySerializer(StrictSerializer):
    """The portfolio, and the local day of its first building."""

    portfolio = IdField()
    day = serializers.DateField()


class DayPersonSerializer(serializers.Serializer[object]):
    """A person who can be sent: when the day ends, what is left of the shift, the parts to load with their counts."""

    id = serializers.UUIDField(source="person.id")
    name = serializers.CharField(source="user.display_name")
    ends_at = serializers.DateTimeField(allow_null=True)
    spare_minutes = serializers.IntegerField()
    parts = serializers.DictField(child=serializers.IntegerField())


class DayCellSerializer(serializers.Serializer[object]):
    """What one person could do about one row.

    `planned`: the person has it that day, as the `order`-th stop. `free`: it can be planned from `start` to `end`, with
    `second` where it takes two, and adds `added_minutes` of travel, which is a guess unless `travel_known`.
    `not_possible`: `why_not` is the reason. `sentence` is what the page shows, in times of the building.
    """

    person = serializers.UUIDField(source="person.id")
    state = serializers.SerializerMethodField()
    order = serializers.IntegerField(allow_null=True)
    start = serializers.DateTimeField(source="cell.start", allow_null=True)
    end = serializers.DateTimeField(source="cell.end", allow_null=True)
    second = serializers.UUIDField(source="cell.second", allow_null=True)
    added_minutes = serializers.IntegerField(source="cell.added_minutes")
    travel_known = serializers.BooleanField(source="cell.is_travel_known")
    why_not = serializers.ChoiceField(choices=CELL_REASONS, source="cell.why", allow_blank=True)
    sentence = serializers.SerializerMethodField()

    @extend_schema_field(serializers.ChoiceField(choices=CELL_STATES))
    def get_state(self, book_cell: BookCell) -> str:
        """Return whether the person has it, could have it, or could not."""
        if book_cell.order is not None:
            return "planned"
        return "free" if book_cell.cell.is_free else "not_possible"

    def get_sentence(self, book_cell: BookCell) -> str:
        """Return what the page shows in the cell."""
        return cell_words(book_cell.cell, self.context["zone"])


class RowJobSerializer(serializers.Serializer[object]):
    """A job of a row, with the version that a plan of it names in If-Match."""

    id = serializers.UUIDField(source="job.id")
    version = serializers.IntegerField(source="job.version")
    status = serializers.CharField()


class DayRowSerializer(serializers.Serializer[object]):
    """One job, or the waiting jobs of one building as one trip, in the order in which the trip does them."""

    building = serializers.UUIDField(source="building.id")
    jobs = RowJobSerializer(source="details", many=True)
    is_trip = serializers.BooleanField()
    level = serializers.ChoiceField(choices=LEVELS, source="detail.job.level")
    minutes = serializers.IntegerField(source="work.minutes")
    people = serializers.IntegerField(source="work.people")
    skills = serializers.ListField(child=serializers.CharField(), source="work.skills")
    bare_from = serializers.DateTimeField(allow_null=True)
    cells = serializers.SerializerMethodField()

    @extend_schema_field(DayCellSerializer(many=True))
    def get_cells(self, row: BookRow) -> list[object]:
        """Return a cell for each person, in the order of `people`."""
        return list(DayCellSerializer(row.cells, many=True, context={"zone": row.work.zone}).data)


class DayBookSerializer(serializers.Serializer[object]):
    """One day of one portfolio. `left_off_jobs` and `left_off_people` count what did not fit into one answer."""

    portfolio = serializers.UUIDField()
    day = serializers.DateField()
    zone = serializers.CharField()
    people = DayPersonSerializer(source="columns", many=True)
    rows = DayRowSerializer(many=True)
    left_off_jobs = serializers.IntegerField()
    left_off_people = serializers.IntegerField()


class DayBookEndpoint(APIView):
    """The day book of one portfolio."""

    @extend_schema(
        operation_id="getDayBook",
        parameters=[DayBookQuerySerializer],
        responses={200: DayBookSerializer, **problem_responses(400, 401, 403, 404)},
    )
    def get(self, request: Request) -> Response:
        """Return who could do which job of a day, from when and at what cost. A free cell is planned by `planJob`."""
        at, user = timezone.now(), user_of(request)
        data = validate_query(request, DayBookQuerySerializer)
        _require_planner(user, data["portfolio"])
        zone = portfolio_zone(data["portfolio"])
        book = compose_day_book(user=user, portfolio=data["portfolio"], day=data["day"], zone=zone, at=at)
        return Response(DayBookSerializer(book).data)


def _require_planner(user: User, portfolio: UUID) -> None:
    """Raise Http404 where nothing of the portfolio may be seen, PermissionDenied for who plans nothing in it."""
    at = timezone.now()
    if not policy.grants_for(user, "board.see", at).filter(portfolio=portfolio).exists():
        raise Http404
    if not policy.grants_for(user, "job.plan", at).filter(portfolio=portfolio).exists():
        raise PermissionDenied
