"""Pages for what went wrong, and what every answer carries."""

import pytest
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.test import Client, RequestFactory

from fleet.web.shared.middleware import RequestIdMiddleware

SLIPS = {
    "400": "could not be read",
    "403": "Your role does not allow this",
    "403_csrf": "has expired",
    "500": "Something went wrong",
}


@pytest.mark.django_db
def test_an_unknown_page_is_a_designed_one() -> None:
    response = Client().get("/no/such/page/")
    assert response.status_code == 404
    assert "Not found" in response.content.decode()


@pytest.mark.parametrize("name", SLIPS)
def test_an_error_page_needs_neither_database_nor_request(name: str) -> None:
    body = render_to_string(f"{name}.html")
    assert SLIPS[name] in body
    assert "Sign out" not in body


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/", "/sign-in/", "/no/such/page/", "/api/v1/boilers/"])
def test_every_answer_forbids_whatever_is_inline_or_from_outside(address: str) -> None:
    policy = Client().get(address)["Content-Security-Policy"]
    assert policy.startswith("default-src 'self'; object-src 'none'; base-uri 'none'")
    assert "unsafe" not in policy


@pytest.mark.parametrize(("address", "inline"), [("/api/docs/", True), ("/api/docs/more/", False), ("/", False)])
def test_only_the_page_of_the_apis_description_may_use_its_own_inline_scripts(address: str, inline: bool) -> None:
    answer = RequestIdMiddleware(lambda _: HttpResponse())(RequestFactory().get(address))
    assert ("'unsafe-inline'" in answer["Content-Security-Policy"]) is inline
