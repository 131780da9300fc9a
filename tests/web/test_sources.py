"""The page of sources: every document, what is not verified yet, and the links that lead to it."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from fleet.catalog.queries import newest_catalogue
from fleet.engineering.calculations import CALCULATIONS
from fleet.web.templatetags.said import sourced
from tests.cast import Fleet
from tests.web.boiler_room import WATER, equip, put_down
from tests.web.test_board import read

pytestmark = pytest.mark.django_db
LINK = re.compile(r'href="/sources/#(\w+)"')


def test_every_document_has_its_place_title_scope_and_how_it_was_seen(rosa: Client) -> None:
    body = unescape(read(rosa, "/sources/"))
    documents = newest_catalogue().sources.values()
    assert [d.number for d in documents if f'id="{d.number}"' not in body] == []
    assert [d.number for d in documents if not all(t in body for t in (d.title, d.publisher, d.scope, d.seen))] == []


def test_the_page_counts_what_is_not_verified_and_names_the_clauses(rosa: Client) -> None:
    body = unescape(read(rosa, "/sources/"))
    assert re.search(r"Of \d+ numbers in the catalogue \(release 1\) \d+ rest on a document below", body)
    assert "not verified yet: HG-401.1" in body
    assert "from memory" not in body


def test_the_page_lists_each_calculation_that_rests_on_a_clause_nobody_has_seen(rosa: Client) -> None:
    unverified = {code for code, c in CALCULATIONS.items() if "not verified yet" in c.source}
    body = unescape(read(rosa, "/sources/")).split("Calculations that rest on one")[1]
    assert {code for code in CALCULATIONS if f"/calculator/{code}/" in body} == unverified
    assert re.search(r"Numbers that cite it: \d+; calculations: [1-9]", unescape(read(rosa, "/sources/")))


def test_a_visit_links_each_source_it_cites(rosa: Client, fleet: Fleet) -> None:
    now = timezone.now()
    visit = fleet.serviced(now - timedelta(days=2))
    fleet.post(visit, at=now)
    body = read(rosa, f"/visits/{visit.id}/")
    cited = set(LINK.findall(body))
    assert cited
    assert cited <= newest_catalogue().sources.keys()


def test_a_boiler_s_page_links_the_source_of_each_number_it_works_out(rosa: Client, fleet: Fleet) -> None:
    equip(fleet)
    put_down(fleet, **WATER)
    now = timezone.now()
    fleet.post(fleet.serviced(now - timedelta(days=400)), fleet.serviced(now - timedelta(days=2)), at=now)
    body = unescape(read(rosa, f"/boilers/{fleet.bench().boiler.id}/"))
    cited = set(LINK.findall(body))
    assert {"S53", "S8", "S2"} <= cited <= newest_catalogue().sources.keys()
    shown = ("ladder", "relief_margin", "water_times", "control_trip", "limit_trip", "cutoff_trip")
    assert [code for code in shown if unescape(sourced(CALCULATIONS[code].source)) not in body] == []


@pytest.mark.parametrize("code", CALCULATIONS)
def test_a_calculation_links_each_source_it_cites(code: str, rosa: Client) -> None:
    numbers = set(re.findall(r"\b[SD]\d+\b", CALCULATIONS[code].source))
    assert set(LINK.findall(read(rosa, f"/calculator/{code}/"))) == numbers


def test_a_source_is_shown_with_link_title_and_scope_and_nothing_of_it_is_markup() -> None:
    shown = sourced("S27 for <b>; from memory: HG-605")
    assert shown.startswith('<a href="/sources/#S27">S27</a> (G.L. chapter 146, section 46A, daily log')
    assert "boilers over nine horsepower) for &lt;b&gt;; not verified yet: HG-605" in shown
