"""Deciding on deficiencies and alerts, a second name, terms: through the door, by role and by version."""

from typing import Any
from uuid import uuid4

import pytest

from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.board.models import Change
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.terms.models import Adoption
from tests.api.phone import VISITS, Phone, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
ROLES = ("technician", "caretaker", "dispatcher", "manager", "owner", "inspector", "office")
UNTIL = (NOW + 3 * DAY).isoformat()


@pytest.fixture(scope="module")
def people(fleet: Fleet) -> dict[str, User]:
    """One of each role; the technician and the manager are qualified."""
    qualified = ("technician", "manager")
    return {r: make_person(f"a-{r}", fleet.portfolio, r, *(["technician"] if r in qualified else [])) for r in ROLES}


@pytest.fixture(scope="module")
def held(fleet: Fleet) -> Fleet:
    """A service, then dirty water, then a failed flush: something routine and a hold."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - 2 * DAY, sediment="very_dirty"), at=NOW - 2 * DAY)
    fleet.post(fleet.flushed(NOW - DAY, "ALD12 B2", burner_stopped=False), at=NOW - DAY)
    return fleet


def dirty() -> Deficiency:
    return Deficiency.objects.get(rule="flush_dirty")


def hold() -> Alert:
    found: Alert = Alert.objects.get(condition="hold")
    return found


def bodies(fleet: Fleet) -> dict[str, tuple[str, dict[str, Any]]]:
    """Where each act goes, and what is sent."""
    deficiency, alert = f"/api/v1/deficiencies/{dirty().id}/", f"/api/v1/alerts/{hold().id}/"
    return {
        "assign": (f"{deficiency}assign/", {"to": str(fleet.technician.id), "until": UNTIL}),
        "report-repair": (f"{deficiency}report-repair/", {"done_at": NOW.isoformat(), "what": "Cleaned."}),
        "defer": (f"{deficiency}defer/", {"reason": "Part ordered.", "until": UNTIL}),
        "explain": (f"{deficiency}explain/", {"cause": "rust", "text": "From the returns."}),
        "acknowledge": (f"{alert}acknowledge/", {}),
        "shelve": (f"{alert}shelve/", {"reason": "House empty.", "until": UNTIL}),
        "terms": (f"/api/v1/portfolios/{fleet.portfolio.id}/terms/", {"urgent_days": 5}),
    }


def send(fleet: Fleet, who: User, act: str, version: int | None = None, **more: Any) -> Any:
    path, body = bodies(fleet)[act]
    known = {"terms": 0, "acknowledge": hold().version, "shelve": hold().version}.get(act, dirty().version)
    headers = {"If-Match": f'"{known if version is None else version}"', "X-Request-Id": "phone-000001"}
    return Phone.of(who).send("POST", path, {**body, **more}, headers=headers)


MAY: dict[str, tuple[int, str]] = {
    "assign": (200, "dispatcher manager owner"),
    "report-repair": (200, "technician caretaker manager owner"),
    "defer": (200, "manager owner"),
    "explain": (200, "technician manager"),
    "acknowledge": (200, "technician dispatcher manager owner"),
    "shelve": (200, "dispatcher manager owner"),
    "terms": (201, "owner"),
}


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("act", MAY)
def test_who_may_do_what(act: str, role: str, held: Fleet, people: dict[str, User]) -> None:
    status, roles = MAY[act]
    response = send(held, people[role], act)
    assert response.status_code == (status if role in roles.split() else 403)


@pytest.mark.parametrize("act", MAY)
def test_one_outside_is_answered_like_for_what_is_not_there(act: str, held: Fleet) -> None:
    path = bodies(held)[act][0]
    phone = Phone.of(held.outsider)
    unseen = send(held, held.outsider, act)
    named = dirty().id if "deficiencies" in path else hold().id if "alerts" in path else held.portfolio.id
    unknown = phone.send("POST", path.replace(str(named), "8a6f0f5e-6b1c-4d9e-9a53-0c2b7e1d4f60"), {})
    assert (unseen.status_code, unseen.content) == (404, unknown.content)


@pytest.mark.parametrize("act", MAY)
def test_without_a_version_it_is_428_with_another_412(act: str, held: Fleet, people: dict[str, User]) -> None:
    who = people["owner"] if act == "terms" else people["manager"]
    path, body = bodies(held)[act]
    missing = Phone.of(who).send("POST", path, body)
    stale = send(held, who, act, version=99)
    assert (missing.status_code, told(missing)) == (428, [("version_missing", "")])
    assert (stale.status_code, told(stale)) == (412, [("stale", "/version")])


@pytest.mark.parametrize("header", ['W/"1"', "1", '"x"', '"1", "2"', '"-1"'])
def test_what_is_no_version_of_ours_is_412(header: str, held: Fleet, people: dict[str, User]) -> None:
    path, body = bodies(held)["defer"]
    response = Phone.of(people["manager"]).send("POST", path, body, headers={"If-Match": header})
    assert (response.status_code, told(response)) == (412, [("stale", "")])


def test_the_answer_is_the_deficiency_with_its_next_version(held: Fleet, people: dict[str, User]) -> None:
    before = dirty().version
    response = send(held, people["manager"], "assign")
    body = response.json()
    assert response["ETag"] == f'"{before + 1}"'
    assert body["version"] == before + 1
    assert body["status"] == "assigned"
    assert [(a["kind"], a["by"], a["to"]) for a in body["acts"]] == [("assigned", "a-manager", "rosa")]


def test_the_second_of_two_who_read_the_same_version_is_told(held: Fleet, people: dict[str, User]) -> None:
    version = dirty().version
    first, second = (send(held, people["manager"], act, version=version) for act in ("assign", "defer"))
    assert first.status_code == 200
    assert second.status_code == 412
    assert DeficiencyAct.objects.count() == 1


def test_reading_one_gives_the_version_to_decide_on(held: Fleet, people: dict[str, User]) -> None:
    phone = Phone.of(people["manager"])
    deficiency, alert = (phone.get(f"/api/v1/{kind}/{row.id}/") for kind, row in _both())
    assert (deficiency["ETag"], alert["ETag"]) == (f'"{dirty().version}"', f'"{hold().version}"')
    assert (deficiency.json()["status"], alert.json()["status"]) == ("open", "raised")


def _both() -> list[tuple[str, Any]]:
    return [("deficiencies", dirty()), ("alerts", hold())]


def test_the_request_goes_from_the_answer_to_the_act_and_the_change(held: Fleet, people: dict[str, User]) -> None:
    response = send(held, people["manager"], "defer")
    change = Change.objects.get(kind="deficiency.deferred")
    assert response["X-Request-Id"] == DeficiencyAct.objects.get().request_id == change.request_id == "phone-000001"
    assert (change.who, change.reason) == ("a-manager", "Part ordered.")


@pytest.mark.parametrize(
    ("act", "field", "value", "code"),
    [
        ("defer", "until", "2026-02-01T09:00:00", "no_offset"),
        ("defer", "until", (NOW - DAY).isoformat(), "in_the_past"),
        ("defer", "reason", " ", "blank"),
        ("defer", "reason", "\x00", "null_characters_not_allowed"),
        ("defer", "colour", "red", "unknown_field"),
        ("assign", "to", "rosa", "invalid"),
        ("assign", "to", "8a6f0f5e-6b1c-4d9e-9a53-0c2b7e1d4f60", "unknown_person"),
        ("report-repair", "done_at", (NOW + DAY).isoformat(), "in_the_future"),
        ("report-repair", "done_at", (NOW - 9 * DAY).isoformat(), "before_it_was_found"),
        ("explain", "cause", "x" * 65, "max_length"),
        ("shelve", "until", (NOW + 91 * DAY).isoformat(), "too_long"),
    ],
)
def test_bad_input_is_refused_in_its_place(
    act: str, field: str, value: str, code: str, held: Fleet, people: dict[str, User]
) -> None:
    response = send(held, people["manager"], act, **{field: value})
    assert response.status_code in (400, 422)
    assert told(response) == [(code, f"/{field}")]
    assert DeficiencyAct.objects.count() == 0


def test_the_feed_shows_what_was_decided_and_the_portfolios_own_alert(held: Fleet, people: dict[str, User]) -> None:
    send(held, people["manager"], "shelve")
    listed = Phone.of(people["manager"]).get("/api/v1/alerts/").json()["items"]
    found = {a["condition"]: (a["status"], a["boiler"] is None) for a in listed}
    assert (found["hold"], found["not_surveyed"]) == (("shelved", False), ("raised", True))


def test_the_portfolios_alert_is_acknowledged_like_every_other(held: Fleet, people: dict[str, User]) -> None:
    alert: Alert = Alert.objects.get(condition="not_surveyed", until=None)
    path, headers = f"/api/v1/alerts/{alert.id}/acknowledge/", {"If-Match": f'"{alert.version}"'}
    response = Phone.of(people["manager"]).send("POST", path, {}, headers=headers)
    assert (response.status_code, response.json()["status"]) == (200, "acknowledged")


def correct(fleet: Fleet) -> str:
    """The technician's own failure, void; the address of the second name under it."""
    from dataclasses import replace

    wrong = fleet.flushed(NOW, burner_stopped=False)
    void = replace(wrong, id=uuid4(), corrects=wrong.id, reason="never was", void=True, entries=())
    fleet.post(wrong, void)
    return f"{VISITS}{void.id}/second/"


@pytest.mark.parametrize(
    ("role", "status"),
    [("technician", 201), ("manager", 201), ("owner", 403), ("caretaker", 403), ("office", 404)],
)
def test_who_puts_a_second_name_under_a_correction(
    role: str, status: int, held: Fleet, people: dict[str, User]
) -> None:
    assert Phone.of(people[role]).send("POST", correct(held)).status_code == status


def test_a_second_name_is_put_once_and_not_by_the_poster(held: Fleet, people: dict[str, User]) -> None:
    path = correct(held)
    own = Phone.of(held.technician).send("POST", path)
    first, again = (Phone.of(people["technician"]).send("POST", path) for _ in range(2))
    assert (own.status_code, told(own)) == (403, [("own_correction", "")])
    assert (first.status_code, first.json()["by"]) == (201, "a-technician")
    assert (again.status_code, told(again)) == (409, [("seconded_already", "")])


def test_terms_are_read_and_adopted_by_version(held: Fleet, people: dict[str, User]) -> None:
    phone, path = Phone.of(people["owner"]), bodies(held)["terms"][0]
    before = phone.get(path)
    made = send(held, people["owner"], "terms")
    after = phone.get(path)
    assert (before["ETag"], before.json()["season"]) == ('"0"', "10-01/05-31")
    assert made["ETag"] == '"1"'
    assert after["ETag"] == '"1"'
    assert after.json()["urgent_days"] == 5


@pytest.mark.parametrize(
    ("field", "value", "code", "place"),
    [
        ("urgent_days", "5", "invalid", "/urgent_days"),
        ("urgent_days", 0, "not_possible", "/urgent_days"),
        ("starts_on", "2026-02-01", "first_terms", "/starts_on"),
        ("starts_on", "soon", "invalid", "/starts_on"),
        ("overrides", {"pop_test": {"interval": "1 y"}}, "required", "/overrides/pop_test/grace_days"),
        ("variants", {f"v{n}": "x" for n in range(101)}, "too_many", "/variants"),
        ("colour", 1, "unknown_field", "/colour"),
    ],
)
def test_terms_that_cannot_be_are_refused_in_their_place(
    field: str, value: Any, code: str, place: str, held: Fleet, people: dict[str, User]
) -> None:
    response = send(held, people["owner"], "terms", **{field: value})
    assert response.status_code in (400, 422)
    assert (code, place) in told(response)
    assert Adoption.objects.count() == 0
