"""The calendar feeds: read back by another parser; what stays, what grows, what is cancelled, what is secret."""

from datetime import timedelta
from typing import Any

import pytest
import vobject
from django.test import Client

from fleet.accounts import keys
from fleet.accounts.models import Grant, Key
from fleet.jobs.models import Feed, Job
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import Crew, crew

pytestmark = pytest.mark.django_db
FEEDS = "/api/v1/calendar-feeds/"


@pytest.fixture
def office(fleet: Fleet, db: Any) -> Crew:
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    return office.plan(office.make(("limit", "limit_trip")))


def made(phone: Phone, office: Crew, whole: bool = False) -> Any:
    return phone.send("POST", FEEDS, {"portfolio": str(office.fleet.portfolio.id), "whole": whole})


def events(address: str) -> list[Any]:
    """What a program that only has the address reads."""
    response = Client().get(address)
    assert (response.status_code, response["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    calendar = vobject.readOne(response.content.decode())
    calendar.validate(raiseException=True)
    return list(calendar.contents.get("vevent", []))


def test_another_parser_reads_what_was_planned(office: Crew, job: Job, rosa: Phone) -> None:
    (event,) = events(made(rosa, office).json()["address"])
    assert (event.uid.value, event.status.value) == (f"{job.id}@gaugeglass.invalid", "TENTATIVE")
    assert (event.dtstart.value, event.dtend.value) == (NOW + DAY, NOW + DAY + timedelta(minutes=50))
    assert event.location.value == "12 Alder Terrace"
    assert "Limit trip of the high limit is asked for." in event.description.value


def test_the_identity_stays_and_the_sequence_grows(office: Crew, job: Job, rosa: Phone) -> None:
    address = made(rosa, office).json()["address"]
    seen = [events(address)[0]]
    office.act(job, "accept")
    seen.append(events(address)[0])
    office.plan(job, NOW + 2 * DAY)
    seen.append(events(address)[0])
    assert len({e.uid.value for e in seen}) == 1
    sequence = [int(e.sequence.value) for e in seen]
    assert sequence == sorted(set(sequence))
    assert [e.status.value for e in seen] == ["TENTATIVE", "CONFIRMED", "TENTATIVE"]
    assert seen[2].dtstart.value == NOW + 2 * DAY


@pytest.mark.parametrize("how", ["cancel", "decline", "another"])
def test_what_is_taken_away_is_cancelled(how: str, office: Crew, job: Job, rosa: Phone) -> None:
    address = made(rosa, office).json()["address"]
    before = events(address)[0]
    if how == "another":
        office.plan(job, NOW + 2 * DAY, to=office.second.id)
    else:
        office.act(job, how, reason="so")
    (event,) = events(address)
    assert (event.uid.value, event.status.value) == (before.uid.value, "CANCELLED")
    assert event.dtstart.value == NOW + DAY
    assert int(event.sequence.value) > int(before.sequence.value)


def test_the_portfolio_has_each_job_once_as_it_is_now(office: Crew, job: Job) -> None:
    office.plan(job, NOW + 2 * DAY, to=office.second.id)
    (event,) = events(made(Phone.of(office.dispatcher), office, whole=True).json()["address"])
    assert (event.status.value, event.dtstart.value) == ("TENTATIVE", NOW + 2 * DAY)


def test_nobody_elses_jobs_are_in_ones_own(office: Crew, job: Job) -> None:
    assert events(made(Phone.of(office.second), office).json()["address"]) == []


def test_lines_are_folded_and_text_is_escaped(office: Crew, job: Job, rosa: Phone) -> None:
    raw = Client().get(made(rosa, office).json()["address"]).content
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    assert b"\n" not in raw.replace(b"\r\n", b"")


def test_a_revoked_address_leads_nowhere_like_an_unknown_one(office: Crew, rosa: Phone) -> None:
    feed = made(rosa, office).json()
    assert rosa.send("DELETE", f"{FEEDS}{feed['id']}/").status_code == 204
    gone, unknown = Client().get(feed["address"]), Client().get("/api/v1/calendars/nothing.ics")
    assert (gone.status_code, gone.content) == (404, unknown.content)
    assert rosa.get(FEEDS).json() == []


def test_only_its_owner_revokes_a_feed(office: Crew, rosa: Phone) -> None:
    feed = made(rosa, office).json()
    assert Phone.of(office.second).send("DELETE", f"{FEEDS}{feed['id']}/").status_code == 404
    assert Client().get(feed["address"]).status_code == 200


def test_the_address_is_told_once_and_kept_nowhere(office: Crew, rosa: Phone) -> None:
    address = made(rosa, office).json()["address"]
    secret = address.rsplit("/", 1)[1].removesuffix(".ics")
    assert secret not in str([*Feed.objects.values(), rosa.get(FEEDS).json()])


def test_who_lost_the_portfolio_reads_no_more_of_it(office: Crew, job: Job) -> None:
    address = made(Phone.of(office.dispatcher), office, whole=True).json()["address"]
    Grant.objects.filter(user=office.dispatcher).update(until=NOW)
    assert Client().get(address).status_code == 404


@pytest.mark.parametrize(
    ("role", "whole", "status"),
    [("technician", False, 201), ("technician", True, 403), ("dispatcher", True, 201), ("caretaker", False, 403)],
)
def test_who_may_have_which(role: str, whole: bool, status: int, office: Crew) -> None:
    phone = Phone.of(make_person("one-more", office.fleet.portfolio, role))
    assert made(phone, office, whole).status_code == status


def test_one_outside_is_told_nothing(office: Crew) -> None:
    assert made(Phone.of(office.fleet.outsider), office).status_code == 404


def test_there_are_so_many_feeds_and_no_more(office: Crew, rosa: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fleet.jobs.feeds.MAX_FEEDS", 1)
    made(rosa, office)
    assert told(made(rosa, office)) == [("too_many", "")]


@pytest.mark.parametrize(("scopes", "within"), [(["read", "jobs"], None), (None, "portfolio")])
def test_a_key_made_for_less_makes_and_ends_no_feed(scopes: Any, within: Any, fleet: Fleet, rosa: Phone) -> None:
    key = keys.make_unscoped_key(user=fleet.technician, name="less", expires_at=NOW + DAY)
    Key.objects.filter(name="less").update(scopes=scopes, portfolio=fleet.portfolio if within else None)
    feed = rosa.send("POST", FEEDS, {"portfolio": str(fleet.portfolio.id)}).json()
    assert Phone(key).send("POST", FEEDS, {"portfolio": str(fleet.portfolio.id)}).status_code == 403
    assert Phone(key).send("DELETE", f"{FEEDS}{feed['id']}/").status_code == 403
