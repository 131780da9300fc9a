"""On a full disk the API answers what is asked and refuses what is sent, as a problem; all of it ends with the room."""

from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError
from django.test import RequestFactory
from psycopg.errors import DiskFull
from rest_framework.request import Request
from rest_framework.test import APIClient

from api.docs import openapi_document
from api.http.problems import handler
from fleet.records import disk_room
from fleet.records.disk_room import ROOM_FOR_WRITES_BYTES

NO_ROOM = {
    "type": "about:blank",
    "title": "Service Unavailable",
    "status": 503,
    "code": "no_room",
    "detail": "The disk of the site is full. Nothing was saved. Everything can be viewed.",
    "errors": [
        {
            "code": "no_room",
            "message": "The disk of the site is full. Nothing was saved. Everything can be viewed.",
            "pointer": "",
        }
    ],
}


@pytest.fixture
def free(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The free bytes of the site's disk, which is full at first."""
    settings.DISK_FOLDER = str(tmp_path)
    sizes = [0]
    monkeypatch.setattr(disk_room, "free_bytes", lambda folder: sizes[-1])
    return sizes


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_a_write_is_refused_as_a_problem_before_anything_is_asked_of_the_database(method: str, free: list[int]) -> None:
    answer = getattr(APIClient(), method)("/api/v1/visits/", {}, format="json")
    assert answer.status_code == 503
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json() == NO_ROOM
    assert answer["Retry-After"] == "60"
    assert answer["X-Request-Id"]


def test_a_read_is_answered_and_a_write_too_once_there_is_room(free: list[int], db: None) -> None:
    assert APIClient().get("/api/v1/visits/").status_code == 401  # asked as ever for a key
    free.append(ROOM_FOR_WRITES_BYTES)
    assert APIClient().post("/api/v1/visits/", {}, format="json").status_code == 401


@pytest.mark.parametrize(("cause", "code"), [(DiskFull("no space"), "no_room"), (None, "busy")])
def test_a_write_for_which_the_database_found_no_room_says_so(cause: Exception | None, code: str) -> None:
    error = OperationalError("could not extend file")
    error.__cause__ = cause
    answer = handler(error, {"request": Request(RequestFactory().post("/api/v1/visits/"))})
    assert (answer.status_code, answer.data["code"]) == (503, code)


def test_a_calculation_is_answered_on_a_full_disk_since_it_saves_nothing(free: list[int], db: None) -> None:
    assert APIClient().post("/api/v1/calculations/nothing/", {}, format="json").status_code == 401


def test_the_document_says_of_every_write_that_it_may_find_no_room() -> None:
    paths = openapi_document()["paths"]
    writes = {
        (method, path): operation["responses"]
        for path, operations in paths.items()
        for method, operation in operations.items()
        if method in {"post", "put", "patch", "delete"} and "/calculations/" not in path
    }
    assert len(writes) > 20
    assert [write for write, responses in writes.items() if "503" not in responses] == []
