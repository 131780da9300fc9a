"""The visit page: what was done in order, what it is worth by which limit, what was concluded."""

import re
from dataclasses import replace
from uuid import uuid4

import pytest
from django.test import Client

from fleet.assessments.models import Verdict
from fleet.visits.incoming import IncomingVisit
from tests.cast import DAY, NOW, Fleet
from tests.web.test_board import Count, read
from tests.web.test_boiler import part

pytestmark = pytest.mark.django_db


@pytest.fixture
def service(fleet: Fleet) -> IncomingVisit:
    visit = fleet.serviced(NOW - 30 * DAY)
    fleet.post(visit)
    return visit


def entry(body: str, number: int) -> str:
    return body.split(f'id="entry-{number}"')[1].split("</li>")[0]


def test_entries_stand_in_the_order_done_each_with_its_anchor(service: IncomingVisit, rosa: Client) -> None:
    numbers = re.findall(r'id="entry-(\d+)"', read(rosa, f"/visits/{service.id}/"))
    assert numbers == [str(n) for n in range(1, len(service.entries) + 1)]


def test_an_entry_says_readings_verdict_limit_set_point_and_source(service: IncomingVisit, rosa: Client) -> None:
    number = [e.code for e in service.entries].index("limit_trip") + 1
    found = entry(read(rosa, f"/visits/{service.id}/"), number)
    for words in ("Limit trip", "<dt>trip</dt><dd>7.9 psi</dd>", "Pass", "Limit: ", "Held against 8 psi", "S29"):
        assert words in found


def test_a_finding_gives_its_first_act_before_its_sentence(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(failed)
    found = part(read(rosa, f"/visits/{failed.id}/"), "findings")
    assert 0 < found.index("Switch the burner off by hand now.") < found.index('href="#entry-1"')


def test_not_ready_says_what_is_missing_and_what_was_not_looked_at(
    fleet: Fleet, service: IncomingVisit, rosa: Client
) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(failed)
    ready = part(read(rosa, f"/visits/{failed.id}/"), "ready")
    for words in ("Not ready", "What is missing", "Hold open since", "Not looked at", "safety valve"):
        assert words in ready


def test_what_was_answered_is_shown_only_where_it_differs(service: IncomingVisit, rosa: Client) -> None:
    assert "Answered when it was posted" not in read(rosa, f"/visits/{service.id}/")
    Verdict.objects.filter(entry=service.entry_id(0)).update(outcome="inconclusive")
    assert "Answered when it was posted: pass." in entry(read(rosa, f"/visits/{service.id}/"), 1)


def test_a_corrected_visit_leads_to_the_one_that_counts(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    later = replace(service, id=uuid4(), corrects=service.id, reason="wrong gauge read")
    fleet.post(later)
    assert f'href="/visits/{later.id}/">the later one counts' in read(rosa, f"/visits/{service.id}/")
    assert "wrong gauge read" in read(rosa, f"/visits/{later.id}/")


# session, user, visit, people, their users; release, who was answered what, entries with verdicts, readings;
# findings, readiness
# what its readings come to: places, entries, readings, settings, fittings
PAGE = 17


def test_what_the_page_costs(service: IncomingVisit, rosa: Client, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(PAGE):
        rosa.get(f"/visits/{service.id}/")
