"""The documents behind the catalogue's numbers, as a list."""

import pytest

from fleet.catalog.queries import newest_catalogue
from tests.api.phone import Phone

pytestmark = pytest.mark.django_db


def test_every_document_is_listed_with_what_it_holds_for(rosa: Phone) -> None:
    answer = rosa.get("/api/v1/sources/?limit=100").json()
    documents = newest_catalogue().sources
    assert {item["number"] for item in answer["items"]} == set(documents)
    log = next(item for item in answer["items"] if item["number"] == "S27")
    assert log["scope"] == "Rule of one state; boilers over nine horsepower"
    assert set(log) == {"number", "title", "publisher", "dated", "scope", "seen"}


def test_a_procedure_tells_the_source_of_its_interval_apart_from_that_of_its_way(rosa: Phone) -> None:
    drain = rosa.get("/api/v1/procedures/slow_drain/").json()
    assert (drain["source"], drain["interval_source"]) == ("S24", "common practice; D1 has it every six months")
