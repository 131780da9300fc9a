"""Idempotency-Key: the same post twice is one post with one answer; everything else under its key is refused."""

import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.urls import URLPattern

from api.http import idempotency as door
from api.http.idempotency import key_of, make_posts_repeatable
from api.urls import urlpatterns
from fleet.accounts import idempotency, keys
from fleet.accounts.models import Answered
from fleet.accounts.purge import purge_expired
from fleet.alerts.models import Alert, AlertAct
from fleet.errors import Refused
from fleet.jobs.models import Feed, Job
from fleet.visits.models import Visit
from tests.api.desk import Desk
from tests.api.phone import DROP, VISITS, Phone, but, flush, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
JOBS = "/api/v1/jobs/"


@pytest.fixture
def dana(fleet: Fleet, db: Any) -> Phone:
    """The dispatcher's phone."""
    return Phone.of(make_person("dana", fleet.portfolio, "dispatcher"))


def without_id(fleet: Fleet) -> dict[str, Any]:
    return but(flush(fleet), "id", to=DROP)


def ask(fleet: Fleet, note: str = "Bring a lamp.") -> dict[str, Any]:
    place = str(fleet.bench().places["limit"])
    wanted = {"position": place, "procedure": "limit_trip"}
    return {"building": str(fleet.bench().boiler.building_id), "procedures": [wanted], "note": note}


def post(phone: Phone, path: str, body: Any, key: str, **more: str) -> Any:
    return phone.send("POST", path, body, headers={"Idempotency-Key": key, **more})


def test_a_repeat_gets_the_first_answer_byte_for_byte(rosa: Phone, fleet: Fleet) -> None:
    first, again = (post(rosa, VISITS, without_id(fleet), '"one"') for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert (again.content, again["Location"]) == (first.content, first["Location"])
    assert "Idempotency-Repeat" not in first
    assert again["Idempotency-Repeat"] == "?1"
    assert Visit.objects.count() == 1


def test_a_repeated_job_is_made_once_and_has_its_first_etag(dana: Phone, fleet: Fleet) -> None:
    first, again = (post(dana, JOBS, ask(fleet), "a-bare-key") for _ in range(2))
    assert first.status_code == 201
    assert again.content == first.content
    assert again["ETag"] == first["ETag"]
    assert again["Content-Type"] == first["Content-Type"] == "application/json"
    assert Job.objects.count() == 1


def test_the_key_in_quotes_and_bare_are_one(dana: Phone, fleet: Fleet) -> None:
    post(dana, JOBS, ask(fleet), '"k-1"')
    assert post(dana, JOBS, ask(fleet), "k-1")["Idempotency-Repeat"] == "?1"


def test_the_order_of_names_in_a_body_is_not_its_content(dana: Phone, fleet: Fleet) -> None:
    body = ask(fleet, "bring a lamp")
    post(dana, JOBS, body, "k-1")
    assert post(dana, JOBS, dict(reversed(body.items())), "k-1")["Idempotency-Repeat"] == "?1"


def test_other_content_under_a_key_is_refused_with_422(dana: Phone, fleet: Fleet) -> None:
    post(dana, JOBS, ask(fleet), "k-1")
    response = post(dana, JOBS, ask(fleet, "something else"), "k-1")
    assert (response.status_code, told(response)) == (422, [("idempotency_key_reused", "")])


def test_another_address_or_version_is_other_content(rosa: Phone, fleet: Fleet) -> None:
    for boiler in ("ALD12 B1", "ALD12 B2"):
        fleet.post(fleet.flushed(NOW - DAY, boiler, burner_stopped=False))
    one, two = (f"/api/v1/alerts/{a.id}/acknowledge/" for a in Alert.objects.filter(condition="hold").order_by("id"))
    version = rosa.get(one.removesuffix("acknowledge/"))["ETag"]
    assert post(rosa, one, {}, "k-1", **{"If-Match": version}).status_code == 200
    assert post(rosa, two, {}, "k-1", **{"If-Match": version}).status_code == 422
    assert post(rosa, one, {}, "k-1", **{"If-Match": '"99"'}).status_code == 422
    assert post(rosa, one, {}, "k-1", **{"If-Match": version}).status_code == 200
    assert AlertAct.objects.count() == 1


def test_anothers_key_and_another_routes_are_other_keys(rosa: Phone, dana: Phone, fleet: Fleet) -> None:
    ladder = {"code": "ladder"}
    assert post(dana, JOBS, ask(fleet), "k-1").status_code == 201
    assert post(rosa, VISITS, without_id(fleet), "k-1").status_code == 201
    assert told(post(dana, "/api/v1/calculations/ladder/", ladder, "k-1"))[0][0] != "idempotency_key_reused"


def test_while_the_first_is_at_work_a_repeat_is_refused_with_409(dana: Phone, fleet: Fleet) -> None:
    other = connection.copy()
    scope = idempotency.KeyedPost(keys.key_owner(dana.key, NOW) or fleet.technician, "api/v1/jobs/", "k-1", "").scope
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [int.from_bytes(bytes.fromhex(scope)[:8], signed=True)])
    response = post(dana, JOBS, ask(fleet), "k-1")
    other.close()
    assert (response.status_code, told(response)) == (409, [("idempotency_key_running", "")])
    assert not Job.objects.exists()


def test_a_refused_post_frees_its_key(dana: Phone, fleet: Fleet) -> None:
    assert post(dana, JOBS, {**ask(fleet), "building": str(uuid4())}, "k-1").status_code == 404
    assert not Answered.objects.exists()
    assert post(dana, JOBS, ask(fleet), "k-1").status_code == 201


def test_a_post_that_fails_after_the_verb_leaves_neither_verb_nor_answer(
    rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(idempotency, "keep_answer", lambda *_, **__: 1 // 0)
        assert post(rosa, VISITS, without_id(fleet), "k-1").status_code == 500
    assert (Visit.objects.count(), Answered.objects.count()) == (0, 0)
    assert post(rosa, VISITS, without_id(fleet), "k-1").status_code == 201


def test_a_visit_without_an_id_needs_a_key(rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(without_id(fleet))
    assert (response.status_code, told(response)) == (422, [("idempotency_key_missing", "/id")])


def test_where_a_visit_has_an_id_that_alone_decides(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    first, again = post(rosa, VISITS, body, "k-1"), post(rosa, VISITS, body, "k-2")
    assert first.status_code == 201
    assert again.status_code == 200
    assert again.content == first.content
    assert post(rosa, VISITS, flush(fleet), "k-1").status_code == 201
    assert not Answered.objects.exists()


def test_a_secret_told_once_is_not_kept_to_be_told_again(dana: Phone, fleet: Fleet) -> None:
    body = {"portfolio": str(fleet.portfolio.id), "whole": True}
    first, again = (post(dana, "/api/v1/calendar-feeds/", body, "k-1") for _ in range(2))
    assert first.status_code == 201
    assert again.status_code == 409
    assert told(again) == [("told_once", "")]
    secret = first.json()["address"].rpartition("/")[2]
    assert secret not in str([{**row, "body": bytes(row["body"] or b"")} for row in Answered.objects.values()])
    assert Feed.objects.count() == 1


def test_a_key_that_reaches_less_is_not_told_what_another_did(fleet: Fleet) -> None:
    manager = make_person("mia", fleet.portfolio, "manager")
    wide, narrow = (keys.create_key(user=manager, name="n", scopes=s, at=NOW) for s in (["read", "jobs"], ["read"]))
    assert post(Phone(wide.secret), JOBS, ask(fleet), "k-1").status_code == 201
    assert post(Phone(narrow.secret), JOBS, ask(fleet), "k-1").status_code == 422


def test_a_session_has_its_repeats_too(fleet: Fleet) -> None:
    desk = Desk.of(fleet.technician)
    answers = [desk.send("POST", VISITS, without_id(fleet), **{"Idempotency-Key": "k-1"}) for _ in range(2)]
    assert answers[0].content == answers[1].content
    assert answers[1]["Idempotency-Repeat"] == "?1"


@pytest.mark.parametrize(("after", "repeat"), [(timedelta(hours=24) - timedelta(seconds=1), True), (DAY, False)])
def test_a_key_counts_for_a_day(
    after: timedelta, repeat: bool, rosa: Phone, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    post(rosa, VISITS, without_id(fleet), "k-1")
    monkeypatch.setattr(door, "timezone", SimpleNamespace(now=lambda: NOW + after))
    assert ("Idempotency-Repeat" in post(rosa, VISITS, without_id(fleet), "k-1")) is repeat


@pytest.mark.parametrize(("after", "left"), [(DAY - timedelta(seconds=1), 1), (DAY, 0), (2 * DAY, 0)])
def test_what_has_expired_is_purged(after: timedelta, left: int, rosa: Phone, fleet: Fleet) -> None:
    post(rosa, VISITS, without_id(fleet), "k-1")
    assert purge_expired(at=NOW + after) == 1 - left
    assert Answered.objects.count() == left


def asked_with(value: str | None) -> Any:
    return SimpleNamespace(headers={} if value is None else {"Idempotency-Key": value})


@pytest.mark.parametrize(
    ("sent", "key"),
    [
        (None, None),
        ('"8e03978e-40d5"', "8e03978e-40d5"),
        ("8e03978e-40d5", "8e03978e-40d5"),
        (r'"a\"b\\c"', r'a"b\c'),
        ('  "a"  ', "a"),
        ("a" * 255, "a" * 255),
    ],
)
def test_how_a_key_may_be_written(sent: str | None, key: str | None) -> None:
    assert key_of(asked_with(sent)) == key
    assert sent is None or re.fullmatch(door.KEY_PATTERN, sent.strip())


@pytest.mark.parametrize(
    "sent", ["", '""', '"', "a" * 256, "a b", '"a b"', "kéy", '"a', 'a"', '"a";b=1', r'"a\b"', '"a", "b"', "a\x07"]
)
def test_what_is_no_key_is_refused(sent: str) -> None:
    with pytest.raises(Refused) as refused:
        key_of(asked_with(sent))
    assert (refused.value.status, refused.value.faults[0].code) == (400, "idempotency_key_invalid")
    assert not re.fullmatch(door.KEY_PATTERN, sent)


def posting(patterns: Any) -> dict[str, Any]:
    views = {p.name: getattr(p.callback, "cls", None) for p in patterns if isinstance(p, URLPattern)}
    return {name: view for name, view in views.items() if hasattr(view, "post")}


def test_every_post_may_be_sent_again() -> None:
    found = posting(urlpatterns)
    assert {"visits", "jobs", "plan", "calendar-feeds"} <= found.keys()
    assert [name for name, view in found.items() if not getattr(view.post, "repeatable", False)] == []


def test_a_post_that_was_not_made_so_would_be_found() -> None:
    class Plain:
        def post(self) -> None:
            """Post."""

    pattern: Any = SimpleNamespace(callback=SimpleNamespace(cls=Plain))
    assert not hasattr(Plain.post, "repeatable")
    make_posts_repeatable([pattern, SimpleNamespace(callback=None)])
    assert hasattr(Plain.post, "repeatable")


def test_a_key_is_not_needed_elsewhere(dana: Phone, fleet: Fleet) -> None:
    assert dana.send("POST", JOBS, ask(fleet)).status_code == 201
    assert not Answered.objects.exists()


def test_the_answer_kept_is_of_the_poster(rosa: Phone, fleet: Fleet) -> None:
    visit = UUID(post(rosa, VISITS, without_id(fleet), "k-1").json()["visit"])
    row = Answered.objects.get()
    assert row.user == fleet.technician
    assert row.status == 201
    assert row.at == NOW
    assert str(visit) in bytes(row.body or b"").decode()
