"""Shared links by the API: made with the address once, listed without it, ended for good, by the rights of the page."""

from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from fleet.accounts import keys
from fleet.reports.models import SharedLink
from fleet.reports.shared_links import DEFAULT_DAYS
from fleet.web.reports import reports_page
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
LINKS = "/api/v1/shared-links/"


@pytest.fixture
def subjects(fleet: Fleet) -> dict[str, str]:
    """The id of one thing of each kind."""
    visit = fleet.serviced(NOW - DAY)
    fleet.post(visit)
    boiler = fleet.bench().boiler.id
    return {"visit": str(visit.id), "boiler_year": str(boiler), "portfolio": str(fleet.portfolio.id)}


def make(phone: Phone, kind: str, subject: object, **more: Any) -> Any:
    return phone.send("POST", LINKS, {"kind": kind, "subject": str(subject), **more})


def path_of(made: Any) -> str:
    return str(made.json()["address"].removeprefix("http://testserver"))


@pytest.mark.parametrize("kind", ["visit", "boiler_year", "portfolio"])
def test_a_link_shows_its_report_until_it_is_ended(
    rosa: Phone, subjects: dict[str, str], kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reports_page, "timezone", SimpleNamespace(now=lambda: NOW))
    made = make(rosa, kind, subjects[kind], days=7)
    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    assert Client().get(path_of(made)).status_code == 200
    assert rosa.send("DELETE", f"{LINKS}{made.json()['id']}/").status_code == 204
    assert Client().get(path_of(made)).status_code == 404


def test_the_address_is_shown_once_and_the_list_names_what_is_shared(rosa: Phone, subjects: dict[str, str]) -> None:
    made = [make(rosa, kind, subject) for kind, subject in subjects.items()]
    listed = rosa.get(LINKS)
    assert {(row["kind"], row["subject"]) for row in listed.json()} == set(subjects.items())
    assert "address" not in listed.text
    assert all(path_of(one).split("/")[2] not in listed.text for one in made)
    lasting = {SharedLink.objects.get(id=one.json()["id"]) for one in made}
    assert {(row.expires_at - row.made_at).days for row in lasting} == {DEFAULT_DAYS}


def test_what_is_foreign_answers_like_what_nobody_knows(rosa: Phone, fleet: Fleet, subjects: dict[str, str]) -> None:
    stranger = Phone.of(fleet.outsider)
    for kind, subject in subjects.items():
        foreign, unknown = make(stranger, kind, subject), make(stranger, kind, uuid4())
        assert foreign.status_code == unknown.status_code == 404
        assert foreign.content == unknown.content
    link = make(rosa, "portfolio", subjects["portfolio"]).json()["id"]
    foreign, unknown = (stranger.send("DELETE", f"{LINKS}{one}/") for one in (link, uuid4()))
    assert (foreign.status_code, foreign.content) == (404, unknown.content)
    assert stranger.get(LINKS).json() == []


def test_who_may_not_see_visits_shares_none(fleet: Fleet, subjects: dict[str, str]) -> None:
    office = Phone.of(make_person("ines", fleet.portfolio, "office"))
    assert [make(office, kind, subject).status_code for kind, subject in subjects.items()] == [404] * 3


@pytest.mark.parametrize("days", [0, 91, "x"])
def test_a_time_that_is_not_possible_is_told_at_its_place(rosa: Phone, subjects: dict[str, str], days: Any) -> None:
    refused = make(rosa, "portfolio", subjects["portfolio"], days=days)
    assert refused.status_code == 400
    assert [place for _, place in told(refused)] == ["/days"]
    assert not SharedLink.objects.exists()


def test_an_unknown_kind_is_told_at_its_place(rosa: Phone, subjects: dict[str, str]) -> None:
    refused = make(rosa, "building", subjects["portfolio"])
    assert (refused.status_code, [place for _, place in told(refused)]) == (400, ["/kind"])


def test_a_restricted_key_makes_no_address_that_outlives_it(fleet: Fleet, subjects: dict[str, str]) -> None:
    made = keys.create_key(user=fleet.technician, name="phone", scopes=["read", "visits"], at=NOW)
    refused = make(Phone(made.secret), "portfolio", subjects["portfolio"])
    assert (refused.status_code, SharedLink.objects.count()) == (403, 0)
