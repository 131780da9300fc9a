"""Every list: what it costs with 2 and with 20 boilers, its order, its filters, its answers as described."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

import jsonschema
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.examples import BOILERS_PAGE
from fleet import pipeline
from fleet.accounts.models import Grant
from fleet.catalog.queries import catalogue_of
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.models import Deficiency
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests import kept
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet, make_person, register

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("lists")]  # one process makes the scene once
MANY = 17  # boilers of one more house: 20 in all


def build(fleet: Fleet) -> Fleet:
    """Add the street and what happened there."""
    one = [r for r in parse_sheet(register(), catalogue_of(1)) if (r.building_ref, r.boiler_ref) == ("ALD12", "B1")]
    new = {"building_ref": "BIG1", "address": "1 Birch Court"}
    rows = [replace(r, **new, boiler_ref=f"B{n}", boiler_name=f"Boiler {n}") for n in range(MANY) for r in one]
    pipeline.change_register(portfolio=fleet.portfolio, rows=rows, at=NOW - 900 * DAY, cause=Cause(who="office"))
    fleet.post(fleet.serviced(NOW - 60 * DAY))
    keys = ["ALD12 B1", "ALD12 B2", "QUA48 B1", *(f"BIG1 B{n}" for n in range(MANY))]
    fleet.post(*(fleet.flushed(NOW - n * DAY, key, burner_stopped=False) for n, key in enumerate(keys, 1)))
    dana = make_person("dana", fleet.portfolio, "dispatcher")
    for key in ("ALD12 B1", "BIG1 B3", "BIG1 B4"):
        bench = fleet.bench(key)
        asked = pipeline.JobRequest(procedures=[(bench.places["limit"], "limit_trip")])
        pipeline.create_job(building=bench.boiler.building_id, request=asked, by=dana, at=NOW - DAY)
    return fleet


@pytest.fixture(scope="module")
def street(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """Twenty boilers; each was flushed and failed, one was serviced, two jobs are made."""
    with kept.made_for_a_file(django_db_blocker, lambda: build(fleet)) as made:
        yield made


@pytest.fixture
def ines(street: Fleet, db: Any) -> Phone:
    """The manager of all twenty."""
    return Phone.of(make_person("ines", street.portfolio, "manager"))


@pytest.fixture
def kim(street: Fleet, db: Any) -> Phone:
    """A manager of the house with two boilers."""
    user = make_person("kim", street.portfolio, "manager")
    Grant.objects.filter(user=user).update(building=street.bench().boiler.building)
    return Phone.of(user)


@pytest.fixture
def rosa(street: Fleet, db: Any) -> Phone:
    return Phone.of(street.technician)


def ask(phone: Phone, path: str, **query: Any) -> Any:
    response = phone.get(f"/api/v1/{path}?{urlencode(query)}")
    assert response.status_code == 200, response.content[:500]
    return response.json()


def cost(phone: Phone, path: str) -> tuple[int, int]:
    """How many rows and how many queries."""
    with CaptureQueriesContext(connection) as queries:
        body = ask(phone, path, limit=200)
    return len(body["items"]), len(queries)


# The key and the ground of the answer, then what each list reads.
BESIDE = 2
COSTS = {
    "portfolios/": 4,  # portfolios, counts, release, terms
    "buildings/": 4,  # buildings, boilers, papers, header groups
    "boilers/": 2,  # boilers with their standing, segments
    "positions/": 2,  # places with their state, segments
    "devices/": 5,  # devices, their places, fittings, swaps, verdicts
    "deficiencies/": 3,  # rows, episodes, acts
    "alerts/": 1,
    "visits/": 4,  # visits with their readiness, people, their users, what those named said
    "jobs/": 6,  # jobs, items, boilers, positions, acts, their people
    "procedures/": 2,  # the release, once as a part of the tag
    "sources/": 2,  # the same
}


@pytest.mark.parametrize("path", COSTS)
def test_a_list_costs_the_same_for_two_boilers_and_for_twenty(path: str, kim: Phone, ines: Phone) -> None:
    (few, small), (many, large) = cost(kim, path), cost(ines, path)
    assert (small, large) == (BESIDE + COSTS[path],) * 2
    assert few < many or path in ("portfolios/", "procedures/", "sources/")


@pytest.fixture(scope="module")
def document(django_db_setup: Any, django_db_blocker: Any) -> Any:
    with django_db_blocker.unblock():
        return Client().get("/api/schema/?format=json").json()


def described(document: Any, route: str, body: Any) -> None:
    """Fails where an answer is not what the document says."""
    schema = document["paths"][f"/api/v1/{route}"]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    jsonschema.validate(body, {**schema, "components": document["components"]}, jsonschema.Draft202012Validator)


SINGLE = ("portfolios/{portfolio}/", "buildings/{building}/", "boilers/{boiler}/", "positions/{position}/")
NESTED = ("boilers/{boiler}/sheet/", "boilers/{boiler}/history/", "boilers/{boiler}/positions/")
MORE = ("devices/{device}/", "procedures/{code}/", "visits/{visit}/facts/", "deficiencies/{deficiency}/")


@pytest.mark.parametrize("route", [*COSTS, *SINGLE, *NESTED, *MORE])
def test_the_answers_are_as_the_document_says(route: str, street: Fleet, ines: Phone, document: Any) -> None:
    bench = street.bench()
    named = {
        "portfolio": street.portfolio.id,
        "building": bench.boiler.building_id,
        "boiler": bench.boiler.id,
        "position": bench.places["upper"],
        "device": ask(ines, "devices/", boiler=bench.boiler.id)["items"][0]["id"],
        "code": "slow_drain",
        "visit": ask(ines, "visits/", boiler=bench.boiler.id)["items"][0]["id"],
        "deficiency": ask(ines, "deficiencies/", boiler=bench.boiler.id)["items"][0]["id"],
    }
    described(document, route, ask(ines, route.format(**named)))


def test_a_wrong_answer_would_be_noticed(ines: Phone, document: Any) -> None:
    body = ask(ines, "boilers/")
    body["items"][0]["standing"] = "splendid"
    with pytest.raises(jsonschema.ValidationError):
        described(document, "boilers/", body)


def test_the_example_of_a_page_is_one(document: Any) -> None:
    answer = document["paths"]["/api/v1/boilers/"]["get"]["responses"]["200"]["content"]["application/json"]
    (example,) = answer["examples"].values()
    assert example["value"] == BOILERS_PAGE
    described(document, "boilers/", example["value"])


def test_boilers_come_the_worst_first(street: Fleet, ines: Phone) -> None:
    Boiler.objects.filter(building__ref="QUA48").update(name="Quarry")
    listed = [i["standing"] for i in ask(ines, "boilers/")["items"]]
    assert listed == ["hold"] * 20
    street.post(street.repaired(NOW - timedelta(hours=2)))
    after = ask(ines, "boilers/", limit=200)["items"]
    assert after[-1]["id"] == str(street.bench().boiler.id)


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ({"standing": "hold"}, 20),
        ({"standing": "clear"}, 0),
        ({"text": "birch"}, MANY),
        ({"text": "alder B2"}, 1),
        ({"text": "BIG1 boiler 7"}, 1),
        ({"text": "%"}, 0),
        ({"text": "nowhere"}, 0),
    ],
)
def test_boilers_are_filtered(query: dict[str, Any], count: int, ines: Phone) -> None:
    assert len(ask(ines, "boilers/", **query)["items"]) == count


@pytest.mark.parametrize("path", ["boilers/", "positions/", "devices/", "deficiencies/", "visits/", "alerts/"])
def test_lists_are_of_the_boiler_asked_for(path: str, street: Fleet, ines: Phone) -> None:
    boiler = str(street.bench("BIG1 B5").boiler.id)
    if path == "boilers/":
        return  # a boiler has its own address
    found, whole = ask(ines, path, boiler=boiler, limit=200)["items"], ask(ines, path, limit=200)["items"]
    assert 0 < len(found) < len(whole)
    assert {i.get("boiler", boiler) for i in found} == {boiler}


@pytest.mark.parametrize("path", [p for p in COSTS if p not in ("procedures/", "sources/")])
def test_lists_show_nothing_to_who_may_see_nothing(path: str, street: Fleet) -> None:
    assert ask(Phone.of(street.outsider), path)["items"] == []


@pytest.mark.parametrize("path", ["boilers/", "buildings/", "positions/", "deficiencies/", "visits/", "alerts/"])
def test_who_sees_one_house_is_listed_that_house(path: str, street: Fleet, kim: Phone) -> None:
    houses = {i.get("building") or i.get("id") for i in ask(kim, "boilers/")["items"]}
    boilers = {i["id"] for i in ask(kim, "boilers/")["items"]} | {None}
    listed = ask(kim, path, limit=200)["items"]
    assert listed
    assert houses == {str(street.bench().boiler.building_id)}
    assert path in ("boilers/", "buildings/") or {i["boiler"] for i in listed} <= boilers


def test_deficiencies_come_by_class_then_the_oldest(street: Fleet, ines: Phone) -> None:
    listed = [(i["level"], i["opened_at"]) for i in ask(ines, "deficiencies/", limit=200)["items"]]
    ranks = {"hold": 0, "urgent": 1, "routine": 2, "": 3}
    assert listed == sorted(listed, key=lambda i: (ranks[i[0]], i[1]))
    assert {level for level, _ in listed} >= {"hold", "routine"}


def decide(street: Fleet, row: Deficiency, kind: str, **more: Any) -> Deficiency:
    decision = DeficiencyDecision(kind, "Said so.", **more)
    return pipeline.act_on_deficiency(
        deficiency=row.id, decision=decision, version=row.version, by=street.technician, at=NOW
    )


@pytest.fixture
def lives(street: Fleet) -> dict[str, str]:
    """One repaired by somebody's word, one deferred, one closed."""
    street.post(street.repaired(NOW - timedelta(hours=3), "BIG1 B1"))
    closed, hold = (
        Deficiency.objects.get(rule="flush_keeps_firing", boiler=street.bench(key).boiler)
        for key in ("BIG1 B1", "ALD12 B1")
    )
    repaired = decide(street, hold, "repair_reported", done_at=NOW - timedelta(hours=1))
    minor = Deficiency.objects.exclude(rule="flush_keeps_firing").filter(closed_at=None, withdrawn=False).earliest("id")
    deferred = decide(street, minor, "deferred", until=NOW + 3 * DAY)
    return {"closed": str(closed.id), "repaired": str(repaired.id), "deferred": str(deferred.id)}


@pytest.mark.parametrize("status", ["closed", "repaired", "deferred"])
def test_deficiencies_are_filtered_by_where_they_are(status: str, lives: dict[str, str], ines: Phone) -> None:
    assert [i["id"] for i in ask(ines, "deficiencies/", status=status)["items"]] == [lives[status]]


def test_open_is_what_is_neither_closed_nor_withdrawn(lives: dict[str, str], ines: Phone) -> None:
    found = {i["id"] for i in ask(ines, "deficiencies/", status="open", limit=200)["items"]}
    assert found >= {lives["repaired"], lives["deferred"]}
    assert lives["closed"] not in found


@pytest.mark.parametrize("seconds", [-1, 0, 1])
def test_a_class_is_that_of_the_instant(seconds: int, street: Fleet, ines: Phone) -> None:
    row = Deficiency.objects.get(rule="flush_keeps_firing", boiler=street.bench().boiler)
    turns = (NOW - timedelta(seconds=seconds)).isoformat()
    first = {"since": row.opened_at.isoformat(), "until": turns, "level": "routine"}
    row.levels = [first, {"since": turns, "until": None, "level": "urgent"}]
    row.save()
    (found,) = ask(ines, "deficiencies/", boiler=row.boiler_id, rule=row.rule)["items"]
    assert found["level"] == ("urgent" if seconds >= 0 else "routine")
    assert len(ask(ines, "deficiencies/", rule=row.rule, boiler=row.boiler_id, level=found["level"])["items"]) == 1


def test_visits_come_the_newest_performed_first(ines: Phone) -> None:
    listed = [i["performed_at"] for i in ask(ines, "visits/", limit=200)["items"]]
    assert len(listed) == 21
    assert listed == sorted(listed, reverse=True)


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ({"from": "2026-01-10T14:00:00Z"}, 2),
        ({"from": "2026-01-10T14:00:00Z", "to": "2026-01-11T14:00:00Z"}, 1),
        ({"to": "2025-12-24T14:00:00Z"}, 2),
        ({"kind": "annual_service"}, 1),
    ],
)
def test_visits_are_filtered(query: dict[str, Any], count: int, ines: Phone) -> None:
    assert len(ask(ines, "visits/", **query)["items"]) == count


def test_an_instant_without_its_offset_is_refused(ines: Phone) -> None:
    response = ines.get("/api/v1/visits/?from=2026-01-10T14:00:00")
    assert (response.status_code, told(response)) == (400, [("no_offset", "/from")])


def test_a_visit_that_was_corrected_is_marked(street: Fleet, ines: Phone) -> None:
    old = street.flushed(NOW - timedelta(hours=4), "BIG1 B2")
    new = street.flushed(NOW - timedelta(hours=3), "BIG1 B2")
    new = replace(new, kind="follow_up", corrects=old.id, reason="Wrong hour.")
    street.post(old, new)
    listed = {i["id"]: i for i in ask(ines, "visits/", boiler=street.bench("BIG1 B2").boiler.id)["items"]}
    assert (listed[str(old.id)]["corrected_by"], listed[str(new.id)]["corrects"]) == (str(new.id), str(old.id))
    assert (listed[str(old.id)]["readiness"], listed[str(new.id)]["readiness"]) == (None, "something_does")


@pytest.mark.parametrize(("query", "count"), [({"raised": "yes"}, True), ({"raised": "no"}, False)])
def test_alerts_are_filtered_by_whether_they_hold(query: dict[str, Any], count: bool, ines: Phone) -> None:
    assert bool(ask(ines, "alerts/", condition="hold", **query)["items"]) is count


def test_portfolios_count_their_boilers(street: Fleet, ines: Phone, kim: Phone) -> None:
    (whole,), (part,) = (ask(p, "portfolios/")["items"] for p in (ines, kim))
    assert whole["boilers"] == 20
    assert whole["standings"]["hold"] == 20
    assert part["boilers"] == 2
    assert (whole["release"], whole["terms"]) == (1, 0)


def test_its_links_lead_somewhere(street: Fleet, ines: Phone) -> None:
    links = ask(ines, f"portfolios/{street.portfolio.id}/")["links"]
    assert {name: ines.get(path).status_code for name, path in links.items()} == dict.fromkeys(links, 200)


def test_jobs_are_listed_for_who_plans_the_newest_made_first(street: Fleet, ines: Phone) -> None:
    listed = ask(ines, "jobs/")["items"]
    assert len(listed) == 3
    assert len(ask(ines, "jobs/", status="to_plan")["items"]) == 3
    assert ask(ines, "jobs/", status="missed")["items"] == []
    assert [j["created_at"] for j in listed] == sorted((j["created_at"] for j in listed), reverse=True)


def test_the_sheet_and_the_history_cost_the_same_for_any_boiler(street: Fleet, ines: Phone) -> None:
    found = set()
    for key in ("ALD12 B1", "BIG1 B9"):
        for what in ("sheet", "history"):
            path = f"boilers/{street.bench(key).boiler.id}/{what}/"
            with CaptureQueriesContext(connection) as queries:
                ask(ines, path)
            found.add((what, len(queries) - BESIDE - 2))  # the boiler and whether one may
    assert found == {("sheet", 11), ("history", 12)}
