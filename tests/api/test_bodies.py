"""Bodies that are no visit at all: too large, too deep, no JSON, no UTF-8; each a 4xx with a code, and soon."""

import json
import time
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from rest_framework.serializers import Serializer, ValidationError

from api.figures import FiguresQuerySerializer
from api.terms import TermsSerializer
from api.visit_serializers import PaperOfOthersSerializer
from fleet.visits.models import Visit
from tests.api.phone import DROP, Phone, but, flush, told
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
MEGA = 1024 * 1024

BODIES: dict[str, tuple[bytes, int, str]] = {
    "no body": (b"", 400, "required"),
    "a list": (b"[]", 400, "invalid"),
    "a list of visits": (b"[{}, {}]", 400, "invalid"),
    "a string": (b'"visit"', 400, "invalid"),
    "a number": (b"5", 400, "invalid"),
    "null": (b"null", 400, "null"),
    "half of it": (b'{"boiler": ', 400, "not_json"),
    "two of it": (b"{}{}", 400, "not_json"),
    "NaN": (b'{"boiler": NaN}', 400, "not_json"),
    "Infinity": (b'{"boiler": Infinity}', 400, "not_json"),
    "minus Infinity": (b'{"boiler": -Infinity}', 400, "not_json"),
    "an integer of five thousand digits": (b'{"boiler": 1' + b"0" * 5000 + b"}", 400, "not_json"),
    "a raw NUL": (b'{"boiler": "a\x00b"}', 400, "not_json"),
    "a byte order mark": (b"\xef\xbb\xbf{}", 400, "not_json"),
    "no UTF-8": (b'{"note": "\xff"}', 400, "not_utf8"),
    "half a character in UTF-8": (b'{"note": "\xed\xa0\x80"}', 400, "not_utf8"),
    "UTF-16": ('{"note": "x"}'.encode("utf-16"), 400, "not_utf8"),
    "a name twice": (b'{"kind": "restart", "kind": "no_heat"}', 400, "name_twice"),
    "thirteen levels": (b'{"note":' * 13 + b"1" + b"}" * 13, 400, "too_deep"),
    "a hundred thousand open lists": (b"[" * 100_000, 400, "too_deep"),
    "a hundred thousand nested lists": (b"[" * 100_000 + b"]" * 100_000, 400, "too_deep"),
    "a hundred thousand nested objects": (b'{"a":' * 100_000, 400, "too_deep"),
    "two million open lists": (b"[" * 2_000_000, 400, "too_deep"),
    "one byte too many": (b" " * (2 * MEGA) + b"1", 413, "too_large"),
    "ten megabytes": (b" " * (10 * MEGA), 413, "too_large"),
}
# Megabytes each: made by the test that sends them, not by every process that lists the tests.
FLOODS: dict[str, Callable[[], bytes]] = {
    "entries": lambda: b'{"entries":[' + b"{}," * 690_000 + b"{}]}",
    "people": lambda: b'{"people":[' + b"{}," * 690_000 + b"{}]}",
    "told": lambda: b'{"leaving_checks":{"told":[' + b"{}," * 690_000 + b"{}]}}",
    "fields": lambda: b"{" + b",".join(b'"%x":0' % n for n in range(180_000)) + b"}",
    "readings": lambda: b'{"entries":[{"readings":{' + b",".join(b'"%x":0' % n for n in range(180_000)) + b"}}]}",
    "values": lambda: b'{"entries":[{"set":{' + b",".join(b'"%x":0' % n for n in range(180_000)) + b"}}]}",
    "fields of entries": lambda: (
        b'{"entries":[' + b",".join([b"{" + b",".join(b'"%x":0' % n for n in range(1200)) + b"}"] * 200) + b"]}"
    ),
}


@pytest.mark.parametrize("name", BODIES)
def test_what_is_no_visit_is_refused_with_a_code(name: str, rosa: Phone) -> None:
    body, status, code = BODIES[name]
    response = rosa.post(body)
    assert (response.status_code, told(response)[0][0]) == (status, code)


@pytest.mark.parametrize("name", FLOODS)
def test_a_flood_is_refused_within_seconds_and_answered_in_little(name: str, rosa: Phone) -> None:
    """Seconds of this process's own work: what a busy neighbor takes is no work of ours."""
    body = FLOODS[name]()
    start = time.process_time()
    response = rosa.post(body)
    assert response.status_code == 400
    assert len(response.content) < 100_000
    assert time.process_time() - start < 3


def test_a_body_of_two_mebibytes_exactly_is_read(rosa: Phone, fleet: Fleet) -> None:
    body = json.dumps(flush(fleet)).encode()
    assert rosa.post(body + b" " * (2 * MEGA - len(body))).status_code == 201


def test_twelve_levels_are_read(rosa: Phone) -> None:
    assert told(rosa.post(b'{"x":' * 12 + b"1" + b"}" * 12))[0] != ("too_deep", "")


@pytest.mark.parametrize(
    "content_type",
    [
        "text/plain",
        "application/xml",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "multipart/form-data; boundary=x",
        "application/json; charset=utf-16",
        "application/json; charset=zlib",
        "application/json; charset=nonsense",
        "",
        "nonsense",
    ],
)
def test_another_type_than_json_is_refused_with_415(content_type: str, rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(flush(fleet), content_type=content_type)
    assert (response.status_code, told(response)) == (415, [("unsupported_media_type", "")])


@pytest.mark.parametrize("content_type", ["application/json", 'Application/JSON; charset="UTF-8"'])
def test_json_is_taken_however_its_type_is_written(content_type: str, rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(flush(fleet), content_type=content_type).status_code == 201


@pytest.mark.parametrize("length", ["abc", "", "0"])
def test_a_length_that_is_none_leaves_an_empty_body(length: str, rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(flush(fleet), CONTENT_LENGTH=length)
    assert (response.status_code, told(response)[0]) == (400, ("required", "/boiler"))


def test_two_hundred_entries_are_accepted(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    assert rosa.post({**body, "entries": body["entries"] * 200}).status_code == 201


def test_a_number_too_large_for_any_float_is_refused_where_it_stands(rosa: Phone, fleet: Fleet) -> None:
    raw = json.dumps(but(flush(fleet), "entries", 0, "readings", "water", to=12345)).replace("12345", "1e400")
    assert told(rosa.post(raw.encode())) == [("scalar", "/entries/0/readings/water")]


@pytest.mark.parametrize("text", ["x\ud800", "x\x00"])
@pytest.mark.parametrize(
    "path",
    [
        ("id",),
        ("kind",),
        ("note",),
        ("reason",),
        ("performed_at",),
        ("people", 0, "name"),
        ("entries", 0, "test"),
        ("entries", 0, "ref"),
        ("entries", 0, "phase"),
        ("entries", 0, "position"),
        ("entries", 0, "readings", "water"),
        ("leaving_checks", "told"),
        ("corrects",),
    ],
)
def test_what_no_database_keeps_is_refused_in_every_string(path: Any, text: str, rosa: Phone, fleet: Fleet) -> None:
    body = but({**flush(fleet), "leaving_checks": {}}, "people", 0, to={"name": "Rosa"})
    value = [{"name": text}] if path[-1] == "told" else text
    response = rosa.post(but(body, *path, to=value))
    assert response.status_code == 400
    assert any(pointer.startswith(f"/{path[0]}") for _, pointer in told(response))


def test_no_bad_body_left_anything(rosa: Phone, fleet: Fleet) -> None:
    for body, _, _ in BODIES.values():
        rosa.post(body)
    rosa.post(but(flush(fleet), "boiler", to=DROP))
    assert not Visit.objects.exists()


@pytest.mark.parametrize(
    "text", ["20260112", "2026-W03-1", "2026-1-12", "\u0662026-01-12", "2026-02-30", "2026-01-12T00:00"]
)
@pytest.mark.parametrize(
    ("serializer", "name"),
    [
        (PaperOfOthersSerializer, "dated_on"),
        (TermsSerializer, "starts_on"),
        (FiguresQuerySerializer, "first"),
        (FiguresQuerySerializer, "last"),
    ],
)
def test_a_day_is_written_as_the_document_says(serializer: type[Serializer[Any]], name: str, text: str) -> None:
    day = serializer().fields[name]
    with pytest.raises(ValidationError):
        day.run_validation(text)
    assert day.run_validation("2026-01-12") == date(2026, 1, 12)
