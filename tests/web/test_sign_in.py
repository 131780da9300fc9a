"""Signing in and out."""

import pytest
from django.test import Client

from tests.cast import Fleet

pytestmark = pytest.mark.django_db

GOOD = {"username": "rosa", "password": "oak-valve-2609"}


def test_signing_in_leads_to_the_page_that_was_asked_for(fleet: Fleet) -> None:
    assert Client().post("/sign-in/", {**GOOD, "next": "/alerts/"})["Location"] == "/alerts/"


def test_signing_in_never_leads_off_this_site(fleet: Fleet) -> None:
    assert Client().post("/sign-in/", {**GOOD, "next": "https://elsewhere.invalid/"})["Location"] == "/"


def test_a_wrong_password_is_said_and_signs_nobody_in(fleet: Fleet) -> None:
    client = Client()
    assert 'role="alert"' in client.post("/sign-in/", {**GOOD, "password": "wrong"}).content.decode()
    assert "_auth_user_id" not in client.session


def test_signing_in_needs_the_forms_own_mark(fleet: Fleet) -> None:
    response = Client(enforce_csrf_checks=True).post("/sign-in/", GOOD)
    assert response.status_code == 403
    assert "This form has expired" in response.content.decode()


def test_signing_out_ends_the_session(fleet: Fleet, rosa: Client) -> None:
    assert rosa.post("/sign-out/")["Location"] == "/sign-in/"
    assert rosa.get("/").status_code == 302


def test_a_link_cannot_sign_anybody_out(fleet: Fleet, rosa: Client) -> None:
    assert rosa.get("/sign-out/").status_code == 405
