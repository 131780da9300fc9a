"""Single resources: a place and what proved it, a device, the catalogue, a boiler's past, a visit's facts."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest

from fleet import pipeline
from fleet.accounts.models import Grant
from fleet.assessments.models import Answer, Verdict
from fleet.catalog.queries import catalogue_of
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.models import Deficiency
from fleet.portfolio.models import HeaderGroup, Paper, Position, ServiceState, Setting
from fleet.terms.models import Adoption
from fleet.visits.incoming import IncomingEntry
from tests import kept
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("resources")]  # one process makes the scene once
HOUR = timedelta(hours=1)


def get(phone: Phone, path: str, **query: Any) -> Any:
    response = phone.get(f"/api/v1/{path}" + (f"?{urlencode(query)}" if query else ""))
    assert response.status_code == 200, response.content[:500]
    return response.json()


def place(phone: Phone, fleet: Fleet, ref: str, key: str = "ALD12 B1") -> Any:
    return get(phone, f"positions/{fleet.bench(key).places[ref]}/")


@pytest.fixture(scope="module")
def serviced(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """Rolled back with the fleet."""
    with kept.made_for_a_file(
        django_db_blocker, lambda: fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    ):
        yield fleet


def replaced(fleet: Fleet) -> IncomingEntry:
    """A new limit, an hour ago."""
    at, where = NOW - HOUR, fleet.bench().places["limit"]
    return IncomingEntry(act="replace", code="", position=where, at=at, kind="limit_control", values={"set_psi": 7.5})


@pytest.fixture
def swapped(serviced: Fleet) -> Fleet:
    serviced.post(serviced.visit(NOW - HOUR, [replaced(serviced)]))
    return serviced


def test_a_place_says_what_fills_it_what_proved_it_and_when_it_is_due(serviced: Fleet, rosa: Phone) -> None:
    upper = place(rosa, serviced, "upper")
    assert upper["role"] == "upper_cutoff"
    assert upper["hazard"] == "dry_firing"
    assert upper["part"] == "protection"
    assert upper["needed"] is True
    assert upper["state"] == "proven"
    assert upper["reason"]["rule"] == "proven"
    assert upper["reason"]["sentence"]
    assert [p["name"] for p in upper["paths"]] == ["float chamber"]
    assert upper["occupant"]["kind"] == "float_cutoff"
    due = {p["procedure"]: (p["due_at"][:10], (p["lapses_at"] or "")[:10]) for p in upper["proofs"]}
    assert due == {"flush": ("2026-01-18", ""), "slow_drain": ("2026-10-01", "2026-10-31")}


def test_dates_are_those_of_the_portfolios_own_terms(serviced: Fleet, rosa: Phone) -> None:
    own = {"slow_drain": {"interval": "3 mo", "anchor": "", "grace_days": 10, "source": "Written down here."}}
    Adoption.objects.create(portfolio=serviced.portfolio, version=1, season="10-01/05-31", overrides=own, posted_at=NOW)
    proofs = {p["procedure"]: p["due_at"][:10] for p in place(rosa, serviced, "upper")["proofs"]}
    assert proofs["slow_drain"] == "2026-03-13"


def test_a_replaced_device_is_an_earlier_one_and_its_proofs_are_gone(swapped: Fleet, rosa: Phone) -> None:
    limit = place(rosa, swapped, "limit")
    assert (limit["occupant"]["attributes"], limit["occupant"]["since"]) == ({"set_psi": 7.5}, "2026-01-12T13:00:00Z")
    assert [(e["attributes"]["set_psi"], e["until"]) for e in limit["earlier"]] == [(8, "2026-01-12T13:00:00Z")]
    assert limit["proofs"] == []
    assert limit["state"] == "never_proven"


def test_an_emptied_place_has_no_occupant(serviced: Fleet, rosa: Phone) -> None:
    at, where = NOW - HOUR, serviced.bench().places["limit"]
    serviced.post(serviced.visit(at, [IncomingEntry(act="remove", code="", position=where, at=at)]))
    limit = place(rosa, serviced, "limit")
    assert limit["occupant"] is None
    assert len(limit["earlier"]) == 1
    assert limit["state"] == "not_fitted"


def test_a_set_value_is_the_newest_of_register_and_visits(serviced: Fleet, rosa: Phone) -> None:
    at, where = NOW - HOUR, serviced.bench().places["limit"]
    made = {"portfolio": serviced.portfolio, "position_id": where, "key": "set_psi", "posted_at": NOW}
    Setting.objects.create(**made, value=9, since=NOW - 2 * DAY)
    assert place(rosa, serviced, "limit")["settings"][0]["value"] == 9
    setting = IncomingEntry(act="set", code="", position=where, at=at, values={"set_psi": 7})
    serviced.post(serviced.visit(at, [setting]))
    assert [(s["key"], s["value"], s["since"]) for s in place(rosa, serviced, "limit")["settings"]] == [
        ("set_psi", 7, "2026-01-12T13:00:00Z")
    ]


def test_what_a_correction_took_back_neither_fills_nor_sets(swapped: Fleet, rosa: Phone) -> None:
    old = swapped.visit(NOW - HOUR, [replaced(swapped)])
    void = replace(old, id=uuid4(), entries=(), corrects=old.id, reason="Another boiler.", void=True)
    swapped.post(void)
    limit = place(rosa, swapped, "limit")
    assert (limit["occupant"]["attributes"]["set_psi"], limit["earlier"]) == (8, [])


@pytest.mark.parametrize(("key", "value", "needed"), [("needed", False, False), ("cutoffs_needed", 1, False)])
def test_the_register_says_what_is_not_needed(key: str, value: Any, needed: bool, fleet: Fleet, rosa: Phone) -> None:
    bench = fleet.bench()
    of = {"boiler": bench.boiler} if key == "cutoffs_needed" else {"position_id": bench.places["upper"]}
    Setting.objects.create(portfolio=fleet.portfolio, key=key, value=value, since=NOW - DAY, posted_at=NOW, **of)
    assert place(rosa, fleet, "upper")["needed"] is needed
    assert place(rosa, fleet, "lower")["needed"] is True


def test_a_place_of_a_header_group_is_seen_through_its_boilers(fleet: Fleet, rosa: Phone) -> None:
    boiler = fleet.bench().boiler
    made = {"portfolio": fleet.portfolio}
    group = HeaderGroup.objects.create(building=boiler.building, ref="H1", **made)
    shared = Position.objects.create(header_group=group, ref="tank", name="feed tank", role_id="feeder", **made)
    unseen = rosa.get(f"/api/v1/positions/{shared.id}/")
    boiler.header_group = group
    boiler.save()
    seen = get(rosa, f"positions/{shared.id}/")
    assert unseen.status_code == 404
    assert seen["boiler"] is None
    assert seen["header_group"] == str(group.id)
    assert str(shared.id) in {i["id"] for i in get(rosa, f"boilers/{boiler.id}/positions/")["items"]}


def test_a_device_says_where_it_was_and_how_its_tests_came_out(swapped: Fleet, rosa: Phone) -> None:
    limit = place(rosa, swapped, "limit")
    where = {"position": str(swapped.bench().places["limit"])}
    old = get(rosa, f"devices/{limit['earlier'][0]['device']}/")
    assert old["fitted"] == [{**where, "since": "2019-10-01T04:00:00Z", "until": "2026-01-12T13:00:00Z"}]
    assert old["outcomes"] == {"pass": 1}
    new = get(rosa, f"devices/{limit['occupant']['device']}/")
    assert (new["fitted"], new["outcomes"]) == ([{**where, "since": "2026-01-12T13:00:00Z", "until": None}], {})


def test_a_procedure_is_told_whole(rosa: Phone) -> None:
    drain, kept = get(rosa, "procedures/slow_drain/"), catalogue_of(1).procedures["slow_drain"]
    assert drain["cautions"].startswith(kept.caution)
    assert "licensed person" in drain["cautions"]
    assert drain["steps"] == list(kept.steps)
    assert drain["source"] == kept.source
    assert drain["people"] == 2
    assert drain["interval"] == "12 mo"
    assert drain["anchor"] == "season"
    assert drain["grace_days"] == 30
    assert drain["proof"] == "full"
    assert [v["name"] for v in drain["variants"]] == ["semi_annual"]
    assert drain["adopted"] is None


@pytest.mark.parametrize(
    ("terms", "expected"),
    [
        ({}, ("", None, "12 mo")),
        ({"variants": {"slow_drain": "semi_annual"}}, ("semi_annual", None, "6 mo")),
        (
            {"overrides": {"slow_drain": {"interval": "3 mo", "anchor": "", "grace_days": 7, "source": "Own."}}},
            ("", "Own.", "3 mo"),
        ),
    ],
)
def test_a_procedure_is_told_as_a_portfolio_adopted_it(
    terms: dict[str, Any], expected: tuple[Any, ...], fleet: Fleet, rosa: Phone
) -> None:
    Adoption.objects.create(portfolio=fleet.portfolio, version=1, season="10-01/05-31", posted_at=NOW, **terms)
    here = get(rosa, "procedures/slow_drain/", portfolio=fleet.portfolio.id)["adopted"]
    override = here["override"] and here["override"]["source"]
    assert (here["variant"], override, here["interval"]) == expected


@pytest.mark.parametrize("path", ["procedures/", "procedures/slow_drain/"])
def test_another_portfolios_terms_are_not_there(path: str, fleet: Fleet) -> None:
    outsider = Phone.of(fleet.outsider)
    seen, unknown = (outsider.get(f"/api/v1/{path}?portfolio={i}") for i in (fleet.portfolio.id, uuid4()))
    assert (seen.status_code, seen.content) == (404, unknown.content)


def test_no_such_procedure(rosa: Phone) -> None:
    response = rosa.get("/api/v1/procedures/no_such/")
    assert (response.status_code, told(response)) == (404, [("not_found", "")])


def test_a_building_says_what_stands_in_it_and_which_papers_are_in_force(fleet: Fleet, rosa: Phone) -> None:
    boiler = fleet.bench().boiler
    made = {"portfolio": fleet.portfolio, "building": boiler.building, "kind": "certificate", "posted_at": NOW}
    for name, days in (("Old", 400), ("New", 30), ("Next", -30)):
        since = NOW - days * DAY
        Paper.objects.create(**made, boiler=boiler, name=name, since=since, until=date(2027, 1, 1))
    house = get(rosa, f"buildings/{boiler.building_id}/")
    assert house["address"] == "12 Alder Terrace"
    assert house["zone"] == "America/New_York"
    assert house["units"] == 31
    assert [b["ref"] for b in house["boilers"]] == ["B1", "B2"]
    assert [(p["name"], p["boiler"]) for p in house["papers"]] == [("New", str(boiler.id))]


def test_a_boiler_says_its_service_state_and_its_set_up(fleet: Fleet, rosa: Phone) -> None:
    boiler = fleet.bench().boiler
    made = {"portfolio": fleet.portfolio, "boiler": boiler, "posted_at": NOW}
    for state, at in (("laid_up_dry", NOW - DAY), ("in_service", NOW), ("retired", NOW + DAY)):
        ServiceState.objects.create(**made, state=state, since=at)
    told_of = get(rosa, f"boilers/{boiler.id}/")
    assert told_of["service_state"] == "in_service"
    kind = {"construction": "firetube", "fuel": "natural_gas", "draft": "natural"}
    assert told_of["set_up"] == {"output_btu_h": 1100000, "lowest_safe_line_in": 1, **kind}
    assert told_of["not_on_record"] == []


def history(phone: Phone, fleet: Fleet, limit: int = 200) -> list[Any]:
    path, found = f"boilers/{fleet.bench().boiler.id}/history/", []
    body = get(phone, path, limit=limit)
    while True:
        found += body["items"]
        if not body["next"]:
            return found
        body = get(phone, path, cursor=body["next"], limit=limit)


@pytest.fixture
def busy(serviced: Fleet) -> Fleet:
    """Failed, reported, repaired, a limit replaced and a paper."""
    serviced.post(serviced.flushed(NOW - 5 * HOUR, burner_stopped=False))
    row = Deficiency.objects.get(rule="flush_keeps_firing")
    decision = DeficiencyDecision("repair_reported", "New switch.", done_at=NOW - 4 * HOUR)
    pipeline.act_on_deficiency(
        deficiency=row.id, decision=decision, version=row.version, by=serviced.technician, at=NOW - 4 * HOUR
    )
    serviced.post(serviced.repaired(NOW - 3 * HOUR))
    return serviced


def test_the_past_is_told_in_order_the_newest_first(busy: Fleet, rosa: Phone) -> None:
    told_of = history(rosa, busy)
    places = [(e["at"], e["what"], e["id"]) for e in told_of]
    assert places == sorted(places, reverse=True)
    assert {e["what"] for e in told_of} == {
        "visit",
        "standing.changed",
        "deficiency.opened",
        "deficiency.closed",
        "deficiency.decided",
        "fitting",
        "setting",
    }
    assert all(e["sentence"].endswith((".", ")")) for e in told_of)
    decided = next(e for e in told_of if e["what"] == "deficiency.decided")
    assert (decided["who"], decided["reason"]) == ("rosa", "New switch.")


@pytest.mark.parametrize("limit", [3, 7])
def test_the_past_in_pages_is_the_same_past(limit: int, busy: Fleet, rosa: Phone) -> None:
    assert history(rosa, busy, limit) == history(rosa, busy)


def test_who_may_not_read_visits_is_told_of_none(busy: Fleet) -> None:
    office = make_person("otto", busy.portfolio, "office")
    whats = {e["what"] for e in history(Phone.of(office), busy)}
    assert "visit" not in whats
    assert "deficiency.opened" in whats


def test_a_visits_facts_are_those_that_were_posted(serviced: Fleet, rosa: Phone) -> None:
    visit = serviced.flushed(NOW - DAY)
    facts = get(rosa, f"visits/{visit.id}/facts/")
    (entry,) = facts["entries"]
    assert entry["act"] == "test"
    assert entry["code"] == "flush"
    assert entry["outcome"] == "pass"
    assert entry["readings"]["water"] == "runs"
    assert facts["stands"] is True
    assert facts["judged_otherwise"] is False
    assert entry["now"] is None
    assert (facts["findings_now"], facts["readiness_now"]) == (None, None)


def test_what_is_concluded_otherwise_now_is_told_beside(serviced: Fleet, rosa: Phone) -> None:
    visit = serviced.flushed(NOW - DAY)
    Verdict.objects.filter(entry__visit=visit.id).update(outcome="inconclusive", sentence="Read by a wrong gauge.")
    facts = get(rosa, f"visits/{visit.id}/facts/")
    assert facts["judged_otherwise"] is True
    assert facts["entries"][0]["now"]["outcome"] == "inconclusive"
    assert facts["entries"][0]["outcome"] == "pass"


def test_the_answer_given_then_stays_word_for_word(serviced: Fleet, rosa: Phone) -> None:
    visit = serviced.flushed(NOW - DAY)
    Verdict.objects.filter(entry__visit=visit.id).update(outcome="inconclusive")
    assert get(rosa, f"visits/{visit.id}/") == json.loads(Answer.objects.get(visit=visit.id).body)


def test_of_a_visit_that_was_corrected_nothing_is_judged(serviced: Fleet, rosa: Phone) -> None:
    old = serviced.flushed(NOW - DAY)
    serviced.post(replace(old, id=uuid4(), performed_at=NOW - 2 * DAY, corrects=old.id, reason="A day off."))
    facts = get(rosa, f"visits/{old.id}/facts/")
    assert facts["stands"] is False
    assert facts["judged_otherwise"] is False
    assert facts["visit"]["corrected_by"]


def test_office_reads_no_visits(serviced: Fleet) -> None:
    phone = Phone.of(make_person("otto", serviced.portfolio, "office"))
    assert get(phone, "visits/")["items"] == []
    assert phone.get(f"/api/v1/visits/{serviced.flushed(NOW - DAY).id}/facts/").status_code == 404


ONES = ("portfolios/{portfolio}/", "buildings/{building}/", "boilers/{boiler}/", "boilers/{boiler}/sheet/")
MORE = ("boilers/{boiler}/history/", "positions/{position}/", "devices/{device}/", "visits/{visit}/facts/")


@pytest.mark.parametrize("route", [*ONES, *MORE])
def test_what_one_may_not_see_is_answered_like_what_is_not_there(route: str, serviced: Fleet, rosa: Phone) -> None:
    bench = serviced.bench("QUA48 B1")
    serviced.post(serviced.flushed(NOW - DAY, "QUA48 B1"))
    known = {
        "portfolio": serviced.portfolio.id,
        "building": bench.boiler.building_id,
        "boiler": bench.boiler.id,
        "position": bench.places["limit"],
        "device": place(rosa, serviced, "limit", "QUA48 B1")["occupant"]["device"],
        "visit": serviced.flushed(NOW - DAY, "QUA48 B1").id,
    }
    kim = make_person("kim", serviced.portfolio, "manager")
    Grant.objects.filter(user=kim).update(building=serviced.bench().boiler.building)
    phone = Phone.of(kim) if "portfolio" not in route else Phone.of(serviced.outsider)
    assert rosa.get(f"/api/v1/{route.format(**known)}").status_code == 200
    unseen = phone.get(f"/api/v1/{route.format(**known)}")
    unknown = phone.get(f"/api/v1/{route.format(**dict.fromkeys(known, uuid4()))}")
    assert (unseen.status_code, unseen.content) == (404, unknown.content)
