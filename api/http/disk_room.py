"""Writes on a full disk: refused as a problem before anything is read or counted. Reads are answered as ever."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse
from rest_framework.permissions import SAFE_METHODS

from api.http.problems import PROBLEM_TYPE, RETRY_SECONDS_WITHOUT_ROOM, no_room_problem
from api.http.schema_types import SchemaObject
from fleet.records.disk_room import has_room

API_PREFIX = "/api/"
CALCULATIONS_PREFIX = "/api/v1/calculations/"  # a post there saves nothing


class ApiRoomMiddleware:
    """Answers 503 `no_room` to every write of the API while the disk is full."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request, or refuse it without touching the database."""
        may_pass = request.method in SAFE_METHODS or request.path.startswith(CALCULATIONS_PREFIX)
        if may_pass or not request.path.startswith(API_PREFIX) or has_room():
            return self.get_response(request)
        response = JsonResponse(no_room_problem().data, status=503, content_type=PROBLEM_TYPE)
        response["Retry-After"] = RETRY_SECONDS_WITHOUT_ROOM
        return response


def describe_room(result: SchemaObject, **_: object) -> SchemaObject:
    """Add the 503 response to every write under /v1/ in the OpenAPI document."""
    problem = {"$ref": "#/components/schemas/Problem"}
    response = {
        "description": "The disk of the site is full, or somebody else is writing. Nothing was saved.",
        "headers": {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait."}},
        "content": {PROBLEM_TYPE: {"schema": problem}},
    }
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            if "/v1/" in path and method.upper() not in SAFE_METHODS and not path.startswith(CALCULATIONS_PREFIX):
                operation["responses"].setdefault("503", response)
    return result
