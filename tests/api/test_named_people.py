"""Visits that name others, through the door: what they are worth, who answers for himself, and the list."""

from typing import Any
from uuid import uuid4

import pytest

from fleet.accounts.models import User
from fleet.visits.models import NameAnswer, Seconding
from tests.api.phone import VISITS, Body, Phone, told
from tests.cast import DAY, NOW, Fleet, make_person, standing

pytestmark = pytest.mark.django_db
THAT_NAME_ME = f"{VISITS}that-name-me/"


@pytest.fixture
def bram(fleet: Fleet, db: Any) -> Phone:
    return Phone.of(fleet.caretaker)


@pytest.fixture
def nora(fleet: Fleet, db: Any) -> User:
    return make_person("nora", fleet.portfolio, "technician", "technician")


def drained(fleet: Fleet, *people: User, **more: Any) -> Body:
    """A slow drain of the upper cutoff after the chamber was cleaned, naming these people."""
    bench = fleet.bench()
    drain = {
        "test": "slow_drain",
        "position": str(bench.places["upper"]),
        "outcome": "pass",
        "readings": {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5},
    }
    body = {
        "id": str(uuid4()),
        "boiler": str(bench.boiler.id),
        "kind": "follow_up",
        "performed_at": "2026-01-12T08:00:00-05:00",
        "people": [{"user": str(person.id)} for person in people],
        "entries": [{"action": "open_clean", "position": str(bench.places["chamber"])}, drain],
    }
    return {**body, **more}


def second(phone: Phone, visit: object, body: Body | None = None) -> Any:
    return phone.send("POST", f"{VISITS}{visit}/second/", body or {})


def deny(phone: Phone, visit: object) -> Any:
    return phone.send("POST", f"{VISITS}{visit}/deny/")


def code_of(answer: Any) -> tuple[int, str]:
    return answer.status_code, answer.json()["errors"][0]["code"]


def test_a_caretakers_key_that_names_the_technician_ends_no_hold(fleet: Fleet, bram: Phone, nora: User) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False), at=NOW - DAY)
    body = drained(fleet, nora)
    answer = bram.post(body).json()
    assert answer["standing"]["after"] == "hold"
    assert [verdict["proves"] for verdict in answer["verdicts"]] == [""]
    assert second(Phone.of(nora), body["id"]).status_code == 201
    assert standing(fleet.bench()) != "hold"


def test_the_answer_says_who_is_waited_for_and_what_it_counts_as(fleet: Fleet, bram: Phone, nora: User) -> None:
    body = drained(fleet, nora)
    answer = bram.post(body).json()
    assert answer["waits_for_people"] == [{"user": str(nora.id), "name": "nora"}]
    assert answer["counts_as"] == []
    assert answer["waits_for_second"] is False


def test_a_visit_that_waits_for_nobody_says_so(fleet: Fleet, rosa: Phone) -> None:
    answer = rosa.post(drained(fleet, fleet.technician)).json()
    assert (answer["waits_for_people"], answer["counts_as"]) == ([], None)


def test_its_facts_tell_the_present_state(fleet: Fleet, bram: Phone, nora: User, rosa: Phone) -> None:
    body = drained(fleet, nora, fleet.technician)
    bram.post(body)
    deny(Phone.of(nora), body["id"])
    head = rosa.get(f"{VISITS}{body['id']}/facts/").json()["visit"]
    assert head["waits_for_people"] == [{"user": str(fleet.technician.id), "name": "rosa"}]
    assert head["counts_as"] == []
    assert [(reply["name"], reply["answer"]) for reply in head["replies"]] == [("nora", "denied")]


def test_the_list_holds_what_names_the_caller_and_waits(fleet: Fleet, bram: Phone, nora: User, rosa: Phone) -> None:
    bodies = [drained(fleet, nora, performed_at=f"2026-01-12T0{hour}:00:00-05:00") for hour in (5, 6, 7)]
    for body in bodies:
        bram.post(body)
    phone = Phone.of(nora)
    page = phone.get(f"{THAT_NAME_ME}?limit=2").json()
    rest = phone.get(f"{THAT_NAME_ME}?limit=2&cursor={page['next']}").json()
    assert [row["id"] for row in (*page["items"], *rest["items"])] == [body["id"] for body in reversed(bodies)]
    assert rest["next"] is None
    assert rosa.get(THAT_NAME_ME).json()["items"] == []


@pytest.mark.parametrize("say", [second, deny])
def test_what_is_answered_leaves_the_list(fleet: Fleet, bram: Phone, nora: User, say: Any) -> None:
    body = drained(fleet, nora)
    bram.post(body)
    phone = Phone.of(nora)
    assert say(phone, body["id"]).status_code == 201
    assert phone.get(THAT_NAME_ME).json()["items"] == []


@pytest.mark.parametrize(
    ("first", "then", "code"),
    [
        (second, second, "seconded_already"),
        (second, deny, "seconded_already"),
        (deny, second, "denied_already"),
        (deny, deny, "denied_already"),
    ],
)
def test_a_word_is_given_once(fleet: Fleet, bram: Phone, nora: User, first: Any, then: Any, code: str) -> None:
    body = drained(fleet, nora)
    bram.post(body)
    phone = Phone.of(nora)
    first(phone, body["id"])
    answer = then(phone, body["id"])
    assert code_of(answer) == (409, code)
    assert answer["Content-Type"] == "application/problem+json"
    assert NameAnswer.objects.count() == 1


@pytest.mark.parametrize("say", [second, deny])
def test_only_whoever_is_named_by_another_and_was_qualified_may(
    fleet: Fleet, bram: Phone, nora: User, rosa: Phone, say: Any
) -> None:
    body = drained(fleet, nora, fleet.caretaker)
    rosa.post(body)
    assert code_of(say(rosa, body["id"])) == (403, "own_visit")
    assert say(bram, body["id"]).status_code == 201  # an operator has a word of his own
    ned = Phone.of(make_person("ned", fleet.portfolio, "technician", "technician"))
    assert code_of(say(ned, body["id"])) == (403, "not_named")
    assert say(Phone.of(fleet.outsider), body["id"]).status_code == 404
    assert say(ned, uuid4()).status_code == 404


@pytest.mark.parametrize("say", [second, deny])
def test_whoever_left_the_portfolio_still_has_a_word(fleet: Fleet, bram: Phone, nora: User, say: Any) -> None:
    body, other = drained(fleet, nora), drained(fleet, nora)
    bram.post(body)
    bram.post(other)
    phone = Phone.of(nora)
    nora.grants.update(until=NOW)
    assert phone.get(f"/api/v1/visits/{body['id']}/").status_code == 404
    assert {row["id"] for row in phone.get("/api/v1/visits/that-name-me/").json()["items"]} == {body["id"], other["id"]}
    assert say(phone, body["id"]).status_code == 201
    assert [row["id"] for row in phone.get("/api/v1/visits/that-name-me/").json()["items"]] == [other["id"]]
    assert say(phone, body["id"]).status_code == 404


def test_the_office_may_not_answer(fleet: Fleet, bram: Phone, nora: User) -> None:
    body = drained(fleet, nora)
    bram.post(body)
    office = Phone.of(make_person("otto", fleet.portfolio, "office"))
    assert second(office, body["id"]).status_code == 404
    assert deny(office, body["id"]).status_code == 404


def test_a_technician_named_at_a_correction_says_as_what_she_seconds_it(fleet: Fleet, nora: User) -> None:
    failed = fleet.flushed(NOW - DAY, burner_stopped=False)
    fleet.post(failed, at=NOW - DAY)
    body = drained(fleet, nora, corrects=str(failed.id), reason="wrong box")
    manager = Phone.of(make_person("mona", fleet.portfolio, "manager"))
    assert manager.post(body).json()["waits_for_second"] is True
    phone = Phone.of(nora)
    assert second(phone, body["id"]).status_code == 201
    assert (NameAnswer.objects.count(), Seconding.objects.count()) == (1, 0)
    assert code_of(second(phone, body["id"])) == (409, "seconded_already")
    assert second(phone, body["id"], {"capacity": "second_name"}).status_code == 201
    assert Seconding.objects.count() == 1


def test_an_unknown_capacity_is_refused(fleet: Fleet, bram: Phone, nora: User) -> None:
    body = drained(fleet, nora)
    bram.post(body)
    answer = second(Phone.of(nora), body["id"], {"capacity": "witness"})
    assert (answer.status_code, [at for _, at in told(answer)]) == (400, ["/capacity"])


def test_an_absent_technician_puts_no_place_on_record(fleet: Fleet, bram: Phone, nora: User) -> None:
    answers = [{"role": "feeder", "answer": "there", "kind": "feeder"}]
    answer = bram.post(drained(fleet, nora, register_answers=answers))
    assert (answer.status_code, told(answer)) == (422, [("not_qualified", "/register_answers")])
