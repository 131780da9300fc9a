"""A NUL and half a character in a body: refused with 400 at every field that takes a text, of every operation."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from tests.api.phone import Phone
from tests.api.streets import of
from tests.cast import Fleet

OF_A_SESSION = ("/keys/", "/asked/", "/notice-choices/", "/destinations/")  # no key may
pytestmark = pytest.mark.django_db
PLACE = re.compile(r"{(\w+)}")
TEXTS = ("a\x00b", "\x00", "a\ud800b", "\udfff\ud800")
JSON = "application/json"


@pytest.fixture
def document() -> Any:
    return Client().get("/api/schema/?format=json").json()


@pytest.fixture
def office(fleet: Fleet, rosa: Phone, settings: Any) -> Phone:
    """One who holds nearly every role, and whom no limit stops."""
    settings.WRITES_A_MINUTE = settings.READS_A_MINUTE = 1_000_000
    for role in ("owner", "dispatcher", "office"):
        Grant.objects.get_or_create(user=fleet.technician, portfolio=fleet.portfolio, role=role)
    return rosa


def fields_of(document: Any, schema: Any, depth: int = 0) -> Iterator[tuple[str, Any]]:
    """Every field that takes a text, as its pointer and a body that has this field alone; {} stands for the text."""
    while "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    kinds = schema.get("type", [])
    if "string" in ([kinds] if isinstance(kinds, str) else kinds) or "enum" in schema:
        yield "", None
    for part in (*schema.get("anyOf", ()), *schema.get("oneOf", ()), *schema.get("allOf", ())):
        yield from fields_of(document, part, depth)
    for name, inner in schema.get("properties", {}).items() if depth < 5 else ():
        yield from ((f"/{name}{at}", {name: body}) for at, body in fields_of(document, inner, depth + 1))
    for inner in [schema["items"]] if "items" in schema and depth < 5 else []:
        yield from ((f"/0{at}", [body]) for at, body in fields_of(document, inner, depth + 1))


def with_text(body: Any, text: str) -> Any:
    """The body with the text in its one place."""
    if isinstance(body, dict):
        return {name: with_text(inner, text) for name, inner in body.items()}
    return [with_text(inner, text) for inner in body] if isinstance(body, list) else text


def operations(document: Any) -> Iterator[tuple[str, str, Any]]:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            content = operation.get("requestBody", {}).get("content", {})
            if JSON in content:
                yield method.upper(), path, content[JSON]["schema"]


@pytest.fixture
def sender(office: Phone, fleet: Fleet) -> Any:
    """Return by path how to send: what only a person may do is done signed in."""
    signed_in, version = Client(), {"If-Match": '"1"'}
    signed_in.force_login(fleet.technician)

    def by_session(method: str, address: str, body: Any) -> Any:
        return signed_in.generic(method, address, json.dumps(body), JSON, headers=version)

    def by_key(method: str, address: str, body: Any) -> Any:
        return office.send(method, address, body, headers=version)

    return lambda path: by_session if any(part in path for part in OF_A_SESSION) else by_key


def test_unstorable_text_is_refused_at_every_field_of_every_operation(document: Any, sender: Any, fleet: Fleet) -> None:
    there = {**{name: str(id) for name, id in of(fleet, "ALD12 B1").items()}, "code": "ladder"}
    wrong, tried = [], 0
    for method, path, schema in operations(document):
        address = PLACE.sub(lambda found: there.get(found[1], str(fleet.technician.id)), path)
        for pointer, body in fields_of(document, schema):
            for text in TEXTS:
                tried += 1
                answer = sender(path)(method, address, with_text(body, text))
                faults = {each["pointer"] for each in answer.json().get("errors", ())}
                if answer.status_code != 400 or (pointer not in faults and not known_otherwise(path)):
                    wrong.append((method, path, pointer, text, answer.status_code, faults))
    print(f"\n{tried} bodies")
    assert wrong == []
    assert tried > 400


def known_otherwise(path: str) -> bool:
    """A calculation names its input, and what is nested in an entry is read after its kind."""
    return "/calculations/" in path or path.endswith("/visits/")


def test_unstorable_text_as_the_name_of_a_field_is_refused(document: Any, sender: Any, fleet: Fleet) -> None:
    there = {**{name: str(id) for name, id in of(fleet, "ALD12 B1").items()}, "code": "ladder"}
    for method, path, _ in operations(document):
        address = PLACE.sub(lambda found: there.get(found[1], str(fleet.technician.id)), path)
        for text in TEXTS:
            answer = sender(path)(method, address, {text: "x"})
            assert (path, answer.status_code) == (path, 400)
