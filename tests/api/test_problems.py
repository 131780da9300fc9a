"""Errors are problems (RFC 9457) everywhere under /api/, also where the answer would have been a page."""

from typing import Any
from uuid import uuid4

import pytest
from django.db.utils import OperationalError
from django.test import Client

from api import visits
from api.http.problems import json_pointer, problem_response
from fleet.errors import Fault
from tests.api.phone import Phone, flush, told
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
MEMBERS = {"type", "title", "status", "code", "detail", "errors"}


def refused(method: str, path: str, **headers: str) -> Any:
    return Client(raise_request_exception=False).generic(method, path, headers=headers)


@pytest.mark.parametrize(
    ("method", "path", "status", "code"),
    [
        ("GET", "/api/v1/nothing/", 404, "not_found"),
        ("POST", "/api/v1/nothing/", 404, "not_found"),
        ("POST", "/api/v1/visits", 404, "not_found"),
        ("GET", "/api/v1/visits/not-an-id/", 404, "not_found"),
        ("GET", "/api/v2/visits/", 404, "not_found"),
        ("GET", "/api/", 404, "not_found"),
        ("GET", "/api/%00", 400, "not_text"),
        ("GET", f"/api/v1/boilers/?q={'a' * 9000}", 414, "address_too_long"),
        ("GET", "/api/v1/visits/", 401, "not_authenticated"),
        ("POST", "/api/schema/", 405, "method_not_allowed"),
        ("DELETE", "/api/docs/", 405, "method_not_allowed"),
    ],
)
def test_every_refusal_is_a_problem_with_all_its_members(method: str, path: str, status: int, code: str) -> None:
    response = refused(method, path)
    body = response.json()
    assert (response.status_code, response["Content-Type"]) == (status, "application/problem+json")
    assert body.keys() == MEMBERS
    assert body["status"] == status
    assert body["code"] == code
    assert body["type"] == "about:blank"


@pytest.mark.parametrize("path", ["/api/docs/", "/api/schema/", "/api/v1/boilers/"])
def test_a_bad_key_is_refused_in_json_also_where_a_page_or_yaml_was_asked_for(path: str) -> None:
    response = refused("GET", path, Authorization="Bearer gaugeglass_wrong", Accept="text/html,*/*")
    assert (response.status_code, response.json()["code"]) == (401, "authentication_failed")


def test_a_form_of_answer_we_do_not_have_is_refused_with_406(rosa: Phone) -> None:
    response = rosa.send("GET", "/api/v1/boilers/", headers={"Accept": "application/xml"})
    assert (response.status_code, told(response)) == (406, [("not_acceptable", "")])


def test_a_method_that_is_not_allowed_is_told_those_that_are(rosa: Phone) -> None:
    response = rosa.send("DELETE", "/api/v1/alerts/")
    assert (response.status_code, response["Allow"]) == (405, "GET, HEAD, OPTIONS")


def test_the_title_is_the_statuss_and_the_detail_the_first_fault(rosa: Phone, fleet: Fleet) -> None:
    body = rosa.post({**flush(fleet), "kind": 1}).json()
    assert (body["title"], body["detail"]) == ("Bad Request", body["errors"][0]["message"])


def test_a_fault_of_ours_is_a_problem_that_names_the_request_and_nothing_else(
    rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(visits, "incoming", lambda data: 1 // 0)
    response = rosa.post(flush(fleet), headers={"X-Request-Id": "field-00001"})
    assert (response.status_code, told(response)) == (500, [("our_fault", "")])
    assert "field-00001" in response.json()["detail"]
    assert "ZeroDivisionError" in caplog.text


def test_a_database_that_is_busy_asks_to_come_again(rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(data: Any) -> None:
        raise OperationalError("lock timeout")

    monkeypatch.setattr(visits, "incoming", busy)
    response = rosa.post(flush(fleet))
    assert response.status_code == 503
    assert told(response) == [("busy", "")]
    assert response["Retry-After"] == "2"


def test_a_request_id_goes_from_the_sender_to_the_answer(rosa: Phone) -> None:
    response = rosa.send("GET", f"/api/v1/visits/{uuid4()}/", headers={"X-Request-Id": "field-00002"})
    assert response["X-Request-Id"] == "field-00002"


@pytest.mark.parametrize(
    ("at", "expected"),
    [((), ""), (("a", 0), "/a/0"), (("a/b", "c~d"), "/a~1b/c~0d"), (("",), "/"), (("~1",), "/~01")],
)
def test_a_pointer_is_written_as_rfc_6901_says(at: Any, expected: str) -> None:
    assert json_pointer(at) == expected


def test_more_faults_than_anybody_reads_are_counted() -> None:
    errors = problem_response(400, [Fault("c", "m")] * 600).data["errors"]
    assert (len(errors), errors[-1]["code"]) == (501, "more_faults")
