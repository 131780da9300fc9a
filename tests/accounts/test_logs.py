"""The log is lines of JSON that name the request, and hold nothing that opens anything, wherever it was sent."""

import json
import logging
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.conf import settings
from django.db import IntegrityError, connection
from django.test import Client
from django.utils import timezone

from api import visits
from fleet.accounts import keys
from fleet.logs import REQUEST_ID, JsonLines, redact_secrets
from tests.api.phone import VISITS, Phone, flush
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
SECRET = "Qx7Zs3cretW9"


@pytest.fixture
def stream() -> Iterator[StringIO]:
    """Everything that reaches the root's handler, in its lines."""
    written = StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(JsonLines())
    logging.getLogger().addHandler(handler)
    yield written
    logging.getLogger().removeHandler(handler)


@pytest.fixture
def rosa(fleet: Fleet) -> Phone:
    """The technician's phone, by the real clock."""
    return Phone(
        keys.make_unscoped_key(user=fleet.technician, name="phone", expires_at=timezone.now() + timedelta(days=1))
    )


def lines(stream: StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def answered(stream: StringIO) -> dict[str, Any]:
    [line] = [line for line in lines(stream) if line["logger"] == "fleet.requests"]
    return line


def test_the_settings_write_every_line_so_and_none_below_info() -> None:
    told = settings.LOGGING
    assert {h["formatter"] for h in told["handlers"].values()} == {"lines"}
    assert told["formatters"]["lines"]["()"] == "fleet.logs.JsonLines"
    assert told["root"]["level"] == "INFO"
    assert all(not logger.get("handlers") for logger in told["loggers"].values())
    assert {logger["level"] for logger in told["loggers"].values()} <= {"INFO", "WARNING", "ERROR"}


def test_a_request_is_one_line_with_who_what_how_and_how_long(stream: StringIO, rosa: Phone, fleet: Fleet) -> None:
    rosa.send("GET", f"/api/v1/boilers/?portfolio={fleet.portfolio.id}", headers={"X-Request-Id": "field-00001"})
    line = answered(stream)
    assert line.pop("milliseconds") > 0
    assert datetime.fromisoformat(line.pop("time")).utcoffset() is not None
    assert line == {
        "level": "info",
        "logger": "fleet.requests",
        "message": "answered",
        "request_id": "field-00001",
        "method": "GET",
        "path": "/api/v1/boilers/",
        "address": "127.0.0.1",
        "status": 200,
        "user": str(fleet.technician.id),
    }


def test_a_page_is_told_with_who_is_signed_in(stream: StringIO, fleet: Fleet) -> None:
    client = Client()
    client.force_login(fleet.technician)
    client.get("/")
    assert answered(stream)["user"] == str(fleet.technician.id)


def test_what_is_logged_on_the_way_names_the_request_and_what_comes_later_does_not(
    stream: StringIO, rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = visits.incoming

    def logging_too(data: Any) -> Any:
        logging.getLogger("fleet.pipeline").warning("half way")
        return known(data)

    monkeypatch.setattr(visits, "incoming", logging_too)
    rosa.post(flush(fleet), headers={"X-Request-Id": "field-00002"})
    [line] = [line for line in lines(stream) if line["message"] == "half way"]
    assert (line["request_id"], REQUEST_ID.get()) == ("field-00002", "")


def everywhere(rosa: Phone, fleet: Fleet) -> list[int]:
    """Secrets sent in every place there is; what each was answered."""
    client, desk = Client(raise_request_exception=False), Client(raise_request_exception=False)
    desk.force_login(fleet.technician)
    made = desk.post("/api/v1/keys/", {"name": SECRET, "scopes": ["read"]}, content_type="application/json")
    hidden = {
        "Authorization": f"Bearer gaugeglass_{SECRET}",
        "X-Request-Id": f"gaugeglass_{SECRET}",
        "User-Agent": SECRET,
    }
    client.cookies["sessionid"] = SECRET
    answers = [
        client.get("/api/v1/boilers/", headers=hidden),
        client.get(f"/api/v1/boilers/?key={SECRET}", headers={"Authorization": f"Basic {SECRET}", "Referer": SECRET}),
        client.get(f"/api/v1/calendars/{SECRET}.ics"),
        client.get(f"/?next={SECRET}"),
        client.post("/sign-in/", {"username": SECRET, "password": SECRET}),
        rosa.send("POST", VISITS, {"note": SECRET}),
        rosa.send("POST", VISITS, {**flush(fleet), "note": SECRET}, headers={"Idempotency-Key": SECRET}),
        rosa.send("POST", VISITS, f'{{"{SECRET}'.encode()),
        client.get("/", headers={"Host": "elsewhere.invalid"}),
        made,
    ]
    assert made.json()["secret"].startswith("gaugeglass_")
    return [*(a.status_code for a in answers), made.json()["secret"]]


def test_no_secret_stands_in_the_log_wherever_it_was_sent(
    stream: StringIO, rosa: Phone, fleet: Fleet, capfd: pytest.CaptureFixture[str]
) -> None:
    *statuses, made = everywhere(rosa, fleet)
    assert statuses == [401, 401, 404, 302, 200, 400, 201, 400, 400, 201]
    told = stream.getvalue() + "".join(capfd.readouterr())
    assert len(lines(stream)) >= 10
    for secret in (SECRET, rosa.key, made, "oak-valve-2609"):
        assert secret not in told


def test_an_error_is_told_by_its_kinds_and_lines_without_what_was_sent(
    stream: StringIO, rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(data: Any) -> Any:
        sent = data["note"]
        try:
            with connection.cursor() as cursor:
                cursor.execute("SELECT %s::int", [sent])
        except Exception as error:
            raise IntegrityError(f"no number: {sent}") from error

    monkeypatch.setattr(visits, "incoming", broken)
    monkeypatch.setattr(visits, "run_with_retries", lambda write: write())
    response = rosa.send("POST", VISITS, {**flush(fleet), "note": SECRET})
    assert response.status_code == 500
    assert SECRET not in stream.getvalue()
    [line] = [line for line in lines(stream) if line["logger"] == "api.http.problems"]
    assert line["level"] == "error"
    assert line["error"] == "IntegrityError"
    assert line["request_id"] == response["X-Request-Id"]
    assert "in broken" in line["trace"]
    assert line["trace"].index("InvalidTextRepresentation") < line["trace"].index("django.db.utils.IntegrityError")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("Not Found: /api/v1/calendars/abc.ics", "Not Found: /api/v1/calendars/…"),
        ("Not Found: /welcome/MQ/c9-4f/", "Not Found: /welcome/…"),
        ("Error handling request /x/?q=1&r=2 now", "Error handling request /x/ now"),
        ("key gaugeglass_AbC-1_2AbC-1_2AbC is new", "key gaugeglass_… is new"),
        ("key gg_AbC-1_2 is new", "key gg_… is new"),
        ("role gaugeglass_owner is missing", "role gaugeglass_owner is missing"),
        ("GET /notices/answer/abc.def:ghi/ 200", "GET /notices/answer/…/ 200"),
        ("GET /notices/stop/abc.def:ghi/ 200", "GET /notices/stop/…/ 200"),
        ("GET /notices/confirm/abc.def:ghi/ 200", "GET /notices/confirm/…/ 200"),
        ("Authorization: Bearer abc.def", "Authorization: Bearer …"),
        ("What now? Nothing.", "What now? Nothing."),
    ],
)
def test_what_opens_something_is_left_out_of_any_sentence(said: str, told: str) -> None:
    assert redact_secrets(said) == told


def test_a_line_is_one_line_whatever_it_says(stream: StringIO) -> None:
    logging.getLogger("fleet").warning("one\ntwo \u2028 %s", "three\r\nfour")
    assert [line["message"] for line in lines(stream)] == ["one\ntwo \u2028 three\r\nfour"]


def test_what_a_record_carries_beside_is_not_told(stream: StringIO) -> None:
    logging.getLogger("fleet").warning("so", extra={"password": SECRET, "request": SECRET})
    assert SECRET not in stream.getvalue()


def test_an_error_without_error_is_a_plain_line(stream: StringIO) -> None:
    logging.getLogger("fleet").error("so", exc_info=sys.exc_info())
    assert "trace" not in lines(stream)[0]
