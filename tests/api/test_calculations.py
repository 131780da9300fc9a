"""The named calculations over the API: listed with their words, answered with units, refused with pointers."""

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.calculations import DANGEROUS_LADDER, FLUE_GAS, REFUSED
from fleet.engineering import calculation_groups
from fleet.engineering.calculations import CALCULATIONS, run_calculation
from tests.api.phone import Phone, told

pytestmark = pytest.mark.django_db
PATH = "/api/v1/calculations/"


def calculate(phone: Phone, code: str, body: Any) -> Any:
    return phone.send("POST", f"{PATH}{code}/", body)


@pytest.fixture
def listed(rosa: Phone) -> dict[str, Any]:
    return {c["code"]: c for c in rosa.get(PATH).json()["calculations"]}


@pytest.fixture
def described() -> Any:
    return Client().get("/api/schema/?format=json").json()["paths"][f"{PATH}{{code}}/"]["post"]


def outputs(response: Any) -> dict[str, Any]:
    assert response.status_code == 200, response.content
    return {o["name"]: o["value"] for o in response.json()["outputs"]}


def test_every_calculation_is_in_exactly_one_group() -> None:
    codes = [code for group in calculation_groups.GROUPS.values() for code in group]
    assert (len(codes), set(codes)) == (len(CALCULATIONS), CALCULATIONS.keys())


def test_all_are_listed_with_the_words_that_belong_beside_them(listed: dict[str, Any]) -> None:
    assert listed.keys() == CALCULATIONS.keys()
    assert [c for c in listed.values() if not (c["formula"] and c["source"] and c["caution"] and c["inputs"])] == []


def test_an_input_says_its_unit_range_and_what_is_usual(listed: dict[str, Any]) -> None:
    asked = {i["name"]: i for i in listed["flue_gas"]["inputs"]}
    assert asked["o2_percent"]["range"] == {
        "low": 0.0,
        "low_included": True,
        "high": 18.0,
        "high_included": True,
        "words": "from 0 up to 18 %",
    }
    assert asked["stack_f"]["unit"] == "F"
    assert asked["stack_f"]["required"] is True
    assert asked["fuel"]["usual"] == "natural_gas"
    assert asked["fuel"]["required"] is False


def test_a_result_is_what_the_register_computes_with_units_and_words(rosa: Phone) -> None:
    response = calculate(rosa, "flue_gas", FLUE_GAS)
    assert outputs(response) == run_calculation("flue_gas", FLUE_GAS).outputs
    body, known = response.json(), CALCULATIONS["flue_gas"]
    assert {o["name"]: o["unit"] for o in body["outputs"]} == {o.name: o.unit for o in known.outputs}
    assert body["formula"] == known.formula
    assert body["source"] == known.source
    assert body["caution"] == known.caution


def test_inputs_left_out_come_back_as_they_were_taken(rosa: Phone) -> None:
    given = {k: v for k, v in FLUE_GAS.items() if k != "fuel"}
    assert calculate(rosa, "flue_gas", given).json()["inputs"] == {**FLUE_GAS, "fuel": "natural_gas"}


def test_a_dangerous_ladder_is_answered_with_its_verdict(rosa: Phone) -> None:
    body = calculate(rosa, "ladder", DANGEROUS_LADDER).json()
    assert body["verdict"] == "hold"
    assert body["reasons"][0] == "The high limit at 15 psi is not under the safety valve at 15 psi."


def test_what_judges_nothing_has_no_verdict(rosa: Phone) -> None:
    assert calculate(rosa, "rating", {"gross_btu_h": 1e6}).json()["verdict"] is None


def test_all_faults_are_told_at_once_each_at_its_place(rosa: Phone) -> None:
    bad = {"o2_percent": 20.9, "stack_f": "hot", "fuel": "peat", "draft": 1}
    response = calculate(rosa, "flue_gas", bad)
    assert response.status_code == 422
    assert told(response) == [
        ("unknown_input", "/draft"),
        ("out_of_range", "/o2_percent"),
        ("not_a_number", "/stack_f"),
        ("missing", "/room_f"),
        ("unknown_choice", "/fuel"),
    ]


def test_the_example_of_a_refusal_is_the_refusal(rosa: Phone) -> None:
    assert calculate(rosa, "flue_gas", {"o2_percent": 20.9, "stack_f": 395, "room_f": 72}).json() == REFUSED


@pytest.mark.parametrize("value", [True, None, "6", [6], {}, "1e400"])
def test_what_is_no_number_is_refused(rosa: Phone, value: Any) -> None:
    assert told(calculate(rosa, "flue_gas", {**FLUE_GAS, "o2_percent": value})) == [("not_a_number", "/o2_percent")]


@pytest.mark.parametrize("text", [b"1e400", b"-1e400", b"1" + b"0" * 400])
def test_a_number_beyond_every_number_is_refused_at_its_place(rosa: Phone, text: bytes) -> None:
    body = json.dumps({**FLUE_GAS, "o2_percent": 0}).encode().replace(b'"o2_percent": 0', b'"o2_percent": ' + text)
    assert told(calculate(rosa, "flue_gas", body)) == [("not_a_number", "/o2_percent")]


@pytest.mark.parametrize("text", [b"NaN", b"Infinity", b"-Infinity"])
def test_what_is_no_json_is_refused(rosa: Phone, text: bytes) -> None:
    assert told(calculate(rosa, "flue_gas", b'{"o2_percent": ' + text + b"}")) == [("not_json", "")]


@pytest.mark.parametrize("body", [[], [1], "6.2", 6.2, True])
def test_anything_but_inputs_by_name_is_refused(rosa: Phone, body: Any) -> None:
    assert told(calculate(rosa, "flue_gas", body)) == [("not_an_object", "")]


def test_a_fault_in_a_list_is_told_at_its_element(rosa: Phone) -> None:
    body = {"output_btu_h": 1e6, "stamped_lb_h": [600, -1, None, "x"]}
    faults = [("out_of_range", "/stamped_lb_h/1"), ("not_a_number", "/stamped_lb_h/3")]
    assert told(calculate(rosa, "relief_margin", body)) == faults


@pytest.mark.parametrize(("count", "status"), [(399, 200), (400, 200), (401, 422)])
def test_a_list_is_bounded(rosa: Phone, count: int, status: int) -> None:
    response = calculate(rosa, "makeup_change", {"rates": [5.0] * count})
    assert response.status_code == status
    assert status == 200 or told(response) == [("too_many", "/rates")]


def test_a_fault_of_a_quantity_nobody_gave_is_told_of_the_whole(rosa: Phone) -> None:
    response = calculate(rosa, "stamp_plausible", {"stamp_lb_h": 600, "bore_in": 2, "set_psig": 1})
    assert told(response) == [("out_of_range", "")]


def test_a_stack_colder_than_the_room_is_refused(rosa: Phone) -> None:
    response = calculate(rosa, "flue_gas", {**FLUE_GAS, "stack_f": 60})
    assert told(response) == [("stack_colder_than_room", "/stack_f")]


def test_an_unknown_calculation_is_a_problem(rosa: Phone) -> None:
    response = calculate(rosa, "luck", {})
    assert (response.status_code, told(response)) == (404, [("unknown_calculation", "/code")])


def test_the_description_has_a_body_for_each_calculation(described: Any) -> None:
    bodies = described["requestBody"]["content"]["application/json"]["schema"]["anyOf"]
    assert {b["title"] for b in bodies} == CALCULATIONS.keys()
    flue = next(b for b in bodies if b["title"] == "flue_gas")
    assert flue["required"] == ["o2_percent", "stack_f", "room_f"]
    assert flue["additionalProperties"] is False
    assert flue["properties"]["o2_percent"] == {
        "type": ["number"],
        "minimum": 0,
        "maximum": 18.0,
        "description": "Oxygen in dry flue gas in %",
    }


def test_the_examples_of_the_description_are_accepted_as_they_stand(described: Any, rosa: Phone) -> None:
    examples = described["requestBody"]["content"]["application/json"]["examples"]
    assert [e["value"] for e in examples.values()] == [FLUE_GAS, DANGEROUS_LADDER]
    answered = [calculate(rosa, "flue_gas", FLUE_GAS), calculate(rosa, "ladder", DANGEROUS_LADDER)]
    assert [r.status_code for r in answered] == [200, 200]


def test_an_answer_asks_only_who_is_asking(rosa: Phone) -> None:
    rosa.get(PATH)
    with CaptureQueriesContext(connection) as captured:
        calculate(rosa, "flue_gas", FLUE_GAS)
    assert [q["sql"] for q in captured if "accounts_" not in q["sql"] and "SAVEPOINT" not in q["sql"]] == []
