"""What nothing can store, and what is too long, is refused before any work: at every page, form and address."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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
NUL, LONE = "%00", "%ED%A0%80"  # the second is half a character, which UTF-8 has no bytes for
# Names under which pages read their questions, from their source.
ASKED = sorted(
    {
        name
        for path in (ROOT / "fleet" / "web").rglob("*.py")
        for name in re.findall(r'GET\.get(?:list)?\("(\w+)"', path.read_text(encoding="utf-8"))
    }
    | {"next", "since", "from", "to", "limit", "after"}
)


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


def test_half_a_character_in_a_question_fails_nowhere(office: Client) -> None:
    query = "&".join(f"{name}=a{LONE}" for name in ASKED)
    statuses = {route: office.get(f"{filled(route)}?{query}").status_code for route in ROUTES}
    assert {route: status for route, status in statuses.items() if status >= 500} == {}


@pytest.mark.parametrize("text", [NUL, LONE, "%F0", "%ED%A0%80%ED%B0%80"])
def test_text_that_is_none_in_an_address_is_refused_or_unknown(office: Client, text: str) -> None:
    addresses = [*(filled(route, text) for route in ROUTES if "<" in route), f"/{text}", f"/api/v1/{text}/"]
    answers = {address: office.get(address).status_code for address in addresses if text in address}
    # 200 and 302: a link that is no longer good leads to a page that says so.
    allowed = {400} if text == NUL else {200, 302, 400, 401, 404, 405}
    assert len(answers) > 8
    assert {address: status for address, status in answers.items() if status not in allowed} == {}


def is_problem(answer: Any) -> bool:
    return bool(answer["Content-Type"] == "application/problem+json")


def forms() -> list[str]:
    """Every route of a page that takes a form."""
    return [route for route, base in ROUTES.items() if base == "/"]


@pytest.mark.parametrize("kind", ["field", "name of a field", "field of a multipart form"])
def test_a_nul_in_any_form_is_refused(office: Client, kind: str) -> None:
    def sent(address: str) -> Any:
        if kind == "field":
            return office.post(address, f"anything=a{NUL}b", content_type="application/x-www-form-urlencoded")
        if kind == "name of a field":
            return office.post(address, f"any{NUL}=a", content_type="application/x-www-form-urlencoded")
        return office.post(address, {"anything": "a\x00b"})

    statuses = {route: sent(filled(route)).status_code for route in forms()}
    assert {route: status for route, status in statuses.items() if status != 400} == {}


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
    for value in ("a\x00b", "\xed\xa0\x80", "\xff\xfe", '"\\000\\355\\240\\200aaaaaaa"', "Bearer gg_\x00", "1" * 5000):
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


def test_the_name_of_a_file_is_kept_without_a_nul_and_refused_with_half_a_character(
    office: Client, fleet: Fleet
) -> None:
    form = encode_multipart(BOUNDARY, {"file": SimpleUploadedFile("name.csv", b"x")})
    for address, taken in ((reverse("register-hand-in", args=[fleet.portfolio.id]), 302), (sheets_of(fleet), 201)):
        for text, statuses in ((b"\x00", {taken}), (b"\xed\xa0\x80", {400, 422})):
            sent = form.replace(b"name.csv", b"na%sme.csv" % text)
            assert office.generic("POST", address, sent, MULTIPART_CONTENT).status_code in statuses
    assert set(Import.objects.values_list("name", flat=True)) == {"name.csv"}


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
