"""Writes on a full disk: refused as a problem before anything is read or counted. Reads are answered as ever."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse
from rest_framework.permissions import SAFE_METHODS

from api.http.problems import PROBLEM_TYPE, RETRY_SECONDS_WITHOUT_ROOM, no_room_problem
from fleet.records.disk_room import has_room

API_PREFIX = "/api/"


class ApiRoomMiddleware:
    """Answers 503 `no_room` to every write of the API while the disk is full."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request, or refuse it without touching the database."""
        if request.method in SAFE_METHODS or not request.path.startswith(API_PREFIX) or has_room():
            return self.get_response(request)
        response = JsonResponse(no_room_problem().data, status=503, content_type=PROBLEM_TYPE)
        response["Retry-After"] = RETRY_SECONDS_WITHOUT_ROOM
        return response
