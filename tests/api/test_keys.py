"""Keys of devices: made and revoked by people signed in, told once, good for what they were made for."""

from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from api.http import authentication
from api.keys import NEW_KEY_EXAMPLE
from fleet.accounts import keys
from fleet.accounts.models import Grant, Key, User
from fleet.portfolio.models import Portfolio
from tests.api.desk import Desk
from tests.api.phone import VISITS, Phone, flush, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
KEYS = "/api/v1/keys/"


@pytest.fixture
def desk(fleet: Fleet) -> Desk:
    return Desk.of(fleet.technician)


def made(user: User, *scopes: str, **more: Any) -> Phone:
    """A phone with a key that reaches so far."""
    return Phone(keys.create_key(user=user, name="phone", scopes=["read", *scopes], at=NOW, **more).secret)


def test_a_new_key_opens_what_it_was_made_for_and_is_told_once(desk: Desk, fleet: Fleet) -> None:
    response = desk.send("POST", KEYS, NEW_KEY_EXAMPLE)
    assert (response.status_code, response["Cache-Control"]) == (201, "no-store")
    secret = response.json()["secret"]
    assert Phone(secret).post(flush(fleet)).status_code == 201
    assert secret not in desk.send("GET", KEYS).content.decode()
    assert secret not in str(list(Key.objects.values()))


def test_the_list_tells_everything_but_the_secret(desk: Desk) -> None:
    body = desk.send("POST", KEYS, NEW_KEY_EXAMPLE).json()
    del body["secret"]
    assert desk.send("GET", KEYS).json() == [body]
    assert body["name"] == NEW_KEY_EXAMPLE["name"]
    assert body["scopes"] == ["jobs", "read", "visits"]
    assert body["portfolio"] is None


@pytest.mark.parametrize(
    ("given", "ends"),
    [({}, NOW + 365 * DAY), ({"expires_at": "2027-02-16T14:00:00Z"}, NOW + 400 * DAY)],
)
def test_a_key_lasts_a_year_or_as_long_as_asked(given: Any, ends: Any, desk: Desk) -> None:
    assert desk.send("POST", KEYS, {**NEW_KEY_EXAMPLE, **given}).status_code == 201
    assert Key.objects.get(name=NEW_KEY_EXAMPLE["name"]).expires_at == ends


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        ({"expires_at": "2027-02-16T14:00:01Z"}, ("too_long", "/expires_at")),
        ({"expires_at": "2026-01-12T14:00:00Z"}, ("expired", "/expires_at")),
        ({"scopes": ["visits"]}, ("read_missing", "/scopes")),
        ({"scopes": ["read", "all"]}, ("unknown_scope", "/scopes/1")),
    ],
)
def test_what_a_key_cannot_be_is_refused(given: Any, fault: Any, desk: Desk) -> None:
    response = desk.send("POST", KEYS, {**NEW_KEY_EXAMPLE, **given})
    assert (response.status_code, told(response)) == (422, [fault])
    assert not Key.objects.filter(name=NEW_KEY_EXAMPLE["name"]).exists()


def test_somebody_has_so_many_keys_and_no_more(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keys, "MAX_KEYS", 1)
    first = desk.send("POST", KEYS, NEW_KEY_EXAMPLE)
    assert told(desk.send("POST", KEYS, NEW_KEY_EXAMPLE)) == [("too_many", "")]
    desk.send("DELETE", first["Location"])
    assert desk.send("POST", KEYS, NEW_KEY_EXAMPLE).status_code == 201


@pytest.mark.parametrize(("method", "end"), [("DELETE", ""), ("POST", "revoke/")])
def test_a_revoked_key_opens_nothing_and_revoking_again_is_as_once(method: str, end: str, desk: Desk) -> None:
    new = desk.send("POST", KEYS, NEW_KEY_EXAMPLE)
    phone, address = Phone(new.json()["secret"]), new["Location"] + end
    assert phone.get(KEYS).status_code == 200
    assert [desk.send(method, address).status_code for _ in range(2)] == [204, 204]
    assert (phone.get(KEYS).status_code, desk.send("GET", KEYS).json()) == (401, [])


def test_revoking_again_does_not_move_when_it_was(desk: Desk) -> None:
    address = desk.send("POST", KEYS, NEW_KEY_EXAMPLE)["Location"]
    Key.objects.filter(name=NEW_KEY_EXAMPLE["name"]).update(revoked_at=NOW - DAY)
    desk.send("DELETE", address)
    assert Key.objects.get(name=NEW_KEY_EXAMPLE["name"]).revoked_at == NOW - DAY


def test_a_key_makes_and_revokes_none_also_where_it_may_do_all_its_owner_may(rosa: Phone, fleet: Fleet) -> None:
    own = Key.objects.get(user=fleet.technician)
    answers = [
        rosa.send("POST", KEYS, NEW_KEY_EXAMPLE),
        rosa.send("DELETE", f"{KEYS}{own.id}/"),
        rosa.send("POST", f"{KEYS}{own.id}/revoke/"),
    ]
    assert [a.status_code for a in answers] == [403, 403, 403]
    assert rosa.get(KEYS).status_code == 200


def test_anothers_key_is_not_there(desk: Desk, fleet: Fleet) -> None:
    Phone.of(fleet.caretaker)
    address = f"{KEYS}{Key.objects.get(user=fleet.caretaker).id}/"
    answers = [desk.send("DELETE", address), desk.send("DELETE", f"{KEYS}{uuid4()}/")]
    assert [a.status_code for a in answers] == [404, 404]
    assert answers[0].content == answers[1].content
    assert desk.send("GET", f"{KEYS}?person={fleet.caretaker.id}").status_code == 404


def test_a_manager_finds_and_ends_a_lost_phones_key(fleet: Fleet) -> None:
    phone, manager = Phone.of(fleet.technician), Desk.of(make_person("mia", fleet.portfolio, "manager"))
    [listed] = manager.send("GET", f"{KEYS}?person={fleet.technician.id}").json()
    assert phone.key not in str(listed)
    assert manager.send("DELETE", f"{KEYS}{listed['id']}/").status_code == 204
    assert phone.get(KEYS).status_code == 401


def test_a_key_for_reading_sees_and_does_nothing(fleet: Fleet) -> None:
    phone = made(fleet.technician)
    assert phone.get("/api/v1/boilers/").json()["items"] != []
    response = phone.post(flush(fleet))
    assert (response.status_code, told(response)) == (403, [("not_allowed", "")])


def test_a_key_for_visits_posts_them_and_makes_no_job(fleet: Fleet) -> None:
    planner = make_person("dana", fleet.portfolio, "manager")
    building, place = fleet.bench().boiler.building_id, fleet.bench().places["limit"]
    ask = {"building": str(building), "procedures": [{"position": str(place), "procedure": "limit_trip"}]}
    assert made(planner, "visits").post(flush(fleet)).status_code == 201
    answers = [made(planner, scope).send("POST", "/api/v1/jobs/", ask) for scope in ("visits", "jobs")]
    assert [a.status_code for a in answers] == [403, 201]


def test_a_key_for_another_portfolio_finds_nothing_here(fleet: Fleet) -> None:
    other = Portfolio.objects.create(ref="OTHER", name="Elsewhere")
    Grant.objects.create(user=fleet.technician, portfolio=other, role="technician")
    phone = made(fleet.technician, "visits", portfolio=other.id)
    assert phone.get("/api/v1/boilers/").json()["items"] == []
    assert phone.post(flush(fleet)).status_code == 404
    assert phone.get(f"/api/v1/portfolios/{fleet.portfolio.id}/terms/").status_code == 404
    assert phone.get(f"/api/v1/portfolios/{other.id}/terms/").status_code == 200


def test_a_key_is_for_a_portfolio_its_owner_sees(desk: Desk, fleet: Fleet) -> None:
    other = Portfolio.objects.create(ref="OTHER", name="Elsewhere")
    asked = ({**NEW_KEY_EXAMPLE, "portfolio": str(p)} for p in (other.id, uuid4(), fleet.portfolio.id))
    assert [desk.send("POST", KEYS, body).status_code for body in asked] == [404, 404, 201]


def test_the_last_use_is_noted_once_a_minute(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    phone = made(fleet.technician)
    noted = []
    for seconds in (0, 59, 60):
        now = NOW + timedelta(seconds=seconds)
        monkeypatch.setattr(authentication, "timezone", SimpleNamespace(now=lambda now=now: now))
        phone.get(VISITS)
        noted.append(Key.objects.get(user=fleet.technician).last_used_at - NOW)
    assert noted == [timedelta(0), timedelta(0), timedelta(seconds=60)]
