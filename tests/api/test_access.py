"""Who gets what: a table of the routes that `test_walk` does not ask as every role; a route in neither fails."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.test import Client
from django.urls import URLPattern

from api.urls import urlpatterns
from fleet import pipeline
from fleet.accounts import keys
from fleet.accounts.models import Grant, Key, User
from fleet.jobs.acts import JobDecision
from tests.api.phone import VISITS, Phone, flush, told
from tests.api.test_walk import LISTS, ROWS
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
PEOPLE = ("nobody", "outsider", "technician", "caretaker", "dispatcher", "ended")
LISTED = (401, 200, 200, 200, 200, 200)  # an empty list for who may see nothing: the next test but one
OPEN = (200,) * 6

# route → method, and what each of PEOPLE is answered
TABLE: dict[str, tuple[str, tuple[int, ...]]] = {
    "schema": ("GET", OPEN),
    "docs": ("GET", OPEN),
    "naming-visits": ("GET", LISTED),
    "visits": ("POST", (401, 404, 201, 201, 201, 404)),
    "check-visit": ("POST", (401, *(400,) * 5)),  # an empty body; whose boiler it is about is asked after that
    "field-day": ("GET", LISTED),
    "field-words": ("GET", LISTED),
    "photograph": ("GET", (401, *(404,) * 5)),  # no visit declares it
    "picture": ("GET", (401, *(404,) * 5)),
    "paper-file": ("GET", (401, *(404,) * 5)),  # no paper declares it
    "paper-content": ("GET", (401, *(404,) * 5)),
    "procedures": ("GET", LISTED),
    "sources": ("GET", LISTED),
    "procedure": ("GET", LISTED),  # reference data: anybody signed in
    "changes": ("GET", LISTED),
    "figures": ("GET", LISTED),
    "forecast": ("GET", LISTED),
    "calculations": ("GET", LISTED),
    "calculation": ("POST", LISTED),  # anybody signed in; it keeps nothing
    "suggested-jobs": ("GET", (401, 404, 403, 403, 200, 404)),
    "day-book": ("GET", (401, 404, 403, 403, 200, 404)),
    "job": ("GET", (401, 404, 200, 404, 200, 404)),  # planned for the technician
    "plan": ("POST", (401, 404, 403, 404, 400, 404)),
    "accept": ("POST", (401, 404, 428, 404, 403, 404)),
    "decline": ("POST", (401, 404, 400, 404, 403, 404)),
    "start": ("POST", (401, 404, 428, 404, 403, 404)),
    "withdraw": ("POST", (401, 404, 403, 404, 400, 404)),
    "cancel": ("POST", (401, 404, 403, 404, 400, 404)),
    "calendar-feeds": ("GET", LISTED),
    "link-list": ("GET", LISTED),
    "link": ("DELETE", (401, 404, 404, 404, 404, 404)),  # nobody's own
    "calendar-feed": ("DELETE", (401, 404, 404, 404, 404, 404)),  # nobody's own
    "calendar": ("GET", (404,) * 6),  # only its address opens one
    "asked": ("GET", LISTED),
    "answer-asked": ("POST", (401, *(400,) * 5)),  # whatever is one's own to answer
    "role-history": ("GET", (401, 404, 404, 404, 200, 404)),
    "notices": ("GET", LISTED),
    "destinations": ("GET", LISTED),
    "destination": ("DELETE", (401, *(403,) * 5)),  # no key leads messages away
    "destination-secret": ("POST", (401, *(403,) * 5)),
    "notice-choices": ("GET", LISTED),
    "acknowledge-notice": ("POST", (401, *(404,) * 5)),  # nobody's own
    "call-times": ("GET", (401, 404, 200, 200, 200, 404)),
    "keys": ("GET", LISTED),
    "key": ("DELETE", (401, *(403,) * 5)),  # no key revokes one
    "revoke-key": ("POST", (401, *(403,) * 5)),
    "nowhere": ("GET", (404,) * 6),
}


@dataclass(frozen=True)
class Scene:
    """Everybody's phone, a visit that is there, and the addresses of all routes."""

    phones: dict[str, Phone]
    visit: UUID
    addresses: dict[str, str]


@pytest.fixture(scope="module")
def scene(fleet: Fleet) -> Scene:
    visit = fleet.flushed(NOW - DAY)
    fleet.post(visit)
    dispatcher = make_person("dana", fleet.portfolio, "dispatcher")
    ended = make_person("emil", fleet.portfolio, "technician")
    Grant.objects.filter(user=ended).update(until=NOW)
    people = (fleet.outsider, fleet.technician, fleet.caretaker, dispatcher, ended)
    phones = {name: Phone.of(user) for name, user in zip(PEOPLE[1:], people, strict=True)}
    addresses = {
        "schema": "/api/schema/",
        "docs": "/api/docs/",
        "visits": VISITS,
        "naming-visits": f"{VISITS}that-name-me/",
        "visit": f"{VISITS}{visit.id}/",
        "boilers": "/api/v1/boilers/",
        "positions": f"/api/v1/boilers/{visit.boiler}/positions/",
        "alerts": "/api/v1/alerts/",
        "changes": "/api/v1/changes/",
        "figures": "/api/v1/figures/",
        "forecast": "/api/v1/figures/forecast/",
        "procedures": "/api/v1/procedures/",
        "sources": "/api/v1/sources/",
        "check-visit": f"{VISITS}check/",
        "field-day": "/api/v1/field/day/",
        "field-words": "/api/v1/field/words/",
        "photograph": f"/api/v1/photos/{'0' * 64}/",
        "picture": f"/api/v1/photos/{'0' * 64}/picture.jpg",
        "paper-file": f"/api/v1/paper-files/{'0' * 64}/",
        "paper-content": f"/api/v1/paper-files/{'0' * 64}/content/",
        "procedure": "/api/v1/procedures/flush/",
        **_sent(fleet, dispatcher),
        "calculations": "/api/v1/calculations/",
        "calculation": "/api/v1/calculations/ladder/",
        "asked": "/api/v1/asked/",
        "answer-asked": f"/api/v1/asked/jobs/{uuid4()}/",
        "role-history": f"/api/v1/portfolios/{fleet.portfolio.id}/people/{fleet.technician.id}/roles/",
        "notices": "/api/v1/notices/",
        "destinations": "/api/v1/destinations/",
        "destination": f"/api/v1/destinations/{uuid4()}/",
        "destination-secret": f"/api/v1/destinations/{uuid4()}/secret/",
        "notice-choices": "/api/v1/notice-choices/",
        "acknowledge-notice": f"/api/v1/notices/{uuid4()}/acknowledge/",
        "call-times": f"/api/v1/portfolios/{fleet.portfolio.id}/call-list/times/"
        f"?condition=hold&building={fleet.bench().boiler.building_id}",
        "keys": "/api/v1/keys/",
        "key": f"/api/v1/keys/{uuid4()}/",
        "revoke-key": f"/api/v1/keys/{uuid4()}/revoke/",
        "nowhere": "/api/v1/nowhere/",
    }
    return Scene(phones, visit.id, addresses)


def _sent(fleet: Fleet, dispatcher: User) -> dict[str, str]:
    """A job planned for the technician, and calendars."""
    house = fleet.bench().boiler.building_id
    asked = pipeline.JobRequest(procedures=[(fleet.bench().places["limit"], "limit_trip")])
    job = pipeline.create_job(building=house, request=asked, by=dispatcher, at=NOW)
    plan = JobDecision("plan", technician=fleet.technician.id, since=NOW + DAY)
    pipeline.act_on_job(job=job.id, decision=plan, version=job.version, by=dispatcher, at=NOW)
    return {
        "jobs": "/api/v1/jobs/",
        "suggested-jobs": f"/api/v1/jobs/suggested/?building={house}",
        "day-book": f"/api/v1/day-book/?portfolio={fleet.portfolio.id}&day=2026-01-14",
        "job": f"/api/v1/jobs/{job.id}/",
        **{n: f"/api/v1/jobs/{job.id}/{n}/" for n in ("plan", "accept", "decline", "start", "withdraw", "cancel")},
        "calendar-feeds": "/api/v1/calendar-feeds/",
        "calendar-feed": f"/api/v1/calendar-feeds/{uuid4()}/",
        "calendar": "/api/v1/calendars/unknown.ics",
        "link-list": "/api/v1/shared-links/",
        "link": f"/api/v1/shared-links/{uuid4()}/",
    }


def answer(scene: Scene, route: str, person: str, body: Any = b"", method: str = "GET") -> Any:
    path = scene.addresses[route]
    if person == "nobody":
        return Client().generic(method, path, body)
    return scene.phones[person].send(method, path, body)


def test_every_route_has_a_row() -> None:
    walked = {name for _, name in ROWS} | LISTS.keys()
    assert {route.name for route in urlpatterns if isinstance(route, URLPattern)} == TABLE.keys() | walked


@pytest.mark.parametrize("person", PEOPLE)
@pytest.mark.parametrize("route", TABLE)
def test_everybody_is_answered_as_the_table_says(route: str, person: str, scene: Scene, fleet: Fleet) -> None:
    method, statuses = TABLE[route]
    response = answer(scene, route, person, flush(fleet) if route == "visits" and person != "nobody" else b"", method)
    assert response.status_code == statuses[PEOPLE.index(person)]


@pytest.mark.parametrize("person", ["outsider", "ended"])
@pytest.mark.parametrize("route", ["boilers", "alerts"])
def test_lists_show_nothing_to_who_may_see_nothing(route: str, person: str, scene: Scene, fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW, burner_stopped=False))
    assert answer(scene, route, "technician").json()["items"] != []
    assert answer(scene, route, person).json()["items"] == []


@pytest.mark.parametrize("route", ["visit", "positions"])
def test_what_one_may_not_see_is_answered_like_what_is_not_there(route: str, scene: Scene) -> None:
    unseen = answer(scene, route, "outsider")
    unknown = scene.phones["technician"].get(scene.addresses[route].replace(str(scene.visit), str(uuid4())))
    if route == "positions":
        unknown = scene.phones["technician"].get(f"/api/v1/boilers/{uuid4()}/positions/")
    assert (unseen.status_code, unseen.content) == (404, unknown.content)


def make_key(user: User, state: str) -> str:
    secret = keys.make_unscoped_key(user=user, name="phone", expires_at=NOW if state == "expired" else NOW + DAY)
    if state == "revoked":
        Key.objects.filter(user=user).update(revoked_at=NOW - timedelta(hours=1))
    if state == "of somebody gone":
        User.objects.filter(id=user.id).update(is_active=False)
    return secret


@pytest.mark.parametrize("state", ["expired", "revoked", "of somebody gone"])
def test_a_key_that_no_longer_counts_is_refused_like_an_unknown_one(state: str, fleet: Fleet) -> None:
    dead, unknown = (Phone(k).post(flush(fleet)) for k in (make_key(fleet.technician, state), "gaugeglass_unknown"))
    assert (dead.status_code, dead["WWW-Authenticate"]) == (401, "Bearer")
    assert dead.content == unknown.content


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer ", "Bearer \xff\xfe", "Basic cm9zYTp4", "Token gaugeglass_x", "gaugeglass_x"]
)
def test_a_header_that_is_no_key_is_refused_with_what_is_asked_for(header: str, fleet: Fleet) -> None:
    response = Client().post(VISITS, flush(fleet), content_type="application/json", headers={"Authorization": header})
    assert (response.status_code, response["WWW-Authenticate"]) == (401, "Bearer")
    assert told(response)[0][1] == ""


def test_a_key_counts_until_its_last_instant(fleet: Fleet) -> None:
    secret = keys.make_unscoped_key(user=fleet.technician, name="phone", expires_at=NOW + timedelta(microseconds=1))
    assert Phone(secret).post(flush(fleet)).status_code == 201


def test_the_key_itself_is_kept_nowhere(fleet: Fleet) -> None:
    secret = keys.make_unscoped_key(user=fleet.technician, name="phone", expires_at=NOW + DAY)
    assert secret not in str(list(Key.objects.values()))


def test_a_signed_in_page_without_its_token_may_not_post(fleet: Fleet) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(fleet.technician)
    response = client.post(VISITS, flush(fleet), content_type="application/json")
    assert (response.status_code, told(response)) == (403, [("csrf_failed", "")])


def test_a_signed_in_page_with_its_token_may_post(fleet: Fleet) -> None:
    client = Client(enforce_csrf_checks=True)
    client.get("/sign-in/")
    client.force_login(fleet.technician)
    token = {"X-CSRFToken": client.cookies["csrftoken"].value}
    response = client.post(VISITS, flush(fleet), content_type="application/json", headers=token)
    assert response.status_code == 201


def test_a_grant_for_one_building_posts_there_and_nowhere_else(fleet: Fleet) -> None:
    Grant.objects.filter(user=fleet.technician).update(building=fleet.bench().boiler.building)
    phone = Phone.of(fleet.technician)
    assert [phone.post(flush(fleet, key)).status_code for key in ("ALD12 B1", "QUA48 B1")] == [201, 404]
