"""Refused visits are kept 30 days as they came, for the office of the boiler, and free their id."""

from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from api import refused_posts as door
from fleet.accounts import keys, refused_posts
from fleet.accounts.models import Grant, RefusedPost
from fleet.accounts.purge import purge_expired
from fleet.portfolio.models import Portfolio
from fleet.visits.models import Visit
from tests.api.phone import VISITS, Phone, but, flush, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
POSTS = "/api/v1/refused-posts/"


@pytest.fixture
def office(fleet: Fleet, db: Any) -> Phone:
    return Phone.of(make_person("odile", fleet.portfolio, "office"))


def bad(fleet: Fleet, **more: Any) -> dict[str, Any]:
    """A flush with a kind that is none."""
    return {**flush(fleet), "kind": "nonsense", **more}


def listed(phone: Phone) -> list[dict[str, Any]]:
    return list(phone.get(POSTS).json()["items"])


def test_the_office_sees_who_sent_what_when_and_what_was_wrong(rosa: Phone, office: Phone, fleet: Fleet) -> None:
    body = bad(fleet)
    answer = rosa.post(body, headers={"X-Request-Id": "field-00001"})
    [row] = listed(office)
    assert row.pop("id")
    assert row == {
        "at": "2026-01-12T14:00:00Z",
        "by": "rosa",
        "route": "POST /api/v1/visits/",
        "status": 400,
        "boiler": body["boiler"],
        "request_id": "field-00001",
        "errors": answer.json()["errors"],
    }


def test_the_body_is_shown_as_it_was_sent(rosa: Phone, office: Phone, fleet: Fleet) -> None:
    sent = f'{{"boiler":  "{fleet.bench().boiler.id}", "kind": "é'.encode() + b'\x00\xff"'
    assert rosa.post(sent).status_code == 400
    [row] = listed(office)
    assert office.get(f"{POSTS}{row['id']}/").json()["body"] == sent.decode(errors="replace")
    assert bytes(RefusedPost.objects.get().body) == sent


def test_it_is_no_fact_and_its_id_is_free(rosa: Phone, fleet: Fleet) -> None:
    body = bad(fleet)
    rosa.post(body)
    assert not Visit.objects.filter(id=body["id"]).exists()
    assert rosa.post({**body, "kind": "routine_check"}).status_code == 201


def test_what_the_core_refuses_is_kept_after_all_of_it_was_taken_back(rosa: Phone, fleet: Fleet) -> None:
    body = but(flush(fleet), "entries", 0, "test", to="no_such_test")
    assert rosa.post(body, headers={"Idempotency-Key": "k-1"}).status_code == 422
    assert (RefusedPost.objects.get().status, Visit.objects.count()) == (422, 0)


def test_what_is_accepted_is_not_kept(rosa: Phone, fleet: Fleet) -> None:
    rosa.post(flush(fleet))
    assert not RefusedPost.objects.exists()


def test_a_body_too_large_is_told_without_itself(rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post({**flush(fleet), "note": "x" * 2 * 1024 * 1024}).status_code == 413
    kept = RefusedPost.objects.get()
    assert kept.status == 413
    assert bytes(kept.body) == b""
    assert kept.faults[0]["code"] == "too_large"


@pytest.mark.parametrize("sender", ["outsider", "office", "reader", "nobody"])
def test_nothing_is_kept_of_who_may_post_nowhere(sender: str, fleet: Fleet) -> None:
    reading = keys.create_key(user=fleet.technician, name="r", scopes=["read"], at=NOW)
    senders = {
        "outsider": Phone.of(fleet.outsider),
        "office": Phone.of(make_person("zora", fleet.portfolio, "office")),
        "reader": Phone(reading.secret),
        "nobody": Phone("gaugeglass_unknown"),
    }
    assert senders[sender].post(bad(fleet)).status_code in (400, 401)
    assert not RefusedPost.objects.exists()


def test_of_one_key_so_many_are_kept_a_day_and_no_more(
    rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refused_posts, "MAX_PER_DAY", 2)
    for _ in range(4):
        rosa.post(bad(fleet))
    assert RefusedPost.objects.count() == 2
    Phone.of(fleet.technician).post(bad(fleet))
    assert RefusedPost.objects.count() == 3
    monkeypatch.setattr(door, "timezone", SimpleNamespace(now=lambda: NOW + DAY))
    rosa.post(bad(fleet))
    assert RefusedPost.objects.count() == 4


def test_a_boiler_out_of_reach_is_answered_404_and_told_to_its_office_where_one_once_had_a_grant(
    rosa: Phone, office: Phone, fleet: Fleet
) -> None:
    Grant.objects.filter(user=fleet.technician).update(building=fleet.bench("QUA48 B1").boiler.building)
    body = flush(fleet)
    assert rosa.post(body).status_code == 404
    assert [row["boiler"] for row in listed(office)] == [body["boiler"]]


@pytest.mark.parametrize("role", ["technician", "caretaker", "dispatcher", "inspector"])
def test_who_may_not_see_refused_posts_sees_none(role: str, rosa: Phone, fleet: Fleet) -> None:
    rosa.post(bad(fleet))
    phone, post = Phone.of(make_person("pim", fleet.portfolio, role)), RefusedPost.objects.get()
    unseen, unknown = phone.get(f"{POSTS}{post.id}/"), phone.get(f"{POSTS}{uuid4()}/")
    assert listed(phone) == []
    assert unseen.status_code == 404
    assert unseen.content == unknown.content


def test_a_manager_of_one_building_sees_its_own_and_no_unknown_ones(rosa: Phone, fleet: Fleet) -> None:
    mia = make_person("mia", fleet.portfolio, "manager")
    Grant.objects.filter(user=mia).update(building=fleet.bench().boiler.building)
    for body in (bad(fleet), bad(fleet, boiler=str(fleet.bench("QUA48 B1").boiler.id)), bad(fleet, boiler="?")):
        rosa.post(body)
    assert [row["boiler"] for row in listed(Phone.of(mia))] == [str(fleet.bench().boiler.id)]


@pytest.mark.parametrize("boiler", ["?", 7, None, "00000000-0000-4000-8000-000000000000"])
def test_a_post_to_no_known_boiler_is_for_the_office_of_the_whole_portfolio(
    boiler: Any, rosa: Phone, office: Phone, fleet: Fleet
) -> None:
    rosa.post(bad(fleet, boiler=boiler))
    assert [(row["by"], row["boiler"]) for row in listed(office)] == [("rosa", None)]


def test_another_portfolios_office_sees_nothing_and_a_strangers_word_names_no_boiler_of_theirs(fleet: Fleet) -> None:
    other = Portfolio.objects.create(ref="OTHER", name="Elsewhere")
    theirs = Phone.of(make_person("odo", other, "office"))
    Phone.of(fleet.technician).post(bad(fleet))
    stranger = Phone.of(make_person("sten", other, "technician"))
    stranger.post(bad(fleet))
    assert [(row["by"], row["boiler"]) for row in listed(theirs)] == [("sten", None)]


def test_what_cannot_be_kept_changes_no_answer(
    rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(RefusedPost.objects, "create", lambda **_: 1 // 0)
    response = rosa.post(bad(fleet))
    assert (response.status_code, told(response)) == (400, [("invalid_choice", "/kind")])
    assert "could not be kept" in caplog.text


@pytest.mark.parametrize(("after", "left"), [(timedelta(days=30) - timedelta(seconds=1), 1), (30 * DAY, 0)])
def test_it_is_seen_and_kept_thirty_days(after: timedelta, left: int, rosa: Phone, office: Phone, fleet: Fleet) -> None:
    rosa.post(bad(fleet))
    office_user = keys.key_owner(office.key, NOW)
    assert office_user is not None
    assert refused_posts.visible_refused_posts(office_user, NOW + after).count() == left
    purge_expired(at=NOW + after)
    assert RefusedPost.objects.count() == left


def test_a_new_one_is_no_304(rosa: Phone, office: Phone, fleet: Fleet) -> None:
    tag = office.get(POSTS)["ETag"]
    assert office.send("GET", POSTS, headers={"If-None-Match": tag}).status_code == 304
    rosa.post(bad(fleet))
    again = office.send("GET", POSTS, headers={"If-None-Match": tag})
    assert (again.status_code, len(again.json()["items"])) == (200, 1)


def test_a_repeat_while_the_first_is_at_work_is_not_kept(
    rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.accounts.idempotency._try_lock", lambda scope: False)
    body = {k: v for k, v in flush(fleet).items() if k != "id"}
    assert rosa.send("POST", VISITS, body, headers={"Idempotency-Key": "k-1"}).status_code == 409
    assert not RefusedPost.objects.exists()
