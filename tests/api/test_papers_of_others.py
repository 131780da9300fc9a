"""Papers of others through the door: who posts and seconds them, what is refused and how, what is read back."""

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from fleet.accounts.models import User
from fleet.visits.models import PaperOfOthers, Visit
from tests.api.phone import DROP, VISITS, Body, Phone, but, told
from tests.cast import NOW, Fleet, make_person
from tests.shop_papers import SERIAL, stamp_serial

pytestmark = pytest.mark.django_db
PAPER: Body = {
    "body": "valve_shop",
    "name": "Harbor Valve Shop",
    "number": "1001",
    "dated_on": "2026-01-12",
    "file": {"name": "valve.pdf", "sha256": "ab" * 32, "size": 120_000, "type": "application/pdf"},
}


def shop_body(fleet: Fleet, **more: Any) -> Body:
    bench = fleet.bench()
    entry = {
        "test": "valve_shop_test",
        "position": str(bench.places["valve"]),
        "outcome": "pass",
        "serial": SERIAL,
        "readings": {"opens_psi": 15, "tight": True, "sealed": True},
    }
    body = {
        "id": str(uuid4()),
        "boiler": str(bench.boiler.id),
        "kind": "follow_up",
        "performed_at": "2026-01-12T08:00:00-05:00",
        "people": [{"name": "Bram"}],
        "entries": [entry],
        "paper": PAPER,
    }
    return {**body, **more}


def hold_valve(fleet: Fleet) -> None:
    """The valve did not lift, and was worked on; its serial is on record."""
    stamp_serial(fleet, NOW - timedelta(days=9))
    at, bench = NOW - timedelta(hours=6), fleet.bench()
    lift = bench.test_entry(at, "lever_lift", "valve", "fail", gauge_psi=6.0, lifted=False, discharged=False)
    fleet.post(fleet.visit(at, [lift, bench.action_entry(at, "repair", "valve")]))


@pytest.fixture
def bram(fleet: Fleet, db: Any) -> Phone:
    return Phone.of(fleet.caretaker)


def test_a_caretaker_posts_one_and_the_same_again_answers_alike(fleet: Fleet, bram: Phone) -> None:
    body = shop_body(fleet)
    first, again = bram.post(body), bram.post(body)
    assert first.status_code == 201
    assert again.status_code == 200
    assert first.content == again.content
    assert first.json()["verdicts"][0]["proves"] == "full"


def test_other_content_under_the_same_id_is_a_conflict(fleet: Fleet, bram: Phone) -> None:
    body = shop_body(fleet)
    bram.post(body)
    other = bram.post(but(body, "paper", "file", "sha256", to="cd" * 32))
    assert (other.status_code, told(other)) == (409, [("id_taken", "/id")])


def test_without_an_id_it_needs_a_key(fleet: Fleet, bram: Phone) -> None:
    body = but(shop_body(fleet), "id", to=DROP)
    answers = [bram.post(body), *(bram.post(body, headers={"Idempotency-Key": '"shop"'}) for _ in range(2))]
    assert [a.status_code for a in answers] == [422, 201, 201]
    assert PaperOfOthers.objects.count() == 1


def test_the_same_paper_in_another_visit_is_a_conflict(fleet: Fleet, bram: Phone) -> None:
    bram.post(shop_body(fleet))
    again = bram.post(shop_body(fleet))
    assert (again.status_code, told(again)) == (409, [("paper_posted_already", "/paper/number")])
    assert "Paper 1001 of Harbor Valve Shop was already posted for this boiler" in again.json()["detail"]


@pytest.mark.parametrize(
    ("role", "status"),
    [("inspector", 201), ("manager", 201), ("owner", 201), ("technician", 201), ("dispatcher", 201), ("office", 403)],
)
def test_who_may_post_one(fleet: Fleet, role: str, status: int) -> None:
    phone = Phone.of(make_person(f"some-{role}", fleet.portfolio, role))
    assert phone.post(shop_body(fleet)).status_code == status


def test_a_foreign_boiler_is_answered_like_an_unknown_one(fleet: Fleet) -> None:
    olga, body = Phone.of(fleet.outsider), shop_body(fleet)
    foreign, unknown = olga.post(body), olga.post({**body, "boiler": str(uuid4())})
    assert (foreign.status_code, foreign.content) == (404, unknown.content)
    assert not Visit.objects.filter(id=body["id"]).exists()


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("body",), "bank"),
        (("body",), DROP),
        (("name",), ""),
        (("name",), "n" * 201),
        (("number",), "  "),
        (("number",), 1001),
        (("dated_on",), "2026-02-30"),
        (("dated_on",), "12 Jan 2026"),
        (("dated_on",), 20260112),
        (("dated_on",), "20260112"),
        (("dated_on",), "2026-W03-1"),
        (("file",), DROP),
        (("file",), "valve.pdf"),
        (("file", "name"), ""),
        (("file", "name"), "n" * 201),
        (("file", "sha256"), "ab"),
        (("file", "size"), 0),
        (("file", "size"), 20 * 1024 * 1024 + 1),
        (("file", "size"), "120000"),
        (("file", "size"), True),
        (("file", "type"), "text/html"),
        (("file", "path"), "/etc"),
        (("until",), "2027-01-12"),
    ],
)
def test_a_paper_of_a_wrong_shape_is_refused_at_its_place(
    fleet: Fleet, bram: Phone, path: tuple[str, ...], value: Any
) -> None:
    answer = bram.post(but(shop_body(fleet), "paper", *path, to=value))
    assert (answer.status_code, [at for _, at in told(answer)]) == (400, [f"/paper/{'/'.join(path)}"])


@pytest.mark.parametrize(
    ("path", "value", "code"),
    [
        (("paper", "dated_on"), "2026-01-13", "in_the_future"),
        (("paper", "dated_on"), "2019-09-30", "before_the_boiler"),
        (("paper", "file", "sha256"), "xy" * 32, "not_a_hash"),
        (("left_as",), "on_call", "not_on_paper"),
        (("kind",), "annual_service", "not_on_paper"),
    ],
)
def test_a_paper_that_cannot_be_is_refused_at_its_place(
    fleet: Fleet, bram: Phone, path: tuple[str, ...], value: Any, code: str
) -> None:
    answer = bram.post(but(shop_body(fleet), *path, to=value))
    assert (answer.status_code, told(answer)) == (422, [(code, f"/{'/'.join(path)}")])
    assert not PaperOfOthers.objects.exists()


def test_a_test_that_its_body_does_not_do_is_refused(fleet: Fleet, bram: Phone) -> None:
    answer = bram.post(but(shop_body(fleet), "paper", "body", to="utility"))
    assert (answer.status_code, told(answer)) == (422, [("not_of_this_body", "/entries/0/test")])


def paper_schema() -> Any:
    return Client().get("/api/schema/?format=json").json()["components"]["schemas"]


def test_the_document_says_which_texts_a_hash_is() -> None:
    pattern = paper_schema()["PaperFile"]["properties"]["sha256"]["pattern"]
    texts = ("ab" * 32, "AB" * 32, "ab" * 31, "ab" * 33, "xy" * 32)
    assert [bool(re.search(pattern, text)) for text in texts] == [True, False, False, False, False]


def test_the_document_says_that_the_file_is_not_kept() -> None:
    assert "The file is not kept here" in paper_schema()["PaperFile"]["description"]


def test_a_serial_belongs_to_a_paper(fleet: Fleet, bram: Phone) -> None:
    answer = bram.post(but(shop_body(fleet), "paper", to=DROP))
    assert told(answer) == [("serial_without_paper", "/entries/0/serial")]


def test_what_waits_is_read_in_the_list_and_in_the_facts(fleet: Fleet, bram: Phone) -> None:
    hold_valve(fleet)
    body = shop_body(fleet)
    lacks = bram.post(body).json()["paper_lacks"]
    listed = next(v for v in bram.get(VISITS).json()["items"] if v["id"] == body["id"])
    facts = bram.get(f"{VISITS}{body['id']}/facts/").json()
    assert listed["paper"]["number"] == "1001"
    assert listed["waits_for_second"] is True
    assert facts["paper_lacks"] == lacks
    assert facts["entries"][0]["values"] == {"serial": SERIAL}


@pytest.fixture
def nora(fleet: Fleet, db: Any) -> User:
    return make_person("nora", fleet.portfolio, "technician", "technician")


def test_a_second_name_ends_the_hold_once(fleet: Fleet, bram: Phone, nora: User) -> None:
    hold_valve(fleet)
    body = shop_body(fleet)
    bram.post(body)
    answers = [Phone.of(nora).send("POST", f"{VISITS}{body['id']}/second/") for _ in range(2)]
    assert [a.status_code for a in answers] == [201, 409]
    facts = bram.get(f"{VISITS}{body['id']}/facts/").json()
    assert facts["paper_lacks"] == []
    assert facts["visit"]["waits_for_second"] is False
    assert facts["entries"][0]["now"]["proves"] == "full"


def test_seconding_is_for_who_may_and_unknown_to_others(fleet: Fleet, bram: Phone) -> None:
    hold_valve(fleet)
    body = shop_body(fleet)
    bram.post(body)
    address = f"{VISITS}{body['id']}/second/"
    poster, stranger = (phone.send("POST", address) for phone in (bram, Phone.of(fleet.outsider)))
    unknown = Phone.of(fleet.outsider).send("POST", f"{VISITS}{uuid4()}/second/")
    assert (poster.status_code, stranger.status_code) == (403, 404)
    assert stranger.content == unknown.content


def test_a_plain_visit_is_not_seconded(fleet: Fleet, nora: User) -> None:
    visit = fleet.flushed(NOW)
    fleet.post(visit)
    answer = Phone.of(nora).send("POST", f"{VISITS}{visit.id}/second/")
    assert (answer.status_code, told(answer)) == (422, [("not_a_correction", "")])
