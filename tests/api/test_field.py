"""What a phone fetches before a visit: the day, one boiler whole, and the words; enough to write the visit with."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.conf import settings

from fleet import pipeline
from fleet.accounts.models import User
from fleet.catalog import field_words
from fleet.catalog.parse import read_release
from fleet.jobs.acts import JobDecision
from fleet.pipeline import JobRequest
from fleet.rules.catalogue import ReadingSpec
from fleet.rules.wording import ADVICE_CAUTION
from tests import kept
from tests.api.phone import Phone, flush
from tests.cast import DAY, NOW, Fleet, make_person
from tests.portfolio.sheets import CATALOGUE

pytestmark = pytest.mark.django_db
STOPPED_WORDS = {"en": ("STOPPED", "KEPT FIRING"), "es": ("SE APAGÓ", "SIGUIÓ ENCENDIDO")}


def pack(phone: Phone, fleet: Fleet, key: str = "ALD12 B1") -> Any:
    response = phone.get(f"/api/v1/boilers/{fleet.bench(key).boiler.id}/field-pack/")
    assert response.status_code == 200, response.content
    return response.json()


def place(packed: Any, name: str) -> Any:
    return next(p for p in packed["places"] if p["name"] == name)


@pytest.mark.parametrize("language", field_words.LANGUAGES)
def test_the_words_hold_every_procedure_with_its_questions(rosa: Phone, language: str) -> None:
    words = rosa.get(f"/api/v1/field/words/?language={language}").json()
    assert {p["code"] for p in words["procedures"]} == set(CATALOGUE.procedures)
    flush = next(p for p in words["procedures"] if p["code"] == "flush")
    stopped = next(r for r in flush["readings"] if r["name"] == "burner_stopped")
    assert (stopped["yes"], stopped["no"]) == {
        "en": ("STOPPED", "KEPT FIRING"),
        "es": ("SE APAGÓ", "SIGUIÓ ENCENDIDO"),
    }[language]
    assert words["read_by_native_speaker"] == (language == "en")
    assert (words["caution"] == ADVICE_CAUTION) == (language == "en")


def test_what_makes_a_hold_when_seen_carries_its_first_act(rosa: Phone) -> None:
    seen = {o["code"]: o for o in rosa.get("/api/v1/field/words/").json()["observations"]}
    assert "call from outside" in seen["gas_smell"]["first_act"]
    assert seen["leaking_into_furnace"]["first_act"].startswith("Shut the fuel off")
    assert seen["found_firing"]["first_act"] == ""


def test_an_unknown_language_is_refused(rosa: Phone) -> None:
    response = rosa.get("/api/v1/field/words/?language=xx")
    assert response.status_code == 400
    assert response.json()["errors"][0]["pointer"] == "/language"


@pytest.fixture(scope="module")
def held(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """Serviced a month ago; the flush failed an hour ago."""

    def post() -> None:
        fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - timedelta(hours=1), burner_stopped=False))

    with kept.made_for_a_file(django_db_blocker, post):
        yield fleet


def test_a_pack_says_first_what_holds_the_boiler(held: Fleet, rosa: Phone) -> None:
    packed = pack(rosa, held)
    assert packed["standing"] == "hold"
    assert packed["first"][0]["act"].startswith("Switch the burner off by hand now.")
    assert [d["rule"] for d in packed["open"]] == ["flush_keeps_firing"]
    assert packed["caution"] == ADVICE_CAUTION


def test_a_pack_has_the_sheet_of_each_kind_of_visit_as_the_sheet_itself(held: Fleet, rosa: Phone) -> None:
    packed = pack(rosa, held)
    for kind in ("", "annual_service", "season_start", "routine_check"):
        question = f"?kind={kind}" if kind else ""
        sheet = rosa.get(f"/api/v1/boilers/{held.bench().boiler.id}/sheet/{question}").json()
        lines = [(g["number"], n["position"], n["procedure"]) for g in sheet["groups"] for n in g["lines"]]
        assert [(n["group"], n["position"], n["procedure"]) for n in packed["sheets"][kind]] == lines


def test_a_pack_has_each_place_with_its_set_points_and_last_test(held: Fleet, rosa: Phone) -> None:
    packed = pack(rosa, held)
    limit = place(packed, "high limit")
    assert (limit["kind"], limit["set_points"]["set_psi"]) == ("limit_control", 8)
    tests = {(n["position"], n["procedure"]): n for n in packed["last"]}
    assert tests[limit["id"], "limit_trip"]["outcome"] == "pass"
    assert "trip_psi" in tests[limit["id"], "limit_trip"]["readings"]


def test_the_limits_sent_are_those_of_the_grader(held: Fleet, rosa: Phone) -> None:
    packed = pack(rosa, held)
    limits = {(n["procedure"], n["reading"]): n for n in place(packed, "high limit")["limits"]}
    trip = limits["limit_trip", "trip_psi"]
    valve = place(packed, "safety valve")["set_points"]["set_psi"]
    assert (trip["low"], trip["high"], trip["failed_over"]) == (7, 9, valve - 2)
    assert limits["limit_trip", "stayed_off_minutes"]["low"] == 3


def test_a_visit_of_ones_own_can_be_corrected_for_a_day(held: Fleet, rosa: Phone, clock_at: Any) -> None:
    assert [v["correctable"] for v in pack(rosa, held)["visits"]] == [True, True]
    clock_at(NOW + DAY + timedelta(seconds=1))
    assert [v["correctable"] for v in pack(rosa, held)["visits"]] == [False, False]


def test_a_pack_takes_the_same_queries_whatever_stands_on_it(
    held: Fleet, rosa: Phone, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(60):
        pack(rosa, held)


def plan_job(fleet: Fleet, dispatcher: User, start: datetime) -> None:
    """Plan a limit trip for the technician."""
    job = pipeline.create_job(
        building=fleet.bench().boiler.building_id,
        request=JobRequest(procedures=((fleet.bench().places["limit"], "limit_trip"),)),
        by=dispatcher,
        at=NOW,
    )
    decision = JobDecision("plan", technician=fleet.technician.id, since=start)
    pipeline.act_on_job(job=job.id, decision=decision, by=dispatcher, version=job.version, at=NOW)


HOUR = timedelta(hours=1)
MIDNIGHT = datetime(2026, 1, 13, 5, tzinfo=UTC)  # of Tuesday in New York


@pytest.mark.parametrize(
    ("start", "shown"),
    [
        (MIDNIGHT - HOUR, True),  # late today
        (MIDNIGHT, True),  # tomorrow
        (MIDNIGHT + DAY - HOUR, True),  # late tomorrow
        (MIDNIGHT + DAY, False),  # the day after
    ],
)
def test_a_day_has_the_jobs_of_today_and_tomorrow_by_the_buildings_own_calendar(
    held: Fleet, rosa: Phone, start: datetime, shown: bool
) -> None:
    plan_job(held, make_person("dana", held.portfolio, "dispatcher"), start)
    jobs = rosa.get("/api/v1/field/day/").json()["jobs"]
    assert [j["address"] for j in jobs] == (["12 Alder Terrace"] if shown else [])
    assert all(j["items"][0]["procedure"] == "limit_trip" for j in jobs)


def test_a_day_names_the_person_and_where_visits_may_be_posted(held: Fleet, rosa: Phone) -> None:
    day = rosa.get("/api/v1/field/day/").json()
    assert day["person"]["id"] == str(held.technician.id)
    assert "technician" in day["qualifications"]
    assert day["boilers"][0]["first_act"].startswith("Switch the burner off by hand now.")
    assert day["boilers"][0]["standing"] == "hold"
    assert day["more"] == 0


def test_a_day_shows_no_boiler_to_whoever_may_post_nowhere(held: Fleet) -> None:
    day = Phone.of(held.outsider).get("/api/v1/field/day/").json()
    assert [b for b in day["boilers"] if b["address"] == "12 Alder Terrace"] == []


def test_the_words_are_those_of_the_release_shipped() -> None:
    shipped = read_release(settings.ROOT / "fixtures" / "catalogue", 0)[1]
    assert shipped.procedures.keys() == CATALOGUE.procedures.keys()


FINDINGS_OF_ANSWERS = field_words.read_words("first_findings.yaml")
# The other readings of each test are as a pass needs them.
GOOD_NUMBERS = {
    "trip_psi": 8.0,
    "stayed_off_minutes": 4.0,
    "psi_when_checked": 2.0,
    "set_psi_read_back": 8.0,
    "trip_in": 3.0,
    "gauge_psi": 8.0,
    "o2_pct": 6.0,
    "co_ppm": 20.0,
    "stack_f": 380.0,
    "room_f": 70.0,
    "ambient_co_ppm": 0.0,
}
BAD_NUMBERS = {"trip_psi": 14.5, "co_ppm": 450.0, "ambient_co_ppm": 50.0, "ambient_co_again_ppm": 50.0}
PLACES = {
    "flush": "upper",
    "slow_drain": "lower",
    "evaporation": "lower",
    "operating_control_trip": "control",
    "limit_trip": "limit",
    "limit_calibration": "limit",
    "lever_lift": "valve",
    "new_valve_check": "valve",
    "siphon_check": "siphon-2",
    "chamber_open_inspect": "chamber",
}


def bad_answer(spec: ReadingSpec) -> Any:
    expected = field_words.expected_answers(spec)
    if spec.type == "bool":
        return expected != ("yes",)
    return next(c for c in spec.choices if c not in expected) if spec.type == "choice" else BAD_NUMBERS[spec.name]


def good_answer(spec: ReadingSpec) -> Any:
    expected = field_words.expected_answers(spec)
    if spec.type == "bool":
        return expected == ("yes",)
    return expected[0] if spec.type == "choice" else GOOD_NUMBERS[spec.name]


@pytest.mark.parametrize("answer", sorted(a for a in FINDINGS_OF_ANSWERS if not a.startswith("combustion")))
def test_the_judge_finds_what_the_sheet_says_first_about_an_answer(fleet: Fleet, rosa: Phone, answer: str) -> None:
    code, _, reading = answer.partition(".")
    procedure, bench = CATALOGUE.procedures[code], fleet.bench()
    readings = {n: good_answer(s) for n, s in procedure.readings.items() if s.required} if reading else {}
    if reading:
        readings[reading] = bad_answer(procedure.readings[reading])
    fails = not reading or procedure.readings[reading].type != "number"
    entry = {"test": code, "position": str(bench.places[PLACES[code]]), "outcome": "fail" if fails else "pass"}
    body = flush(fleet) | {"entries": [entry | ({"readings": readings} if readings else {})]}
    found = rosa.send("POST", "/api/v1/visits/check/", body).json()
    assert FINDINGS_OF_ANSWERS[answer] in {finding["rule"] for finding in found["findings"]}
