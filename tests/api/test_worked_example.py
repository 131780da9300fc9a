"""The conventions' own example: locked out by a plugged siphon, cleared, the limit replaced, no time left."""

from typing import Any
from uuid import uuid4

import pytest

from fleet.assessments.models import Readiness
from tests.api.phone import Phone
from tests.cast import NOW, Fleet, standing

pytestmark = pytest.mark.django_db


def example(fleet: Fleet) -> dict[str, Any]:
    places = {ref: str(place) for ref, place in fleet.bench().places.items()}
    siphon, limit, control = places["siphon-2"], places["limit"], places["control"]
    check = {"test": "siphon_check", "position": siphon}
    tripped = {
        "trip_psi": 7.8,
        "stayed_off_minutes": 4,
        "psi_when_checked": 2.1,
        "call_on": True,
        "restarted_by_hand": True,
        "set_psi_read_back": 8,
    }
    entries = [
        {"observe": "lockout_found", "position": limit},
        {**check, "phase": "as_found", "outcome": "fail", "readings": {"passes_water": False}},
        {"action": "clear", "position": siphon},
        {**check, "phase": "as_left", "outcome": "pass", "readings": {"passes_water": True}},
        {
            "replace": {"position": limit, "reason": "sticks", "with": {"kind": "limit_control", "set_psi": 8}},
            "ref": "new-limit",
        },
        {"test": "limit_trip", "position": limit, "phase": "as_left", "outcome": "pass", "readings": tripped},
        {"test": "operating_control_trip", "position": control, "outcome": "not_done", "why": "out_of_time"},
    ]
    told = [{"name": "Ines Okafor", "how": "phone", "at": "2026-01-12T09:08:00-05:00"}]
    return {
        "id": str(uuid4()),
        "boiler": str(fleet.bench().boiler.id),
        "kind": "follow_up",
        "performed_at": "2026-01-12T08:10:00-05:00",
        "people": [{"user": str(fleet.technician.id)}],
        "call_for_heat": True,
        "state_on_arrival": "locked_out",
        "left_as": "off_ready",
        "entries": entries,
        "leaving_checks": {"jumpers_off": True, "feed_open": True, "told": told},
    }


@pytest.fixture
def body(rosa: Phone, fleet: Fleet) -> Any:
    response = rosa.post(example(fleet))
    assert response.status_code == 201, response.content
    return response.json()


def test_the_example_answers_not_ready(body: Any) -> None:
    assert body["readiness"]["answer"] == "something_does"


def test_every_test_of_it_has_its_verdict(body: Any) -> None:
    assert [(v["number"], v["outcome"]) for v in body["verdicts"]] == [
        (1, "fail"),
        (3, "pass"),
        (5, "pass"),
        (6, "not_done"),
    ]


def test_the_new_limit_is_judged_by_its_own_set_point_with_limit_and_source(body: Any) -> None:
    verdict = next(v for v in body["verdicts"] if v["number"] == 5)
    assert (verdict["set_value"], verdict["proves"]) == (8, "full")
    assert verdict["limit"]
    assert verdict["source"]


def test_the_plugged_siphon_and_the_lockout_are_findings_on_their_entries(body: Any) -> None:
    assert {f["rule"] for f in body["findings"]} >= {"lockout_found", "siphon_plugged"}
    assert all(f["entries"] and f["sentence"] for f in body["findings"])


def test_what_is_missing_is_named_with_a_sentence_each(body: Any) -> None:
    missing = body["readiness"]["missing"]
    assert any("set point" in m["sentence"].lower() for m in missing)
    assert all(m["what"] and m["sentence"] for m in missing)


def test_what_was_not_looked_at_is_named(body: Any, fleet: Fleet) -> None:
    places = {place: ref for ref, place in fleet.bench().places.items()}
    named = {ref for place, ref in places.items() if str(place) in str(body["readiness"]["not_looked_at"])}
    assert {"upper", "lower", "valve"} <= named


def test_the_standing_is_told_as_the_board_had_it_and_has_it_now(rosa: Phone, fleet: Fleet) -> None:
    before = standing(fleet.bench())
    told = rosa.post(example(fleet)).json()["standing"]
    assert (told["before"], told["after"]) == (before, standing(fleet.bench()))
    assert told["reasons"][0]["sentence"]


def test_the_answer_is_the_one_that_is_kept(body: Any) -> None:
    assert Readiness.objects.get(visit=body["visit"]).answer == "something_does"
    assert body["judged_at"] == NOW.isoformat()
