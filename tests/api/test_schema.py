"""The OpenAPI document: valid, without secrets, its examples accepted; its pages need nothing from outside."""

import json
import re
from io import StringIO
from typing import Any
from uuid import UUID

import pytest
import yaml
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiYamlRenderer

from api.examples import FAILED_FLUSH, REPAIR, SHOP_PAPER, TECHNICIAN
from api.urls import urlpatterns
from fleet import pipeline
from fleet.accounts.models import Grant, Qualification, User
from fleet.catalog import queries as catalog
from fleet.catalog.texts import YAML_LOADER
from fleet.management.demo.cast import CAST, FIELD_KEY
from fleet.management.demo.story import PORTFOLIO_ID
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.api.phone import Phone
from tests.cast import DAY, LONG_AGO, NOW, Fleet, register

pytestmark = pytest.mark.django_db


@pytest.fixture
def document() -> Any:
    return Client().get("/api/schema/?format=json").json()


@pytest.fixture
def demonstration(fleet: Fleet) -> Phone:
    """The demonstration's boiler 1 of Alder Terrace with its technician: the ids of the examples."""
    portfolio = Portfolio.objects.create(id=PORTFOLIO_ID, ref="DEMO", name="Sorrelgate Homes")
    rows = [r for r in parse_sheet(register(), catalog.catalogue_of(1)) if r.building_ref == "ALD12"]
    pipeline.change_register(portfolio=portfolio, rows=rows, at=NOW - 600 * DAY, cause=Cause(who="demo"))
    user = User.objects.create_user("rosa-of-the-demonstration", id=UUID(TECHNICIAN))
    Grant.objects.create(user=user, portfolio=portfolio, role="technician")
    for code in ("technician", "operator"):
        Qualification.objects.create(user=user, code=code, since=LONG_AGO)
    return Phone.of(user)


def test_the_document_is_valid_and_nothing_in_it_is_guessed() -> None:
    written = StringIO()
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=written)
    assert written.getvalue().startswith("openapi: 3.1")


def test_the_document_is_generated_and_written_once_in_a_process(monkeypatch: pytest.MonkeyPatch) -> None:
    as_yaml, as_json = (Client().get("/api/schema/", headers={"Accept": a}) for a in ("*/*", "application/json"))
    monkeypatch.setattr(SchemaGenerator, "get_schema", lambda *_, **__: pytest.fail("generated again"))
    monkeypatch.setattr(OpenApiYamlRenderer, "render", lambda *_, **__: pytest.fail("written again"))
    assert Client().get("/api/schema/").content == as_yaml.content
    assert Client().get("/api/schema/?format=json").content == as_json.content
    assert yaml.load(as_yaml.content, YAML_LOADER) == as_json.json()


def test_the_document_holds_no_secret_and_no_person(document: Any) -> None:
    text = json.dumps(document)
    secrets = [FIELD_KEY, settings.SECRET_KEY, *(m.password for m in CAST), *(m.username for m in CAST)]
    assert [s for s in secrets if re.search(rf"\b{re.escape(s)}\b", text)] == []


def test_every_operation_says_how_it_refuses_without_a_key(document: Any) -> None:
    operations = [op for path, ops in document["paths"].items() if "/v1/" in path for op in ops.values()]
    views = [getattr(r.callback, "view_class", None) for r in urlpatterns if str(r.pattern).startswith("v1/")]
    offered = [m for view in views for m in ("get", "post", "put", "patch", "delete") if hasattr(view, m)]
    assert len(operations) == len(offered) > 60
    assert all("application/problem+json" in op["responses"]["401"]["content"] for op in operations)


def test_both_ways_to_sign_are_described(document: Any) -> None:
    assert document["components"]["securitySchemes"]["key"] == {"type": "http", "scheme": "bearer"}
    assert {"key": []} in document["paths"]["/api/v1/visits/"]["post"]["security"]


def test_the_examples_of_the_document_are_those_that_are_tried_here(document: Any) -> None:
    content = document["paths"]["/api/v1/visits/"]["post"]["requestBody"]["content"]["application/json"]
    assert [e["value"] for e in content["examples"].values()] == [FAILED_FLUSH, REPAIR, SHOP_PAPER]


def test_the_examples_are_accepted_as_they_stand(demonstration: Phone) -> None:
    answers = [demonstration.post(example) for example in (FAILED_FLUSH, REPAIR, SHOP_PAPER)]
    assert [answer.status_code for answer in answers] == [201, 201, 201]


def test_the_example_of_a_repair_closes_what_the_failed_flush_opened(demonstration: Phone) -> None:
    demonstration.post(FAILED_FLUSH)
    changed = demonstration.post(REPAIR).json()["deficiencies"]
    assert ("flush_keeps_firing", "closed") in [(d["rule"], d["after"]) for d in changed]


def test_the_answers_have_the_fields_the_document_says(document: Any, demonstration: Phone) -> None:
    described = document["components"]["schemas"]["Answer"]["properties"]
    body = demonstration.post(FAILED_FLUSH).json()
    assert body.keys() == described.keys()
    assert body["verdicts"][0].keys() == document["components"]["schemas"]["Verdict"]["properties"].keys()
    assert body["findings"][0].keys() == document["components"]["schemas"]["Finding"]["properties"].keys()


def test_the_pages_load_nothing_from_outside() -> None:
    page = Client().get("/api/docs/")
    assert re.findall(r'(?:src|href)\s*=\s*"((?:https?:)?//[^"]*)', page.content.decode()) == []
    assert "'self'" in page["Content-Security-Policy"]
    assert "http" not in page["Content-Security-Policy"]


def test_no_service_outside_is_asked_to_judge_the_document() -> None:
    assert '"validatorUrl": null' in Client().get("/api/docs/").content.decode()


def test_the_pages_own_files_are_served_here() -> None:
    page = Client().get("/api/docs/").content.decode()
    files = re.findall(r'(?:src|href)="(/static/[^"]+)"', page)
    assert len(files) >= 3
    assert {Client().get(f).status_code for f in files} == {200}
