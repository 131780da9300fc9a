"""What nothing can store, and what is too long, is refused before any work: at every page, form and address."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import URLPattern, reverse

import api.urls
import fleet.web.urls
from fleet.portfolio.models import Import
from fleet.web.shared.request_bounds import MAX_ADDRESS_LENGTH
from tests.cast import Fleet, make_person
from tests.web.conftest import SignIn

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]
ID = "0f0e0d0c-0b0a-4908-8706-050403020100"
SAMPLES = {"uuid": ID, "slug": "kind", "str": "code"}
PLACE = re.compile(r"<(?:(\w+):)?(\w+)>")
NUL = "%00"
# A NUL; half a character, for which UTF-8 has no bytes; two halves; a byte of none; the beginning of one; one too long.
NO_TEXT = (NUL, "%ED%A0%80", "%ED%A0%80%ED%B0%80", "%FF", "%F0", "%C0%80")


def patterns() -> Iterator[tuple[str, URLPattern]]:
    """Every route with the place where it hangs."""
    yield from (("/", route) for route in fleet.web.urls.urlpatterns)
    yield from (("/api/", route) for route in api.urls.urlpatterns)


ROUTES = {f"{base}{route.pattern}": base for base, route in patterns() if not str(route.pattern).startswith("^")}


def filled(route: str, text: str = "") -> str:
    """The address with samples in its places; `text` at the end of the last that takes any text."""
    address = PLACE.sub(lambda found: SAMPLES[found[1] or "str"], route)
    return address if not text else re.sub(r"(code|kind)(?!.*(code|kind))", rf"\1{text}", address)


@pytest.fixture
def office(fleet: Fleet, sign_in: SignIn) -> Client:
    """Somebody who may nearly everything, and whose errors of the site are answers."""
    client = sign_in(make_person("ines", fleet.portfolio, "office"))
    client.raise_request_exception = False
    return client


def test_every_route_is_walked() -> None:
    assert len(ROUTES) > 100


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_nul_in_the_question_is_refused_at_every_route_and_by_every_name(office: Client, method: str) -> None:
    wrong = []
    for route, base in ROUTES.items():
        for query in (f"{name}=a{NUL}b" for name in ("q", f"x{NUL}")):
            answer = getattr(office, method)(f"{filled(route)}?{query}")
            if (answer.status_code, is_problem(answer)) != (400, base == "/api/"):
                wrong.append((route, query, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("text", NO_TEXT)
def test_a_question_that_is_no_text_is_refused_at_every_route(office: Client, text: str) -> None:
    wrong = []
    for route, base in ROUTES.items():
        for query in (f"q=a{text}", f"x{text}=a"):
            answer = office.get(f"{filled(route)}?{query}")
            if (answer.status_code, is_problem(answer)) != (400, base == "/api/"):
                wrong.append((route, query, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("text", NO_TEXT)
def test_an_address_that_is_no_text_is_refused(office: Client, text: str) -> None:
    addresses = [*(filled(route, text) for route in ROUTES if "<" in route), f"/{text}", f"/api/v1/{text}/"]
    answers = {address: office.get(address) for address in addresses if text in address}
    assert len(answers) > 8
    found = {address: (answer.status_code, is_problem(answer)) for address, answer in answers.items()}
    assert found == {address: (400, address.startswith("/api/")) for address in answers}


@pytest.mark.parametrize("text", ["%C3%A9", "%E2%82%AC", "%F0%9F%94%A5", "%EF%BF%BD", "%25FF", "%25ED%25A0%2580"])
def test_text_of_any_length_goes_through_in_address_question_and_form(office: Client, text: str) -> None:
    """Also the sign that decoders write for bytes they can't read, and a percent sign before two figures."""
    assert office.get(f"/x{text}").status_code == 404
    assert office.get(f"/api/v1/x{text}/").status_code == 404
    assert office.get(f"/account/?q={text}").status_code == 200
    form_type = "application/x-www-form-urlencoded"
    assert office.post("/units/", f"any{text}=a{text}", content_type=form_type).status_code != 400


def is_problem(answer: Any) -> bool:
    return bool(answer["Content-Type"] == "application/problem+json")


# Neither reads a form, and to whoever may not be there each answers like an address that nobody knows.
WITHOUT_FORM = ("/metrics", "/notices/stop/<str:token>/")


def forms() -> list[str]:
    """Every route of a page that takes a form."""
    return [route for route, base in ROUTES.items() if base == "/" and route not in WITHOUT_FORM]


@pytest.mark.parametrize("text", NO_TEXT)
@pytest.mark.parametrize("kind", ["field", "name of a field", "part", "name of a part", "name of a file"])
def test_what_is_no_text_in_any_form_is_refused(office: Client, kind: str, text: str) -> None:
    body, content_type = form_of(kind, text)
    statuses = {route: office.generic("POST", filled(route), body, content_type).status_code for route in forms()}
    assert {route: status for route, status in statuses.items() if status != 400} == {}


def form_of(kind: str, text: str) -> tuple[bytes, str]:
    """A form with the text in one place, and its content type."""
    if kind == "field":
        return f"anything=a{text}b".encode(), "application/x-www-form-urlencoded"
    if kind == "name of a field":
        return f"any{text}=a".encode(), "application/x-www-form-urlencoded"
    place = {"part": b"good words", "name of a part": b"anything", "name of a file": b"name.csv"}[kind]
    form = encode_multipart(BOUNDARY, {"anything": "good words", "file": SimpleUploadedFile("name.csv", b"x")})
    assert form.count(place) == 1
    return form.replace(place, b"a%sb" % unquote_to_bytes(text)), MULTIPART_CONTENT


@pytest.mark.parametrize("name", ["sessionid", "csrftoken", "messages", "anything"])
def test_a_nul_in_a_cookie_is_refused(name: str) -> None:
    client = Client(raise_request_exception=False)
    for address in ("/", "/api/v1/boilers/", "/sign-in/"):
        answer = client.get(address, headers={"Cookie": f'{name}="\\000aaaaaaaaaaaa"'})
        assert (address, answer.status_code) == (address, 400)


HEADERS = (
    "Accept",
    "Accept-Language",
    "Authorization",
    "Content-Type",
    "Cookie",
    "HX-Current-URL",
    "HX-Request",
    "Host",
    "Idempotency-Key",
    "If-Match",
    "If-Modified-Since",
    "If-None-Match",
    "Origin",
    "Range",
    "Referer",
    "X-CSRFToken",
    "X-Forwarded-For",
    "X-Forwarded-Proto",
    "X-Request-Id",
)


@pytest.mark.parametrize("name", HEADERS)
def test_no_header_makes_the_site_fail(office: Client, name: str) -> None:
    """A server in front refuses a NUL in a header. Bytes that are no UTF-8 arrive, each as one character."""
    addresses = ("/", "/account/", "/sign-in/", "/api/v1/boilers/", "/api/v1/boilers/?as=csv", "/api/schema/")
    found = []
    for value in (
        "a\x00b",
        "\xed\xa0\x80",
        "\xff\xfe",
        '"\\000\\355\\240\\200aaaaaaa"',
        "Bearer gaugeglass_\x00",
        "1" * 5000,
    ):
        answers = [office.get(address, headers={name: value}) for address in addresses]
        answers += [office.post(address, b"{}", "application/json", headers={name: value}) for address in addresses]
        found += [(value, answer.request["PATH_INFO"]) for answer in answers if answer.status_code >= 500]
    assert found == []


@pytest.mark.parametrize(("more", "status"), [(-1, 404), (0, 404), (1, 414)])
@pytest.mark.parametrize("base", ["/api/v1/x", "/x"])
def test_an_address_is_refused_beyond_its_limit_and_not_at_it(base: str, more: int, status: int) -> None:
    query = "a" * (MAX_ADDRESS_LENGTH - len(f"{base}/") + more)
    answer = Client().get(f"{base}/?{query}")
    assert (answer.status_code, is_problem(answer)) == (status, base.startswith("/api/"))
    if status == 414 and base.startswith("/api/"):
        assert answer.json()["code"] == "address_too_long"


def test_a_query_of_too_many_fields_is_refused_as_a_problem() -> None:
    answer = Client().get(f"/api/v1/boilers/?{'a&' * 1500}")
    assert (answer.status_code, answer.json()["code"]) == (400, "too_many_fields")


@pytest.mark.parametrize("text", NO_TEXT)
@pytest.mark.parametrize("form", ['name="file"; filename="na%s.csv"', "name=\"file\"; filename*=utf-8''na%s.csv"])
def test_a_sheet_whose_name_is_no_text_is_refused_and_not_kept(
    office: Client, fleet: Fleet, form: str, text: str
) -> None:
    named = text if "*" in form else unquote_to_bytes(text).decode("latin-1")
    for address in (reverse("register-hand-in", args=[fleet.portfolio.id]), sheets_of(fleet)):
        answer = hand_in(office, address, form % named)
        assert (answer.status_code, is_problem(answer)) == (400, address.startswith("/api/"))
    assert not Import.objects.exists()


def test_the_name_of_a_sheet_is_kept_as_it_was_sent(office: Client, fleet: Fleet) -> None:
    """What is in the file itself is for the reader of sheets: Latin-1 is read there too."""
    for address, taken in ((reverse("register-hand-in", args=[fleet.portfolio.id]), 302), (sheets_of(fleet), 201)):
        sent = "été \ufffd 50%25 %FF.csv".encode().decode("latin-1")
        assert hand_in(office, address, f'name="file"; filename="{sent}"', b"\xff\x00").status_code == taken
    assert set(Import.objects.values_list("name", flat=True)) == {"été \ufffd 50%25 %FF.csv"}


def hand_in(client: Client, address: str, disposition: str, content: bytes = b"x") -> Any:
    """Send a file as a form whose one part is named so; each character is a byte."""
    head = f"--{BOUNDARY}\r\nContent-Disposition: form-data; {disposition}\r\n\r\n".encode("latin-1")
    return client.generic("POST", address, head + content + f"\r\n--{BOUNDARY}--\r\n".encode(), MULTIPART_CONTENT)


@pytest.fixture
def strict(fleet: Fleet) -> Client:
    """The office, signed in, at a site that demands the token of its pages."""
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    client.force_login(make_person("ines", fleet.portfolio, "office"))
    client.get("/account/")
    return client


def sheets_of(fleet: Fleet) -> str:
    return f"/api/v1/portfolios/{fleet.portfolio.id}/register/imports/"


@pytest.mark.parametrize(("where", "status"), [("header", 201), ("field", 201), ("nowhere", 403)])
def test_a_session_hands_in_a_sheet_as_a_form_with_its_token(
    strict: Client, fleet: Fleet, where: str, status: int
) -> None:
    token = strict.cookies["csrftoken"].value
    fields = {"csrfmiddlewaretoken": token} if where == "field" else {}
    form = encode_multipart(BOUNDARY, {**fields, "file": SimpleUploadedFile("name.csv", b"x")})
    headers = {"X-CSRFToken": token} if where == "header" else {}
    answer = strict.generic("POST", sheets_of(fleet), form, MULTIPART_CONTENT, headers=headers)
    assert answer.status_code == status


def test_a_nul_in_a_field_beside_the_sheet_is_refused_by_the_api(office: Client, fleet: Fleet) -> None:
    sent = {"more": "a\x00b", "file": SimpleUploadedFile("name.csv", b"x")}
    answer = office.post(sheets_of(fleet), sent)
    assert (answer.status_code, answer.json()["code"]) == (400, "not_text")
